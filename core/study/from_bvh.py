"""A BVH as motion to study: which joints are arms, which way is up, and how long a unit is."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from ..errors import MotionError
from ..motion.bvh import Bvh, forward, local_rotations, local_translations
from .motion import ADULT, ArmMotion, StudyMotion, checked

Array = NDArray[np.float64]

UNITS = {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": 0.3048}
# An adult's arm from shoulder to wrist, metres: 0.332 of stature (Winter, fig. 4.1) from 1.4 to 2.1 m.
LEAST_ADULT, MOST_ADULT = 0.46, 0.70
SIDES = {"L": ("left", "l"), "R": ("right", "r")}
WRISTS = ("wrist", "hand")


def motion_of_bvh(
    bvh: Bvh, name: str, joints: Mapping[str, Sequence[str]] | None = None, unit: float | None = None
) -> StudyMotion:
    """The arms of a BVH, in metres, up +Z, left +X at rest.

    Args:
        joints: shoulder, elbow and wrist of each arm by its id; None finds them by their names.
        unit: metres of one unit; None takes the unit in which the arms are an adult's, and says which.

    Raises MotionError where there are no arms, or `checked` refuses what is there.
    """
    _unique(bvh)
    named = {arm: tuple(names) for arm, names in joints.items()} if joints else arm_joints(bvh)
    chains = {arm: tuple(bvh.index(joint) for joint in names) for arm, names in named.items()}
    for arm, chain in chains.items():
        if len(chain) != 3:
            raise MotionError(f"arm {arm}: name three joints, shoulder, elbow and wrist; {len(chain)} are named")
    turns, places = forward(bvh, local_rotations(bvh), local_translations(bvh))
    rest = _rest(bvh)
    axes = _axes(bvh, rest, chains)
    size = float(np.mean([_length(rest, chain) for chain in chains.values()]))
    metres, notes = (unit, ()) if unit is not None else unit_of(size)
    if not (np.isfinite(metres) and metres > 0.0):
        raise MotionError(f"{name}: a unit of {metres:g} metres is none: it has to be more than 0")
    places = places @ axes * metres
    turns = axes.T @ turns @ axes
    arms = tuple(
        ArmMotion(
            arm=arm,
            shoulder=places[:, chain[0]],
            elbow=places[:, chain[1]],
            wrist=places[:, chain[2]],
            tip=_tip(bvh, chain[2], turns, places, axes, metres),
            hand=turns[:, chain[2]],
        )
        for arm, chain in chains.items()
    )
    carrier = _carrier(bvh, [chain[0] for chain in chains.values()])
    torso = np.zeros((len(places), 4, 4))
    torso[:, :3, :3], torso[:, :3, 3], torso[:, 3, 3] = turns[:, carrier], places[:, carrier], 1.0
    rate = 1.0 / bvh.frame_time
    return checked(StudyMotion(name, rate, arms, torso, notes=tuple(notes)))


def arm_joints(bvh: Bvh) -> dict[str, tuple[str, str, str]]:
    """Shoulder, elbow and wrist by arm: the joint named after wrist or hand nearest to the root, and the two above."""
    found: dict[str, tuple[str, str, str]] = {}
    for joint in bvh.joints:
        words = _words(joint.name)
        side = next((arm for arm, marks in SIDES.items() if any(mark in words for mark in marks)), None)
        if side is None or side in found or not any(word in words for word in WRISTS):
            continue
        elbow = bvh.joints[joint.parent] if joint.parent >= 0 else None
        shoulder = bvh.joints[elbow.parent] if elbow is not None and elbow.parent >= 0 else None
        if elbow is not None and shoulder is not None:
            found[side] = (shoulder.name, elbow.name, joint.name)
    if not found:
        names = ", ".join(joint.name for joint in bvh.joints[:40])
        raise MotionError(
            "no arms were found by their names (a side, and wrist or hand): name shoulder, elbow and wrist of each "
            f"with --joints; there is: {names}"
        )
    return found


def unit_of(size: float) -> tuple[float, tuple[str, ...]]:
    """Metres of a unit in which arms are `size` long, and what to say about the choice."""
    for name, metres in UNITS.items():
        if LEAST_ADULT <= size * metres <= MOST_ADULT:
            return metres, () if name == "m" else (
                f"the arms are {size:.4g} units long, so a unit is taken as 1 {name}",
            )
    metres = ADULT / size if size > 0.0 else 1.0
    return metres, (
        f"the arms are {size:.4g} units long, which fits no unit that is in use: they are taken as {ADULT} m long; "
        "give the unit in metres if that matters",
    )


def _words(name: str) -> set[str]:
    """`LeftForeArm_2` as {left, fore, arm, 2}."""
    parts = re.findall(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])|\d+", name.rsplit(":", 1)[-1])
    return {part.lower() for part in parts}


def _unique(bvh: Bvh) -> None:
    names = [joint.name for joint in bvh.joints]
    for joint in names:
        if names.count(joint) > 1:
            raise MotionError(f"two joints are called {joint!r}: a study could not tell them apart; rename one")


def _rest(bvh: Bvh) -> Array:
    """Joints with every rotation zero, (joints, 3), the file's unit."""
    places = np.zeros((len(bvh.joints), 3))
    for index, joint in enumerate(bvh.joints):
        places[index] = np.array(joint.offset) + (places[joint.parent] if joint.parent >= 0 else 0.0)
    return places


def _length(rest: Array, chain: Sequence[int]) -> float:
    shoulder, elbow, wrist = (rest[index] for index in chain)
    return float(np.linalg.norm(elbow - shoulder) + np.linalg.norm(wrist - elbow))


def _axes(bvh: Bvh, rest: Array, chains: Mapping[str, Sequence[int]]) -> Array:
    """(3, 3) whose columns are the character's left, back and up in the file's axes.

    Up is the axis of the file along which the arms are furthest from the root at rest; left is from one arm to the
    other, or outwards along a single one.
    """
    shoulders = np.mean([rest[chain[0]] for chain in chains.values()], axis=0) - rest[0]
    up = _nearest_axis(shoulders) if np.linalg.norm(shoulders) > 0.0 else np.array([0.0, 1.0, 0.0])
    if "L" in chains and "R" in chains:
        left = rest[chains["L"][0]] - rest[chains["R"][0]]
    else:
        arm, chain = next(iter(chains.items()))
        left = (rest[chain[0]] - rest[0]) * (1.0 if arm.endswith("L") else -1.0)
    left = left - up * float(left @ up)
    if np.linalg.norm(left) < 1e-9:
        raise MotionError("the arms' shoulders are above each other at rest: which way the body faces can not be told")
    left = _nearest_axis(left)
    return np.stack([left, np.cross(up, left), up], axis=1)


def _nearest_axis(vector: Array) -> Array:
    axis = int(np.argmax(np.abs(vector)))
    out = np.zeros(3)
    out[axis] = np.sign(vector[axis])
    return out


def _tip(bvh: Bvh, wrist: int, turns: Array, places: Array, axes: Array, metres: float) -> Array | None:
    """The hand's end: the end of the longest chain below the wrist; None where nothing is below it."""
    best: tuple[float, int, Array] | None = None
    below = {wrist: 0.0}
    for index, joint in enumerate(bvh.joints):
        if index != wrist and joint.parent in below:
            below[index] = below[joint.parent] + float(np.linalg.norm(joint.offset))
        if index in below and joint.end is not None:
            end = np.array(joint.end) @ axes * metres
            far = below[index] + float(np.linalg.norm(joint.end))
            if best is None or far > best[0]:
                best = (far, index, end)
    if best is None or best[0] <= 0.0:
        return None
    _, index, end = best
    return np.asarray(places[:, index] + np.einsum("fij,j->fi", turns[:, index], end))


def _carrier(bvh: Bvh, shoulders: Sequence[int]) -> int:
    """The lowest joint that all shoulders hang on, the clavicles left out."""
    paths = []
    for index in shoulders:
        path = []
        while index >= 0:
            path.append(index)
            index = bvh.joints[index].parent
        paths.append(path)
    if len(paths) == 1:
        return paths[0][min(2, len(paths[0]) - 1)]
    common = set(paths[0]).intersection(*paths[1:])
    return next(index for index in paths[0] if index in common)
