"""Armatures as sketches: a keeper's body in many forms, made of plain bones."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from armwright.core.card.sketch import RigSketch, SketchBone, SketchConstraint

Point = tuple[float, float, float]

SPINE: tuple[Point, ...] = ((0.0, 0.0, 0.95), (0.0, 0.0, 1.1), (0.0, 0.0, 1.25), (0.0, 0.0, 1.45))
TORSO = ("pelvis", "waist", "chest")
# Inner end of the clavicle, shoulder, elbow, wrist, hand's end of the left arm; it stands out, hangs, or is straight.
BENT: tuple[Point, ...] = (
    (0.02, 0.0, 1.42),
    (0.18, 0.0, 1.43),
    (0.4, 0.05, 1.3),
    (0.6, -0.02, 1.18),
    (0.7, -0.04, 1.1),
)
STRAIGHT: tuple[Point, ...] = ((0.02, 0.0, 1.4), (0.18, 0.0, 1.4), (0.48, 0.0, 1.4), (0.73, 0.0, 1.4), (0.9, 0.0, 1.4))
HANGING: tuple[Point, ...] = (
    (0.02, 0.0, 1.42),
    (0.18, 0.0, 1.42),
    (0.2, 0.02, 1.12),
    (0.2, 0.0, 0.87),
    (0.2, 0.0, 0.7),
)
PARTS = ("collarbone", "humerus", "ulna", "palm")
LEG: tuple[Point, ...] = ((0.1, 0.0, 0.93), (0.1, -0.02, 0.5), (0.1, 0.0, 0.08), (0.1, -0.15, 0.02), (0.1, -0.22, 0.02))
LEG_PARTS = ("femur", "tibia", "foot", "toes")


def mirrored(point: Point, side: str) -> Point:
    """The point on the side."""
    return point if side == "L" else (-point[0], point[1], point[2])


def chain(names: Sequence[str], points: Sequence[Point], parent: str) -> list[SketchBone]:
    """Bones from point to point, each carried by the one before."""
    bones = []
    for name, head, tail in zip(names, points, points[1:], strict=False):
        bones.append(SketchBone(name, parent, head, tail))
        parent = name
    return bones


def torso(head: bool = True) -> list[SketchBone]:
    """A root on the ground, a spine, a neck and a head."""
    bones = [SketchBone("ground", "", (0.0, 0.0, 0.0), (0.0, 0.3, 0.0)), *chain(TORSO, SPINE, "ground")]
    return bones + (chain(("neck", "skull"), ((0.0, 0.0, 1.47), (0.0, 0.0, 1.55), (0.0, 0.0, 1.75)), "chest")
                    if head else [])  # fmt: skip


def arm(side: str, points: Sequence[Point] = BENT, parent: str = "chest", prefix: str = "") -> list[SketchBone]:
    """Clavicle, upper arm, forearm, hand."""
    return chain([f"{prefix}{part}.{side}" for part in PARTS], [mirrored(point, side) for point in points], parent)


def legs() -> list[SketchBone]:
    """Two legs."""
    bones = []
    for side in "LR":
        bones += chain([f"{part}.{side}" for part in LEG_PARTS], [mirrored(point, side) for point in LEG], "pelvis")
    return bones


def fingers(side: str, hand: str, wrist: Point, end: Point) -> list[SketchBone]:
    """Four fingers of three bones."""
    bones = []
    for number in range(4):
        root = tuple(w + 0.9 * (e - w) for w, e in zip(wrist, end, strict=True))
        root = (root[0], root[1] + 0.02 * (number - 1.5), root[2])
        points = [
            tuple(r + 0.25 * step * (e - w) for r, w, e in zip(root, wrist, end, strict=True)) for step in range(4)
        ]
        names = [f"finger{number}_{part}.{side}" for part in range(3)]
        bones += chain(names, [mirrored(point, side) for point in points], hand)  # type: ignore[arg-type]
    return bones


def keeper(points: Sequence[Point] = BENT, with_legs: bool = True, with_fingers: bool = False) -> RigSketch:
    """Both arms, as they stand in `points`."""
    bones = torso() + arm("L", points) + arm("R", points) + (legs() if with_legs else [])
    if with_fingers:
        for side in "LR":
            bones += fingers(side, f"palm.{side}", points[3], points[4])
    return RigSketch("Keeper", tuple(bones))


def split(sketch: RigSketch, parts: Sequence[str], inline: bool) -> RigSketch:
    """With the segments in two bones: one carrying the other (`inline`), or as side bones that carry nothing."""
    bones = []
    for bone in sketch.bones:
        if bone.name.rpartition(".")[0] not in parts:
            bones.append(bone)
            continue
        middle: Point = tuple((a + b) / 2.0 for a, b in zip(bone.head, bone.tail, strict=True))  # type: ignore[assignment]
        twist = f"twist_{bone.name}"
        if inline:
            bones += [replace(bone, tail=middle), SketchBone(twist, bone.name, middle, bone.tail)]
        else:
            bones += [bone, SketchBone(twist, bone.name, middle, bone.tail),
                      SketchBone(f"half_{bone.name}", bone.name, bone.head, middle)]  # fmt: skip
    if inline:
        split_up = {bone.name for bone in sketch.bones if bone.name.rpartition(".")[0] in parts}
        bones = [replace(bone, parent=f"twist_{bone.parent}") if bone.parent in split_up and
                 not bone.name.startswith("twist_") else bone for bone in bones]  # fmt: skip
    return replace(sketch, bones=tuple(bones))


def renamed(sketch: RigSketch, names: Mapping[str, str]) -> RigSketch:
    """With other names for all that the sketch says by name."""

    def new(name: str) -> str:
        return names.get(name, name)

    def constraint(item: SketchConstraint) -> SketchConstraint:
        return replace(item, target=new(item.target), pole=new(item.pole))

    def bone_of(bone: SketchBone) -> SketchBone:
        items = tuple(constraint(item) for item in bone.constraints)
        return replace(bone, name=new(bone.name), parent=new(bone.parent), constraints=items)

    return replace(sketch, bones=tuple(bone_of(bone) for bone in sketch.bones))


def nonsense(sketch: RigSketch) -> dict[str, str]:
    """Names that say nothing, and are different on each side."""
    return {bone.name: f"q{(number * 7919) % 10007}" for number, bone in enumerate(sketch.bones)}


def moved(sketch: RigSketch, place: Callable[[Point], Point]) -> RigSketch:
    """With every point elsewhere."""
    return replace(sketch, bones=tuple(
        replace(bone, head=place(bone.head), tail=place(bone.tail)) for bone in sketch.bones))  # fmt: skip


def crowd(pairs: int) -> RigSketch:
    """So many pairs of arms, one below the other on a long chest."""
    bones = torso(head=False)
    for number in range(pairs):
        down = 0.2 * number / pairs
        points: list[Point] = [(x, y, z - down) for x, y, z in STRAIGHT]
        for side in "LR":
            bones += arm(side, points, prefix=f"{number}_")
    return RigSketch("Keeper", tuple(bones))


def arm_length(points: Sequence[Point]) -> float:
    """Shoulder to elbow to wrist."""
    return math.dist(points[1], points[2]) + math.dist(points[2], points[3])
