"""What the fingers, pivots and thicknesses of a joint guide must fulfil before a hand can be planned from them."""

from __future__ import annotations

import re
from dataclasses import fields
from itertools import pairwise

import numpy as np

from .errors import GuideError
from .guide import ArmGuide, FingerGuide, GirthGuide, PivotGuide

# Names that become part of bones' names, where a dot would end them.
PLAIN_NAME = re.compile(r"[a-z][a-z0-9_]{0,19}")
MOST_FINGERS = 20
MOST_FINGER_BONES = 8
# A finger's bone shorter than this part of the hand is a slip; a finger's joint farther from the wrist, in lengths of
# the hand, belongs to something else.
SHORTEST_BONE = 0.01
FARTHEST_JOINT = 5.0
# Names of the fingers' bones share their layers with the arm's own parts.
TAKEN = ("clavicle", "upper_arm", "forearm", "hand", "wrist", "elbow", "fingers")


def check_hand(arm: ArmGuide, where: str) -> None:
    """Raises GuideError, with the finger and the joint, where the hand of `arm`, called `where`, can not be planned.

    The arm's own joints are known to be sound.
    """
    if len(arm.fingers) > MOST_FINGERS:
        raise GuideError(f"{where} has {len(arm.fingers)} fingers, the most is {MOST_FINGERS}: leave some out")
    names = [finger.name for finger in arm.fingers]
    for finger in arm.fingers:
        if names.count(finger.name) > 1:
            raise GuideError(
                f"{where} has {names.count(finger.name)} fingers named {finger.name!r}: rename all but one"
            )
        _check_finger(arm, finger, where)
    if arm.pivots is not None:
        for item in fields(PivotGuide):
            word = f"the pivot {item.name.replace('_', ' ')}"
            _check_near(arm, getattr(arm.pivots, item.name), f"{where}: {word}")
        sides = np.array(arm.pivots.thumb_edge) - np.array(arm.pivots.outer_edge)
        if not float(np.linalg.norm(sides)) > SHORTEST_BONE * _hand_length(arm):
            raise GuideError(f"{where}: the pivots of both edges are at the same place: move them apart")


def check_girth(arm: ArmGuide, where: str) -> None:
    """Raises GuideError where a thickness of `arm`, called `where`, is none."""
    if arm.girth is None:
        return
    longest = float(np.linalg.norm(np.array(arm.wrist) - np.array(arm.elbow))) + float(
        np.linalg.norm(np.array(arm.elbow) - np.array(arm.shoulder))
    )
    for item in fields(GirthGuide):
        size = getattr(arm.girth, item.name)
        if not 0.0 < size <= longest:
            raise GuideError(
                f"{where}: its girth {item.name.replace('_', ' ')} is {size:g} m: it has to be more than 0 and at most "
                f"the arm's length, {longest:g} m"
            )


def _check_finger(arm: ArmGuide, finger: FingerGuide, where: str) -> None:
    if not PLAIN_NAME.fullmatch(finger.name) or finger.name in TAKEN:
        raise GuideError(
            f"{where} has a finger named {finger.name[:40]!r}: a finger's name has up to 20 lower-case letters, digits "
            f"and underscores, a letter first, and is none of {', '.join(TAKEN)}"
        )
    whose = f"{where}: the {finger.name}"
    if not 2 <= len(finger.joints) <= MOST_FINGER_BONES + 1:
        raise GuideError(
            f"{whose} has {len(finger.joints)} joints: give 2 (root and tip) to {MOST_FINGER_BONES + 1}, root first"
        )
    for index, joint in enumerate(finger.joints):
        _check_near(arm, joint, f"{whose}'s joint {index + 1}")
    points = [np.array(joint) for joint in finger.joints]
    curl = np.array(arm.palm if finger.curl is None else finger.curl)
    if finger.curl is not None and not 1e-3 <= float(np.linalg.norm(curl)) <= 1e6:
        raise GuideError(f"{whose} curls towards {finger.curl}: give the direction towards which it closes")
    for index, (head, tail) in enumerate(pairwise(points)):
        along = tail - head
        size = float(np.linalg.norm(along))
        if size < SHORTEST_BONE * _hand_length(arm):
            raise GuideError(f"{whose}'s joints {index + 1} and {index + 2} are {size:g} m apart: move them apart")
        if float(np.linalg.norm(np.cross(along, curl))) < 0.017 * size * float(np.linalg.norm(curl)):
            raise GuideError(
                f"{whose}'s bone {index + 1} points where it curls to: turn its curl direction, or move its joints"
            )


def _check_near(arm: ArmGuide, point: tuple[float, float, float], what: str) -> None:
    away = float(np.linalg.norm(np.array(point) - np.array(arm.wrist)))
    if not away <= FARTHEST_JOINT * _hand_length(arm):
        raise GuideError(
            f"{what} is {away:g} m from the wrist, more than {FARTHEST_JOINT:g} times the hand's length: move it to "
            "the hand, or move the hand's end"
        )


def _hand_length(arm: ArmGuide) -> float:
    return float(np.linalg.norm(np.array(arm.hand_end) - np.array(arm.wrist)))
