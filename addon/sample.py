"""Steps a rig through poses and reads it back, leaving the file as it was found."""

from __future__ import annotations

import time
from collections.abc import Generator, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields

import bpy
import numpy as np
from mathutils import Matrix
from numpy.typing import NDArray

from ..core.frames import ORDERS
from ..core.hand_frames import PivotPoints
from ..core.options import ArmOptions
from ..core.pace import UNBROKEN, Pace, whole
from ..core.plan.made import bone_path
from ..core.proof.samples import SAMPLED_ROLES, SKIN_ROLES, ArmSamples
from ..core.rig_record import RigRecord
from ..core.rotations import matrix_to_quat
from ..core.solve.settings import ArmGeometry
from ..core.tracks import Tracks
from . import host, lent
from .curves import new_action, write_curve

Array = NDArray[np.float64]

FIRST_FRAME = 1


@dataclass(frozen=True)
class Sampled:
    """Evaluated poses (N, B, 4, 4) of the bones asked for, armature space, and the seconds that it took."""

    poses: Array
    seconds: float


@dataclass(frozen=True)
class Stage:
    """An armature that may be posed, in a scene that shows nothing else, so that only it is evaluated."""

    armature: bpy.types.Object
    scene: bpy.types.Scene

    @property
    def layer(self) -> bpy.types.ViewLayer:
        """What the armature is evaluated in."""
        return self.scene.view_layers[0]


@contextmanager
def borrowed(armature: bpy.types.Object) -> Iterator[Stage]:
    """The armature on a stage of its own, without its action and layers, at rest and free to be posed.

    Holds are in the world there. Channels, dials, spaces, action and layers are as before afterwards, and the stage is
    gone.
    """
    kept = lent.kept_of(armature)
    stage = bpy.data.scenes.new("armwright.stage")
    try:
        animation = armature.animation_data
        if animation is not None:
            animation.action = None
            animation.use_nla = False
        for bone in armature.pose.bones:
            bone.matrix_basis = Matrix()
        for _, constraint in lent.space_constraints(armature):
            constraint.influence = 0.0
        # At the world's origin: constraints work in world space, whose single precision would be measured elsewhere.
        armature.location = armature.rotation_euler = (0.0, 0.0, 0.0)
        armature.rotation_quaternion = (1.0, 0.0, 0.0, 0.0)
        stage.collection.objects.link(armature)
        stage.view_layers[0].update()
        yield Stage(armature, stage)
    finally:
        if host.is_there(stage):
            bpy.data.scenes.remove(stage)
        lent.give_back(kept)


def step(stage: Stage, tracks: Tracks, read: Sequence[str]) -> Sampled:
    """Play `tracks` frame by frame on a stage and read the bones `read`."""
    return whole(stepping(stage, tracks, read, UNBROKEN))


def stepping(stage: Stage, tracks: Tracks, read: Sequence[str], pace: Pace) -> Generator[int, None, Sampled]:
    """`step`, left after any frame at which a turn of `pace` is over: yields the number of frames done.

    The tracks become an action for as long as it takes: the host steps a keyed action three times faster than it takes
    in channels that are set one by one. Whatever a window draws meanwhile, each frame sets all that the tracks set.
    """
    armature, scene = stage.armature, stage.scene
    action, curves = new_action(armature, "armwright.steps")
    try:
        write_tracks(armature, tracks, curves)
        if pace.due():
            yield 0
        reader = host.PoseReader(armature, stage.layer, read)
        out = np.empty((tracks.frames, len(read), 4, 4))
        start, away = time.perf_counter(), pace.away
        for frame in range(tracks.frames):
            scene.frame_set(FIRST_FRAME + frame)
            out[frame] = reader.read()
            # Not after the last one: a window that draws sets the channels, and the last frame's stay for the next run.
            if frame + 1 < tracks.frames and pace.due():
                yield frame + 1
                reader.check()
        return Sampled(out, time.perf_counter() - start - (pace.away - away))
    finally:
        if host.is_there(armature) and armature.animation_data is not None:
            armature.animation_data.action = None
        if host.is_there(action):
            bpy.data.actions.remove(action)


def pose(stage: Stage, tracks: Tracks, index: int) -> None:
    """Set pose number `index` of the tracks on a stage, without an action."""
    armature = stage.armature
    for bone, basis in _bases(armature, tracks):
        own = basis[index if len(basis) > 1 else 0]
        bone.rotation_mode = "QUATERNION"
        bone.location, bone.rotation_quaternion = own[:3, 3].tolist(), matrix_to_quat(own[:3, :3]).tolist()
    for track in tracks.angles:
        armature.pose.bones[track.bone].rotation_euler = track.angles[index if len(track.angles) > 1 else 0].tolist()
    for dial in tracks.dials:
        armature.pose.bones[dial.bone][dial.key] = float(dial.values[index])
    armature.update_tag()
    stage.layer.update()


def write_tracks(armature: bpy.types.Object, tracks: Tracks, curves: bpy.types.bpy_prop_collection) -> None:
    """Key `tracks` into an action's curves."""
    for bone, basis in _bases(armature, tracks):
        bone.rotation_mode = "QUATERNION"
        path = bone_path(bone.name)
        _write(curves, f"{path}.location", basis[:, :3, 3])
        _write(curves, f"{path}.rotation_quaternion", matrix_to_quat(basis[:, :3, :3]))
    for track in tracks.angles:
        _write(curves, f"{bone_path(track.bone)}.rotation_euler", track.angles)
    for dial in tracks.dials:
        _write(curves, dial.path or f'{bone_path(dial.bone)}["{dial.key}"]', dial.values[:, None])


def _write(curves: bpy.types.bpy_prop_collection, path: str, values: Array) -> None:
    """Curves for the columns of `values` (N, C); a column that never changes is one key."""
    for index, column in enumerate(values.T):
        keys = 1 if np.all(column == column[0]) else len(column)
        write_curve(curves, path, index, FIRST_FRAME + np.arange(keys), column[:keys])


def _bases(armature: bpy.types.Object, tracks: Tracks) -> Iterator[tuple[bpy.types.PoseBone, Array]]:
    """Each posed bone with its own transform (N, 4, 4)."""
    known = {track.bone: track.poses for track in tracks.poses}
    for track in tracks.poses:
        bone = armature.pose.bones[track.bone]
        yield bone, np.linalg.inv(_unposed(bone, known)) @ track.poses


def _unposed(bone: bpy.types.PoseBone, known: dict[str, Array]) -> Array:
    """Where a bone is with its channels at rest, (N, 4, 4), or (1, 4, 4) where no ancestor is posed.

    `borrowed` has taken every other motion away.
    """
    rest = host.rest_in_parent(bone.bone)
    if bone.parent is None:
        return rest[None]
    carrier = known.get(bone.parent.name)
    return np.asarray((_unposed(bone.parent, known) if carrier is None else carrier) @ rest)


def sampled_bones(record: RigRecord, arms: Sequence[str]) -> list[str]:
    """Bones to read for `arms`: the torso, the root if there is one, then each arm's sampled roles; and its skin."""
    shared = [record.torso, *([record.root] if record.root else [])]
    skin = [bone for arm in arms for role in SKIN_ROLES.values() for bone in record.bones_of(arm, role)]
    return shared + [record.bone(arm, role) for arm in arms for role in SAMPLED_ROLES] + skin


def arm_samples(record: RigRecord, arms: Sequence[str], poses: Array) -> dict[str, ArmSamples]:
    """Sampled poses (N, B, 4, 4) of `sampled_bones`, sorted by arm and role."""
    torso = poses[:, 0]
    root = poses[:, 1] if record.root else np.broadcast_to(np.eye(4), torso.shape)
    first, count = (2 if record.root else 1), len(SAMPLED_ROLES)
    skin = _skin_samples(record, arms, poses[:, first + len(arms) * count :])
    return {
        arm: ArmSamples(
            torso,
            root,
            **{role: poses[:, first + place * count + index] for index, role in enumerate(SAMPLED_ROLES)},
            **skin[arm],
        )
        for place, arm in enumerate(arms)
    }


def _skin_samples(record: RigRecord, arms: Sequence[str], poses: Array) -> dict[str, dict[str, Array]]:
    """The poses (N, B, 4, 4) of every arm's skin bones, by arm and field of ArmSamples."""
    out: dict[str, dict[str, Array]] = {arm: {} for arm in arms}
    start = 0
    for arm in arms:
        for name, role in SKIN_ROLES.items():
            end = start + len(record.bones_of(arm, role))
            out[arm][name], start = poses[:, start:end], end
    return out


def geometry(armature: bpy.types.Object, record: RigRecord, arm: str, options: ArmOptions, up: Array) -> ArmGeometry:
    """The arm at rest, read from the host's own bones."""
    bones = armature.data.bones

    def rest(role: str) -> Array:
        return host.rest_matrix(bones[record.bone(arm, role)])

    clavicle, upper_arm, forearm, hand = (rest(role) for role in ("clavicle", "upper_arm", "forearm", "hand"))
    return ArmGeometry(
        torso=host.rest_matrix(bones[record.torso]),
        root=host.rest_matrix(bones[record.root]) if record.root else np.eye(4),
        clavicle=clavicle,
        upper_arm=upper_arm,
        forearm=forearm,
        hand=hand,
        clavicle_length=float(np.linalg.norm(upper_arm[:3, 3] - clavicle[:3, 3])),
        upper_length=float(np.linalg.norm(forearm[:3, 3] - upper_arm[:3, 3])),
        forearm_length=float(np.linalg.norm(hand[:3, 3] - forearm[:3, 3])),
        up=up,
        rotation_orders=ORDERS,
        options=options,
        pivots=PivotPoints(
            *((rest(f"pivot_{item.name}")[:3, 3] - hand[:3, 3]) @ hand[:3, :3] for item in fields(PivotPoints))
        ),
    )
