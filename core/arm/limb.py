"""The arm as it ends up: FK, IK and a held elbow blended by rotation, joints placed exactly (docs/arm.md, 7, 8, 11
and 12).
"""

from __future__ import annotations

from ..plan.draft import Draft
from . import names as n
from .context import (
    ArmContext,
    blend_to,
    computed,
    dial,
    distance,
    keep_size,
    number,
    object_scale,
    place_at,
    skin,
    working,
)
from .fingers import palm_length
from .ik import GROW, HELD

NEED = "need"


def add_upper_arm(draft: Draft, arm: ArmContext) -> None:
    """From the FK control's orientation towards the IK arm, then towards a held elbow."""
    names, frames = arm.names, arm.frames
    draft.bones.append(working(names.upper_arm, names.fk_upper_arm, frames.upper_arm, frames.upper_length))
    blend_to(draft, arm, names.upper_arm, "ik", names.ik_upper_arm, n.IK)
    keep_size(draft, arm, names.upper_arm)
    place_at(draft, names.upper_arm, names.clavicle, tail=True)
    draft.constrain(names.upper_arm, "hold", "damped_track", names.hold_elbow, axis="Y")
    draft.drive_constraint(names.upper_arm, "hold", "influence", "elbow", dial(arm, "elbow", n.ELBOW))
    # Over a large turn the host's track is off by up to 1.7e-6 radians, over a small one by a tenth of that: once more.
    draft.constrain(names.upper_arm, "exact", "damped_track", names.hold_elbow, axis="Y")
    draft.drive_constraint(names.upper_arm, "exact", "influence", "1 if elbow >= 1 else 0", dial(arm, "elbow", n.ELBOW))


def place_elbow(draft: Draft, arm: ArmContext) -> None:
    """The elbow joint at the blended length along the upper arm."""
    names = arm.names
    rest = number(arm.frames.upper_length)
    draft.drive(
        names.elbow,
        "location",
        f"(1 - elbow) * {rest} * u * (1 + ik * (grow - 1)) + elbow * held - {rest}",
        dial(arm, "u", n.UPPER_LENGTH),
        dial(arm, "ik", n.IK),
        dial(arm, "elbow", n.ELBOW),
        computed("grow", names.ik_span, GROW),
        computed("held", names.ik_span, HELD),
        index=1,
    )


def add_forearm(draft: Draft, arm: ArmContext) -> None:
    """From the FK control's orientation towards the IK forearm."""
    names, frames, options = arm.names, arm.frames, arm.options
    draft.bones.append(working(names.forearm, names.fk_forearm, frames.forearm, frames.forearm_length))
    blend_to(draft, arm, names.forearm, "ik", names.ik_forearm, n.IK)
    keep_size(draft, arm, names.forearm)
    place_at(draft, names.forearm, names.elbow)
    rest = number(frames.forearm_length)
    draft.compute(
        names.ik_forearm,
        NEED,
        1.0,
        f"1 + stretch * (min(max(d / z / ({rest} * f), {number(options.shortest)}), "
        f"{number(options.stretch_limit)}) - 1)",
        distance("d", names.ik_forearm, names.hand_goal),
        object_scale(),
        dial(arm, "f", n.FOREARM_LENGTH),
        dial(arm, "stretch", n.STRETCH),
        help="growth of the forearm by the stretch dial",
    )


def place_wrist(draft: Draft, arm: ArmContext) -> None:
    """The wrist joint at the blended length along the forearm."""
    names = arm.names
    rest = number(arm.frames.forearm_length)
    draft.drive(
        names.wrist,
        "location",
        f"{rest} * f * (1 + ik * (need - 1)) - {rest}",
        dial(arm, "f", n.FOREARM_LENGTH),
        dial(arm, "ik", n.IK),
        computed("need", names.ik_forearm, NEED),
        index=1,
    )


def add_hand(draft: Draft, arm: ArmContext) -> None:
    """From the FK control's orientation towards the hand hold's."""
    names, frames = arm.names, arm.frames
    draft.bones.append(skin(names.hand, names.fk_hand, frames.hand, palm_length(frames)))
    blend_to(draft, arm, names.hand, "ik", names.hand_goal, n.IK)
    place_at(draft, names.hand, names.wrist)
