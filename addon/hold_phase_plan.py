"""Phases to hold: over which frames, with what, and the arm's settings in which what is held stays at one place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from ..core import arm_words
from ..core.errors import HostError
from ..core.match.match import match
from ..core.match.target import Target
from ..core.rotations import slerp_matrices
from ..core.solve.arm import solve
from ..core.solve.plant import hand_goal, hold_for
from ..core.solve.settings import ArmSettings
from ..core.study.phases import ELBOW, HAND, HELD, WORLD
from . import arm_state
from .convert_read import ArmTake, Frames, rigid
from .subjects import Subject

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Which part of an arm a phase of a study holds; what is not here swings or rolls.
PARTS = {HAND: "hand", HELD: "hand", ELBOW: "elbow"}
# Seconds over which the arm goes back from the place that was held to the recording.
EASE = 0.15
# What a held joint may slide, arm lengths (design, requirements "hold-hand" and "hold-elbow").
SLIDE = 2e-6


@dataclass(frozen=True)
class HoldPhase:
    """Hold `part` of `arm` ("hand" or "elbow") on `on` (WORLD, another arm's id, an object's name) from frame `first`
    to `last`, both among them; it is back at the recording at frame `end`.
    """

    arm: str
    part: str
    on: str
    first: int
    last: int
    end: int = 0

    def words(self) -> str:
        """For people: "left hand, frames 10 to 40"."""
        return f"{arm_words.words(self.arm)} {self.part}, frames {self.first} to {self.last}"


@dataclass(frozen=True)
class HeldSettings:
    """Attributes:
    settings: of the frames, in which what is held stays.
    expected: of each phase, where its joint is from its first frame to its last, (N, 3), armature space.
    stretched: whether the stretch dial had to be switched on.
    """

    settings: ArmSettings
    expected: dict[HoldPhase, Array]
    stretched: bool


def eased(phases: Sequence[HoldPhase], rate: float) -> tuple[HoldPhase, ...]:
    """The phases in order with their `end`: EASE after their last frame, or just before the next of the same part.

    Raises HostError where two of one part overlap, or one has no frames.
    """
    out = []
    for arm, part in dict.fromkeys((phase.arm, phase.part) for phase in phases):
        own = sorted((item for item in phases if (item.arm, item.part) == (arm, part)), key=lambda item: item.first)
        for place, phase in enumerate(own):
            if phase.last <= phase.first:
                raise HostError(f"{phase.words()}: there is nothing to hold: a phase has two frames or more")
            following = own[place + 1].first - 1 if place + 1 < len(own) else None
            if following is not None and following < phase.last:
                raise HostError(f"{phase.words()}: another phase of the same {part} overlaps it: untick one of the two")
            end = phase.last + max(1, round(EASE * rate))
            out.append(replace(phase, end=end if following is None else min(end, following)))
    return tuple(sorted(out, key=lambda phase: (phase.first, phase.arm, phase.part)))


def blocks(phases: Sequence[HoldPhase]) -> list[Frames]:
    """Runs of frames without a gap in which any of the phases holds or goes back."""
    found: list[Frames] = []
    for phase in sorted(phases, key=lambda item: item.first):
        if found and phase.first <= found[-1].last + 1:
            found[-1] = Frames(found[-1].first, max(found[-1].last, phase.end))
        else:
            found.append(Frames(phase.first, phase.end))
    return found


def part_of(taken: ArmTake, rows: slice) -> ArmTake:
    """Some of the frames."""
    settings = ArmSettings(**{item.name: getattr(taken.settings, item.name)[rows] for item in fields(ArmSettings)})
    return ArmTake(
        settings, {role: poses[rows] for role, poses in taken.carriers.items()}, taken.rests, taken.joints[rows]
    )


def held_settings(
    subject: Subject, arm: str, taken: ArmTake, objects: Array, frames: Frames, phases: Sequence[HoldPhase]
) -> HeldSettings:
    """An arm's settings over `frames` with its `phases` held where they begin.

    Args:
        taken: those frames as they are, `carriers` already those of the spaces that the phases want.
        objects: (N, 4, 4), the armature's matrix in the world.

    Raises HostError for a phase that the arm can not reach, MatchError for a pose that is not defined.
    """
    geometry, before = subject.geometries[arm], taken.settings
    masks = {part: _mask(frames, [item for item in phases if item.part == part]) for part in ("hand", "elbow")}
    target = Target(ik=_dial(masks["hand"], before.ik), elbow=_dial(masks["elbow"], before.elbow))
    after = match(geometry, before, target, precision=arm_state.PRECISION).settings
    wanted = {"hand": hand_goal(geometry, after), "elbow": after.elbow_hold.copy()}
    for phase in phases:
        rows = slice(phase.first - frames.first, phase.end - frames.first + 1)
        shown = wanted[phase.part][rows]
        held = _still(phase, shown, objects[rows], taken.carriers[f"{phase.part}_hold"][rows])
        wanted[phase.part][rows] = _gone_back(phase, held, shown)
    hold = np.where(masks["hand"][:, None, None], hold_for(geometry, after, wanted["hand"]), after.hand_hold)
    after = replace(after, hand_hold=hold, elbow_hold=wanted["elbow"])
    stretched = False
    if masks["hand"].any() and _missing(subject, arm, after, wanted, masks)["hand"].max() > 0.25 * SLIDE:
        after = replace(after, stretch=np.where(masks["hand"], 1.0, after.stretch))
        stretched = True
    missing = _missing(subject, arm, after, wanted, masks)
    expected = {}
    for phase in phases:
        rows = slice(phase.first - frames.first, phase.last - frames.first + 1)
        short = missing[phase.part][rows]
        if short.max() > 0.5 * SLIDE:
            raise HostError(
                f"{phase.words()}: at frame {phase.first + int(np.argmax(short))} it is {100.0 * short.max():.2g} % of "
                "the arm's length out of reach, stretched or not: untick it, or hold fewer frames"
            )
        expected[phase] = wanted[phase.part][rows, :3, 3]
    return HeldSettings(after, expected, stretched)


def _mask(frames: Frames, phases: Sequence[HoldPhase]) -> Mask:
    out = np.zeros(frames.count, bool)
    for phase in phases:
        out[phase.first - frames.first : phase.end - frames.first + 1] = True
    return out


def _dial(mask: Mask, before: Array) -> Array:
    """1 where a part is held, else as before; what lies in between is let go."""
    return np.where(mask, 1.0, np.where(before == 1.0, 1.0, 0.0))


def _still(phase: HoldPhase, shown: Array, objects: Array, carriers: Array) -> Array:
    """The first of `shown` (N, 4, 4), armature space, staying on what carries it."""
    if phase.on == WORLD:
        held = np.linalg.inv(objects) @ objects[0] @ shown[0]
    else:
        held = carriers @ np.linalg.inv(carriers[0]) @ shown[0]
    out = rigid(held)
    if phase.part == "elbow":
        # The forearm turns in the hold's frame: it goes on turning as it did.
        out[:, :3, :3] = shown[:, :3, :3]
    return out


def _gone_back(phase: HoldPhase, held: Array, shown: Array) -> Array:
    """`held` up to the phase's last frame, and smoothly back to `shown` by its end."""
    time = np.arange(phase.first, phase.end + 1)
    share = np.clip((time - phase.last) / max(phase.end - phase.last, 1), 0.0, 1.0)
    share = share**2 * (3.0 - 2.0 * share)
    out = held.copy()
    back = share > 0.0
    out[back, :3, 3] += share[back, None] * (shown - held)[back, :3, 3]
    out[back, :3, :3] = slerp_matrices(held[back, :3, :3], shown[back, :3, :3], share[back])
    return out


def _missing(
    subject: Subject, arm: str, settings: ArmSettings, wanted: dict[str, Array], masks: dict[str, Mask]
) -> dict[str, Array]:
    """How far wrist and elbow are from where they are wanted, (N,), arm lengths; 0 where they are not."""
    geometry = subject.geometries[arm]
    pose, length = solve(geometry, settings), geometry.upper_length + geometry.forearm_length
    joints = {"hand": pose.wrist, "elbow": pose.elbow}
    return {
        part: np.where(masks[part], np.linalg.norm(joints[part] - wanted[part][:, :3, 3], axis=1) / length, 0.0)
        for part in wanted
    }
