"""Everything of the host's file that a build or a removal could disturb, as plain data that compares."""

from __future__ import annotations

from typing import Any


def deep_snapshot() -> dict[str, Any]:
    """The open file: data blocks, context, scenes, and armatures down to each channel."""
    import bpy

    blocks = {
        entry.identifier: sorted(item.name_full for item in getattr(bpy.data, entry.identifier))
        for entry in bpy.data.bl_rna.properties
        if entry.type == "COLLECTION"
    }
    return {
        "blocks": blocks,
        "context": _context(),
        "scenes": {scene.name: (scene.frame_current, _tree(scene.collection)) for scene in bpy.data.scenes},
        "objects": {item.name_full: _object(item) for item in bpy.data.objects},
        "armatures": {data.name_full: _armature(data) for data in bpy.data.armatures},
    }


def differences(before: Any, now: Any, path: str = "") -> list[str]:
    """Where two snapshots differ, a line each; empty if they are the same."""
    if isinstance(before, dict) and isinstance(now, dict):
        lines = [f"{path}.{key} is {'gone' if key in before else 'new'}" for key in before.keys() ^ now.keys()]
        for key in before.keys() & now.keys():
            lines += differences(before[key], now[key], f"{path}.{key}")
        return sorted(lines)
    return [] if before == now else [f"{path}: {before!r} became {now!r}"]


def _context() -> dict[str, Any]:
    import bpy

    layer = bpy.context.view_layer
    return {
        "mode": bpy.context.mode,
        "active": layer.objects.active.name if layer.objects.active else None,
        "collection": bpy.context.collection.name,
        "selected": sorted(item.name for item in layer.objects if item.select_get()),
        "hidden": sorted(item.name for item in layer.objects if item.hide_get()),
        "modes": {item.name: item.mode for item in layer.objects},
    }


def _tree(collection: Any) -> Any:
    return (
        collection.name,
        collection.hide_viewport,
        sorted(item.name for item in collection.objects),
        [_tree(child) for child in collection.children],
    )


def _custom(item: Any) -> dict[str, str]:
    return {key: repr(_plain(value)) for key, value in item.items() if not hasattr(value, "bl_rna")}


def _plain(value: Any) -> Any:
    """Groups and lists as what they hold: the host prints their addresses."""
    if hasattr(value, "to_dict"):
        return value.to_dict()
    return value.to_list() if hasattr(value, "to_list") else value


def _animation(item: Any) -> Any:
    animation = item.animation_data
    if animation is None:
        return None
    drivers = [(curve.data_path, curve.array_index, curve.driver.expression) for curve in animation.drivers]
    return (animation.action.name if animation.action else None, sorted(drivers), len(animation.nla_tracks))


def _object(item: Any) -> dict[str, Any]:
    found = {
        "data": item.data.name_full if item.data is not None else None,
        "custom": _custom(item),
        "animation": _animation(item),
        "placed": [tuple(row) for row in item.matrix_world],
        "shown": (item.hide_viewport, item.hide_render, item.show_in_front, item.hide_select),
        "modifiers": [(entry.name, entry.type) for entry in item.modifiers],
    }
    if item.type == "ARMATURE" and item.pose is not None and item.mode != "EDIT":
        found["pose"] = {bone.name: _pose_bone(bone) for bone in item.pose.bones}
    return found


def _pose_bone(bone: Any) -> Any:
    return (
        bone.rotation_mode,
        tuple(bone.location),
        tuple(bone.rotation_quaternion),
        tuple(bone.rotation_euler),
        tuple(bone.scale),
        tuple(bone.lock_location),
        tuple(bone.lock_rotation),
        tuple(bone.lock_scale),
        _custom(bone),
        [
            (entry.type, entry.name, getattr(entry, "subtarget", ""), entry.influence, entry.mute)
            for entry in bone.constraints
        ],
        bone.custom_shape.name if bone.custom_shape else None,
        bone.color.palette,
    )


def _armature(data: Any) -> dict[str, Any]:
    return {
        "custom": _custom(data),
        "animation": _animation(data),
        "bones": {bone.name: _bone(bone, data.is_editmode) for bone in data.bones},
        "active": data.bones.active.name if data.bones.active else None,
        "collections": [
            (
                entry.name,
                entry.is_visible,
                entry.parent.name if entry.parent else None,
                # In edit mode the host keeps the members with the edit bones.
                None if data.is_editmode else sorted(bone.name for bone in entry.bones),
            )
            for entry in data.collections_all
        ],
        "collection": data.collections.active_index,
        "mirror": data.use_mirror_x,
    }


def _bone(bone: Any, is_edited: bool) -> Any:
    return (
        bone.parent.name if bone.parent else None,
        tuple(value for row in bone.matrix_local for value in row),
        tuple(bone.head_local),
        tuple(bone.tail_local),
        bone.use_connect,
        bone.use_deform,
        bone.use_inherit_rotation,
        bone.inherit_scale,
        bone.hide,
        bone.hide_select,
        None if is_edited else sorted(entry.name for entry in bone.collections),
    )
