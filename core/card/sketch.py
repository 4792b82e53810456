"""An armature as plain data: what a card is drafted from and checked against. It says what is there, not what it means.

All points are in armature space, in units of the armature.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..guide import Vec3


@dataclass(frozen=True)
class SketchProperty:
    """A custom property that holds a number.

    Attributes:
        name: its name.
        value: what it is set to.
        low, high: its own limits; None where it has none.
    """

    name: str
    value: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class SketchSource:
    """A custom property that a driver reads.

    Attributes:
        bone: whose it is; "" for the armature object itself.
        property: its name.
        variable: what the driver's expression calls it.
    """

    bone: str
    property: str
    variable: str


@dataclass(frozen=True)
class SketchDriver:
    """What drives a value.

    Attributes:
        sources: the custom properties of this armature that it reads.
        expression: its text, which nothing here runs; "" where it takes a source as it is.
    """

    sources: tuple[SketchSource, ...] = ()
    expression: str = ""


@dataclass(frozen=True)
class SketchConstraint:
    """A constraint of a bone.

    Attributes:
        name, kind: its name, and its kind as the host calls it ("IK", "COPY_ROTATION").
        target: bone of the same armature that it goes to; "" where it goes to none.
        elsewhere: whether it goes to another object.
        pole: bone of the same armature that an IK constraint bends towards.
        chain_length: of an IK constraint, bones counted from the tip; 0 for all.
        influence: 0 to 1.
        muted: whether it is switched off.
        driver: of the influence; None where it is not driven.
        mute_driver: of the switch that turns it off.
    """

    name: str
    kind: str
    target: str = ""
    elsewhere: bool = False
    pole: str = ""
    chain_length: int = 0
    influence: float = 1.0
    muted: bool = False
    driver: SketchDriver | None = None
    mute_driver: SketchDriver | None = None


@dataclass(frozen=True)
class SketchBone:
    """A bone at rest.

    Attributes:
        name, parent: names; the parent is "" for a bone without one.
        head, tail: its ends.
        deform: whether it may move a mesh.
        inherits_rotation: whether it turns with its parent.
        properties, constraints: its own.
    """

    name: str
    parent: str
    head: Vec3
    tail: Vec3
    deform: bool = True
    inherits_rotation: bool = True
    properties: tuple[SketchProperty, ...] = ()
    constraints: tuple[SketchConstraint, ...] = ()


@dataclass(frozen=True)
class RigSketch:
    """An armature.

    Attributes:
        rig: the object's name.
        bones: all of them, parents before their children.
        properties: the object's own.
        unit_m: metres of one unit of the scene.
        scale: of the object, along its axes.
    """

    rig: str
    bones: tuple[SketchBone, ...]
    properties: tuple[SketchProperty, ...] = ()
    unit_m: float = 1.0
    scale: Vec3 = (1.0, 1.0, 1.0)
