"""Hands the bones that carry skin over to other programs: baked over a range of frames, as a glTF file.

The joints are read from the rig frame by frame, put on a plain skeleton on a stage of its own, written by the host's
exporter to a file beside the one asked for, and renamed at the end. The file that is open is as before whenever it
ends.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from ..core.posing import rigid_turns
from ..core.skin_tree import SkinBone, skin_parents
from . import hand_over_kept, hand_over_stage, host
from .convert_read import Frames, frames_of
from .prove import Progress
from .subjects import Subject
from .text_files import check_free

Array = NDArray[np.float64]

TREE, FLAT = "tree", "flat"
FORMS = (TREE, FLAT)
SUFFIX = ".glb"
# More frames than this in one file are a slip of the keyboard.
MOST_FRAMES = 100_000


@dataclass(frozen=True)
class Request:
    """What to hand over.

    Attributes:
        path: file to write, `.glb`.
        first, last: range of frames, both among it.
        form: "tree" (joints below joints, no scale) or "flat" (no joint below another, with scale).
        arms_only: whether the character's other bones that carry skin stay behind.
        with_mesh: whether the meshes that the armature moves come along.
        overwrite: whether a file that is there is replaced.
    """

    path: Path
    first: float
    last: float
    form: str = TREE
    arms_only: bool = False
    with_mesh: bool = False
    overwrite: bool = False


@dataclass(frozen=True)
class HandedOver:
    """What was written: the file, and how many joints, frames and meshes are in it."""

    path: Path
    joints: int
    frames: int
    meshes: int

    def sentence(self) -> str:
        """For people."""
        meshes = f", {self.meshes} mesh{'es' if self.meshes != 1 else ''}" if self.meshes else ""
        return f"{self.joints} joints over {self.frames} frames{meshes} written to {self.path.name}"


def hand_over(subject: Subject, request: Request) -> Iterator[Progress | HandedOver]:
    """Write the file: progress frame by frame, what was written last.

    Raises HostError with nothing changed; whenever it ends, the open file is as before, and until its end the file
    asked for is.
    """
    frames = _checked(subject, request)
    armature = subject.armature
    meshes = meshes_of(armature) if request.with_mesh else []
    parents = skeleton(subject, arms_only=request.arms_only)
    _check_weights(meshes, parents, request)
    with hand_over_kept.kept(armature):
        poses = np.empty((frames.count, len(parents), 4, 4))
        reader = host.PoseReader(armature, bpy.context.view_layer, list(parents))
        origin = np.eye(4)
        for row in range(frames.count):
            bpy.context.scene.frame_set(frames.first + row)
            place = host.matrix_to_numpy(armature.evaluated_get(bpy.context.view_layer.depsgraph).matrix_world)
            if row == 0:
                origin = _origin(place, armature.name)
            poses[row] = np.linalg.inv(origin) @ place @ reader.read()
            yield Progress(row + 1, frames.count + 1, "reading the joints")
        tree = parents if request.form == TREE else dict.fromkeys(parents, "")
        baked = hand_over_stage.Baked(tree, poses, origin, scaled=request.form == FLAT)
        hand_over_stage.write(armature, baked, meshes, request.path)
    yield HandedOver(request.path, len(parents), frames.count, len(meshes))


def hand_over_whole(subject: Subject, request: Request, report: Callable[[Progress], None] | None = None) -> HandedOver:
    """`hand_over` from beginning to end."""
    for step in hand_over(subject, request):
        if isinstance(step, HandedOver):
            return step
        if report is not None:
            report(step)
    raise AssertionError("handing over ends with what was written")


def skeleton(subject: Subject, *, arms_only: bool) -> dict[str, str]:
    """The bones that carry skin and each one's parent among them, "" for none; parents come first.

    Raises HostError if no bone carries skin.
    """
    built = set(subject.record.bones) - set(subject.chain)
    bones = []
    for bone in subject.armature.data.bones:
        if bone.use_deform and (bone.name in built or not arms_only):
            bones.append(
                SkinBone(
                    bone.name,
                    tuple(item.name for item in bone.parent_recursive),
                    np.array(bone.head_local),
                    np.array(bone.tail_local),
                    bone.name in built,
                )
            )
    if arms_only:
        sides = {role.bone for role in subject.record.roles}
        bones = [bone for bone in bones if bone.name in sides or _hangs_on(bone, sides)]
    if not bones:
        raise HostError(
            f"no bone of {subject.armature.name!r} carries skin: switch Deform on for the bones that do "
            "(Properties > Bone)"
        )
    return skin_parents(bones)


def meshes_of(armature: bpy.types.Object) -> list[bpy.types.Object]:
    """The meshes that `armature` moves, by name."""

    def is_moved(item: bpy.types.Object) -> bool:
        entries: list[Any] = [entry for entry in item.modifiers if entry.type == "ARMATURE"]
        return any(entry.object == armature for entry in entries)

    found = [item for item in bpy.data.objects if item.type == "MESH" and item.users_scene and is_moved(item)]
    return sorted(found, key=lambda item: item.name)


def _hangs_on(bone: SkinBone, parts: set[str]) -> bool:
    return any(name in parts for name in bone.ancestors)


def _checked(subject: Subject, request: Request) -> Frames:
    frames = frames_of(request.first, request.last)
    if frames.count > MOST_FRAMES:
        raise HostError(f"the range has {frames.count} frames: give at most {MOST_FRAMES}")
    if request.form not in FORMS:
        raise HostError(f"joints {request.form!r}: give one of: {', '.join(FORMS)}")
    if request.path.suffix.lower() != SUFFIX:
        raise HostError(f"{request.path.name!r} does not end in {SUFFIX}: give it that ending")
    if request.path.is_dir():
        raise HostError(f"{str(request.path)!r} is a folder: name a file in it")
    check_free(request.path, replace=request.overwrite)
    if request.arms_only and request.with_mesh:
        raise HostError("a mesh needs every bone that it is weighted to: leave out either the meshes or 'arms only'")
    if not hasattr(bpy.ops.export_scene, "gltf") or not hand_over_stage.has_exporter():
        raise HostError("the host's glTF exporter is switched off: enable glTF 2.0 (Preferences > Add-ons)")
    if subject.armature.mode == "EDIT":
        raise HostError(f"the bones of {subject.armature.name!r} are being edited: leave edit mode first")
    return frames


def _check_weights(meshes: Sequence[bpy.types.Object], parents: dict[str, str], request: Request) -> None:
    if request.with_mesh and not meshes:
        raise HostError("no mesh has an armature modifier with this armature: bind one, or leave the meshes out")
    for mesh in meshes:
        if not any(group.name in parents for group in mesh.vertex_groups):
            raise HostError(f"the mesh {mesh.name!r} has no weights on the bones that carry skin: weight it first")


def _origin(place: Array, name: str) -> Array:
    """Where the skeleton stands: the armature's place at the first frame, its scale made even."""
    axes = place[:3, :3]
    size = float(np.linalg.det(axes))
    if not np.isfinite(place).all() or size <= 0.0:
        raise HostError(f"{name!r} is mirrored by a negative scale (or flat): apply its scale first (Ctrl A > Scale)")
    out = np.eye(4)
    out[:3, :3], out[:3, 3] = rigid_turns(axes) * np.cbrt(size), place[:3, 3]
    return out
