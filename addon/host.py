"""The only place that reads matrices out of the host and that knows its versions apart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix
from numpy.typing import NDArray

from ..core.errors import HostError

Array = NDArray[np.float64]


def matrix_to_numpy(matrix: Matrix) -> Array:
    """A host matrix as a (4, 4) array."""
    return np.array([list(matrix.row[index]) for index in range(4)], float)


def numpy_to_matrix(array: Array) -> Matrix:
    """A (4, 4) array as a host matrix."""
    return Matrix([[float(value) for value in row] for row in array])


def rest_matrix(bone: bpy.types.Bone) -> Array:
    """Rest matrix of a bone, armature space, (4, 4)."""
    return matrix_to_numpy(bone.matrix_local)


def away(armature: bpy.types.Object, torso: str, length: float) -> tuple[float, float]:
    """How far a body is from where the world's places are counted from, and its `length` in the world, metres.

    The object and the torso bone, which whatever bone moves the body carries, both count: a pose is kept in numbers of
    the armature's space, and constraints work in the world's.
    """
    matrix = matrix_to_numpy(armature.matrix_world)
    size = float(abs(np.linalg.det(matrix[:3, :3])) ** (1.0 / 3.0))
    travel = matrix_to_numpy(armature.pose.bones[torso].matrix)[:3, 3] - rest_matrix(armature.data.bones[torso])[:3, 3]
    far = float(np.linalg.norm(matrix[:3, 3])) + size * float(np.linalg.norm(travel))
    # Of an object that is scaled by nothing the length is the armature's own.
    return far, size * length if size > 0.0 else length


def rest_in_parent(bone: bpy.types.Bone) -> Array:
    """Rest matrix of a bone in its parent's frame (armature space without a parent), (4, 4).

    From the numbers that the host itself evaluates with: the quotient of two armature space matrices differs from them
    by a rounding, which a long way from the parent grows to a micrometre.
    """
    if bone.parent is None:
        return rest_matrix(bone)
    out = np.eye(4)
    out[:3, :3] = np.array([list(bone.matrix.row[index]) for index in range(3)])
    along = np.array([0.0, bone.parent.length, 0.0])
    out[:3, 3] = np.array(bone.head) + along
    return out


class PoseReader:
    """Reads the matrices of some bones, as a view layer evaluates them, in one call.

    It guards the buffer and the bones' places in the host's list, which hold until bones are added or removed. Raises
    HostError for a bone that is not there.
    """

    def __init__(self, armature: bpy.types.Object, layer: bpy.types.ViewLayer, bones: Sequence[str]) -> None:
        pose = armature.pose
        assert pose is not None
        self._names = [bone.name for bone in pose.bones]
        places = {name: place for place, name in enumerate(self._names)}
        self._armature = armature
        self._layer = layer
        missing = [name for name in bones if name not in places]
        if missing:
            raise HostError(f"{armature.name!r} has no bone {missing[0]!r} any more: undo its removal, or build again")
        self._buffer = np.zeros(16 * len(pose.bones), np.float32)
        self._places = np.array([places[name] for name in bones], int)

    def check(self) -> None:
        """Raise HostError where the places no longer hold: after somebody else had a turn."""
        pose = self._armature.pose
        if pose is None or [bone.name for bone in pose.bones] != self._names:
            raise HostError(
                f"the bones of {self._armature.name!r} were changed while it was measured: measure it again"
            )

    def read(self) -> Array:
        """Pose matrices of the bones in the order given, armature space, (B, 4, 4)."""
        evaluated = self._armature.evaluated_get(self._layer.depsgraph)
        evaluated.pose.bones.foreach_get("matrix", self._buffer)
        # The host stores columns one after the other.
        return self._buffer.reshape(-1, 4, 4)[self._places].transpose(0, 2, 1).astype(float)


def is_there(item: bpy.types.ID) -> bool:
    """Whether a data block is still in the file: to write what belonged to one that is gone crashes the host."""
    try:
        return bool(item.name_full)
    except ReferenceError:
        return False


def is_evaluated(item: bpy.types.Object) -> bool:
    """Whether the current view layer evaluates an object: it does not where the object is disabled in viewports."""
    layer = bpy.context.view_layer
    if item.evaluated_get(layer.depsgraph).is_evaluated:
        return True
    # It may just be new here.
    layer.update()
    return bool(item.evaluated_get(layer.depsgraph).is_evaluated)


def version_name() -> str:
    """The version of the host, for people and reports, such as "4.5.15"; nobody decides by it."""
    return str(bpy.app.version_string)


def is_selected(bone: bpy.types.PoseBone) -> bool:
    """Whether a pose bone is selected; from host 5.0 on that is the pose's, before it the armature data's."""
    return bool(_selectable(bone).select)


def select(bone: bpy.types.PoseBone, on: bool = True) -> None:
    """Select a pose bone, or not."""
    _selectable(bone).select = on


def _selectable(bone: bpy.types.PoseBone) -> Any:
    return bone if hasattr(bone, "select") else bone.bone


def has_layers(action: Any) -> bool:
    """Whether actions have layers, and parts (slots) for each of those that share them: from host 4.4 on."""
    return hasattr(action, "layers")


def new_part(action: Any, owner: str) -> Any:
    """A new part of an action for an object called `owner`: its slot. Only for hosts with parts."""
    return action.slots.new("OBJECT", owner)


def fill(action: Any, owner: str) -> tuple[Any, Any]:
    """A part for an object called `owner` in a new action: its slot (None in hosts without), its curves."""
    if not has_layers(action):
        return None, action.fcurves
    slot = new_part(action, owner)
    strip = action.layers.new("poses").strips.new(type="KEYFRAME")
    return slot, strip.channelbag(slot, ensure=True).fcurves


def bags_of(action: Any) -> Iterator[Any]:
    """What holds curves and groups in an action: one for each that shares it, or the action itself."""
    if not has_layers(action):
        yield action
        return
    for layer in action.layers:
        for strip in layer.strips:
            yield from strip.channelbags


def bag_of(action: Any, slot: Any) -> Any:
    """The curves and groups that `action` has for one of those that share it; None if there are none.

    `slot`: the part of the action; hosts without such parts give None, and the action is its own bag.
    """
    if not has_layers(action):
        return action
    strips = [strip for layer in action.layers for strip in layer.strips]
    return strips[0].channelbag(slot) if strips and slot is not None else None


def slot_of(player: Any) -> Any:
    """The part of its action that an object's animation, or a strip, plays; None if none, or in hosts without parts."""
    return getattr(player, "action_slot", None)


def give_slot(player: Any, slot: Any) -> None:
    """Let an object's animation, or a strip, play a part of its action; with None everything stays."""
    if slot is not None:
        player.action_slot = slot


def same_slot(action: Any, slot: Any) -> Any:
    """The part of a copy of an action that was `slot` in the original; None where that is None."""
    return None if slot is None else next(item for item in action.slots if item.handle == slot.handle)


def slot_called(action: Any, identifier: str) -> Any:
    """The part of an action with this identifier; None where there is none."""
    return next((item for item in getattr(action, "slots", ()) if item.identifier == identifier), None)


def give_any_slot(player: Any) -> None:
    """Let an object's animation play the first part of its action that suits it, where it plays none."""
    if getattr(player, "action_slot", True) is None and len(player.action_suitable_slots):
        player.action_slot = player.action_suitable_slots[0]


@contextmanager
def mode(armature: bpy.types.Object, wanted: str) -> Iterator[None]:
    """`armature` active, selected and in mode `wanted`; active object, selection and modes as before afterwards."""
    view_layer = bpy.context.view_layer
    before_active = view_layer.objects.active
    before_mode = before_active.mode if before_active is not None else "OBJECT"
    before_selected = [item for item in view_layer.objects if item.select_get()]
    before_hidden = armature.hide_get()
    leave_mode()
    armature.hide_set(False)
    view_layer.objects.active = armature
    armature.select_set(True)
    try:
        bpy.ops.object.mode_set(mode=wanted)
        yield
    finally:
        if bpy.context.view_layer.objects.active is armature:
            leave_mode()
        for item in view_layer.objects:
            item.select_set(item in before_selected)
        armature.hide_set(before_hidden)
        view_layer.objects.active = before_active
        if before_active is not None and before_mode != "OBJECT":
            bpy.ops.object.mode_set(mode=before_mode)


@contextmanager
def same_ends(data: bpy.types.Armature) -> Iterator[None]:
    """In edit mode: which ends of the bones are selected stays. Host 4.5 lets go of a bone's tail that gets a child."""
    before = {bone.name: (bone.select, bone.select_head, bone.select_tail) for bone in data.edit_bones}
    yield
    for bone in data.edit_bones:
        if bone.name in before and before[bone.name] != (bone.select, bone.select_head, bone.select_tail):
            bone.select, bone.select_head, bone.select_tail = before[bone.name]


def leave_mode() -> None:
    """Bring the active object to object mode, if there is one in another mode.

    Host 5.2.3 evaluates the pose while it leaves an armature's edit mode and crashes, more often than not, where bones
    were added to an armature that had been evaluated before: it reads bones that are gone. At rest it does not.
    """
    active = bpy.context.view_layer.objects.active
    if active is None or active.mode == "OBJECT":
        return
    if active.type != "ARMATURE" or active.mode != "EDIT":
        bpy.ops.object.mode_set(mode="OBJECT")
        return
    shown = active.data.pose_position
    active.data.pose_position = "REST"
    try:
        bpy.ops.object.mode_set(mode="OBJECT")
    finally:
        active.data.pose_position = shown
