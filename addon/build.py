"""Builds a plan onto an armature: all of it, or nothing."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import bpy
import numpy as np

from ..core.arm.build import Attachment
from ..core.errors import HostError
from ..core.guide import Guide
from ..core.guide_space import in_space
from ..core.plan.model import External, Plan
from ..core.plan.validate import validate
from ..core.rig_record import record_of
from . import apply, host, remove, rig, shapes

# A scale whose axes differ by more than this part can not be told from a mistake.
UNEVEN_SCALE = 1e-4


def attachment_to(armature: bpy.types.Object, torso: str, root: str = "", head: str = "") -> Attachment:
    """Where arms go on an existing armature: the bone that carries the shoulders, one outside the torso, and the head.

    The last two may be "" for none. Raises HostError if a bone is missing, or if the root is carried by the torso.
    """
    # Bones that are being edited count as they are now.
    armature.update_from_editmode()
    bones = armature.data.bones
    for name in filter(None, (torso, root, head)):
        if name not in bones:
            known = ", ".join(sorted(bone.name for bone in bones)[:12]) or "none"
            raise HostError(f"{armature.name!r} has no bone named {name!r}; choose one of: {known}")
    if not torso:
        raise HostError(f"choose the bone of {armature.name!r} that carries the shoulders (the torso bone)")
    if root and (root == torso or bones[torso] in bones[root].parent_recursive):
        raise HostError(
            f"the root bone {root!r} moves with the torso bone {torso!r}: choose a bone outside the torso, or none"
        )
    return Attachment(
        _external(bones[torso]), _external(bones[root]) if root else None, _external(bones[head]) if head else None
    )


def sized_for(armature: bpy.types.Object, guide: Guide) -> Guide:
    """`guide`, whose lengths are the world's, in the lengths of `armature`'s space, about its origin.

    Raises HostError for an armature that is scaled unevenly, mirrored or flat.
    """
    _check_transform(armature)
    scale = float(np.cbrt(np.linalg.det(host.matrix_to_numpy(armature.matrix_world)[:3, :3])))
    if abs(scale - 1.0) < UNEVEN_SCALE:
        return guide
    return in_space(guide, np.diag([1.0 / scale] * 3 + [1.0]))


def build(armature: bpy.types.Object, plan: Plan) -> None:
    """Add everything in `plan` to `armature`, and let it remember the build.

    Raises PlanError for a plan that is not valid and HostError for an armature that can not take it; whatever
    goes wrong, the armature, the selection and the mode are as they were before.
    """
    validate(plan)
    _build(armature, plan)


def _build(armature: bpy.types.Object, plan: Plan) -> None:
    """`build` of a plan that is known to be valid."""
    check_armature(armature, plan)
    check_shapes(plan)
    before = remove.snapshot(armature)
    # Edit mode keeps bones and their collections apart, and would write its own over the build's when it is left.
    with host.mode(armature, "OBJECT"):
        try:
            apply.add_bones(armature, plan)
            apply.add_pose(armature, plan)
            apply.add_looks(armature, plan)
            added = tuple(item.name for item in armature.data.collections_all if item.name not in before.collections)
            rig.write_record(armature, record_of(plan, added))
        except BaseException:
            remove.roll_back(armature, before)
            raise
    bpy.context.view_layer.update()


def build_new(plan: Plan, name: str, at: Sequence[float] = (0.0, 0.0, 0.0)) -> bpy.types.Object:
    """A new armature object with everything in `plan`, standing `at` a point of the world; all or nothing."""
    validate(plan)
    if plan.external:
        raise HostError(
            f"this plan needs the bone {plan.external[0].name!r} of an existing armature: choose that armature"
        )
    before = remove.snapshot_file()
    try:
        data = bpy.data.armatures.new(name)
        armature = bpy.data.objects.new(name, data)
        # Controls sit around the limbs; without this the body would hide them.
        armature.show_in_front = True
        armature.location = at
        bpy.context.collection.objects.link(armature)
        bpy.context.view_layer.update()
        _build(armature, plan)
    except BaseException:
        remove.roll_back_file(before)
        raise
    return armature


def check_armature(armature: bpy.types.Object, plan: Plan, ours: Collection[str] | None = None) -> None:
    """Raise HostError, with what to do, if `armature` can not take `plan`.

    `ours`: bones of arms that it has and that are to be built again; None where there must be no arms yet.
    """
    if armature.type != "ARMATURE":
        raise HostError(
            f"{armature.name!r} is a {armature.type.lower()}, not an armature: select the character's armature"
        )
    rig.check_editable(armature)
    _check_transform(armature)
    if ours is None and rig.has_arms(armature):
        raise HostError(f"{armature.name!r} has arms already: build them again, or remove them first")
    armature.update_from_editmode()
    bones = armature.data.bones
    taken = [bone.name for bone in plan.bones if bone.name in bones and bone.name not in (ours or ())]
    if taken:
        raise HostError(
            f"{armature.name!r} already has a bone named {taken[0]!r}"
            + (f" and {len(taken) - 1} more of the names that the arms need" if len(taken) > 1 else "")
            + ": rename the bones that are there"
        )
    for external in plan.external:
        if external.name not in bones:
            raise HostError(f"{armature.name!r} has no bone named {external.name!r}: choose another torso bone")
        difference = np.abs(host.rest_matrix(bones[external.name]) - np.array(external.rest)).max()
        if difference > 1e-4:
            raise HostError(
                f"the bone {external.name!r} is not where the plan expects it (it differs by {difference:.2g}): "
                "plan the arms again for this armature"
            )


def check_shapes(plan: Plan) -> None:
    """Raise HostError for a shape that there is not."""
    for bone in plan.bones:
        if bone.display.shape and bone.display.shape not in shapes.SHAPES:
            raise HostError(
                f"the bone {bone.name!r} has the shape {bone.display.shape!r}, which is not known: "
                f"choose one of {', '.join(sorted(shapes.SHAPES))}"
            )


def _check_transform(armature: bpy.types.Object) -> None:
    basis = host.matrix_to_numpy(armature.matrix_world)[:3, :3]
    sizes = np.linalg.norm(basis, axis=0)
    if np.linalg.det(basis) <= 0.0:
        raise HostError(
            f"{armature.name!r} is mirrored by a negative scale (or flat): apply its scale first (Ctrl A > Scale)"
        )
    if (
        sizes.max() > sizes.min() * (1.0 + UNEVEN_SCALE)
        or np.abs(basis.T @ basis / sizes.max() ** 2 - np.eye(3)).max() > 1e-3
    ):
        raise HostError(f"{armature.name!r} is scaled unevenly or skewed: apply its scale first (Ctrl A > Scale)")


def _external(bone: bpy.types.Bone) -> External:
    rows = host.rest_matrix(bone)
    # The host keeps single precision; a plan's rest frames are orthonormal to double precision.
    rotation, _ = np.linalg.qr(rows[:3, :3])
    rotation = rotation * np.sign(np.sum(rotation * rows[:3, :3], axis=0))
    clean = np.eye(4)
    clean[:3, :3], clean[:3, 3] = rotation, rows[:3, 3]
    return External(bone.name, tuple(tuple(float(v) for v in row) for row in clean), float(bone.length))
