"""What the holds of a transfer do, as the rig shows it: slides, turns, what is out of reach, pops of switches."""

from __future__ import annotations

from dataclasses import dataclass

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.posing import rigid_inverse, rigid_turns
from ..core.rotations import angle_between
from ..core.study.phases import WORLD
from ..core.transfer.arcs import Arcs, Run
from ..core.transfer.holds import HandHold
from ..core.transfer.mapped import MappedArm
from . import arm_state, switch
from .convert_read import Frames
from .subjects import Subject

Array = NDArray[np.float64]

# A hold that is missed by less, arm lengths, is reached: rounding.
REACHED = 1e-6


@dataclass(frozen=True)
class Held:
    """One hold, frames of the scene.

    Attributes:
        part: "hand" or "elbow".
        on: "world", or the arm whose hand carries it.
        slide: furthest that the held point got from its place in the frames in which it is in reach, arm lengths.
        turned: degrees that a hand that does not roll turned.
        rolls: frames of it in which the hand rolls (its hold is keyed).
        out_of_reach: frames in which the arm does not reach it.
        missing: most that it is short by, arm lengths; at frame `missing_frame`.
        moved: how far the recorded joint is from the held place at most, arm lengths: what one place replaces.
        led_in, led_out: the same on the first and on the last frame, which the arcs lead to.
    """

    arm: str
    part: str
    on: str
    first: int
    last: int
    slide: float
    turned: float
    rolls: int
    out_of_reach: int
    missing: float
    missing_frame: int
    moved: float
    led_in: float
    led_out: float


def measured_holds(arm: MappedArm, arcs: Arcs, joints: dict[str, Array], length: float, frames: Frames) -> list[Held]:
    """Every hold of one arm, from evaluated joints (N, 3, 4, 4) by arm."""
    hands = {id(run.hand): run.hand for run in arcs.runs if run.hand is not None}
    elbows = {id(run.elbow): run.elbow for run in arcs.runs if run.elbow is not None}
    out = []
    for hold in hands.values():
        seen, lack = _in_space(hold, joints, arm.arm), arcs.pose.hand_missing[hold.rows] / length
        points = seen[:, :3, 3] + np.einsum("fij,fj->fi", seen[:, :3, :3], hold.pivot)
        near = lack < REACHED
        off = arm.wrist[hold.rows] - joints[arm.arm][hold.rows, 2, :3, 3]
        still = near & ~hold.rolls
        out.append(
            _held(arm.arm, "hand", hold, points - hold.place, near, lack, off, length, frames, _turn(seen, still))
        )
    for held in elbows.values():
        places, lack = joints[arm.arm][held.rows, 1, :3, 3], arcs.pose.elbow_missing[held.rows] / length
        off = arm.elbow[held.rows] - places
        out.append(_held(arm.arm, "elbow", held, places - held.place, lack < REACHED, lack, off, length, frames, 0.0))
    return sorted(out, key=lambda item: item.first)


def _held(arm, part, hold, away, near, lack, off, length, frames, turned) -> Held:  # type: ignore[no-untyped-def]
    slides, moved = np.linalg.norm(away, axis=1) / length, np.linalg.norm(off, axis=1) / length
    worst = int(np.argmax(lack))
    return Held(
        arm,
        part,
        getattr(hold, "on", WORLD),
        frames.first + hold.first,
        frames.first + hold.last,
        float(slides[near].max(initial=0.0)),
        turned,
        int(np.sum(getattr(hold, "rolls", False))),
        int(np.sum(~near)),
        float(lack[worst]) if not near.all() else 0.0,
        frames.first + hold.first + worst,
        float(moved.max()),
        float(moved[0]),
        float(moved[-1]),
    )


def _in_space(hold: HandHold, joints: dict[str, Array], arm: str) -> Array:
    """The hand's evaluated poses (M, 4, 4) in what it is held on to."""
    seen = _rigid(joints[arm][hold.rows, 2])
    return seen if hold.on == WORLD else rigid_inverse(_rigid(joints[hold.on][hold.rows, 2])) @ seen


def _rigid(poses: Array) -> Array:
    out = poses.copy()
    out[:, :3, :3] = rigid_turns(poses[:, :3, :3])
    return out


def _turn(seen: Array, still: NDArray[np.bool_]) -> float:
    rows = seen[still]
    if len(rows) == 0:
        return 0.0
    return float(
        np.degrees(angle_between(np.broadcast_to(rows[0, :3, :3], rows[:, :3, :3].shape), rows[:, :3, :3])).max()
    )


def measured_pops(subject: Subject, solved: dict[str, Arcs], frames: Frames) -> tuple[float, float]:
    """Largest pop of the switches: on each hold's first and last frame the pose held, and let go by FK.

    Arm lengths and degrees. The scene is left at another frame, with an arm posed over its keys.
    """
    pops, angles = [0.0], [0.0]
    for arm, arcs in solved.items():
        for row, _ in _switches(arcs.runs, len(arcs.settings.ik)):
            bpy.context.scene.frame_set(frames.first + row)
            before = switch.joints(subject, arm)
            arm_state.write(subject, arm, arcs.free, arm_state.every(subject, arm), row)
            bpy.context.view_layer.update()
            made = switch.outcome(subject, arm, before, switch.joints(subject, arm), False)
            pops.append(made.pop)
            angles.append(made.pop_angle)
    return max(pops), max(angles)


def _switches(runs: tuple[Run, ...], count: int) -> list[tuple[int, Run]]:
    """Rows at which a hold begins or ends within the clip."""
    found = [(run.first, run) for run in runs if run.first > 0]
    return found + [(run.last, run) for run in runs if run.last < count - 1]
