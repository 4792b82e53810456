"""The IK arm in closed form (docs/arm.md, 5, 6, 7, 10).

A span bone turns from the shoulder to the hand hold and rolls to the elbow aim; in its plane the law of cosines turns
the upper arm. What is carried between drivers is the slack (how far the arm is from straight) and not the reach: next
to a
straight arm the slack keeps its digits in single precision, the reach would lose them.
"""

from __future__ import annotations

import math

import numpy as np

from ..frames import FOREARM_ORDER
from ..plan.draft import Draft
from ..plan.model import Variable
from . import names as n
from .context import ArmContext, computed, dial, distance, keep_size, number, object_scale, placed, span_frame, working

SLACK = "slack"
WHOLE = "whole"
GROW = "grow"
HELD = "held_length"


def add_ik(draft: Draft, arm: ArmContext) -> None:
    """Span, IK upper arm and IK forearm, with what the elbow hold does to them."""
    names, frames = arm.names, arm.frames
    shoulder = frames.upper_arm[:3, 3]
    span = placed(span_frame(arm), shoulder)
    draft.bones.append(working(names.ik_span, names.clavicle, span, 0.5 * frames.length))
    draft.constrain(names.ik_span, "hand", "damped_track", names.hand_goal, axis="Y")
    draft.constrain(names.ik_span, "aim", "locked_track", names.aim_elbow, axis="-Z", lock="Y")
    _add_reach(draft, arm)

    draft.bones.append(working(names.ik_upper_arm, names.ik_span, frames.upper_arm, frames.upper_length, "YXZ"))
    _turn_upper_arm(draft, arm)
    draft.bones.append(working(names.ik_held, names.ik_upper_arm, frames.upper_arm, frames.upper_length))
    draft.constrain(names.ik_held, "hold", "damped_track", names.hold_elbow, axis="Y")
    draft.drive_constraint(names.ik_held, "hold", "influence", "elbow", dial(arm, "elbow", n.ELBOW))
    keep_size(draft, arm, names.ik_held)

    elbow = placed(frames.upper_arm, frames.forearm[:3, 3])
    draft.bones.append(working(names.ik_forearm, names.ik_held, elbow, frames.forearm_length, FOREARM_ORDER))
    # The track that follows keeps the roll: it turns about an axis at right angles to it.
    roll = Variable("roll", "channel", bone=names.fk_forearm, channel="rotation_euler", index=1)
    draft.drive(names.ik_forearm, "rotation_euler", "roll", roll, index=1)
    upper = f"{number(frames.upper_length)} * u * grow"
    draft.drive(
        names.ik_forearm,
        "location",
        f"{upper} + elbow * (held - {upper}) - {number(frames.upper_length)}",
        dial(arm, "u", n.UPPER_LENGTH),
        dial(arm, "elbow", n.ELBOW),
        computed("grow", names.ik_span, GROW),
        computed("held", names.ik_span, HELD),
        index=1,
    )
    draft.constrain(names.ik_forearm, "hand", "damped_track", names.hand_goal, axis="Y")
    # Over a large turn the host's track is off by up to 1.7e-6 radians, over a small one by a tenth of that: once more.
    draft.constrain(names.ik_forearm, "exact", "damped_track", names.hand_goal, axis="Y")


def _lengths(arm: ArmContext) -> tuple[str, str, str]:
    """Dialled lengths of upper arm, forearm and both, as expressions in `u` and `f`."""
    upper, fore = number(arm.frames.upper_length), number(arm.frames.forearm_length)
    return f"{upper}*u", f"{fore}*f", f"({upper}*u+{fore}*f)"


def _add_reach(draft: Draft, arm: ArmContext) -> None:
    """Properties of the span: the straight arm's length, the slack, both segments' growth, the held upper arm."""
    names, options = arm.names, arm.options
    a, b, whole = _lengths(arm)
    u, f = dial(arm, "u", n.UPPER_LENGTH), dial(arm, "f", n.FOREARM_LENGTH)
    to_hand = distance("d", names.ik_span, names.hand_goal)
    draft.compute(
        names.ik_span, WHOLE, arm.frames.length, f"{a}+{b}", u, f, help="length of the straight arm as dialled, metres"
    )
    # The nearest reach m of the folded arm: m² = (a + b)² - 2ab (1 - cos(fold_limit)).
    lengths = arm.frames.upper_length * arm.frames.forearm_length
    folded = number(2.0 * lengths * (1.0 - math.cos(options.fold_limit)))
    knee = f"{number(options.soft_share)}*soft*w"
    draft.compute(
        names.ik_span,
        SLACK,
        0.0,
        f"min(w-d/z if d/z<=w-{knee} else {knee}*exp((w-{knee}-d/z)/max({knee},1e-9)),w-sqrt(w*w-{folded}*u*f))",
        computed("w", names.ik_span, WHOLE),
        to_hand,
        object_scale(),
        dial(arm, "soft", n.SOFT),
        u,
        f,
        help="how far the arm is from straight, metres",
    )
    draft.compute(
        names.ik_span,
        GROW,
        1.0,
        f"1+stretch*(min(max(d/z/({whole}-slack),1),{number(options.stretch_limit)})-1)",
        u,
        f,
        to_hand,
        object_scale(),
        dial(arm, "stretch", n.STRETCH),
        computed("slack", names.ik_span, SLACK),
        help="growth of both segments by the stretch dial",
    )
    rest = arm.frames.upper_length
    draft.compute(
        names.ik_span,
        HELD,
        rest,
        f"min(max(d/z,{number(options.shortest * rest)}),{number(options.longest * rest)})",
        distance("d", names.ik_span, names.hold_elbow),
        object_scale(),
        help="length of the upper arm when the elbow is held, metres",
    )


def _turn_upper_arm(draft: Draft, arm: ArmContext) -> None:
    """The upper arm leaves the span by the triangle's angle at the shoulder, about the hinge, towards the aim.

    Before that, seen in its order YXZ, it rolls about itself.
    """
    names, frames = arm.names, arm.frames
    a, b, _ = _lengths(arm)
    rest = float(np.arccos(np.clip(span_frame(arm)[:3, 1] @ frames.upper_arm[:3, 1], -1.0, 1.0)))
    draft.drive(
        names.ik_upper_arm,
        "rotation_euler",
        f"{number(rest)}-atan2(sqrt(max(0,slack*(2*w-slack)*(pow(w-slack,2)-pow({a}-{b},2)))),"
        f"pow({a},2)-pow({b},2)+pow(w-slack,2))",
        dial(arm, "u", n.UPPER_LENGTH),
        dial(arm, "f", n.FOREARM_LENGTH),
        computed("w", names.ik_span, WHOLE),
        computed("slack", names.ik_span, SLACK),
        index=0,
    )
    draft.drive(names.ik_upper_arm, "rotation_euler", "roll", dial(arm, "roll", n.UPPER_ROLL), index=1)
