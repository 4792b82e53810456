"""A recording of somebody who plays the keeper, made by script: what a study of reference starts from.

He walks along the gallery, leans his left elbow on the rail while the hand swings, braces both hands on the rail and
rolls off over the fingertips, hauls a rope hand on hand, and reaches up. He is smaller than Wren, and his forearm is
long for his upper arm. Sensors shake. No host is needed: numpy alone.

The stage is the lighthouse's: metres, the floor at z = 0, he faces -Y, the rail runs in front of him.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ..core.motion.bvh_text import Joint, bvh_text
from ..core.motion.recorded import CHARACTER_FROM_BVH
from ..core.rotations import euler_to_matrix, slerp_matrices, unit

Array = NDArray[np.float64]

RATE, SEED = 60.0, 7
# His size beside Wren's, and his segments at Wren's size, metres.
SIZE = 0.93
UPPER, FORE, HAND = 0.298, 0.266, 0.184
# In the torso's axes from the hips: inner end of the left clavicle, and the left shoulder.
HIPS = np.array([0.0, 0.0, 0.95])
COLLAR, SHOULDER = np.array([0.03, -0.01, 0.43]), np.array([0.21, 0.0, 0.44])
# Where the rail is (see lighthouse.py), its thickness above it, and what the sensors add: degrees, metres.
RAIL = np.array([0.0, -0.33, 1.0])
GRIP = 0.035
SHAKE_TURN, SHAKE_PLACE = 0.08, 0.0008
# Seconds: what each arm does, from when to when; in between it goes over.
WALK, LEAN, BRACE, ROLL, HAUL, REACH = (0.0, 2.6), (3.4, 6.6), (7.6, 10.6), (9.0, 10.1), (11.6, 14.4), (15.4, 17.2)
END = 17.5


@dataclass(frozen=True, eq=False)
class Limb:
    """Directions (N, 3) of upper arm and forearm, the hand's frame (N, 3, 3): Y along it, Z out of the palm; world."""

    upper: Array
    fore: Array
    hand: Array


Piece = tuple[tuple[float, float], Limb]


def recording(rate: float = RATE, seed: int = SEED) -> str:
    """The BVH, in centimetres."""
    time = np.arange(round(END * rate) + 1) / rate
    place, turn = _torso(time)
    lift = {1.0: 16.0 * _during(time, REACH, 0.8), -1.0: 4.0 * _during(time, HAUL, 0.6)}
    collars = {side: turn @ euler_to_matrix(_about_front(-side * np.radians(lift[side])), "XYZ") for side in lift}

    def shoulder(side: float) -> Array:
        mirror = np.array([side, 1.0, 1.0])
        return place + turn @ (COLLAR * mirror) + np.einsum("fij,j->fi", collars[side], (SHOULDER - COLLAR) * mirror)

    # A forearm on the rail: what gives is the body.
    elbow = RAIL + np.array([0.21, 0.0, GRIP])
    line = shoulder(1.0) - elbow
    place = place + _during(time, LEAN, 0.7)[:, None] * (unit(line) * UPPER - line)
    limbs = {side: _limb(time, side, shoulder(side), turn, elbow) for side in (1.0, -1.0)}
    rng = np.random.default_rng(seed)
    return _written(rate, place, turn, collars, limbs, rng)


def _torso(time: Array) -> tuple[Array, Array]:
    """Hips (N, 3) and the torso's turn (N, 3, 3)."""
    sway = np.sin(time[:, None] * [2.1, 1.3, 1.7] + [0.0, 1.0, 2.0])
    degrees = sway * [2.0, 2.5, 5.0]
    degrees[:, 0] += 24.0 * _during(time, LEAN, 0.8) + 16.0 * _during(time, BRACE, 0.8)
    degrees[:, 1] += 5.0 * _during(time, LEAN, 0.8) - 4.0 * _during(time, REACH, 0.8)
    degrees[:, 2] += 9.0 * np.sin(4.4 * time) * _during(time, WALK, 0.6)
    place = HIPS + 0.018 * np.sin(time[:, None] * [1.9, 1.1, 2.7] + [2.0, 0.5, 1.5])
    place[:, 2] -= 0.07 * _during(time, LEAN, 0.8) + 0.03 * _during(time, BRACE, 0.8)
    place[:, 1] -= 0.04 * _during(time, LEAN, 0.8)
    return place, euler_to_matrix(np.radians(degrees), "XYZ")


def _limb(time: Array, side: float, shoulder: Array, turn: Array, elbow: Array) -> Limb:
    """One arm over all its pieces; `side` is 1 for the left."""
    mirror = np.array([side, 1.0, 1.0])
    phase = 0.0 if side > 0.0 else np.pi
    stride = np.sin(4.4 * time + phase)

    def free(upper: Array, fore: Array) -> Limb:
        return _free(side, np.einsum("fij,fj->fi", turn, upper * mirror), np.einsum("fij,fj->fi", turn, fore * mirror))

    def points(*columns: Array | float) -> Array:
        return np.stack(np.broadcast_arrays(*columns, time)[:-1], axis=1)

    walk = free(points(0.16, -0.45 * stride, -1.0), points(0.05, -0.5 - 0.6 * stride, -1.0))
    pieces: list[Piece] = [(WALK, walk)]
    if side > 0.0:
        swing = unit(points(0.35 * np.sin(3.1 * time), -1.0, 0.55 + 0.5 * np.cos(2.3 * time)))
        pieces.append((LEAN, _free(side, unit(elbow - shoulder), swing)))
    else:
        pieces.append((LEAN, free(points(0.2, 0.35 * stride, -1.0), points(0.1, -0.6 + 0.3 * stride, -1.0))))
    wrist, hand = _braced(time, side)
    pieces.append((BRACE, _to(shoulder, wrist, hand, side)))
    hauling = _to(shoulder, _rope(time, side), hand, side)
    pieces.append((HAUL, _gripping(time, _free(side, hauling.upper, hauling.fore))))
    if side > 0.0:
        sweep = np.sin(1.9 * time)
        pieces.append((REACH, free(points(0.45, -0.55 + 0.1 * sweep, 0.85), points(0.15 + 0.2 * sweep, -0.5, 1.0))))
    else:
        pieces.append((REACH, free(points(0.2, 0.35 * stride, -1.0), points(0.1, -0.6 + 0.3 * stride, -1.0))))
    return _joined(time, pieces)


def _braced(time: Array, side: float) -> tuple[Array, Array]:
    """Wrist (N, 3) and hand (N, 3, 3) on the rail: flat, then over the fingertips, which stay."""
    flat = unit(np.array([0.12 * side, -1.0, 0.0]))
    down = np.array([0.0, 0.0, -1.0])
    angle = np.radians(42.0) * _eased((time - ROLL[0]) / (ROLL[1] - ROLL[0]))[:, None]
    along = np.cos(angle) * flat + np.sin(angle) * down
    start = RAIL + np.array([0.25 * side, 0.06, GRIP + 0.01])
    wrist = start + flat * HAND - along * HAND
    palm = np.cos(angle) * down - np.sin(angle) * flat
    return wrist, np.stack([np.cross(along, palm), along, palm], axis=2)


def _rope(time: Array, side: float) -> Array:
    """Wrist (N, 3) on the rope, one hand a span above the other, the rope hauled to and fro."""
    knot = np.array([0.0, -0.36, 1.30]) + np.stack(
        [0.09 * np.sin(2.6 * time), 0.07 * np.cos(1.9 * time), 0.15 * np.sin(3.4 * time)], axis=1
    )
    return np.asarray(knot + np.array([0.05 * side, 0.0, 0.07 * side]))


def _gripping(time: Array, limb: Limb) -> Limb:
    """Hands about a rope keep their turn, which is the one that suits the forearms best."""
    hauling = (time >= HAUL[0]) & (time <= HAUL[1])
    along, palm = unit(limb.fore[hauling].mean(axis=0)), limb.hand[hauling, :, 2].mean(axis=0)
    palm = unit(palm - along * float(palm @ along))
    hand = np.stack([np.cross(along, palm), along, palm], axis=1)
    return Limb(limb.upper, limb.fore, np.broadcast_to(hand, limb.hand.shape))


def _free(side: float, upper: Array, fore: Array) -> Limb:
    """An arm by its directions; the palm faces where the elbow's hinge has it, the thumb to the side it bends to."""
    upper, fore = unit(upper), unit(fore)
    palm = side * unit(np.cross(upper, fore))
    return Limb(upper, fore, np.stack([np.cross(fore, palm), fore, palm], axis=2))


def _to(shoulder: Array, wrist: Array, hand: Array, side: float) -> Limb:
    """An arm whose hand is at `wrist` (N, 3), the elbow out and down."""
    line = wrist - shoulder
    far = np.minimum(np.linalg.norm(line, axis=1, keepdims=True), 0.999 * (UPPER + FORE))
    along = unit(line)
    hint = np.array([0.55 * side, 0.35, -1.0])
    out = unit(hint - along * (along @ hint)[:, None])
    reach = (UPPER**2 - FORE**2 + far**2) / (2.0 * far)
    upper = along * reach + out * np.sqrt(UPPER**2 - reach**2)
    return Limb(unit(upper), unit(along * far - upper), hand)


def _joined(time: Array, pieces: Sequence[Piece]) -> Limb:
    """One after the other, with the way over between the end of one and the beginning of the next."""
    limb = pieces[0][1]
    for ((_, left), _), ((begun, _), following) in pairwise(pieces):
        share = _eased((time - left) / (begun - left))[:, None]
        limb = Limb(
            unit(limb.upper + share * (following.upper - limb.upper)),
            unit(limb.fore + share * (following.fore - limb.fore)),
            slerp_matrices(limb.hand, following.hand, share[:, 0]),
        )
    return limb


def _written(
    rate: float,
    place: Array,
    turn: Array,
    collars: dict[float, Array],
    limbs: dict[float, Limb],
    rng: np.random.Generator,
) -> str:
    """The joints' turns away from a rest with the arms to the sides and the palms down."""
    to_file, metres = CHARACTER_FROM_BVH.T, SIZE * 100.0
    joints = [Joint("Hips", -1, (0.0, 0.0, 0.0)), Joint("Neck", 0, _in_file(COLLAR * [0, 1, 1]), _in_file([0, 0, 0.2]))]
    # The turns in the world, and each joint's within its parent.
    world: list[Array] = [turn, turn]
    for side, name in ((1.0, "Left"), (-1.0, "Right")):
        limb, first = limbs[side], len(joints)
        rest = np.array([[0.0, side, 0.0], [0.0, 0.0, -1.0], [-side, 0.0, 0.0]])
        hinge = unit(np.cross(limb.upper, limb.fore))
        frames = [np.stack([hinge, way, np.cross(hinge, way)], axis=2) for way in (limb.upper, limb.fore)]
        flat = np.array([[0.0, side, 0.0], [side, 0.0, 0.0], [0.0, 0.0, -1.0]])
        world += [collars[side], *(frame @ rest.T for frame in frames), limb.hand @ flat.T]
        way = np.array([side, 0.0, 0.0])
        mirror = np.array([side, 1.0, 1.0])
        joints += [
            Joint(f"{name}Collar", 0, _in_file(COLLAR * mirror)),
            Joint(f"{name}Arm", first, _in_file((SHOULDER - COLLAR) * mirror)),
            Joint(f"{name}ForeArm", first + 1, _in_file(way * UPPER)),
            Joint(f"{name}Hand", first + 2, _in_file(way * FORE), _in_file(way * HAND)),
        ]
    parents = [joint.parent for joint in joints[1:]]
    own = [_within(world[parent], frame) for parent, frame in zip(parents, world[1:], strict=True)]
    turns = np.stack([turn, *own], axis=1)
    shaken = euler_to_matrix(np.radians(SHAKE_TURN) * rng.standard_normal((*turns.shape[:2], 3)), "XYZ")
    root = (place + SHAKE_PLACE * rng.standard_normal(place.shape)) @ to_file.T * metres
    return bvh_text(joints, rate, root, to_file @ (turns @ shaken) @ to_file.T)


def _within(parent: Array, own: Array) -> Array:
    return np.asarray(parent.transpose(0, 2, 1) @ own)


def _in_file(point: Array | Sequence[float]) -> tuple[float, float, float]:
    """Character axes at Wren's size, metres, to the file's: his size, centimetres."""
    x, y, z = CHARACTER_FROM_BVH.T @ np.asarray(point, float) * SIZE * 100.0
    return float(x), float(y), float(z)


def _about_front(angle: Array) -> Array:
    """Euler angles (N, 3) of a turn about the axis that points backwards."""
    return np.stack([np.zeros_like(angle), angle, np.zeros_like(angle)], axis=1)


def _eased(share: Array) -> Array:
    """0 to 1 by minimum jerk."""
    share = np.clip(share, 0.0, 1.0)
    return np.asarray(share**3 * (10.0 - 15.0 * share + 6.0 * share**2))


def _during(time: Array, span: tuple[float, float], seconds: float) -> Array:
    """1 within a span, up to it and down after it in `seconds`."""
    return _eased((time - span[0] + seconds) / seconds) * (1.0 - _eased((time - span[1]) / seconds))
