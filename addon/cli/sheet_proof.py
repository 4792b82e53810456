"""`proof --sheet`: the proof of exactly what a requirement sheet asks, and an answer to each of its lines."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from ...core.errors import SheetError
from ...core.motion.clip import Clip
from ...core.motion.wiggle import TRAVEL, torso_wiggle
from ...core.proof.results import MadeWith, Results
from ...core.proof.run_plan import WIGGLE_FRAMES
from ...core.sheet import coverage, runs, sheet_toml
from ...core.sheet.torso_file import clip_of, range_of

if TYPE_CHECKING:
    from ..prove import Scope
    from ..subjects import Subject


@dataclass(frozen=True)
class Asked:
    """A sheet that is to be proved, the motion that is played for it, and what the results say about both."""

    file: sheet_toml.SheetFile
    clip: Clip
    made: MadeWith


def read(options: argparse.Namespace) -> Asked | None:
    """The sheet that the arguments name; None without one. Raises SheetError, MotionError."""
    from .. import prove

    if options.sheet is None:
        return None
    for other in ("motion", "card", "case"):
        if getattr(options, other) is not None:
            raise SheetError(f"--sheet says what is played on which rig: leave out --{other}")
    file = sheet_toml.read(options.sheet)
    sheet = file.sheet
    if sheet.recording is None:
        made, clip = prove.made_with(), torso_wiggle(WIGGLE_FRAMES, options.seed)
    else:
        data = file.recording()
        made = prove.made_with(sheet.recording.torso, data)
        clip = clip_of(data, TRAVEL if sheet.torso is None else sheet.torso.travel)
    return Asked(file, clip, replace(made, sheet_digest=file.digest))


def scope_of(asked: Asked, subject: Subject) -> Scope:
    """What the proof looks at."""
    from .. import prove

    wanted = runs.wanted(asked.file.sheet)
    played = runs.runs_for(asked.file.sheet, asked.clip)
    switching = {arm for name, arm, _ in wanted if name == "switch"}
    return prove.Scope(
        motions=tuple({spec.clip.name: spec.clip for spec in played}.values()),
        runs=played,
        switching=tuple(arm for arm in subject.arms if arm in switching),
        middle=asked.clip,
        is_asked=partial(runs.is_asked, wanted),
    )


def answer(asked: Asked, results: Results, arms: Sequence[str]) -> bool:
    """Print a sentence for each line of the sheet; whether every one holds."""
    file = asked.file
    found = coverage.lines(file.sheet, results.checks, arms, asked.clip.name, range_of(asked.clip))
    print()
    for line in found:
        print(line.sentence(file.places, file.path.name))
    for arm in file.sheet.arms:
        if any(vars(arm.orders).values()):
            print(f"{file.path.name}: rotation orders of the arm {arm.arm!r} are a wish and no part of the proof")
    if file.sheet.empty:
        print(f"{file.path.name}: the sheet asks nothing of any arm: nothing is proved")
    wrong = [line for line in found if line.verdict != coverage.HOLDS]
    if found:
        print(f"{file.path.name}: {len(found) - len(wrong)} of {len(found)} lines hold")
    return not wrong
