"""The FK arm: controls that always sit on the arm's joints, and what they inherit (docs/arm.md, 2, 9, 12)."""

from __future__ import annotations

import numpy as np

from ..frames import FOREARM_ORDER, HAND_ORDER, UPPER_ARM_ORDER
from ..plan.draft import Draft, rest_rows
from ..plan.model import LOCKED, Bone, Display
from . import names as n
from .context import ArmContext, Array, blend_to, place_at, placed, working

# Width of a control's band along the bone, over the bone's length.
BAND = 0.16


def add_isolation(draft: Draft, arm: ArmContext) -> None:
    """What the FK upper arm inherits: from the clavicle, or by the dial from a frame outside the torso."""
    names, frames = arm.names, arm.frames
    # Axes of the armature: see docs/arm.md, "What the host rounds".
    axes = placed(np.eye(4), frames.upper_arm[:3, 3])
    draft.bones.append(working(names.level, arm.root, axes, frames.upper_length))
    draft.bones.append(working(names.inherit, names.fk_clavicle, axes, frames.upper_length))
    blend_to(draft, arm, names.inherit, "level", names.level, n.ISOLATE)
    place_at(draft, names.inherit, names.fk_clavicle, tail=True)


def add_fk_upper_arm(draft: Draft, arm: ArmContext) -> None:
    """The upper arm's control: it turns about the shoulder as it is before the lift, and is drawn on the arm."""
    names, frames = arm.names, arm.frames
    draft.bones.append(
        _control(
            names.fk_upper_arm,
            names.inherit,
            frames.upper_arm,
            frames.upper_length,
            UPPER_ARM_ORDER,
            (arm.around(frames.girth.upper_arm),) * 2,
            names.upper_arm,
        )
    )


def add_fk_forearm(draft: Draft, arm: ArmContext) -> None:
    """The forearm's control, at the elbow; a held elbow's forearm turns in the hold's frame."""
    names, frames = arm.names, arm.frames
    elbow = placed(frames.upper_arm, frames.forearm[:3, 3])
    draft.bones.append(working(names.elbow, names.upper_arm, elbow, 0.2 * frames.forearm_length))
    draft.bones.append(working(names.elbow_socket, names.fk_upper_arm, elbow, 0.2 * frames.forearm_length))
    blend_to(draft, arm, names.elbow_socket, "hold", names.hold_elbow, n.ELBOW)
    place_at(draft, names.elbow_socket, names.elbow)
    draft.bones.append(
        _control(
            names.fk_forearm,
            names.elbow_socket,
            frames.forearm,
            frames.forearm_length,
            FOREARM_ORDER,
            (arm.around(frames.girth.forearm),) * 2,
            names.forearm,
        )
    )


def add_fk_hand(draft: Draft, arm: ArmContext) -> None:
    """The hand's control, at the wrist, turning with the FK forearm."""
    names, frames = arm.names, arm.frames
    wrist = placed(frames.forearm, frames.hand[:3, 3])
    draft.bones.append(working(names.wrist, names.forearm, wrist, 0.2 * frames.hand_length))
    place_at(draft, names.fk_hand, names.wrist)
    draft.bones.append(
        _control(
            names.fk_hand,
            names.fk_forearm,
            frames.hand,
            frames.hand_length,
            HAND_ORDER,
            (arm.around(frames.girth.hand_width), arm.around(frames.girth.hand_depth)),
            names.hand,
        )
    )


def _control(
    name: str, parent: str, frame: Array, length: float, order: str, radii: tuple[float, float], at: str
) -> Bone:
    """An FK control, drawn as a band of `radii` along X and Z around the limb."""
    return Bone(
        name=name,
        parent=parent,
        rest=rest_rows(frame),
        length=length,
        collection=n.COLLECTION_FK,
        rotation_order=order,
        lock_location=LOCKED,
        display=Display("band", "body", (radii[0], BAND * length, radii[1]), (0.0, 0.45 * length, 0.0), at),
    )
