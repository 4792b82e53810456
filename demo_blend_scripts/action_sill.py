"""At the lookout's sill: both palms braced while the body leans over and shifts, then off over knuckles and tips."""

from __future__ import annotations

import numpy as np

from ..core.arm.names import ArmNames
from .acting import FLAT, RELAXED, Stage, aim_elbow, curl_fingers, hang, lean, let_go, reach, stand, take_hold
from .action_ladder import LAST as LADDER_LAST
from .action_ladder import TO_WALL, place_at_ladder
from .hands import BUILT_LENGTH, PALM_SKIN
from .posing import aimed, key_dial, placed
from .shaping import Array, turn_z
from .sill import FRONT, TOP
from .steps import STEP_SHAPE, key_shape

FIRST = LADDER_LAST + 1
# Both palms come down, stay, roll off and let go: frames.
REACH, BRACED, ROLL_FIRST, ROLL_LAST = 494, 508, 548, 566
FREE_FROM = ROLL_LAST + 1
LAST = 600
# How far the hand rolls in all, and how far of it over its knuckles, the fingers still flat; degrees.
ROLL, BEND = 70.0, 42.0
# The wrists: half their distance, how far behind the slab's front edge; how much the fingers point inwards (degrees).
HALF_APART, INSIDE = 0.215, -0.020
INWARDS = 14.0


def key_sill(stage: Stage) -> None:
    """From the ladder to the sill, braced, off again."""
    hang(stage, "R", {475: (20, -22, 104, 0, 0), 484: (17, -8, 76, 0, 4), 490: (18, 4, 88, 0, 2)})
    hang(stage, "L", {472: (20, -26, 114, 0, 0), 481: (11, -22, 100, 0, 2), 490: (17, -4, 92, 0, 2)})
    for side in ("L", "R"):
        down = palm_down(stage, side)
        over = down.copy()
        over[:3, 3] += [0.0, -0.03, 0.06]
        reach(stage, side, REACH, {BRACED - 5: over, BRACED: down})
        aim_elbow(stage, side, {BRACED: (0.30, -0.35, -0.15)})
        take_hold(stage, side, "hand", BRACED)
        _roll_off(stage, side)
    for side in ("L", "R"):
        let_go(stage, side, FREE_FROM)
        hang(stage, side, {577: (18, -24, 92, 6, 6), 590: (13, -12, 26, 0, 6), LAST: (13, -9, 22, 0, 6)})
        _key_fingers(stage, side)


def palm_down(stage: Stage, side: str) -> Array:
    """Hand pose (4, 4) with its palm flat on the sill."""
    sign = 1.0 if side == "L" else -1.0
    size = stage.armature.data.bones[ArmNames(side).hold_hand].length / BUILT_LENGTH
    # To the window, the left is -X.
    fingers = turn_z(np.radians(-sign * INWARDS)) @ np.array([0.0, 1.0, 0.0])
    rotation = aimed(fingers, np.cross(fingers, [0.0, 0.0, -1.0]))
    return placed(rotation, np.array([-sign * HALF_APART, FRONT + INSIDE, TOP + size * PALM_SKIN]))


def _roll_off(stage: Stage, side: str) -> None:
    """By the dial: heel up over the knuckles while the fingers stay, then over the fingertips."""
    bone = stage.armature.pose.bones[ArmNames(side).fk_clavicle]
    bone["finger_bend"] = float(np.radians(BEND))
    keys = {ROLL_FIRST: 0.0, ROLL_LAST: ROLL, FREE_FROM: ROLL, FREE_FROM + 14: 0.0}
    key_dial(stage.armature, side, "hand_roll", {frame: float(np.radians(turn)) for frame, turn in keys.items()})


def _key_fingers(stage: Stage, side: str) -> None:
    curl_fingers(
        stage, side, {REACH - 4: RELAXED, BRACED - 3: FLAT, FREE_FROM: FLAT, FREE_FROM + 12: RELAXED, LAST: RELAXED}
    )


def sill_body(stage: Stage) -> None:
    """The walk to the sill; leaning over it and up again."""
    stand(
        stage,
        {
            LADDER_LAST + 1: (*place_at_ladder(0.11), 0.0, TO_WALL),
            472: (-1.25, 0.59, 0.012, -226.0),
            478: (-0.90, 0.30, 0.0, -246.0),
            485: (-0.46, 0.17, 0.012, -236.0),
            492: (-0.10, 0.17, 0.0, -195.0),
            498: (0.0, 0.20, 0.0, -180.0),
            568: (0.0, 0.20, 0.0, -180.0),
            582: (0.0, 0.18, 0.0, -180.0),
            LAST: (0.0, 0.17, 0.0, -176.0),
        },
    )
    for side, frames in (("L", (460, 476)), ("R", (468, 484))):
        for start in frames:
            key_shape(stage.body, f"{STEP_SHAPE}.{side}", {start: 0.0, start + 4: 0.35, start + 8: 0.0})
    lean(stage, _TORSO, _HIPS)


_TORSO = {
    "torso.1": {
        486: (5, 4, -1),
        508: (13, 0, 0),
        522: (17, 4, 4),
        536: (15, -4, -4),
        548: (14, 0, 0),
        566: (12, 0, 0),
        584: (0, 2, 0),
        LAST: (1, 3, 0),
    },
    "torso.2": {
        486: (5, 4, -1),
        508: (8, 0, 0),
        522: (11, 6, 4),
        536: (9, -6, -4),
        548: (8, 0, 0),
        566: (7, 0, 0),
        584: (-2, 3, 0),
        LAST: (0, 4, 0),
    },
    "torso.3": {
        486: (4, 3, -1),
        508: (4, 0, 0),
        522: (8, 7, 3),
        536: (8, -7, -3),
        548: (4, 0, 0),
        566: (4, 0, 0),
        584: (-3, 4, 0),
        LAST: (0, 5, 0),
    },
    "head": {
        472: (-2, 20, 0),
        486: (4, 6, 0),
        508: (-14, 0, 0),
        522: (-20, 22, 3),
        536: (-18, -24, -3),
        548: (-6, 0, 0),
        564: (6, 4, 0),
        580: (-6, 14, 0),
        LAST: (-6, 24, 2),
    },
}
_HIPS = {
    486: (0.0, -0.008, 0.0),
    508: (0.0, -0.010, -0.02),
    522: (0.030, -0.020, 0.0),
    536: (-0.025, -0.018, 0.0),
    548: (0.0, -0.010, -0.01),
    566: (0.0, -0.005, -0.01),
    LAST: (0.0, 0.0, 0.0),
}
