"""Plans of strangers, as text: refused before anything is built."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from refusals import plan_of, refused


def damaged(change: Callable[[dict[str, Any]], None]) -> str:
    from armwright.core.plan import json as plan_json

    data = json.loads(plan_json.to_text(plan_of()))
    change(data)
    return json.dumps(data)


def _cycle(data: dict[str, Any]) -> None:
    bones = {bone["name"]: bone for bone in data["bones"]}
    follower = next(entry for entry in data["constraints"] if bones[entry["target"]]["parent"])
    data["constraints"].append(
        {**follower, "bone": follower["target"], "target": follower["bone"], "name": "back", "kind": "copy_rotation"}
    )
    data["constraints"][-1]["settings"] = []


STRANGE = {
    "newer": (lambda data: data.update(version=99), "version 99"),
    "another format": (lambda data: data.update(format="song"), "song"),
    "constraint kind": (lambda data: data["constraints"][0].update(kind="run_script"), "run_script.*one of"),
    "call": (
        lambda data: data["drivers"][0].update(expression="__import__('os').system('ls')"),
        "not allowed|not defined",
    ),
    "attribute": (lambda data: data["drivers"][0].update(expression="self.name"), "not allowed"),
    "power": (lambda data: data["drivers"][0].update(expression="2**3"), "not allowed"),
    "cycle": (_cycle, "need each other in a circle.*remove one"),
    "parent that is not there": (lambda data: data["bones"][-1].update(parent="mast"), "mast.*does not exist"),
    "bone without length": (lambda data: data["bones"][3].update(length=0.0), "length.*more than"),
    "doubled bone": (lambda data: data["bones"].append(data["bones"][-1]), "twice"),
    "long name": (lambda data: data["bones"][-1].update(name="x" * 64), "too long"),
    "unknown field": (lambda data: data.update(script="print()"), "script"),
    "missing field": (lambda data: data.pop("bones"), "bones"),
    "text for a number": (lambda data: data["bones"][0].update(length="long"), "length"),
    "shape that is not there": (
        lambda data: next(bone for bone in data["bones"] if bone["display"]["shape"])["display"].update(shape="skull"),
        "skull",
    ),
    "external not there": (
        lambda data: data["external"].append({"name": "boom", "rest": data["bones"][0]["rest"], "length": 1.0}),
        "boom",
    ),
}


def build_text(text: str | bytes) -> None:
    from armwright.addon.build import build_new
    from armwright.core.plan import json as plan_json

    build_new(plan_json.from_text(text), "Wren")


@pytest.mark.parametrize("case", STRANGE.values(), ids=STRANGE.keys())
def test_a_strangers_plan_is_refused_before_anything_is_built(empty_file: Any, case: Any) -> None:
    change, words = case
    text = damaged(change)
    refused(lambda: build_text(text), words)


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.9, 0.999])
def test_a_plan_that_is_cut_short_is_refused(empty_file: Any, share: float) -> None:
    from armwright.core.plan import json as plan_json

    text = plan_json.to_text(plan_of())
    refused(lambda: build_text(text[: int(share * len(text))]), "plan")


@pytest.mark.parametrize("number", ["NaN", "Infinity", "1e999"])
def test_a_number_that_is_none_is_refused(empty_file: Any, number: str) -> None:
    text = damaged(lambda data: data["bones"][0].update(length=123456789.5)).replace("123456789.5", number)
    assert number in text
    refused(lambda: build_text(text), ".")


def test_a_plan_of_a_million_bones_is_refused(empty_file: Any) -> None:
    from armwright.addon.build import build_new

    plan = plan_of()
    refused(lambda: build_new(replace(plan, bones=plan.bones[:1] * 1_000_000), "Wren"), "too many bones.*1000000")


def test_a_text_of_a_million_bones_is_refused(empty_file: Any) -> None:
    from armwright.core.plan import json as plan_json

    text = plan_json.to_text(plan_of())
    head, tail = text.split('"bones": [\n')
    first = tail.split(",\n", 1)[0]
    huge = head + '"bones": [\n' + (first + ",\n") * 1_000_000 + tail
    refused(lambda: build_text(huge), "too large|too many")
