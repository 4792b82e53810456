"""Which checks prove which line of a requirement sheet, and what no check proves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .. import arm_words
from ..card.places import Path, Places, written
from ..proof.results import FAIL, NOT_APPLICABLE, OUT_OF_REACH, PASS, Check
from .model import HAND, TURNS, WITH_MOST, ArmSheet, Need, Sheet, Space, TorsoRange
from .runs import MEANWHILE, REACH_MOST, modes_of, reaches_most, swept_name

HOLDS, FAILS, UNCOVERED = "holds", "fails", "not proved"
# What the recorded motion may fall short of a range by: the sheet's own rounding, degrees and arm lengths.
TURN_SLACK, TRAVEL_SLACK = 0.1, 1e-3
# Requirements that are measured while the recorded torso moves; the others have motions of their own.
UNDER_MOTION = ("swing", "hold-hand", "hold-elbow", "hold-both", "isolate", "lift", "stretch", "fingers")
# Names that a proof of switching gives to what carries a hold (addon/prove_switch.py).
OTHER_HAND, PROP = "other-hand", "prop"


@dataclass(frozen=True)
class Line:
    """One line of the sheet and what the proof says of it.

    Attributes:
        path: of the line in the sheet.
        what: the line in words.
        verdict: HOLDS, FAILS or UNCOVERED.
        checks: how many prove it.
        why: what is missing, for a line that does not hold; "" otherwise.
    """

    path: Path
    what: str
    verdict: str
    checks: int
    why: str = ""

    def sentence(self, places: Places, name: str) -> str:
        """The line for people, with its place in the file."""
        line = places.line(self.path)
        where = f"{name}, line {line}" if line is not None else written(self.path)
        count = f" ({self.checks:,} checks)" if self.checks else ""
        return f"{where}: {self.what}: {self.verdict}{count}{f': {self.why}' if self.why else ''}"


def lines(
    sheet: Sheet, checks: Sequence[Check], arms: Sequence[str], clip: str, played: TorsoRange
) -> tuple[Line, ...]:
    """A line for everything that the sheet asks.

    Args:
        arms: of the rig.
        clip: name of the torso's motion in checks, and `played` how far it goes.
    """
    found = [] if sheet.torso is None else _torso(sheet.torso, played)
    for place, arm in enumerate(sheet.arms):
        path: Path = ("arms", place)
        for index, need in enumerate(arm.needs):
            found.append(_need(arm, need, (*path, "needs", index), checks, arms, clip))
        for index, space in enumerate(arm.spaces):
            found.append(_space(arm, space, (*path, "spaces", index), checks, arms))
    return tuple(found)


def _need(arm: ArmSheet, need: Need, path: Path, checks: Sequence[Check], arms: Sequence[str], clip: str) -> Line:
    what = f"{arm_words.name(arm.arm)}, {need.requirement}{f' to {need.most:g} L' if need.most else ''}"
    if arm.arm not in arms:
        return _no_arm(path, what, arm.arm, arms)
    modes = modes_of(arm, need.requirement)
    mine = [check for check in _of(checks, arm.arm, need.requirement) if check.case.mode in modes]
    proofs = [mine]
    if need.requirement in UNDER_MOTION:
        proofs.append([check for check in mine if check.motion == clip])
    if need.requirement in MEANWHILE:
        proofs.append([check for check in mine if check.motion == swept_name(clip, need.requirement)])
    if need.requirement in WITH_MOST:
        mine += [check for check in checks if check.arm == arm.arm and reaches_most(check)]
        proofs += [
            [check for check in mine if check.motion == REACH_MOST],
            [check for check in mine if reaches_most(check)],
        ]
    missing = [mode for mode in modes if not any(check.case.mode == mode for check in mine)]
    if missing:
        return Line(path, what, UNCOVERED, len(mine), f"no check in the mode {missing[0]!r}")
    return _judged(path, what, proofs)


def _space(arm: ArmSheet, space: Space, path: Path, checks: Sequence[Check], arms: Sequence[str]) -> Line:
    what = f"{arm_words.name(arm.arm)}, {space.hold} on {space.on!r}"
    if arm.arm not in arms:
        return _no_arm(path, what, arm.arm, arms)
    carrier = PROP
    if space.kind == HAND:
        if space.on not in arms:
            return _no_arm(path, what, space.on, arms)
        if arm_words.partner(arm.arm, arms) != space.on:
            return Line(path, what, UNCOVERED, 0, "changes are proved to and from the hand of an arm's own pair alone")
        carrier = OTHER_HAND
    mine = [
        check
        for check in _of(checks, arm.arm, "switch")
        if check.measure.startswith(f"{space.hold}-space-") and carrier in check.motion
    ]
    to = [check for check in mine if check.motion.endswith(f"-to-{carrier}")]
    away = [check for check in mine if f"+{carrier}-to-" in check.motion]
    return _judged(path, what, [mine, to, away])


def _torso(wanted: TorsoRange, played: TorsoRange) -> list[Line]:
    found = []
    for turn in TURNS:
        (low, high), (least, most) = getattr(wanted, turn), getattr(played, turn)
        what = f"torso, {turn} {low:g} to {high:g} degrees"
        short = least > low + TURN_SLACK or most < high - TURN_SLACK
        why = f"the motion that is played goes from {least:g} to {most:g}: study one that goes further" if short else ""
        found.append(Line(("torso", turn), what, UNCOVERED if short else HOLDS, 0, why))
    short = played.travel < wanted.travel - TRAVEL_SLACK
    why = f"the motion that is played travels by {played.travel:g}: study one that goes further" if short else ""
    what = f"torso, travel {wanted.travel:g} L"
    return [*found, Line(("torso", "travel"), what, UNCOVERED if short else HOLDS, 0, why)]


def _no_arm(path: Path, what: str, arm: str, arms: Sequence[str]) -> Line:
    return Line(path, what, UNCOVERED, 0, f"the rig has no arm {arm!r}; it has: {', '.join(arms)}")


def _of(checks: Sequence[Check], arm: str, requirement: str) -> list[Check]:
    return [
        check
        for check in checks
        if check.arm == arm and check.requirement == requirement and check.verdict != NOT_APPLICABLE
    ]


def _judged(path: Path, what: str, proofs: Sequence[Sequence[Check]]) -> Line:
    """A line that every one of `proofs`, sets of checks of which the first holds all, has to prove."""
    mine = proofs[0]
    failing = [check for check in mine if check.verdict == FAIL]
    if failing:
        return Line(path, what, FAILS, len(mine), f"{len(failing)} failed, the first is {failing[0].id}")
    for some in proofs:
        if not some:
            return Line(path, what, UNCOVERED, len(mine), "no check is of it")
        if not any(check.verdict == PASS for check in some):
            return Line(path, what, UNCOVERED, len(mine), f"out of reach in all {len(some)} checks of it")
    if proofs[-1] and proofs[-1][0].motion == REACH_MOST:
        far = [check for check in proofs[-1] if check.verdict == OUT_OF_REACH]
        if far:
            return Line(path, what, FAILS, len(mine), f"the rig does not reach so far: {far[0].note}")
    return Line(path, what, HOLDS, len(mine))
