"""A joint guide from stature alone, by handbook proportions: a start where there is neither mesh nor markers."""

from __future__ import annotations

import math

from .anatomy import FOREARM, HAND, SHOULDER_HALF_BREADTH, SHOULDER_HEIGHT, UPPER_ARM
from .errors import GuideError
from .guide import ArmGuide, Guide, TorsoGuide, Vec3, mirrored

# Statures that are characters; beyond them a unit was mistaken (centimetres, inches).
SHORTEST_STATURE = 0.2
TALLEST_STATURE = 20.0

A_POSE = math.radians(45.0)
# Enough that the elbow's side is plain, little enough that the arm counts as straight for skinning (common practice).
REST_FLEXION = math.radians(8.0)

# Over stature, from the floor: hips (Winter, Biomechanics and Motor Control of Human Movement, fig. 4.1, after
# Drillis & Contini 1966).
HIP_HEIGHT = 0.530
# Over stature (common practice): waist, chest and base of the neck, from the floor.
WAIST_HEIGHT = 0.610
CHEST_HEIGHT = 0.720
NECK_HEIGHT = 0.850
# Over stature (common practice): the clavicle's inner end, to the side of the middle and in front of the shoulders.
CLAVICLE_ASIDE = 0.015
CLAVICLE_FORWARD = 0.012


def guide_from_stature(height_m: float, name: str, arm_angle: float = A_POSE) -> Guide:
    """Both arms and a torso for a person `height_m` metres tall, standing at the origin, facing -Y.

    `arm_angle` is the upper arm's angle below horizontal, radians: 0 a T-pose, pi/2 hanging. The forearm is bent
    forwards by REST_FLEXION, the hand continues it, and the palm faces down in a T-pose, inwards when the arm hangs.
    Raises GuideError for a stature or an angle that is not a person's.
    """
    if not SHORTEST_STATURE <= height_m <= TALLEST_STATURE:
        raise GuideError(
            f"the stature is {height_m:g} m: it has to be from {SHORTEST_STATURE:g} to {TALLEST_STATURE:g} metres; "
            "check the unit"
        )
    if not 0.0 <= arm_angle <= 0.5 * math.pi:
        raise GuideError(
            f"the arm's angle is {math.degrees(arm_angle):g} degrees below horizontal: it has to be from 0 to 90"
        )
    left = _left_arm(float(height_m), float(arm_angle))
    return Guide(name=name, arms=(left, mirrored(left)), torso=_torso(float(height_m)))


def _left_arm(height: float, angle: float) -> ArmGuide:
    down_arm = (math.cos(angle), 0.0, -math.sin(angle))
    forward = math.sin(REST_FLEXION)
    down_forearm = (down_arm[0] * math.cos(REST_FLEXION), -forward, down_arm[2] * math.cos(REST_FLEXION))
    shoulder = (SHOULDER_HALF_BREADTH * height, 0.0, SHOULDER_HEIGHT * height)
    elbow = _along(shoulder, down_arm, UPPER_ARM * height)
    wrist = _along(elbow, down_forearm, FOREARM * height)
    return ArmGuide(
        side="L",
        clavicle=(CLAVICLE_ASIDE * height, -CLAVICLE_FORWARD * height, SHOULDER_HEIGHT * height),
        shoulder=shoulder,
        elbow=elbow,
        wrist=wrist,
        hand_end=_along(wrist, down_forearm, HAND * height),
        palm=(-math.sin(angle), 0.0, -math.cos(angle)),
    )


def _torso(height: float) -> TorsoGuide:
    levels = (HIP_HEIGHT, WAIST_HEIGHT, CHEST_HEIGHT, NECK_HEIGHT)
    return TorsoGuide(
        root=(0.0, 0.0, 0.0),
        chain=tuple((0.0, 0.0, level * height) for level in levels),
        head=(0.0, 0.0, height),
    )


def _along(start: Vec3, direction: Vec3, distance: float) -> Vec3:
    return (
        start[0] + direction[0] * distance,
        start[1] + direction[1] * distance,
        start[2] + direction[2] * distance,
    )
