"""Which runs a card allows, and why what is not measured is not."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from ..card.model import FK_CONTROLS, CardArm
from ..motion.clip import Clip, make_clip
from ..motion.rounds import hand_round
from ..motion.sweeps import fk_sweep, shrug
from ..proof import (
    any_axis,
    blend,
    fingers,
    hold_both,
    hold_elbow,
    hold_hand,
    isolate,
    lift,
    plant,
    shoulder,
    stretch,
    swing,
    switch,
    twist,
)
from ..proof.cases import CORNERS, Case
from ..proof.run_plan import BLEND_FRAMES, BLEND_RAMP, HAND_ROUND, HAND_ROUND_FRAMES, RAISE, RAISE_FRAMES, SWEEP_FRAMES
from ..proof.verdicts import EVERY, Named
from .model import BEYOND, BLEND, HOLD, ROUND, SWING, AnyRun
from .model import RAISE as RAISING

BEYOND_FRAMES = 3
HOLDS = {"hand": hold_hand.ID, "elbow": hold_elbow.ID, "both": hold_both.ID}
# What a mode needs besides its settings.
CONTROLS = {"none": (), "hand": ("hand_hold",), "elbow": ("elbow_hold",), "both": ("hand_hold", "elbow_hold")}
DIALS = ("isolate", "lift", "stretch")
NOT_LOOKED_AT = {
    switch.ID: "a proof by a card makes no changes with another rig's own tools, so no pop can be measured",
    plant.ID: "a card names no pivots about which a planted hand rolls",
    twist.ID: "a card names no bones that share a segment's roll",
    fingers.ID: "a card names no fingers",
}


def planned(arms: Sequence[CardArm], motions: Sequence[Clip]) -> tuple[AnyRun, ...]:
    """Every run that a requirement looks at, on one of the arms at least."""
    return tuple(run for runs in planning(arms, motions) for run in runs)


def planning(arms: Sequence[CardArm], motions: Sequence[Clip]) -> Iterator[tuple[AnyRun, ...]]:
    """`planned` in steps, one a case."""
    for case in CORNERS:
        yield tuple(run for run in _of_case(case, motions) if any(looks(arm, run) for arm in arms))


def _of_case(case: Case, motions: Sequence[Clip]) -> Iterator[AnyRun]:
    if case.mode in HOLDS:
        yield from (AnyRun(clip.name, HOLD, clip, case, (HOLDS[case.mode],)) for clip in motions)
        clip = shrug(SWEEP_FRAMES)
        yield AnyRun(clip.name, HOLD, clip, case, (shoulder.ID,))
    else:
        yield from (AnyRun(clip.name, HOLD, clip, case, (isolate.ID,)) for clip in motions)
        yield AnyRun(RAISE, RAISING, make_clip("still", RAISE_FRAMES), case, (lift.ID,))
    if case.mode in swing.MODES:
        clip = fk_sweep(SWEEP_FRAMES)
        yield AnyRun(clip.name, SWING, clip, case, (swing.ID,))
    if case.mode in ("none", "hand"):
        yield AnyRun(BLEND_RAMP, BLEND, make_clip("still", BLEND_FRAMES), case, (blend.ID,))
    if case.mode == "hand":
        yield AnyRun("beyond", BEYOND, make_clip("still", BEYOND_FRAMES), case, (stretch.ID,))
        around = hand_round(HAND_ROUND_FRAMES, CORNERS.index(case) / len(CORNERS))
        still = make_clip("still", HAND_ROUND_FRAMES)
        yield AnyRun(HAND_ROUND, ROUND, still, case, (any_axis.ID,), around)


def lacks(arm: CardArm, case: Case) -> str:
    """What the card of an arm does not name that a case needs, as a sentence's end; "" if nothing."""
    modes = {mode.mode for mode in arm.modes}
    if case.mode not in modes:
        return f"the card names no mode {case.mode}"
    for role in CONTROLS[case.mode]:
        if not getattr(arm, role):
            return f"the card names no {role}"
    for dial in DIALS:
        if getattr(case, dial) and getattr(arm, dial) is None:
            return f"the card names no dial {dial}"
    return ""


def why_not(arm: CardArm, requirement: Named, case: Case) -> str:
    """Why a requirement is not measured on an arm in a case; "" if it is."""
    if case.mode not in requirement.MODES:
        return f"{requirement.ID} looks at {', '.join(requirement.MODES)}; the mode is {case.mode}"
    if requirement.ID in NOT_LOOKED_AT:
        return NOT_LOOKED_AT[requirement.ID]
    missing = lacks(arm, case)
    if missing:
        return missing
    return _own_needs(arm, requirement.ID, case)


def _own_needs(arm: CardArm, requirement: str, case: Case) -> str:
    """What a requirement needs besides its case."""
    missing_dial = {isolate.ID: "isolate", lift.ID: "lift", stretch.ID: "stretch", blend.ID: "blend"}.get(requirement)
    if missing_dial is not None and getattr(arm, missing_dial) is None:
        return f"the card names no dial {missing_dial}"
    if requirement == blend.ID and not {"none", "hand"} <= {mode.mode for mode in arm.modes}:
        return "a blend is measured between the modes none and hand, and the card does not name both"
    if requirement in (stretch.ID, blend.ID) and not arm.hand_hold:
        return f"the card names no hand_hold, by which {requirement} is measured"
    if requirement == stretch.ID and case.mode != "hand":
        return f"by a card stretch is measured with the hand held, by its control; the mode is {case.mode}"
    if requirement == lift.ID and case.mode != "none":
        return f"by a card lift is measured on the raised FK arm; the mode is {case.mode}"
    if requirement == lift.ID and not (arm.fk_upper_arm and arm.clavicle):
        return "the card names no fk_upper_arm or no clavicle"
    if requirement == blend.ID and case.mode not in ("none", "hand"):
        return f"by a card blend is measured between none and hand; the mode is {case.mode}"
    if requirement == any_axis.ID and not arm.elbow_aim:
        return "the card names no elbow_aim"
    if requirement == shoulder.ID and not arm.fk_clavicle:
        return "the card names no fk_clavicle, which would move the shoulder"
    if requirement == swing.ID and case.lift:
        return "a lift turns the clavicle as well as its control does: by a card swing is measured without it"
    if requirement == swing.ID and not any(swing_roles(arm, case)):
        return "the card names no FK control that turns a joint in this mode"
    if requirement == isolate.ID and not arm.fk_upper_arm:
        return "the card names no fk_upper_arm"
    return ""


def swing_roles(arm: CardArm, case: Case) -> tuple[str, ...]:
    """FK controls that `swing` turns: with a held elbow the upper arm points where the hold is."""
    roles = FK_CONTROLS if case.mode == "none" else FK_CONTROLS[2:]
    return tuple(role for role in roles if getattr(arm, role) and getattr(arm, role.removeprefix("fk_")))


def looks(arm: CardArm, run: AnyRun) -> tuple[Named, ...]:
    """The requirements that look at a run of an arm."""
    return tuple(item for item in EVERY if item.ID in run.requirements and not why_not(arm, item, run.case))


def frames(runs: Iterable[AnyRun]) -> int:
    """Frames that the host evaluates, all arms at once; one of each run is the planted one."""
    return sum(run.clip.frames + 1 for run in runs)
