"""Hands of many kinds for the tests, and random settings of their fingers."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np


def hand_guide(kind: str) -> Any:
    """Wren with hands of one kind: the left as named, the right its mirror image, but for "unlike"."""
    from armwright.core.guide import mirrored
    from armwright.core.hand_proportions import with_fingers
    from armwright.core.stature import guide_from_stature

    body = guide_from_stature(1.7, "Wren")
    full = with_fingers(body.arms[0])
    thumb, index, middle, ring, little = full.fingers
    if kind == "unlike":
        right = replace(mirrored(full), fingers=(split(mirrored(full).fingers[2], 5),))
        return replace(body, arms=(full, right))
    fingers = {
        "five": full.fingers,
        "two": (index, replace(little, joints=little.joints[:3])),
        "one_bone": (replace(middle, joints=(middle.joints[0], middle.joints[-1])),),
        "six_of_four": tuple(split(finger, 4) for finger in (index, middle, ring, little, second(index, 0.4), thumb)),
        "thumb_only": (replace(thumb, joints=thumb.joints[1:]),),
        # Bent at rest, one finger closing towards the back of the hand, one sideways.
        "claw": (
            replace(bent(index), curl=tuple(-np.array(full.palm))),
            bent(middle),
            replace(little, curl=(0.3, -0.9, 0.1)),
        ),
    }[kind]
    left = replace(full, fingers=fingers)
    return replace(body, arms=(left, mirrored(left)))


def split(finger: Any, bones: int) -> Any:
    """The same finger in `bones` equal parts."""
    start, end = np.array(finger.joints[0]), np.array(finger.joints[-1])
    return replace(finger, joints=tuple(tuple(start + (end - start) * part / bones) for part in range(bones + 1)))


def second(finger: Any, away: float) -> Any:
    """Another finger beside it, `away` of its length in front of it."""
    size = np.linalg.norm(np.array(finger.joints[-1]) - np.array(finger.joints[0]))
    moved = tuple(tuple(np.array(joint) + np.array([0.0, -away * size, 0.0])) for joint in finger.joints)
    return replace(finger, name=f"{finger.name}_2", joints=moved)


def bent(finger: Any) -> Any:
    """The same finger with joints off its line."""
    moved = [np.array(joint) for joint in finger.joints]
    moved[2] = moved[2] + np.array([0.002, -0.004, -0.006])
    return replace(finger, joints=tuple(tuple(joint) for joint in moved))


def build_hand(kind: str) -> Any:
    """Wren's armature with hands of that kind."""
    from armwright.addon.build import build_new
    from armwright.core.arm.build import plan_arms
    from armwright.core.options import ArmOptions

    return build_new(plan_arms(hand_guide(kind), ArmOptions()), "Wren")


def draw_fingers(rng: np.random.Generator, geometry: Any, count: int) -> Any:
    """Random settings of all fingers: a third of the dials at either end, as the host's single precision holds them."""
    from armwright.core.solve.fingers import FingerSettings

    def single(values: np.ndarray) -> np.ndarray:
        return values.astype(np.float32).astype(float)

    def dial(low: float) -> np.ndarray:
        wide = 1.0 - low
        return single(np.clip(rng.uniform(low - wide, 1.0 + wide, count), low, 1.0))

    return FingerSettings(
        curl=dial(-0.5),
        spread=dial(-1.0),
        own={finger.name: dial(-0.5) for finger in geometry.fingers},
        channels={
            finger.name: single(rng.uniform(-1.5, 1.5, (count, len(finger.frames), 3))) for finger in geometry.fingers
        },
    )


def arm_length(armature: Any, record: Any, arm: str) -> float:
    """The arm's length L, metres."""
    bones = armature.data.bones
    return float(sum(bones[record.bone(arm, role)].length for role in ("upper_arm", "forearm")))
