"""A BVH as motion to study: which joints are arms, which way is up, and how long a unit is."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from ..errors import MotionError, named, shown
from ..motion.bvh import Bvh, forward, local_rotations, local_translations
from ..rotations import unit as direction
from .motion import ADULT, ArmMotion, StudyMotion
from .prepare import prepared

Array = NDArray[np.float64]

UNITS = {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": 0.3048}
# CMU Graphics Lab's own: inches over 0.45 (mocap.cs.cmu.edu, "Frequently Asked Questions").
CMU_UNIT = 0.0254 / 0.45
# An adult's arm from shoulder to wrist, metres: 0.332 of stature (Winter, fig. 4.1) from 1.4 to 2.1 m.
LEAST_ADULT, MOST_ADULT = 0.46, 0.70
SIDES = {"L": ("left", "l"), "R": ("right", "r")}
WRISTS = ("wrist", "hand")
THUMB = "thumb"
# Frames whose joints are placed at once: bounds the memory.
CHUNK = 4096
# Degrees of flexion from which the plane of an elbow tells its hinge, and how well those frames have to agree: length
# of the mean of unit vectors.
HINGED, AGREED = 30.0, 0.7


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
    rest = _rest(bvh)
    axes = _axes(bvh, rest, chains)
    size = float(np.mean([_length(rest, chain) for chain in chains.values()]))
    metres, notes = (unit, ()) if unit is not None else unit_of(size)
    if not (np.isfinite(metres) and metres > 0.0):
        raise MotionError(f"{name}: a unit of {metres:g} metres is none: it has to be more than 0")
    carrier = _carrier(bvh, [chain[0] for chain in chains.values()])
    ends = {arm: _end(bvh, chain[2]) for arm, chain in chains.items()}
    above = {arm: bvh.joints[chain[0]].parent for arm, chain in chains.items()}
    needed = {carrier, *(index for chain in chains.values() for index in chain), *above.values()} - {-1}
    needed |= {end[0] for end in ends.values() if end is not None}
    turns, places = _forward(bvh, sorted(needed), axes, metres)
    rest = rest @ axes * metres
    arms, said = [], list(notes)
    for arm, chain in chains.items():
        end = ends[arm]
        tip = None if end is None else places[end[0]] + turns[end[0]] @ (end[1] @ axes * metres)
        palm, sure = _palm(bvh, arm, chain, rest, axes, end, metres)
        if not sure:
            said.append(f"arm {arm}: no thumb is named, so its palm is taken to face {palm[1]} in the file's rest pose")
        along = (
            rest[chain[2]] - rest[chain[1]] if end is None else rest[end[0]] + end[1] @ axes * metres - rest[chain[2]]
        )
        shoulder, elbow, wrist = (places[index] for index in chain)
        inner = above[arm]
        arms.append(
            ArmMotion(
                arm=arm,
                shoulder=shoulder,
                elbow=elbow,
                wrist=wrist,
                tip=tip,
                hand=turns[chain[2]] @ _frame(along, palm[0]),
                upper=_upper(turns[chain[0]], rest[chain[1]] - rest[chain[0]], elbow - shoulder, wrist - elbow),
                clavicle=None if inner in (carrier, -1) and len(chains) > 1 else places.get(inner),
            )
        )
    torso = np.zeros((len(bvh.frames), 4, 4))
    torso[:, :3, :3], torso[:, :3, 3], torso[:, 3, 3] = turns[carrier], places[carrier], 1.0
    motion = StudyMotion(name, 1.0 / bvh.frame_time, tuple(arms), torso, notes=tuple(said))
    return prepared(motion, _rest_frames(bvh))


def _forward(bvh: Bvh, needed: Sequence[int], axes: Array, metres: float) -> tuple[dict[int, Array], dict[int, Array]]:
    """Turns away from rest (N, 3, 3) and places (N, 3) of some joints, in the character's axes and metres."""
    count = len(bvh.frames)
    turns = {index: np.empty((count, 3, 3)) for index in needed}
    places = {index: np.empty((count, 3)) for index in needed}
    for first in range(0, count, CHUNK):
        part = bvh.frames[first : first + CHUNK]
        turned, placed = forward(bvh, local_rotations(bvh, part), local_translations(bvh, part))
        for index in needed:
            turns[index][first : first + CHUNK] = axes.T @ turned[:, index] @ axes
            places[index][first : first + CHUNK] = placed[:, index] @ axes * metres
    return turns, places


def _rest_frames(bvh: Bvh) -> int:
    """How many frames in front have every rotation at zero."""
    columns = [
        joint.column + place
        for joint in bvh.joints
        for place, channel in enumerate(joint.channels)
        if channel.endswith("rotation")
    ]
    moved = np.abs(bvh.frames[:, columns]).max(axis=1, initial=0.0) > 0.0
    return int(np.argmax(moved)) if moved.any() else 0


def _upper(turns: Array, rest: Array, along: Array, fore: Array) -> Array | None:
    """Upper arm's orientations (N, 3, 3) from its joint's turns and the hinge on which the recorded elbow bends.

    None where it never bends, or about different axes: then its turns do not tell the side that it bends to.
    """
    hinge = np.cross(along, fore)
    angle = np.degrees(np.arctan2(np.linalg.norm(hinge, axis=1), np.sum(along * fore, axis=1)))
    bent = angle > HINGED
    if not bent.any():
        return None
    mean = np.mean(np.einsum("fji,fj->fi", turns[bent], direction(hinge[bent])), axis=0)
    if np.linalg.norm(mean) < AGREED:
        return None
    return np.asarray(turns @ _frame(rest, np.cross(mean, rest)))


def _palm(
    bvh: Bvh, arm: str, chain: Sequence[int], rest: Array, axes: Array, end: tuple[int, Array] | None, metres: float
) -> tuple[tuple[Array, str], bool]:
    """The palm's normal at rest in the character's axes with its name, and whether a thumb tells it."""
    left = arm.endswith("L")
    wrist, along = rest[chain[2]], _along(chain, rest, axes, end, metres)
    below = {chain[2]}
    for index, joint in enumerate(bvh.joints):
        if joint.parent in below:
            below.add(index)
        if index in below and THUMB in _words(joint.name):
            point = rest[index] + (np.array(joint.end) @ axes * metres if joint.end is not None else 0.0) - wrist
            palm = np.cross(along, point) if left else np.cross(point, along)
            if np.linalg.norm(palm) > 1e-6 * float(along @ along):
                return (palm, "by the thumb"), True
    if abs(float(along[0])) > abs(float(along[2])):
        return (np.array([0.0, 0.0, -1.0]), "down"), False
    return (np.array([-1.0 if left else 1.0, 0.0, 0.0]), "the body"), False


def _along(chain: Sequence[int], rest: Array, axes: Array, end: tuple[int, Array] | None, metres: float) -> Array:
    """From the wrist along the hand at rest, (3,); as the forearm goes where the hand has no end."""
    if end is None:
        return np.asarray(rest[chain[2]] - rest[chain[1]])
    return np.asarray(rest[end[0]] + end[1] @ axes * metres - rest[chain[2]])


def _frame(along: Array, out: Array) -> Array:
    """(3, 3): Y along `along`, Z as near to `out` as it gets."""
    second = direction(along)
    third = direction(out - second * float(out @ second))
    return np.stack([np.cross(second, third), second, third], axis=1)


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
        names = ", ".join(named(joint.name) for joint in bvh.joints[:40])
        raise MotionError(
            "no arms were found by their names (a side, and wrist or hand): name shoulder, elbow and wrist of each "
            f"with --joints; there is: {names}"
        )
    return found


def unit_of(size: float) -> tuple[float, tuple[str, ...]]:
    """Metres of a unit in which arms are `size` long, and what to say about the choice."""
    for name, metres in (*UNITS.items(), ("unit of the CMU Graphics Lab, 5.644 cm", CMU_UNIT)):
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
            raise MotionError(f"two joints are called {shown(joint)}: a study could not tell them apart; rename one")


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


def _end(bvh: Bvh, wrist: int) -> tuple[int, Array] | None:
    """The hand's end: a joint and a point in it, at the end of the longest chain below the wrist; None without one."""
    best: tuple[float, int, Array] | None = None
    below = {wrist: 0.0}
    for index, joint in enumerate(bvh.joints):
        if index != wrist and joint.parent in below:
            below[index] = below[joint.parent] + float(np.linalg.norm(joint.offset))
        if index in below and joint.end is not None:
            far = below[index] + float(np.linalg.norm(joint.end))
            if best is None or far > best[0]:
                best = (far, index, np.array(joint.end))
    return None if best is None or best[0] <= 0.0 else best[1:]


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
