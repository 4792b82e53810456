"""A planted hand: what it rolls over, below the hand hold, and the bone that its fingers stand on (docs/arm.md, "The
planted hand").

A chain of bones, each with its head at one of the points and one driven channel, leads from the hold to the hand's
goal, which is what the arm reaches for. Moving one of these bones in edit mode moves the point that it stands for.
"""

from __future__ import annotations

import math
from dataclasses import replace

from ..plan.draft import Draft
from ..plan.model import Bone, Variable
from . import names as n
from .context import ArmContext, dial, number, placed, working

# How far the fingers' roots bend back before the hand rolls on over their tips: extension of the metacarpophalangeal
# joints, AAOS (from memory).
FINGER_BEND = math.radians(45.0)
# Points of hand_frames.PivotPoints from the hold to the goal, and the Euler channel that turns about each of them.
CHAIN = (("palm", 2), ("outer_edge", 1), ("thumb_edge", 1), ("heel", 0), ("fingertips", 0), ("knuckles", 0))
# Length of these bones, which nobody sees, over the hand's.
SIZE = 0.2


def add_plant(draft: Draft, arm: ArmContext) -> None:
    """The chain from the hand hold to the hand's goal."""
    names, frames = arm.names, arm.frames
    parent = names.hold_hand
    for point, index in CHAIN:
        bone = names.pivot(point)
        draft.bones.append(_bone(arm, bone, parent, point))
        expression, variables = _turn(arm, point)
        draft.drive(bone, "rotation_euler", expression, *variables, index=index)
        parent = bone
    draft.bones.append(working(names.hand_goal, parent, frames.hand, SIZE * frames.hand_length))


def add_finger_base(draft: Draft, arm: ArmContext) -> None:
    """What carries the fingers: it goes with the hand, and turns back where the hand rolls over its knuckles.

    In every mode, so that a change of what is held moves no finger.
    """
    names = arm.names
    draft.bones.append(_bone(arm, names.fingers, names.hand, "knuckles"))
    expression, variables = _turn(arm, "knuckles")
    draft.drive(names.fingers, "rotation_euler", f"-{expression}", *variables, index=0)


def roles(names: n.ArmNames) -> tuple[tuple[str, str], ...]:
    """The parts that the switcher and the proof look for."""
    return (("fingers", names.fingers), *((f"pivot_{point}", names.pivot(point)) for point, _ in CHAIN))


def default_bend(arm: ArmContext) -> float:
    """Default of the finger bend, radians: a hand without fingers has none to bend."""
    return FINGER_BEND if any(not finger.thumb for finger in arm.frames.fingers) else 0.0


def _bone(arm: ArmContext, name: str, parent: str, point: str) -> Bone:
    """A working bone with the hand's axes and its head at a point of the hand."""
    hand = arm.frames.hand
    head = hand[:3, :3] @ getattr(arm.frames.pivots, point) + hand[:3, 3]
    # Euler channels: one of them is driven, and the order of the others does not matter.
    return replace(working(name, parent, placed(hand, head), SIZE * arm.frames.hand_length), rotation_order="XYZ")


def _turn(arm: ArmContext, point: str) -> tuple[str, tuple[Variable, ...]]:
    """Expression and variables of the turn about a point."""
    roll, bend = dial(arm, "roll", n.HAND_ROLL), dial(arm, "bend", n.FINGER_BEND)
    side, spin = dial(arm, "side", n.HAND_SIDE), dial(arm, "spin", n.HAND_SPIN)
    pivots, zero = arm.frames.pivots, number(0.0)
    # Equal dials of both hands are mirror images: about Y and Z a mirror turns the other way.
    side_sign, spin_sign = ("", "-") if pivots.thumb_edge[0] > pivots.outer_edge[0] else ("-", "")
    return {
        "palm": (f"{spin_sign}spin", (spin,)),
        "outer_edge": (f"{side_sign}max(side,{zero})", (side,)),
        "thumb_edge": (f"{side_sign}min(side,{zero})", (side,)),
        "heel": (f"min(roll,{zero})", (roll,)),
        "fingertips": (f"max(roll-bend,{zero})", (roll, bend)),
        "knuckles": (f"clamp(roll,{zero},bend)", (roll, bend)),
    }[point]
