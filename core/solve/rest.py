"""Poses at rest, to start settings from: `dataclasses.replace` what a test or a study wants to differ."""

from __future__ import annotations

import numpy as np

from .settings import ArmGeometry, ArmSettings, Array

# Where the elbow aim stands, arm lengths behind the elbow.
AIM_DISTANCE = 0.75


def rest_settings(geometry: ArmGeometry, count: int) -> ArmSettings:
    """`count` times the rest pose: channels and dials 0, length dials 1, holds where the joints are.

    The elbow hold is the upper arm's rest orientation at the elbow, the hand hold the hand's rest frame; the aim is
    where the elbow points, against the side to which it bends (the upper arm's -Z), AIM_DISTANCE arm lengths away.
    """
    g = geometry
    elbow_hold = g.upper_arm.copy()
    elbow_hold[:3, 3] = g.forearm[:3, 3]
    aim = g.forearm[:3, 3] - g.upper_arm[:3, 2] * (AIM_DISTANCE * (g.upper_length + g.forearm_length))

    def repeated(value: Array) -> Array:
        return np.broadcast_to(value, (count, *value.shape)).copy()

    def dial(value: float = 0.0) -> Array:
        return np.full(count, value)

    return ArmSettings(
        torso=repeated(g.torso),
        root=repeated(g.root),
        clavicle=np.zeros((count, 3)),
        upper_arm=np.zeros((count, 3)),
        forearm=np.zeros((count, 3)),
        hand=np.zeros((count, 3)),
        hand_hold=repeated(g.hand),
        elbow_hold=repeated(elbow_hold),
        aim=repeated(aim),
        ik=dial(),
        elbow=dial(),
        isolate=dial(),
        lift=dial(),
        stretch=dial(),
        soft=dial(),
        volume=dial(),
        upper_length=dial(1.0),
        forearm_length=dial(1.0),
        upper_roll=dial(),
        hand_roll=dial(),
        hand_side=dial(),
        hand_spin=dial(),
        finger_bend=dial(),
    )
