"""Case files: what is written is read, and what is no case ends in a sentence that says where."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sweep_jobs import job

from armwright.core.errors import ProofError
from armwright.core.solve.settings import ArmSettings
from armwright.core.sweep import case
from armwright.core.sweep.look import solved_look
from armwright.core.sweep.measures.catalogue import MEASURES, measure_named
from armwright.core.sweep.run import sweep


@cache
def cases() -> dict[str, case.SweepCase]:
    return {item.measure: item.case for item in sweep(job(1500)).worst if item.case is not None and item.arm == "R"}


def test_a_case_comes_back_as_it_was_written_and_gives_its_number_again(tmp_path: Path) -> None:
    assert set(cases()) == {measure.name for measure in MEASURES}
    geometry = job(1500).geometry("R")
    for name, found in cases().items():
        path = tmp_path / f"{name}.json"
        path.write_text(case.to_text(found), encoding="utf-8")
        again = case.read(path)
        assert again == found
        assert case.to_text(again) == case.to_text(found)
        settings = case.settings_of(again.settings, geometry, "settings")
        beside = case.settings_of(again.beside, geometry, "beside") if again.beside else settings
        measure = measure_named(name)
        value = abs(measure.value(solved_look(geometry, settings, beside))[0])
        assert value == pytest.approx(found.value, rel=1e-6, abs=0.1 * (measure.limit or 1.0) * 1e-6)


def test_a_case_holds_every_setting() -> None:
    found = cases()["jump"]
    for settings in (found.settings, found.beside):
        assert [item.name for item in settings] == [item.name for item in fields(ArmSettings)]


def text_of(change: Callable[[dict[str, Any]], object], measure: str = "elbow-speed") -> str:
    data = json.loads(case.to_text(cases()[measure]))
    change(data)
    return json.dumps(data)


def refused(text: str) -> str:
    with pytest.raises(ProofError) as problem:
        found = case.from_text(text)
        case.settings_of(found.settings, job(1500).geometry("R"), "settings")
        case.settings_of(found.beside, job(1500).geometry("R"), "beside") if found.beside else None
    return str(problem.value)


def without_last(data: dict[str, Any]) -> None:
    data["settings"].pop()


def bent_frame(data: dict[str, Any]) -> None:
    next(item for item in data["settings"] if item["name"] == "torso")["values"][0] += 1e-3


def mirror_frame(data: dict[str, Any]) -> None:
    values = next(item for item in data["settings"] if item["name"] == "hand_hold")["values"]
    for place in (0, 4, 8):
        values[place] *= -1.0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda d: d.update(version=2), "written by a newer Armwright (version 2; this one reads up to 1)"),
        (lambda d: d.update(format="armwright.plan"), 'its format is "armwright.plan", expected "armwright.case"'),
        (lambda d: d.pop("seed"), 'the field "seed" is missing'),
        (lambda d: d.update(lamp=1), 'unknown field "lamp"'),
        (lambda d: d.update(value="far"), "value: expected a number or null"),
        (lambda d: d.update(measure="lantern"), "there is no measure 'lantern'"),
        (lambda d: d.update(limit=1e9), "limit: 1000000000.0 is not that of elbow-speed, which has 20.0"),
        (lambda d: d.update(unit="L"), "unit: 'L' is not that of elbow-speed"),
        (lambda d: d.update(beside=d["settings"]), "beside: elbow-speed needs one setting of the arm"),
        (lambda d: d.update(settings=[]), "settings: elbow-speed needs one setting"),
        (lambda d: d["settings"][3].update(values=[1, 2]), '.values: expected 3 numbers, found 2'),
        (lambda d: d["settings"][3].update(name="lamp"), 'settings[3] ("lamp"): there is no such setting'),
        (lambda d: d["settings"].append(d["settings"][0]), "it is there twice"),
        (lambda d: d["settings"][9].update(values=[None]), ").values[0]: expected a number"),
        (without_last, "is missing: sweep again with this version"),
        (bent_frame, '("torso").values: expected a frame of unit axes at right angles'),
        (mirror_frame, '("hand_hold").values: expected a frame of unit axes'),
    ],
)  # fmt: skip
def test_what_is_no_case_is_refused_with_the_field(change: Any, message: str) -> None:
    assert message in refused(text_of(change))


def test_text_that_is_cut_off_is_refused_with_line_and_column() -> None:
    text = case.to_text(cases()["elbow-speed"])
    assert "line 6, column" in refused("\n".join(text.splitlines()[:6])[:-2]) or "line" in refused(
        text[: len(text) // 2]
    )
    assert "expected a finite number" in refused(text_of(lambda d: d.update(value=float("nan"))))


def test_the_second_settings_of_a_case_are_needed_where_two_are_compared() -> None:
    assert "needs two settings of the arm" in refused(text_of(lambda d: d.update(beside=[]), "jump"))


def test_a_file_that_is_not_there_is_told_with_its_name(tmp_path: Path) -> None:
    with pytest.raises(ProofError, match=r"lamp\.json"):
        case.read(tmp_path / "lamp.json")


def test_a_damaged_number_never_passes_for_a_frame() -> None:
    assert not case._rigid(np.full((4, 4), np.nan))
