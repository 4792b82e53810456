"""What every building block of an arm is given, and the small things that they share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..frames import ArmFrames
from ..options import ArmOptions
from ..plan.draft import Draft, rest_rows
from ..plan.model import LOCKED, Bone, Display, Variable
from . import names as n

Array = NDArray[np.float64]

NO_DISPLAY = Display()


@dataclass(frozen=True)
class ArmContext:
    """One arm to be planned.

    Attributes:
        names: names of its bones.
        frames: rest frames and lengths.
        options: constants of the build.
        torso: bone that carries the shoulder.
        root: bone outside the torso that holds and isolation refer to; "" for the armature itself.
        head: bone that holds can be held in, like the torso; "" for none.
        up: the torso's up at rest, unit.
    """

    names: n.ArmNames
    frames: ArmFrames
    options: ArmOptions
    torso: str
    root: str
    head: str
    up: tuple[float, float, float]

    def around(self, radius: float) -> float:
        """Radius of a control drawn around what is `radius` thick, metres: with room to see and to click it."""
        return 1.15 * radius + 0.02 * self.frames.length


def placed(frame: Array, at: Array) -> Array:
    """`frame`'s axes at the point `at`."""
    moved = frame.copy()
    moved[:3, 3] = at
    return moved


def span_frame(arm: ArmContext) -> Array:
    """Rest frame of the span: Y from shoulder to wrist, X the elbow's hinge."""
    frames = arm.frames
    y = frames.hand[:3, 3] - frames.upper_arm[:3, 3]
    y = y / np.linalg.norm(y)
    x = frames.upper_arm[:3, 0] - y * (frames.upper_arm[:3, 0] @ y)
    x = x / np.linalg.norm(x)
    frame = np.eye(4)
    frame[:3, 0], frame[:3, 1], frame[:3, 2] = x, y, np.cross(x, y)
    return frame


def blend_to(draft: Draft, arm: ArmContext, bone: str, name: str, target: str, key: str) -> None:
    """Turn `bone` towards `target`'s orientation by the dial `key`; its place is then set by a "place" constraint.

    The host's Copy Rotation passes orientations on by Euler angles, which are off by a rounding over the cosine of the
    middle angle: a hundredth of a degree for arms held level. Whole transforms are copied exactly.
    """
    draft.constrain(bone, name, "copy_transforms", target)
    draft.drive_constraint(bone, name, "influence", "share", dial(arm, "share", key))


def place_at(draft: Draft, bone: str, target: str, *, tail: bool = False) -> None:
    """Put `bone`'s head where `target`'s head (or tail) is, whatever its constraints before have done to it."""
    if tail:
        draft.constrain(bone, "place", "copy_location", target, head_tail=1.0)
    else:
        draft.constrain(bone, "place", "copy_location", target)


def keep_size(draft: Draft, arm: ArmContext, bone: str) -> None:
    """Give `bone` its size back after its constraints.

    Between two orientations less than 1.6 degrees apart the host interpolates without making the result a unit again,
    which shrinks a bone, and so the distance to its children, by up to 5e-5.
    """
    draft.constrain(bone, "size", "copy_scale", arm.names.fk_clavicle)


def number(value: float) -> str:
    """A constant for an expression: nine digits, a hundred times finer than the host's single precision."""
    return f"{value:.9g}"


def working(name: str, parent: str, frame: Array, length: float, order: str = "QUATERNION") -> Bone:
    """A bone that people never touch."""
    return Bone(
        name=name,
        parent=parent,
        rest=rest_rows(frame),
        length=length,
        collection=n.COLLECTION_WORKINGS,
        rotation_order=order,
        lock_location=LOCKED,
        lock_rotation=LOCKED,
    )


def skin(name: str, parent: str, frame: Array, length: float) -> Bone:
    """A bone that carries skin."""
    return Bone(
        name=name,
        parent=parent,
        rest=rest_rows(frame),
        length=length,
        collection=n.COLLECTION_SKIN,
        deform=True,
        lock_location=LOCKED,
        lock_rotation=LOCKED,
    )


def dial(arm: ArmContext, variable: str, key: str) -> Variable:
    """The arm's dial `key` under the name `variable`."""
    return Variable(variable, "property", bone=arm.names.fk_clavicle, channel=key)


def computed(variable: str, bone: str, key: str) -> Variable:
    """The intermediate result `key` that `bone` carries."""
    return Variable(variable, "property", bone=bone, channel=key)


def distance(variable: str, bone: str, other: str) -> Variable:
    """Distance of two bones' heads, world space."""
    return Variable(variable, "distance", bone=bone, other=other)


def object_scale(variable: str = "z") -> Variable:
    """The armature object's scale, by which a world distance is divided."""
    return Variable(variable, "object_scale")
