"""The plan: everything that a build adds to an armature, as plain data.

Frozen dataclasses of strings, numbers and tuples, so that a plan can be compared, hashed, written and read back
exactly. `validate.py` says what a plan must fulfil before the host sees it; `json.py` is its written form.
Rest matrices are in armature space: rows of a 4×4 whose columns are the bone's X, Y, Z axes and its head, metres.
"""

from __future__ import annotations

from dataclasses import dataclass, field

FORMAT = "armwright.plan"
VERSION = 2

Row = tuple[float, float, float, float]
Rest = tuple[Row, Row, Row, Row]
Flags = tuple[bool, bool, bool]
Scalar = bool | int | float | str

FREE: Flags = (False, False, False)
LOCKED: Flags = (True, True, True)


@dataclass(frozen=True)
class Display:
    """How a control looks.

    Attributes:
        shape: name of a wire shape in the addon's shape table; "" for a bone without one.
        hue: what holds the control: "body", "held" or "shoulder" (see the addon's palette).
        size: of the shape, metres, along the bone's X, Y and Z.
        offset: of the shape from the bone's head, metres, in the bone's axes.
        at: bone at whose place the shape is drawn; "" for the control itself.
    """

    shape: str = ""
    hue: str = "body"
    size: tuple[float, float, float] = (1.0, 1.0, 1.0)
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    at: str = ""


@dataclass(frozen=True)
class Bone:
    """One bone.

    Attributes:
        name: `<layer>.<part>[.<n>].<side>`.
        parent: a bone of the plan or one of its `external` bones; "" for none.
        rest: rest matrix, armature space.
        length: metres, more than 0.
        collection: bone collection it is shown in.
        rotation_order: "QUATERNION" or an Euler order such as "XYZ".
        deform: whether it carries skin.
        inherit_rotation: whether it turns with its parent.
        lock_location, lock_rotation, lock_scale: per axis.
        display: shape and hue of a control.
        inherit_scale: whether it takes over all of its parent's scale; without it none.
    """

    name: str
    parent: str
    rest: Rest
    length: float
    collection: str
    rotation_order: str = "QUATERNION"
    deform: bool = False
    inherit_rotation: bool = True
    lock_location: Flags = FREE
    lock_rotation: Flags = FREE
    lock_scale: Flags = LOCKED
    display: Display = field(default_factory=Display)
    inherit_scale: bool = False


@dataclass(frozen=True)
class Constraint:
    """One constraint, in the order in which the bone evaluates them.

    Attributes:
        bone: owner.
        name: unique on the owner.
        kind: "armature" (carried by the target as by a parent), "copy_rotation", "copy_location", "copy_scale",
            "copy_transforms", "damped_track", "locked_track", "stretch_to" or "share_roll" (the owner rolls about its Y
            axis, in its own space, by `share` of the roll of the target, the twist of swing·twist, seen from `space`).
        target: a bone of the plan or an external bone.
        influence: 0 to 1; a driver may replace it.
        settings: further settings of the kind, sorted by name (see `validate.CONSTRAINT_SETTINGS`).
        space: bone from which a "share_roll" sees its target; "" for every other kind.
    """

    bone: str
    name: str
    kind: str
    target: str
    influence: float = 1.0
    settings: tuple[tuple[str, Scalar], ...] = ()
    space: str = ""


@dataclass(frozen=True)
class Variable:
    """An input of a driver.

    Attributes:
        name: identifier used in the expression.
        kind:
            "property": custom property `channel` of bone `bone`;
            "channel": the bone's own channel `channel` (such as "rotation_euler"), component `index`;
            "distance": between the heads of `bone` and `other`, world space (divide by an "object_scale");
            "swing": angle by which the bone's Y axis has left its rest direction, local space, constraints included;
            "object_scale": the armature object's scale, world space.
    """

    name: str
    kind: str
    bone: str = ""
    other: str = ""
    channel: str = ""
    index: int = 0


@dataclass(frozen=True)
class Driver:
    """A value computed by an expression of the host's simple subset (see expressions.py).

    Attributes:
        bone: owner of the driven value.
        channel: "location", "rotation_euler", "scale" (with `index`), "property" (with `key`),
            "influence" or "bulge" (with `constraint`).
        index: component of an array channel.
        key: name of the driven custom property.
        constraint: name of the constraint whose value is driven.
        expression: at most 255 characters.
        variables: inputs.
    """

    bone: str
    channel: str
    expression: str
    variables: tuple[Variable, ...]
    index: int = 0
    key: str = ""
    constraint: str = ""


@dataclass(frozen=True)
class Property:
    """A custom property of a bone.

    Attributes:
        bone, name: where it is.
        default, low, high: value and hard limits.
        help: one line for the tooltip.
        dial: whether people set it; the others carry intermediate results.
        unit: "angle" for radians, "" for a plain number.
    """

    bone: str
    name: str
    default: float
    low: float
    high: float
    help: str
    dial: bool = True
    unit: str = ""


@dataclass(frozen=True)
class Role:
    """Which bone of an arm plays a part: ("L", "hand_hold", "hold.hand.L")."""

    arm: str
    role: str
    bone: str


@dataclass(frozen=True)
class External:
    """A bone that the plan needs and that the armature already has, with its rest matrix in armature space."""

    name: str
    rest: Rest
    length: float


@dataclass(frozen=True)
class Plan:
    """All that a build adds. Bones are in an order in which parents come first.

    `guide` and `options` are the JSON forms of what the plan was made from, so that a rig can be rebuilt and proved
    from the file alone.
    """

    name: str
    bones: tuple[Bone, ...]
    constraints: tuple[Constraint, ...] = ()
    drivers: tuple[Driver, ...] = ()
    properties: tuple[Property, ...] = ()
    roles: tuple[Role, ...] = ()
    external: tuple[External, ...] = ()
    torso: str = ""
    root: str = ""
    guide: str = ""
    options: str = ""
    format: str = FORMAT
    version: int = VERSION
