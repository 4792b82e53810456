"""What is wrong with where an armature and its bones are: sheared, far away, without a length, not finite, jumping."""

from __future__ import annotations

from collections.abc import Iterator

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.proof.measures import SLIDE_LIMIT
from ..core.proof.precision import limit_at
from ..core.proof.results import Finding
from . import host

Array = NDArray[np.float64]

SHEARED, FAR, NO_LENGTH, NOT_FINITE = "sheared", "far-from-origin", "bone-without-length", "not-finite"
JUMPS = "child-of-without-inverse"
# Axes nearer to right angles than this many degrees are so but for rounding.
SQUARE = 0.01
# The object is far away where neighbouring places are further apart than a held joint may slide, in L.
FINEST = 2e-6
# Of a bone shorter than this part of the longest one, single precision knows the direction to degrees only.
SHORTEST = 1e-5
# A jump below this part of the longest bone is rounding.
STILL = 1e-4
# Bones that are named where several have the same fault.
MOST_NAMES = 5


def of_bones(armature: bpy.types.Object) -> Iterator[Finding]:
    """Bones without a length, and numbers that are none."""
    bones = list(armature.data.bones)
    longest = _longest(armature)
    short = [bone.name for bone in bones if np.isfinite(bone.length) and bone.length <= SHORTEST * longest]
    if short:
        yield Finding(
            NO_LENGTH,
            _listed(short),
            "The head and the tail of a bone are in one place, so it points nowhere and the host chooses a direction.",
            "Give it a length in edit mode, or take it out.",
        )
    broken = [bone.name for bone in bones if not _is_finite(bone, armature.pose.bones[bone.name])]
    if broken:
        yield Finding(
            NOT_FINITE,
            _listed(broken),
            "A rest, channel or pose of a bone is not a finite number: whatever hangs on it has no place.",
            "Clear the bone's channels and drivers; if its rest is broken, make the bone again.",
        )
    if not np.isfinite(np.array(armature.matrix_world, float)).all():
        yield Finding(
            NOT_FINITE, armature.name, "The object's place is not a finite number.", "Clear its channels and drivers."
        )


def of_shear(armature: bpy.types.Object) -> Iterator[Finding]:
    """Axes of the object, and of bones as they stand, that are not at right angles."""
    off = _off_square(np.array(armature.matrix_world, float))
    if off > SQUARE:
        yield Finding(
            SHEARED,
            armature.name,
            f"The object's axes are {off:.3g} degrees off right angles: a parent that is scaled along one axis carries "
            "it turned, so that lengths and angles of the arm change with its direction.",
            "Apply the parent's scale, or take the armature out of it.",
        )
    offs = {bone.name: _off_square(np.array(bone.matrix, float)) for bone in armature.pose.bones}
    bad = sorted((name for name, value in offs.items() if value > SQUARE), key=lambda name: -offs[name])
    if bad:
        yield Finding(
            SHEARED,
            _listed(bad),
            f"As posed now, the axes of {bad[0]!r} are {offs[bad[0]]:.3g} degrees off right angles: a bone above it "
            "or the object is scaled along one axis. Such a turn is no rotation, and what copies it is off.",
            "Take that scale back, or set the bone's Inherit Scale to Aligned or None.",
        )


def of_distance(armature: bpy.types.Object, length: float | None) -> Iterator[Finding]:
    """A place in the scene that single precision does not tell apart finely enough; `length` is L in the armature."""
    matrix = np.array(armature.matrix_world, float)
    size = float(abs(np.linalg.det(matrix[:3, :3])) ** (1 / 3)) * (length or _longest(armature))
    if not (np.isfinite(matrix).all() and size > 0.0):
        return
    step = float(np.spacing(np.float32(np.abs(matrix[:3, 3]).max())))
    if step / size <= FINEST:
        return
    far = float(np.linalg.norm(matrix[:3, 3]))
    what = "L" if length else "of the longest bone"
    slide = limit_at(SLIDE_LIMIT, far, size)
    yield Finding(
        FAR,
        armature.name,
        f"The object is {far:.4g} from the origin, where neighbouring places are {step:.2g} apart: {step / size:.1e} "
        f"{what}. What a bone takes from other objects, and meshes, are as coarse. A proof measures at the origin, by "
        f"the same limits; where the object is, what a hand or an elbow holds may be off by up to {slide:.1e} "
        f"{what} by the host's rounding alone.",
        "Move character and set nearer to the origin; travelling with a bone instead of the object changes nothing.",
    )


def of_child_of(armature: bpy.types.Object) -> Iterator[Finding]:
    """Child Of constraints whose inverse was never set, where the child jumps as they come on."""
    world = np.array(armature.matrix_world, float)
    for bone in armature.pose.bones:
        for constraint in bone.constraints:
            if constraint.type != "CHILD_OF" or constraint.target is None:
                continue
            if not np.array_equal(np.array(constraint.inverse_matrix), np.eye(4)):
                continue
            target = np.array(constraint.target.matrix_world)
            if constraint.target.type == "ARMATURE" and constraint.subtarget:
                carrier = constraint.target.data.bones.get(constraint.subtarget)
                if carrier is None:
                    continue
                target = target @ host.rest_matrix(carrier)
            rest = host.rest_matrix(bone.bone)
            with np.errstate(all="ignore"):
                # The host takes the bone in the armature's space and the result for one in the scene's.
                jumped = np.linalg.solve(world, target @ rest) if abs(np.linalg.det(world)) > 0.0 else rest
            jump = float(np.linalg.norm(jumped[:3, 3] - rest[:3, 3]))
            turned = _turn_between(rest, jumped)
            if jump <= STILL * _longest(armature) and turned <= SQUARE:
                continue
            yield Finding(
                JUMPS,
                f"{bone.name}, {constraint.name}",
                f"The inverse of a Child Of was never set: as it comes on, the bone jumps by {jump:.3g} and turns by "
                f"{turned:.3g} degrees from its rest.",
                "Use Set Inverse while the target rests.",
            )


def _turn_between(first: Array, second: Array) -> float:
    """Angle between two frames' axes, degrees; 0 where one has none."""
    axes = [matrix[:3, :3] / np.maximum(np.linalg.norm(matrix[:3, :3], axis=0), 1e-30) for matrix in (first, second)]
    cosine = (np.trace(axes[0].T @ axes[1]) - 1.0) / 2.0
    return float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def _off_square(matrix: Array) -> float:
    """The largest difference of two axes' angle from 90 degrees; 0 for what is no frame."""
    axes = matrix[:3, :3]
    sizes = np.linalg.norm(axes, axis=0)
    if not (np.isfinite(axes).all() and (sizes > 0.0).all()):
        return 0.0
    axes = axes / sizes
    cosines = np.abs([axes[:, 0] @ axes[:, 1], axes[:, 1] @ axes[:, 2], axes[:, 2] @ axes[:, 0]])
    return float(np.degrees(np.arcsin(np.clip(cosines, 0.0, 1.0)).max()))


def _is_finite(bone: bpy.types.Bone, posed: bpy.types.PoseBone) -> bool:
    parts = (bone.matrix_local, posed.matrix, posed.matrix_basis)
    return all(np.isfinite(np.array(part, float)).all() for part in parts)


def _longest(armature: bpy.types.Object) -> float:
    lengths = [bone.length for bone in armature.data.bones if np.isfinite(bone.length)]
    return float(max(lengths, default=0.0))


def _listed(names: list[str]) -> str:
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return ", ".join(names[:MOST_NAMES]) + more
