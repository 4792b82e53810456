"""A study's arms as settings of a character's, frame by frame: the whole of a transfer that needs no host."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from ..solve.settings import ArmGeometry
from ..study.study import Study
from .arcs import Arcs, arcs, base_settings, runs_of
from .holds import elbow_holds, hand_holds, held_hold, held_phases
from .mapped import Mapped, size_of
from .together import fitted
from .turns import turns_of

Array = NDArray[np.float64]


def solved_arms(
    geometries: Mapping[str, ArmGeometry],
    study: Study,
    goal: Mapped,
    root: Array,
    dials: Mapping[str, dict[str, float]],
    blend: float,
    notes: list[str],
) -> dict[str, Arcs]:
    """Every arm's settings; those that are held on to come before those that hold on.

    Args:
        study: at the rate that the frames are to have.
        goal: the study's motion, `mapped` for these geometries.
        root: poses of the root (N, 4, 4), armature space.
        dials: of each arm, those of arcs.KEPT.
        blend: seconds over which an arc is led into a hold and out of it.
        notes: what is left out or changed is added here.
    """
    ids = tuple(arm.arm for arm in goal.arms)
    by_id = {arm.arm: arm for arm in goal.arms}
    held = held_phases(study.phases, ids, notes)
    frames, count = round(blend * study.motion.rate), study.motion.frames
    out: dict[str, Arcs] = {}
    while len(out) < len(ids):
        arm = next(arm for arm in ids if arm not in out and all(item.on in out for item in held if item.arm == arm))
        geometry, one = geometries[arm], by_id[arm]
        turns = turns_of(geometry, one, study.motion.rate)
        hands = hand_holds(one, study.phases, turns.hand, size_of(geometry), frames, notes)
        elbows = elbow_holds(one, study.phases, notes)
        own = [item for item in held if item.arm == arm]
        busy = {row for item in own for row in range(item.first, item.last + 1)}
        hands, elbows = fitted(arm, hands, elbows, geometry.forearm_length, size_of(geometry), busy, notes)
        goals = np.tile(np.eye(4), (count, 1, 1))
        for hold in hands:
            goals[hold.rows] = hold.poses
        for phase in own:
            carrier = hand_poses(out[phase.on])
            hold = held_hold(one, by_id[phase.on], phase, turns.hand, carrier)
            goals[hold.rows] = carrier[hold.rows] @ hold.poses
            hands.append(hold)
        runs = runs_of(sorted(hands, key=lambda hold: hold.first), elbows, count)
        base = base_settings(geometry, goal.torso, root, dials[arm])
        out[arm] = arcs(geometry, base, one, turns, runs, goals, frames)
    return out


def hand_poses(one: Arcs) -> Array:
    """The hand's poses (N, 4, 4), armature space."""
    out = np.tile(np.eye(4), (len(one.pose.wrist), 1, 1))
    out[:, :3, :3], out[:, :3, 3] = one.pose.hand, one.pose.wrist
    return out
