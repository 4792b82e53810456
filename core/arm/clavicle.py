"""The shoulder: a clavicle control, and a lift that follows the raised arm (docs/arm.md, 1, 3, 4).

The lift reads how far the arm is raised from bones that come before it: the FK control, which turns about the
shoulder as it is before the lift, and for holds a shoulder point that the torso alone carries.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ..frames import CLAVICLE_ORDER
from ..plan.draft import Draft, rest_rows
from ..plan.model import LOCKED, Bone, Display, Variable
from . import names as n
from .context import (
    ArmContext,
    Array,
    blend_to,
    dial,
    distance,
    number,
    object_scale,
    place_at,
    placed,
    skin,
    span_frame,
    working,
)

# Caps of the elevation's law of cosines (docs/arm.md, 3): nearest reach over the arm's length, largest cosine.
NEAREST_REACH = 0.01
STRAIGHTEST = 0.9999


def add_clavicle(draft: Draft, arm: ArmContext) -> None:
    """Clavicle control, the lifted clavicle behind it, and its skin."""
    names, frames = arm.names, arm.frames
    length = frames.clavicle_length
    draft.bones.append(
        Bone(
            name=names.fk_clavicle,
            parent=arm.torso,
            rest=rest_rows(frames.clavicle),
            length=length,
            collection=n.COLLECTION_FK,
            rotation_order=CLAVICLE_ORDER,
            lock_location=LOCKED,
            display=Display(
                "arch",
                "shoulder",
                (0.2 * frames.length,) * 3,
                (0.0, 0.9 * length, 0.03 * frames.length),
                names.clavicle,
            ),
        )
    )
    draft.bones.append(replace(skin(names.clavicle, names.fk_clavicle, frames.clavicle, length), rotation_order="XYZ"))


def add_lift(draft: Draft, arm: ArmContext) -> None:
    """Measures the arm's elevation and turns the lifted clavicle by the shoulder's rhythm."""
    names, frames = arm.names, arm.frames
    _add_raised(draft, arm)
    down = placed(_pointing(-np.array(arm.up), frames.upper_arm[:3, 0]), frames.upper_arm[:3, 3])
    draft.bones.append(working(names.elevation, arm.torso, down, frames.upper_length))
    draft.constrain(names.elevation, "arm", "copy_transforms", names.fk_upper_arm)
    blend_to(draft, arm, names.elevation, "raised", names.raised, n.IK)
    place_at(draft, names.elevation, names.reach)
    draft.constrain(names.elevation, "elbow", "damped_track", names.hold_elbow, axis="Y")
    draft.drive_constraint(names.elevation, "elbow", "influence", "elbow", dial(arm, "elbow", n.ELBOW))

    rest = float(np.arccos(np.clip(-np.array(arm.up) @ frames.upper_arm[:3, 1], -1.0, 1.0)))
    draft.drive(
        names.clavicle,
        "rotation_euler",
        f"lift * {number(arm.options.lift_share)} * ((t * t / {number(2.0 * math.pi)} if t < {number(math.pi / 3.0)} "
        f"else (t - {number(math.pi / 6.0)}) / 3) - {number(scapula_turn(rest))})",
        dial(arm, "lift", n.LIFT),
        Variable("t", "swing", bone=names.elevation),
        index=0,
    )


def scapula_turn(elevation: float) -> float:
    """The scapula's upward turn at an arm's `elevation` (0 hanging), both in radians.

    2:1 after the first 30 degrees (Inman, Saunders & Abbott 1944), the corner rounded between 0 and 60 degrees.
    """
    if elevation < math.pi / 3.0:
        return elevation * elevation / (2.0 * math.pi)
    return (elevation - math.pi / 6.0) / 3.0


def _add_raised(draft: Draft, arm: ArmContext) -> None:
    """The IK upper arm's direction seen from the torso's own shoulder point: law of cosines, rolled to the aim."""
    names, frames = arm.names, arm.frames
    shoulder = frames.upper_arm[:3, 3]
    span = placed(span_frame(arm), shoulder)
    draft.bones.append(working(names.reach, arm.torso, span, 0.5 * frames.length))
    draft.constrain(names.reach, "hand", "damped_track", names.hand_goal, axis="Y")
    draft.constrain(names.reach, "aim", "locked_track", names.aim_elbow, axis="-Z", lock="Y")
    a = f"{number(frames.upper_length)}*u"
    b = f"{number(frames.forearm_length)}*f"
    reach = f"max(d/z,{number(NEAREST_REACH * frames.length)})"
    draft.bones.append(working(names.raised, names.reach, span, frames.upper_length, "XYZ"))
    draft.drive(
        names.raised,
        "rotation_euler",
        f"-acos(clamp((pow({a},2)+pow({reach},2)-pow({b},2))/(2*{a}*{reach}),"
        f"{number(math.cos(arm.options.fold_limit))},{number(STRAIGHTEST)}))",
        dial(arm, "u", n.UPPER_LENGTH),
        dial(arm, "f", n.FOREARM_LENGTH),
        distance("d", names.reach, names.hand_goal),
        object_scale(),
        index=0,
    )


def _pointing(y: Array, hint: Array) -> Array:
    """A frame at the origin with Y along the unit `y`; X is `hint` made orthogonal, or any if that is parallel."""
    x = hint - y * (hint @ y)
    if np.linalg.norm(x) < 1e-3:
        x = np.cross(y, np.roll(np.abs(y), 1) + np.array([0.3, 0.1, 0.2]))
    x = x / np.linalg.norm(x)
    frame = np.eye(4)
    frame[:3, 0], frame[:3, 1], frame[:3, 2] = x, y, np.cross(x, y)
    return frame
