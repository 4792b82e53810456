"""To the ladder, up two rungs hand over hand, a look out to sea from there, and down again.

The hands are held by the ladder itself, which sways: between two rungs a hand is held in the world and travels.
"""

from __future__ import annotations

import bpy
import numpy as np

from ..addon.grab import Thing, hold_range
from .acting import (
    ON_RAIL,
    ON_RUNG,
    OPEN,
    Stage,
    aim_elbow,
    closing,
    curl_fingers,
    draw_back,
    hang,
    isolate,
    lean,
    move_on,
    own_length,
    reach,
    stand,
    take_hold,
)
from .action_gallery import RAIL_LAST, STANCE, STANCE_TURN
from .ladder import DISTANCE, RUNG_THICKNESS, outward_from_wall, rung_in_world
from .lighthouse import CENTRE
from .posing import aimed, grip_pose, pose_of
from .shaping import Array
from .steps import LIFT, PERCH_SHAPE, STEP_SHAPE, key_shape

FIRST = RAIL_LAST + 1
# Rungs by number from below; the left hand's, then the right's: first grip, highest grip, grip on the way down.
LEFT_RUNGS = (5, 7, 5)
RIGHT_RUNGS = (6, 8, 6, 6)
# The climber's right, (3,).
RIGHT = np.cross(-outward_from_wall(), [0.0, 0.0, 1.0])
# How far a hand keeps off the rungs on its way, metres.
OFF_RUNG = 0.09
# Half the distance between the hands on a rung, metres.
HALF_GRIP = 0.135
# Wren stands this far from the rungs, metres, turned to the wall (degrees).
STAND_OFF = 0.33
TO_WALL = -225.0
# A hand leaves a rung and takes the next: frames.
LEFT_GRIPS = ((282, 300), (315, 331), (417, 433))
RIGHT_GRIPS = ((288, 308), (339, 355), (396, 414))
# The left elbow is held as well, while the right hand lets go, points out to sea and is kept there.
BOTH_FIRST, BOTH_LAST = 357, 415
OFF_FROM, FREE_FROM, ISOLATED_FROM, POINT_FIRST, POINT_LAST = 359, 365, 366, 384, 394
RIGHT_DOWN, LEFT_DOWN = 454, 456
# Where the elbows point on the ladder, from the shoulder: aside, forwards, up, metres.
ELBOW_AIM = (0.28, -0.36, -0.40)
# A hand that is done is drawn back over so many frames before it swings free.
OFF = 7
LAST = LEFT_DOWN + OFF


def key_ladder(stage: Stage) -> None:
    """From the rail to the ladder, up and down; both arms are free at the end."""
    draw_back(stage, "R", FIRST, FIRST + OFF, np.array([0.03, 0.11, 0.08]))
    isolate(stage, "R", FIRST + OFF + 2, False)
    hang(stage, "R", {264: (16, -4, 34, 0, 4), 276: (15, 4, 28, 0, 4), 287: (18, 2, 60, 8, 4)})
    hang(stage, "L", {256: (14, -10, 28, 0, 6), 270: (15, -2, 28, 0, 6), 281: (17, 2, 58, 8, 4)})
    _climb(stage)
    _look_out(stage)
    _descend(stage)
    _key_fingers(stage)


def place_at_ladder(back: float = 0.0) -> tuple[float, float]:
    """Where Wren stands in front of the rungs, in plan; `back` metres away from there."""
    x, y, _ = CENTRE + (DISTANCE + STAND_OFF + back) * outward_from_wall()
    return float(x), float(y)


def rung_grip(stage: Stage, side: str, rung: int, frame: int) -> Array:
    """Hand pose (4, 4) that grips a rung where it is at `frame`."""
    bpy.context.scene.frame_set(frame)
    sign = -1.0 if side == "L" else 1.0
    at, ladder = rung_in_world(stage.ladder, rung, sign * HALF_GRIP)
    along = ladder @ np.array([-0.12 * sign, 0.62, 0.78])
    return grip_pose(stage.armature, side, at, aimed(along, -ladder[:, 0]), RUNG_THICKNESS)


def _step_hand(stage: Stage, side: str, start: int, end: int, rung: int, aside: float = 0.0) -> None:
    """One hand to a rung: off at `start`, held by the ladder from `end` on; halfway `aside` metres to the right."""
    there = rung_grip(stage, side, rung, end)
    bpy.context.scene.frame_set(start)
    here = pose_of(stage.armature, f"skin.hand.{side}")
    between = there.copy()
    # Away from the rung first where the way leads down past it.
    left = (0.35 if here[2, 3] < there[2, 3] else 0.65) * (here[:3, 3] - there[:3, 3])
    between[:3, 3] += left + aside * RIGHT + (0.03 if aside else OFF_RUNG) * outward_from_wall() + [0.0, 0.0, 0.05]
    places = {start + round(0.55 * (end - start)): between, end: there}
    reach(stage, side, start, places)
    aim_elbow(stage, side, {end: ELBOW_AIM})
    take_hold(stage, side, "hand", end, Thing(stage.ladder))


def _climb(stage: Stage) -> None:
    for side, grips, rungs in (("L", LEFT_GRIPS, LEFT_RUNGS), ("R", RIGHT_GRIPS, RIGHT_RUNGS)):
        _step_hand(stage, side, *grips[0], rungs[0])
    _step_hand(stage, "L", *LEFT_GRIPS[1], LEFT_RUNGS[1])
    _step_hand(stage, "R", *RIGHT_GRIPS[1], RIGHT_RUNGS[1])


def _look_out(stage: Stage) -> None:
    """The left arm braced, hand and elbow; the right lets go, points at a sail and stays on it; back to a rung."""
    take_hold(stage, "L", "both", BOTH_FIRST, Thing(stage.ladder))
    draw_back(stage, "R", OFF_FROM, FREE_FROM, 0.09 * RIGHT + 0.09 * outward_from_wall() + [0.0, 0.0, 0.04])
    isolate(stage, "R", ISOLATED_FROM, True)
    hang(stage, "R", {POINT_FIRST: (80, -10, 34, 30, -4)})
    hold_range(stage.subject, "R", "hand", None, POINT_FIRST, POINT_LAST)
    move_on(stage, POINT_LAST)


def _descend(stage: Stage) -> None:
    _step_hand(stage, "R", *RIGHT_GRIPS[2], RIGHT_RUNGS[2], 0.14)
    take_hold(stage, "L", "hand", BOTH_LAST, Thing(stage.ladder))
    own_length(stage, "L", BOTH_LAST, LEFT_GRIPS[2][1])
    _step_hand(stage, "L", *LEFT_GRIPS[2], LEFT_RUNGS[2])
    for side, start in (("R", RIGHT_DOWN), ("L", LEFT_DOWN)):
        draw_back(stage, side, start, start + OFF, 0.09 * outward_from_wall() + [0.0, 0.0, 0.03])


# The rail is thicker than a rung, so that fingers around it are curled less.
_AS_ON_RAIL = (ON_RAIL - OPEN) / (ON_RUNG - OPEN)


def _key_fingers(stage: Stage) -> None:
    """Open before a rung is left, closed on the next."""
    for side, grips, more in (
        (
            "R",
            RIGHT_GRIPS,
            {RAIL_LAST - 1: _AS_ON_RAIL, RAIL_LAST + 2: 0.0, OFF_FROM - 1: 1.0, OFF_FROM + 3: 0.0, RIGHT_DOWN - 3: 1.0},
        ),
        ("L", LEFT_GRIPS, {260: 0.25, BOTH_FIRST: 1.0, LEFT_DOWN - 3: 1.0}),
    ):
        values = dict(more)
        for start, end in grips:
            first = start == grips[0][0] or (side == "R" and start > FREE_FROM)
            values |= {start: 0.1 if first else 1.0, start + 4: 0.05, end - 3: 0.15, end: 1.0}
        values[(RIGHT_DOWN if side == "R" else LEFT_DOWN) + 2] = 0.05
        curl_fingers(stage, side, closing(dict(sorted(values.items())), ON_RUNG, OPEN))


def ladder_body(stage: Stage) -> None:
    """The walk to the ladder, two steps up, two down; torso and head."""
    x, y = place_at_ladder()
    stand(
        stage,
        {
            RAIL_LAST - 5: (*STANCE, STANCE_TURN),
            256: (-0.20, 0.14, 0.012, -72.0),
            264: (-0.56, 0.19, 0.0, -120.0),
            272: (-0.93, 0.38, 0.012, -165.0),
            280: (-1.20, 0.58, 0.0, -205.0),
            288: (x, y, 0.0, TO_WALL),
            313: (x, y, 0.0, TO_WALL),
            330: (x, y, LIFT, TO_WALL),
            338: (x, y, LIFT, TO_WALL),
            354: (x, y, 2.0 * LIFT, TO_WALL),
            416: (x, y, 2.0 * LIFT, TO_WALL),
            430: (x, y, LIFT, TO_WALL),
            436: (x, y, LIFT, TO_WALL),
            452: (x, y, 0.0, TO_WALL),
        },
    )
    lean(stage, _TORSO, _HIPS)
    # A boot that stands on a rung stays there while the body rises or sinks: its shape goes as the root does. The other
    # one is drawn back from the rungs on its way.
    for name, keys in _LEGS.items():
        key_shape(stage.body, name, keys)


_LEGS = {
    f"{STEP_SHAPE}.L": {
        **{248: 0.0, 252: 0.35, 256: 0.0, 264: 0.0, 268: 0.35, 272: 0.0},
        **{302: 0.0, 311: 1.0, 313: 1.0, 330: 0.0},
        **{436: 0.0, 452: 1.0, 459: 0.0},
    },
    f"{PERCH_SHAPE}.L": {308: 0.0, 313: 1.0, 336: 1.0, 340: 0.0, 351: 0.0, 356: 1.0}
    | {411: 1.0, 416: 0.0, 428: 0.0, 433: 1.0, 451: 1.0, 455: 0.0},
    f"{STEP_SHAPE}.R": {
        **{256: 0.0, 260: 0.35, 264: 0.0, 272: 0.0, 276: 0.35, 280: 0.0},
        **{329: 0.0, 336: 1.0, 338: 1.0, 354: 0.0},
        **{416: 0.0, 430: 1.0, 436: 0.0},
    },
    f"{PERCH_SHAPE}.R": {333: 0.0, 338: 1.0, 429: 1.0, 433: 0.0},
}

_TORSO = {
    "torso.1": {
        256: (4, 6, 2),
        272: (5, -6, -2),
        288: (1, 0, 0),
        306: (-4, 2, 1),
        314: (-6, 0, 0),
        322: (-2, -5, -3),
        330: (-3, -3, -2),
        338: (-6, 0, 0),
        346: (-2, 6, 3),
        356: (-3, 3, 2),
        380: (-4, -10, 3),
        392: (-3, -13, 4),
        412: (-3, 0, 0),
        430: (-3, -3, -2),
        438: (-6, 0, 0),
        454: (-6, 0, 0),
        478: (2, -2, 0),
    },
    "torso.2": {
        256: (4, 5, 1),
        272: (5, -6, -1),
        288: (-1, 0, 0),
        306: (-5, 3, 1),
        314: (-7, 0, 0),
        322: (-3, -6, -4),
        330: (-5, -4, -3),
        338: (-7, 0, 0),
        346: (-3, 7, 4),
        356: (-5, 3, 3),
        380: (-6, -14, 4),
        392: (-4, -18, 6),
        412: (-5, 0, 0),
        430: (-4, -4, -3),
        438: (-7, 0, 0),
        454: (-7, 0, 0),
        478: (2, -2, 0),
    },
    "torso.3": {
        256: (3, 4, 1),
        272: (4, -4, -1),
        288: (-2, 0, 0),
        306: (-6, 3, 1),
        314: (-8, 0, 0),
        322: (-3, -5, -3),
        330: (-5, -3, -3),
        338: (-8, 0, 0),
        346: (-3, 6, 4),
        356: (-5, 2, 3),
        380: (-5, -14, 2),
        392: (-4, -18, 4),
        412: (-5, 0, 0),
        430: (-4, -3, -3),
        438: (-8, 0, 0),
        454: (-7, 0, 0),
        478: (2, -2, 0),
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
        378: (4, -44, 4),
        392: (6, -48, 2),
        410: (14, -14, 0),
        420: (20, 10, 0),
        436: (20, -8, 0),
        452: (4, 0, 0),
    },
}
_HIPS = {
    264: (0.0, -0.010, 0.0),
    288: (0.0, 0.0, 0.0),
    313: (0.015, -0.015, 0.0),
    322: (0.0, 0.0, -0.045),
    330: (0.010, 0.0, -0.005),
    337: (-0.015, -0.012, 0.0),
    345: (0.0, 0.0, -0.060),
    354: (-0.010, 0.0, -0.005),
    380: (0.02, -0.010, -0.020),
    392: (0.03, -0.012, -0.025),
    416: (0.0, 0.0, 0.0),
    444: (0.0, 0.0, -0.030),
    454: (0.0, 0.0, -0.030),
    478: (0.0, -0.008, 0.0),
}
