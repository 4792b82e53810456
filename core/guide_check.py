"""What a joint guide must fulfil before arms can be planned from it, and what its maker should be told."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from . import arm_words
from .codec import encode
from .errors import GuideError
from .frames import flexion
from .guide import SHORTEST_SEGMENT, SIDES, STRAIGHT_ELBOW, ArmGuide, Guide, TorsoGuide, Vec3
from .hand_check import PLAIN_NAME, check_girth, check_hand

Array = NDArray[np.float64]

# Joints farther from the origin than this are a slip or an attack: the host's single precision ends long before.
FARTHEST = 1e6
# A shorter arm or torso, metres, or a shorter direction is a slip: rounding would decide about its axes.
SHORTEST_LIMB = 1e-2
SHORTEST_DIRECTION = 1e-3
# Two directions nearer than this to one line do not span a plane, radians.
PARALLEL = math.radians(1.0)
UNIT_TOLERANCE = 1e-6
# A forearm nearer than this to the upper arm's line, radians, has no rest frame that the upper arm's could turn to.
FOLDED_ELBOW = math.radians(3.0)
# Elbow flexion of a healthy arm (AAOS, in Norkin & White, Measurement of Joint Motion, table A.1); more is unusual.
USUAL_FLEXION = math.radians(150.0)
MOST_CHAIN_JOINTS = 100
MOST_ARMS = 40
MOST_NAME_BYTES = 63

_JOINTS = ("clavicle", "shoulder", "elbow", "wrist", "hand_end")
_SEGMENTS = ("clavicle", "upper arm", "forearm", "hand")


def check_guide(guide: Guide) -> tuple[str, ...]:
    """Warnings about `guide`, a sentence each.

    Raises GuideError, with the arm and the joint, where no arm can be planned.
    """
    encode(guide, GuideError)  # types and finiteness of every value, with its path
    _check_name(guide.name)
    _check_directions(guide)
    _check_sides(guide)
    warnings: list[str] = []
    for arm in guide.arms:
        warnings += _check_arm(arm, guide)
    if guide.torso is not None:
        _check_torso(guide.torso)
    if len(guide.arms) == 1:
        only = guide.arms[0].side
        other = SIDES[1 - SIDES.index(only)]
        warnings.append(
            f"only the {arm_words.name(guide.arms[0].id)} is described; the {arm_words.words(other)} one will not be "
            "built: mirror it with `mirrored` if the character has both"
        )
    return tuple(warnings)


def _check_name(name: str) -> None:
    if not name.strip() or not name.isprintable():
        _fail(f"the character's name {name[:40]!r} is empty or holds a control character: give it a plain name")
    if any(character in name for character in '/\\:*?"<>|') or name.startswith("."):
        _fail(f"the character's name {name[:40]!r} can not name a file: leave out / \\ : * ? \" < > | and a first dot")
    if len(name.encode("utf-8")) > MOST_NAME_BYTES:
        _fail(f"the character's name {name[:40]!r} is longer than {MOST_NAME_BYTES} bytes: shorten it")


def _check_directions(guide: Guide) -> None:
    up, front = np.array(guide.up), np.array(guide.front)
    for word, direction in (("up", up), ("front", front)):
        if not _is_near(direction) or abs(float(np.linalg.norm(direction)) - 1.0) > UNIT_TOLERANCE:
            _fail(f"the direction {word} is {_words(direction)}: it has to have the length 1")
    if _is_parallel(up, front):
        _fail(f"the directions up {_words(up)} and front {_words(front)} are parallel: turn one of them")


def _check_sides(guide: Guide) -> None:
    if not guide.arms:
        _fail("the guide has no arm: describe one or both")
    if len(guide.arms) > MOST_ARMS:
        _fail(f"the guide has {len(guide.arms)} arms, the most is {MOST_ARMS}: leave some out")
    for arm in guide.arms:
        if arm.side not in SIDES:
            _fail(f"an arm has the side {arm.side[:40]!r}: it has to be one of {', '.join(SIDES)}")
        if arm.pair and not PLAIN_NAME.fullmatch(arm.pair):
            _fail(
                f"the {arm_words.name(arm.side)} is of the pair {arm.pair[:40]!r}: a pair's name has up to 20 "
                "lower-case letters, digits and underscores, a letter first, or is empty"
            )
    ids = [arm.id for arm in guide.arms]
    for arm in guide.arms:
        if ids.count(arm.id) > 1:
            _fail(
                f"the {arm_words.name(arm.id)} is described {ids.count(arm.id)} times: keep one, change its side, or "
                "name its pair"
            )


def _check_arm(arm: ArmGuide, guide: Guide) -> list[str]:
    """Warnings about one arm."""
    where = f"the {arm_words.name(arm.id)}"
    joints = [np.array(getattr(arm, joint)) for joint in _JOINTS]
    for joint, point in zip(_JOINTS, joints, strict=True):
        if not _is_near(point):
            _fail(f"{where}: {_joint_word(joint)} is at {_words(point)}, over {FARTHEST:g} m away: check the units")
    segments = [tail - head for head, tail in pairwise(joints)]
    _check_lengths(where, segments)
    if _is_parallel(segments[0], np.array(guide.up)):
        _fail(f"{where}: the clavicle points straight up or down, which leaves its roll open: move its inner end")
    warnings = _check_bend(where, arm, joints)
    palm = np.array(arm.palm)
    if not _is_near(palm) or not np.linalg.norm(palm) >= SHORTEST_DIRECTION:
        _fail(f"{where}: the palm's direction is {_words(palm)}: give the direction that points out of the palm")
    if _is_parallel(palm, segments[3]):
        _fail(f"{where}: the palm's direction is parallel to the hand: give the direction that points out of the palm")
    if float(segments[0] @ np.cross(np.array(guide.up), np.array(guide.front))) * (1 if arm.side == "L" else -1) < 0.0:
        warnings.append(f"{where} starts towards the character's other side: are the two sides swapped?")
    check_hand(arm, where)
    check_girth(arm, where)
    return warnings


def _check_lengths(where: str, segments: list[Array]) -> None:
    sizes = [float(np.linalg.norm(segment)) for segment in segments]
    whole = sizes[1] + sizes[2]
    if whole < SHORTEST_LIMB:
        _fail(f"{where} is {whole:g} m from shoulder to wrist, the least is {SHORTEST_LIMB:g}: check joints and units")
    for index, (name, size) in enumerate(zip(_SEGMENTS, sizes, strict=True)):
        if size < SHORTEST_SEGMENT * whole:
            head, tail = _joint_word(_JOINTS[index]), _joint_word(_JOINTS[index + 1])
            place = "are at the same place" if size == 0.0 else f"are only {size:g} m apart"
            _fail(f"{where}: {head} and {tail} {place}, which leaves the {name} no length: move them apart")


def _check_bend(where: str, arm: ArmGuide, joints: list[Array]) -> list[str]:
    """Warnings about the elbow's bend and its side."""
    angle = flexion(arm)
    bend = None if arm.bend is None else np.array(arm.bend)
    if bend is not None and (not _is_near(bend) or not np.linalg.norm(bend) >= SHORTEST_DIRECTION):
        _fail(f"{where}: the bend's direction is {_words(bend)}: give the direction in which the elbow points")
    if math.pi - angle < FOLDED_ELBOW:
        _fail(f"{where} is folded flat, so the plane of its bend is open: move the wrist away from the upper arm")
    if angle < STRAIGHT_ELBOW:
        if bend is None:
            _fail(
                f"{where} is straight, so its elbow could bend to any side: say where the elbow points (bend), "
                "or move the elbow a little"
            )
        if _is_parallel(bend, joints[3] - joints[1]):
            _fail(f"{where}: the bend's direction is parallel to the arm: give the direction in which the elbow points")
        return []
    warnings = []
    if bend is not None and float(_elbow_side(joints) @ bend) <= 0.0:
        warnings.append(f"{where}: the joints bend the elbow to another side than the bend's direction; the joints win")
    if angle > USUAL_FLEXION:
        warnings.append(
            f"{where} is bent by {math.degrees(angle):.0f} degrees at rest, more than an elbow usually bends "
            f"({math.degrees(USUAL_FLEXION):.0f}): place it more open"
        )
    return warnings


def _elbow_side(joints: list[Array]) -> Array:
    """From the line between shoulder and wrist to the elbow; the wrist is not at the shoulder."""
    line = joints[3] - joints[1]
    upper = joints[2] - joints[1]
    return np.asarray(upper - line * float(upper @ line) / float(line @ line))


def _check_torso(torso: TorsoGuide) -> None:
    count = len(torso.chain)
    if not 2 <= count <= MOST_CHAIN_JOINTS:
        _fail(f"the torso's chain has {count} joints: it has to have from 2 (hips, neck) to {MOST_CHAIN_JOINTS}")
    points = [np.array(point) for point in (*torso.chain, torso.head)]
    for point in (*points, np.array(torso.root)):
        if not _is_near(point):
            _fail(f"the torso has a joint at {_words(point)}, more than {FARTHEST:g} m away: check the units")
    sizes = [float(np.linalg.norm(tail - head)) for head, tail in pairwise(points)]
    whole = sum(sizes[:-1])
    if whole < SHORTEST_LIMB:
        _fail(f"the torso's chain is {whole:g} m long, the least is {SHORTEST_LIMB:g}: check its joints and units")
    for index, size in enumerate(sizes):
        if size < SHORTEST_SEGMENT * whole:
            names = f"joints {index + 1} and {index + 2}" if index < count - 1 else f"joint {count} and the head"
            _fail(f"the torso: {names} of the chain are at the same place ({size:g} m apart): move them apart")


def _is_near(vector: Array) -> bool:
    return bool(np.all(np.abs(vector) <= FARTHEST))


def _is_parallel(first: Array, second: Array) -> bool:
    """Whether two directions, neither of them 0, are within PARALLEL of one line."""
    across, along = float(np.linalg.norm(np.cross(first, second))), abs(float(first @ second))
    return math.atan2(across, along) < PARALLEL


def _joint_word(joint: str) -> str:
    words = {"clavicle": "the clavicle's inner end", "hand_end": "the hand's end"}
    return words.get(joint, f"the {joint}")


def _words(vector: Array | Vec3) -> str:
    return "(" + ", ".join(f"{value:g}" for value in vector) + ")"


def _fail(sentence: str) -> NoReturn:
    raise GuideError(sentence)
