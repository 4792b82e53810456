"""To the ladder, up two rungs hand over hand, a look out to sea from there, and down again.

The hands are held by the ladder itself, which sways: between two rungs a hand is held in the world and travels.
"""

from __future__ import annotations

import bpy
import numpy as np

from ..addon.grab import Thing, hold_range
from .acting import Stage, aim_elbow, hang, isolate, lean, let_go, move_on, reach, stand, take_hold
from .action_gallery import RAIL_LAST, STANCE, STANCE_TURN
from .hands import GRIP_SHAPE
from .ladder import DISTANCE, RUNG_THICKNESS, outward_from_wall, rung_in_world
from .lighthouse import CENTRE
from .posing import aimed, grip_pose, pose_of
from .shaping import Array
from .steps import LIFT, PERCH_SHAPE, STEP_SHAPE, key_shape

FIRST = RAIL_LAST + 1
# Rungs by number from below; the left hand's, then the right's: first grip, highest grip, grip on the way down.
LEFT_RUNGS = (5, 7, 5)
RIGHT_RUNGS = (6, 8, 6, 6)
# Half the distance between the hands on a rung, metres.
HALF_GRIP = 0.115
# Wren stands this far from the rungs, metres, turned to the wall (degrees).
STAND_OFF = 0.265
TO_WALL = -225.0
# A hand leaves a rung and takes the next: frames.
LEFT_GRIPS = ((286, 298), (316, 330), (412, 426))
RIGHT_GRIPS = ((294, 306), (340, 354), (392, 404))
# The left elbow is held as well, while the right hand lets go, points out to sea and is kept there.
BOTH_FIRST, BOTH_LAST = 357, 406
FREE_FROM, ISOLATED_FROM, POINT_FIRST, POINT_LAST = 361, 363, 374, 386
RIGHT_DOWN, LEFT_DOWN = 448, 450
# Where the elbows point on the ladder, from the shoulder: aside, forwards, up, metres.
ELBOW_AIM = (0.30, -0.10, -0.40)
LAST = LEFT_DOWN


def key_ladder(stage: Stage) -> None:
    """From the rail to the ladder, up and down; both arms are free at the end."""
    _key_body(stage)
    let_go(stage, "R", FIRST)
    isolate(stage, "R", FIRST + 2, False)
    hang(stage, "R", {262: (16, -4, 30, 0, 4), 274: (15, 12, 26, 0, 4), 288: (24, 38, 60, 10, 4)})
    hang(stage, "L", {256: (14, -10, 28, 0, 6), 268: (15, -16, 24, 0, 6), 280: (22, 30, 55, 10, 4)})
    _climb(stage)
    _look_out(stage)
    _descend(stage)
    _key_mittens(stage)


def rung_grip(stage: Stage, side: str, rung: int, frame: int) -> Array:
    """Hand pose (4, 4) that grips a rung where it is at `frame`."""
    bpy.context.scene.frame_set(frame)
    sign = -1.0 if side == "L" else 1.0
    at, ladder = rung_in_world(stage.ladder, rung, sign * HALF_GRIP)
    along = ladder @ np.array([-0.12 * sign, 0.62, 0.78])
    return grip_pose(stage.armature, side, at, aimed(along, -ladder[:, 0]), RUNG_THICKNESS)


def _step_hand(stage: Stage, side: str, start: int, end: int, rung: int, out: float) -> None:
    """One hand to a rung: off at `start`, in the air `out` metres away from the ladder, held by it from `end` on."""
    there = rung_grip(stage, side, rung, end)
    bpy.context.scene.frame_set(start)
    here = pose_of(stage.armature, f"skin.hand.{side}")
    middle = there.copy()
    middle[:3, 3] = 0.5 * (here[:3, 3] + there[:3, 3]) + out * outward_from_wall()
    reach(stage, side, start, {(start + end) // 2: middle, end: there})
    aim_elbow(stage, side, {end: ELBOW_AIM})
    take_hold(stage, side, "hand", end, Thing(stage.ladder))


def _climb(stage: Stage) -> None:
    for side, grips, rungs in (("L", LEFT_GRIPS, LEFT_RUNGS), ("R", RIGHT_GRIPS, RIGHT_RUNGS)):
        _step_hand(stage, side, *grips[0], rungs[0], 0.05)
    _step_hand(stage, "L", *LEFT_GRIPS[1], LEFT_RUNGS[1], 0.07)
    _step_hand(stage, "R", *RIGHT_GRIPS[1], RIGHT_RUNGS[1], 0.07)


def _look_out(stage: Stage) -> None:
    """The left arm braced, hand and elbow; the right lets go, points at a sail and stays on it; back to a rung."""
    take_hold(stage, "L", "both", BOTH_FIRST, Thing(stage.ladder))
    let_go(stage, "R", FREE_FROM)
    isolate(stage, "R", ISOLATED_FROM, True)
    hang(stage, "R", {POINT_FIRST: (84, -20, 14, 30, -4), POINT_LAST + 3: (76, -16, 26, 24, -6)})
    hold_range(stage.subject, "R", "hand", None, POINT_FIRST, POINT_LAST)
    move_on(stage, POINT_LAST)


def _descend(stage: Stage) -> None:
    _step_hand(stage, "R", *RIGHT_GRIPS[2], RIGHT_RUNGS[2], 0.05)
    take_hold(stage, "L", "hand", BOTH_LAST, Thing(stage.ladder))
    _step_hand(stage, "L", *LEFT_GRIPS[2], LEFT_RUNGS[2], 0.08)
    let_go(stage, "R", RIGHT_DOWN)
    let_go(stage, "L", LEFT_DOWN)


def _key_mittens(stage: Stage) -> None:
    """Open before a rung is left, closed on the next."""
    for side, grips, more in (
        ("R", RIGHT_GRIPS, {RAIL_LAST: 1.0, FIRST + 6: 0.2, FREE_FROM: 1.0, FREE_FROM + 5: 0.0, RIGHT_DOWN: 1.0}),
        ("L", LEFT_GRIPS, {260: 0.25, BOTH_FIRST: 1.0, LEFT_DOWN: 1.0}),
    ):
        values = dict(more)
        for start, end in grips:
            first = start == grips[0][0] or values.get(FREE_FROM) is not None and start > FREE_FROM
            values |= {start: 0.1 if first else 1.0, start + 4: 0.05, end - 3: 0.15, end: 1.0}
        values[(RIGHT_DOWN if side == "R" else LEFT_DOWN) + 6] = 0.2
        key_shape(stage.hands, f"{GRIP_SHAPE}.{side}", dict(sorted(values.items())))


def _key_body(stage: Stage) -> None:
    """The walk to the ladder, two steps up, two down; torso and head."""
    x, y, _ = CENTRE + (DISTANCE + STAND_OFF) * outward_from_wall()
    stand(
        stage,
        {
            RAIL_LAST - 5: (*STANCE, STANCE_TURN),
            256: (-0.17, 0.13, 0.012, -75.0),
            264: (-0.46, 0.36, 0.0, -120.0),
            272: (-0.80, 0.58, 0.012, -165.0),
            280: (-1.08, 0.70, 0.0, -205.0),
            288: (x, y, 0.0, TO_WALL),
            313: (x, y, 0.0, TO_WALL),
            330: (x, y, LIFT, TO_WALL),
            337: (x, y, LIFT, TO_WALL),
            354: (x, y, 2.0 * LIFT, TO_WALL),
            408: (x, y, 2.0 * LIFT, TO_WALL),
            424: (x, y, LIFT, TO_WALL),
            430: (x, y, LIFT, TO_WALL),
            446: (x, y, 0.0, TO_WALL),
        },
    )
    lean(stage, _TORSO, _HIPS)
    body = stage.body
    key_shape(body, PERCH_SHAPE, {304: 0.0, 313: 1.0, 440: 1.0, 452: 0.0})
    # A boot that stands on a rung stays there while the body rises: the shape goes as the root does.
    key_shape(
        body,
        f"{STEP_SHAPE}.L",
        {248: 0.0, 252: 0.35, 256: 0.0, 264: 0.0, 268: 0.35, 272: 0.0, 302: 0.0, 313: 1.0, 330: 0.0, 424: 0.0, 430: 0.0},
    )
    key_shape(
        body,
        f"{STEP_SHAPE}.R",
        {256: 0.0, 260: 0.35, 264: 0.0, 272: 0.0, 276: 0.35, 280: 0.0, 330: 0.0, 337: 1.0, 354: 0.0},
    )


_TORSO = {
    "torso.1": {
        256: (4, 6, 2),
        272: (5, -6, -2),
        288: (1, 0, 0),
        306: (-2, 2, 1),
        322: (-1, -5, -3),
        330: (-3, -3, -2),
        346: (-1, 6, 3),
        356: (-3, 3, 2),
        374: (-4, -10, 3),
        388: (-3, -13, 4),
        404: (-3, 0, 0),
        424: (-1, -3, -2),
        446: (1, 3, 1),
    },
    "torso.2": {
        256: (4, 5, 1),
        272: (5, -6, -1),
        288: (-1, 0, 0),
        306: (-4, 3, 1),
        322: (-2, -6, -4),
        330: (-5, -4, -3),
        346: (-2, 7, 4),
        356: (-5, 3, 3),
        374: (-6, -14, 4),
        388: (-4, -18, 6),
        404: (-5, 0, 0),
        424: (-2, -4, -3),
        446: (0, 3, 1),
    },
    "torso.3": {
        256: (3, 4, 1),
        272: (4, -4, -1),
        288: (-2, 0, 0),
        306: (-5, 3, 1),
        322: (-2, -5, -3),
        330: (-5, -3, -3),
        346: (-2, 6, 4),
        356: (-5, 2, 3),
        374: (-5, -14, 2),
        388: (-4, -18, 4),
        404: (-5, 0, 0),
        424: (-2, -3, -3),
        446: (0, 2, 1),
    },
    "head": {
        256: (-4, -26, 0),
        272: (-2, -20, 0),
        288: (-12, -4, 0),
        306: (-12, -6, 2),
        318: (-14, 10, 4),
        330: (-10, 8, 2),
        342: (-14, -12, -4),
        356: (-8, -10, -2),
        372: (4, -44, 4),
        388: (6, -48, 2),
        402: (14, -14, 0),
        412: (20, 10, 0),
        430: (20, -8, 0),
        446: (4, 0, 0),
    },
}
_HIPS = {
    264: (0.0, -0.010, 0.0),
    288: (0.0, 0.0, 0.0),
    313: (0.015, -0.015, 0.0),
    330: (0.010, 0.0, 0.010),
    337: (-0.015, -0.012, 0.0),
    354: (-0.010, 0.0, 0.010),
    374: (0.02, -0.010, -0.020),
    388: (0.03, -0.012, -0.025),
    406: (0.0, 0.0, 0.0),
    446: (0.0, 0.0, 0.0),
}
