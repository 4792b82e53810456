"""Every reader of a file or an array that comes from outside, with good inputs to start from.

A reader takes bytes and does with them what the program does before it trusts them. Only errors of ours may come out of
it, in words (`complaint` looks at them); what it accepts and can write has to come back the same.
"""

from __future__ import annotations

import base64
import io
import re
import tempfile
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from fuzz_arrays import mesh_bytes, mesh_of, mutated_archive, mutated_mesh
from fuzz_expressions import mutated_expression
from fuzz_mutations import Rng, mutated
from made_motions import held_hand
from report_cases import check, failing, results
from sheets import SHEET
from sweep_jobs import job
from test_card_check import CARD

from armwright.core import codec, guide_json, rig_record
from armwright.core.arm.build import plan_arms
from armwright.core.bind.mapping import parse_mapping
from armwright.core.card import card_json
from armwright.core.card.check import problems_of
from armwright.core.card.places import places_of
from armwright.core.card.problems import refuse
from armwright.core.errors import ArmwrightError
from armwright.core.fit.girth import with_girth
from armwright.core.fit.mesh import fit_mesh
from armwright.core.guide_check import check_guide
from armwright.core.hand_proportions import with_hands
from armwright.core.motion.bvh import read_bvh
from armwright.core.options import ArmOptions
from armwright.core.plan import expressions
from armwright.core.plan import json as plan_json
from armwright.core.plan.made import packed, unpacked
from armwright.core.plan.model import Plan
from armwright.core.plan.validate import validate
from armwright.core.proof import history, kept, results_json
from armwright.core.proof.report import junit
from armwright.core.sheet import sheet_toml
from armwright.core.sheet.torso_file import clip_of, torso_text
from armwright.core.solve.rest import rest_settings
from armwright.core.stature import guide_from_stature
from armwright.core.study import study_json
from armwright.core.study.from_bvh import motion_of_bvh
from armwright.core.study.from_table import motion_of_csv, motion_of_npz
from armwright.core.study.study import study
from armwright.core.sweep import case, state
from armwright.core.sweep.measures.catalogue import MEASURES

# Of one line of a message: more floods a terminal. Names of joints and columns that there are may be listed.
LONGEST_LINE = 4_000
# Files that people edit are told of everything that is wrong, a line each.
MOST_LINES = 30

BVH = """\
HIERARCHY
ROOT Hips
{
  OFFSET 0 0.9 0
  CHANNELS 6 Xposition Yposition Zposition Zrotation Yrotation Xrotation
  JOINT LeftArm
  {
    OFFSET 0.18 0.5 0
    CHANNELS 3 Zrotation Yrotation Xrotation
    JOINT LeftForeArm
    {
      OFFSET 0.3 0 0
      CHANNELS 3 Zrotation Yrotation Xrotation
      JOINT LeftHand
      {
        OFFSET 0.27 0 0
        CHANNELS 3 Zrotation Yrotation Xrotation
        End Site
        {
          OFFSET 0.18 0 0
        }
      }
    }
  }
}
MOTION
Frames: 4
Frame Time: 0.0416667
0 0 0 0 0 0 0 0 0 0 0 0 0 0 0
0 0 0.1 1 2 3 4 5 -6 7 8 30 1 2 3
0 0 0.2 2 3 4 5 6 -7 8 9 40 1 2 3
0 0 0.3 3 4 5 6 7 -8 9 10 50 1 2 3
"""
CSV = (
    '# rate = 60\n# unit = "cm"\n# up = "Z"\n# facing = "-Y"\n'
    + ",".join(f"{part}.{axis}" for part in ("L.shoulder", "L.elbow", "L.wrist", "L.tip", "torso") for axis in "xyz")
    + "".join(f",{part}.{axis}" for part in ("torso.turn", "L.hand") for axis in "wxyz")
    + "\n"
    + "".join(f"18,0,140,4{row},0,130,5{row},-9,120,6{row},-9,118,0,0,120,1,0,0,0,1,0,0,0\n" for row in range(4))
)
LAYOUT = 'rate = 60\nunit = "cm"\nup = "Z"\nfacing = "-Y"\n[columns]\n"L.wrist" = ["L.tip.x", "L.tip.y", "L.tip.z"]\n'
EXPRESSIONS = (
    b"clamp((a*a + b*b - c*c) / max(2*a*b, 1e-9), -1, 1)",
    b"a if b > c else pi",
    b"sqrt(max(a, 0)) and not b",
    b"lerp(a, b, smoothstep(0, 1, c))",
    b"atan2(a, b) + log(abs(c) + 1) * round(fmod(a, 2))",
)


@dataclass(frozen=True)
class Reader:
    """Attributes:
    name: as the command prints it.
    kind: of file, see `fuzz_mutations.mutated`.
    read: raises an ArmwrightError for what it does not take.
    seeds: inputs that it takes.
    mutate: makes a hostile input of the given one.
    """

    name: str
    read: Callable[[bytes], object]
    seeds: tuple[bytes, ...]
    mutate: Callable[[Rng, bytes], bytes]


def complaint(problem: ArmwrightError) -> str:
    """What is wrong with the words of an error; "" for a sentence that people can read on one screen."""
    lines = str(problem).split("\n")
    if not str(problem).strip():
        return "the error says nothing"
    if len(lines) > MOST_LINES:
        return f"the error has {len(lines)} lines"
    for line in lines:
        if len(line) > LONGEST_LINE:
            return f"a line of the error has {len(line)} characters"
        if not line.isprintable():
            bad = next(character for character in line if not character.isprintable())
            return f"the error holds {bad!r}, which no terminal should get"
    return ""


class NotTheSame(AssertionError):
    """What was accepted did not come back from its written form."""


def _same(first: object, second: object) -> None:
    if first != second:
        raise NotTheSame("what was read, written and read again is not the same")


@cache
def _options() -> ArmOptions:
    return ArmOptions()


def _guide(data: bytes) -> None:
    guide = guide_json.from_text(data)
    _same(guide_json.from_text(guide_json.to_text(guide)), guide)
    check_guide(guide)
    validate(plan_arms(guide, _options()))


def _plan(data: bytes) -> None:
    plan = plan_json.from_text(data)
    _same(plan_json.from_text(plan_json.to_text(plan)), plan)
    validate(plan)


def _text(data: bytes) -> str:
    """Bytes as a property of the host keeps them: always text."""
    return data.decode("utf-8", "replace")


def _squeezed(data: bytes) -> str:
    return base64.b85encode(zlib.compress(data, 1)).decode("ascii")


def _record(data: bytes) -> None:
    record = rig_record.from_text(_text(data))
    _same(rig_record.from_text(rig_record.to_text(record)), record)
    codec.decode(ArmOptions, codec.parse(record.options, "options", ArmwrightError), "", ArmwrightError, may_omit=True)
    guide_json.from_text(record.guide)
    if record.made:
        unpacked(record.made)


def _card(data: bytes) -> None:
    card = card_json.from_text(data)
    refuse(problems_of(card), places_of(data.decode("utf-8-sig")), "keeper.json")
    _same(card_json.from_text(card_json.to_text(card)), card)


def _sheet(data: bytes) -> None:
    sheet, _ = sheet_toml.from_text(data, "sheet.toml")
    _same(sheet_toml.from_text(sheet_toml.to_text(sheet))[0], sheet)


def _study(data: bytes) -> None:
    record = study_json.from_text(data)
    _same(study_json.from_text(study_json.to_text(record)), record)


def _results(data: bytes) -> None:
    found = results_json.from_text(data)
    _same(results_json.to_text(results_json.from_text(results_json.to_text(found))), results_json.to_text(found))
    junit.junit(found)


@cache
def _earlier() -> Any:
    return results((check(), failing(arm="R"), check("swing", "none")))


def _history(data: bytes) -> None:
    junit.junit(_earlier(), history.compare(results_json.from_text(data), _earlier()))


def _kept(data: bytes) -> None:
    kept.together(list(kept.parts(_text(data))))


def _kept_piece(data: bytes) -> None:
    kept.together(list(kept.parts(f'{{"format":"armwright.kept","version":1,"pieces":1}}\n{_squeezed(data)}\n')))


def _case(data: bytes) -> None:
    found = case.from_text(data)
    _same(case.from_text(case.to_text(found)), found)
    case.settings_of(found.settings, job(8).geometry("L"), "settings")
    if found.beside:
        case.settings_of(found.beside, job(8).geometry("L"), "beside")


def _shard(data: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "shard-00000000-of-8.json").write_bytes(data)
        state.load(Path(folder), job(8), "key")


def _bvh(data: bytes) -> None:
    motion_of_bvh(read_bvh(data), "motion")


def _csv(data: bytes) -> None:
    motion_of_csv(data, "table")


def _layout(data: bytes) -> None:
    motion_of_csv(CSV, "table", _text(data))


def _npz(data: bytes) -> None:
    motion_of_npz(data, "table")


def _expression(data: bytes) -> None:
    text = _text(data)
    values = {name: value for name, value in (("a", 0.5), ("b", -2.0), ("c", 1e300)) if re.search(rf"\b{name}\b", text)}
    expressions.check(text, tuple(values))
    expressions.evaluate(text, values)


@cache
def _keeper() -> Any:
    return guide_from_stature(1.7, "Wren")


def _mesh(data: bytes) -> None:
    vertices, faces = mesh_of(data)
    with_girth(_keeper(), vertices)
    fit_mesh(vertices, faces, "Wren")


def _archive() -> bytes:
    packed_arrays = io.BytesIO()
    motion = held_hand(24.0, 1, False).motion
    parts = {
        f"{arm.arm}.{part}": getattr(arm, part)[:8] for arm in motion.arms for part in ("shoulder", "elbow", "wrist")
    }
    np.savez_compressed(packed_arrays, rate=24.0, unit="m", up="Z", facing="-Y", **parts)
    return packed_arrays.getvalue()


def _small_plan() -> Plan:
    """The first bones of the keeper's left arm, with what hangs on them alone."""
    whole = plan_arms(replace(_keeper(), arms=_keeper().arms[:1]), _options())
    names = {bone.name for bone in whole.bones[:14]}
    variables = [v for driver in whole.drivers for v in driver.variables]
    assert variables
    return replace(
        whole,
        bones=tuple(replace(bone, display=replace(bone.display, at="")) for bone in whole.bones if bone.name in names),
        constraints=tuple(c for c in whole.constraints if {c.bone, c.target, c.space or c.target} <= names)[:6],
        drivers=tuple(
            d
            for d in whole.drivers
            if not d.constraint and d.bone in names and all({v.bone, v.other or v.bone} <= names for v in d.variables)
        )[:4],
        properties=tuple(p for p in whole.properties if p.bone in names),
        roles=tuple(r for r in whole.roles if r.bone in names),
        guide="",
        options="",
    )


def _case_seeds() -> list[str]:
    written = case.written(rest_settings(job(8).geometry("L"), 1))
    pair = next(measure for measure in MEASURES if measure.pair)
    return [
        case.to_text(
            case.SweepCase(
                "Wren", "ab", "L", m.name, m.unit, 1e-7, m.limit, 7, 8, 3, False, written, written if m.pair else ()
            )
        )
        for m in (MEASURES[0], pair)
    ]


SHARD = (
    '{"format": "armwright.sweep-shard", "version": 1, "key": "key", "shard": 0, "poses": 8, "tallies": [{"measure": '
    '"jump", "arm": "L", "looked": 8, "left_out": 0, "worst": [{"pose": 3, "value": 0.5}, {"pose": 1, "value": null}]}]'
    "}"
)
MAPPING = '{"old_upper_arm": "upper_arm.L", "hand": "hand.L"}'


def _plain(kind: str, name: str, read: Callable[[bytes], object], *seeds: str | bytes) -> Reader:
    starts = tuple(seed.encode() if isinstance(seed, str) else seed for seed in seeds)
    return Reader(name, read, starts, lambda rng, data: mutated(rng, kind, data, starts))


@cache
def readers() -> tuple[Reader, ...]:
    """All of them."""
    guide, plan = with_hands(_keeper()), _small_plan()
    found = results((check(), failing(arm="R"), check("swing", "none")))
    record = rig_record.record_of(replace(plan, guide=guide_json.to_text(guide), options="{}"), ("arm",))
    motion = held_hand(24.0, 1, False).motion
    archive, mesh = _archive(), mesh_bytes()
    return (
        _plain("json", "guide", _guide, guide_json.to_text(_keeper()), guide_json.to_text(guide)),
        _plain("json", "plan", _plan, plan_json.to_text(plan)),
        Reader("expression", _expression, EXPRESSIONS, lambda rng, data: mutated_expression(rng, data, EXPRESSIONS)),
        _plain("json", "record", _record, rig_record.to_text(record)),
        _plain("json", "made plan", lambda data: unpacked(_squeezed(data)), plan_json.to_text(plan)),
        _plain("bytes", "packed plan", lambda data: unpacked(_text(data)), packed(plan)),
        _plain("json", "card", _card, card_json.to_text(CARD)),
        _plain("toml", "sheet", _sheet, sheet_toml.to_text(SHEET)),
        _plain("json", "study", _study, study_json.to_text(study_json.record_of(study(motion)))),
        _plain("json", "results", _results, results_json.to_text(found)),
        _plain("json", "baseline", _history, results_json.to_text(found)),
        _plain("text", "kept proof", _kept, kept.joined(list(kept.pieces(found)))),
        _plain("json", "kept piece", _kept_piece, results_json.to_text(found)),
        _plain("json", "case", _case, *_case_seeds()),
        _plain("json", "shard", _shard, SHARD),
        _plain("json", "mapping", parse_mapping, MAPPING),
        _plain("text", "bvh", _bvh, BVH),
        _plain("text", "torso", clip_of, torso_text(motion, 0, 5)),
        _plain("text", "csv", _csv, CSV),
        _plain("toml", "layout", _layout, LAYOUT, LAYOUT.split("[")[0]),
        Reader("npz", _npz, (archive,), lambda rng, data: mutated_archive(rng, data, archive)),
        Reader("mesh", _mesh, (mesh,), lambda rng, data: mutated_mesh(rng, data, mesh)),
    )


def reader(name: str) -> Reader:
    """The reader called `name`."""
    return next(item for item in readers() if item.name == name)


def tried(of: Reader, data: bytes) -> str:
    """Whether `of` takes `data`: "" if it does, else its sentence. Raises AssertionError for words that are none, and
    lets every error through that is not ours."""
    try:
        of.read(data)
    except ArmwrightError as problem:
        wrong = complaint(problem)
        assert not wrong, f"{wrong}: {str(problem)[:300]!r}"
        return str(problem)
    return ""


__all__: Sequence[str] = ("Reader", "complaint", "reader", "readers", "tried")
