"""The open file as the host describes it: every property of every data block, so that nothing can be left out."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from operator import attrgetter
from typing import Any, NamedTuple

import numpy as np

# What belongs to the session or the window and not to the file's work, and what the host works out anew.
NOT_WORK = {
    *("window_managers", "screens", "workspaces", "brushes", "libraries", "palettes", "linestyles", "paint_curves"),
    "all_ids",
}
DERIVED = {
    *("rna_type", "session_uid", "preview", "original", "id_data", "is_evaluated", "users", "tag", "is_updated"),
    *("is_updated_data", "is_embedded_data", "library_weak_reference", "asset_data", "filepath_from_user"),
    *("bound_box", "dimensions", "matrix", "matrix_channel", "matrix_local", "head", "tail", "vector", "length"),
    *("x_axis", "y_axis", "z_axis", "center", "depsgraph", "error_location", "error_rotation", "is_user_mapped"),
    *("is_valid", "is_duplicator", "is_instancer", "is_missing", "is_runtime_data", "total_vert_sel"),
    # Whether a bone's or a track's row is drawn open, and what the host counts up by itself.
    *("is_expanded", "show_expanded", "edit_bones", "all_objects", "children_recursive", "bones_recursive"),
    *("objects_recursive", "children", "keying_sets_all", "keying_sets", "tool_settings"),
    *("sequencer_colorspace_settings", "sequence_editor", "shading", "cycles", "is_editmode", "use_nodes"),
}
# Named wherever they are pointed to, and described once where they live.
NAMED = ("Bone", "PoseBone", "EditBone", "BoneCollection", "FCurve", "ActionGroup", "ActionSlot", "ShapeKey")

# Where those live.
OWNERS = {
    *(("Armature", "bones"), ("Armature", "collections_all"), ("Pose", "bones"), ("Action", "slots")),
    *(("Action", "fcurves"), ("Action", "groups"), ("ActionChannelbag", "fcurves"), ("ActionChannelbag", "groups")),
    *(("AnimData", "drivers"), ("Key", "key_blocks")),
}
DEEPEST = 6

_known: dict[Any, Any] = {}


def whole_file() -> dict[str, Any]:
    """Every data block's properties by "collection/block/part", and every bone's pose as it is shown.

    Values of the same content are the same object, so that hundreds of these fit in memory.
    """
    import bpy

    found: dict[str, Any] = {}
    for entry in bpy.data.bl_rna.properties:
        if entry.type != "COLLECTION" or entry.identifier in NOT_WORK:
            continue
        for block in getattr(bpy.data, entry.identifier):
            place = f"{entry.identifier}/{block.name_full}"
            _describe(block, place, found)
            if entry.identifier == "objects":
                _object(block, place, found)
            elif entry.identifier == "armatures":
                for bone in block.bones:
                    found[f"{place}/rest/{bone.name}"] = _same(_flat(bone.matrix_local))
    found["context"] = _same(_context())
    return found


def changes(before: dict[str, Any], now: dict[str, Any], most: int = 12) -> list[str]:
    """Where two of them differ, a line each, `most` at the most."""
    lines = []
    for place in sorted(before.keys() | now.keys()):
        old, new = before.get(place, "nothing"), now.get(place, "nothing")
        if old == new:
            continue
        if isinstance(old, Values) and isinstance(new, Values) and old.kind is new.kind:
            was, is_now = old.named(), new.named()
            words = "; ".join(
                f"{name}: {was.get(name)!r} became {is_now.get(name)!r}"
                for name in was.keys() | is_now.keys()
                if was.get(name) != is_now.get(name)
            )
            lines.append(f"{place}: {words}"[:600])
        else:
            lines.append(f"{place}: {old!r} became {new!r}"[:600])
        if len(lines) == most:
            break
    return lines


def _same(value: Any) -> Any:
    """One object for equal values."""
    return _known.setdefault(value, value)


def _context() -> tuple[Any, ...]:
    import bpy

    layer = bpy.context.view_layer
    return (
        ("mode", bpy.context.mode),
        ("active", layer.objects.active.name if layer.objects.active else None),
        ("selected", tuple(sorted(item.name for item in layer.objects if item.select_get()))),
        ("hidden", tuple(sorted(item.name for item in layer.objects if item.hide_get()))),
        ("modes", tuple(sorted((item.name, item.mode) for item in layer.objects))),
    )


def _object(item: Any, place: str, found: dict[str, Any]) -> None:
    """What the host keeps as derived but a person sees: poses, and a mesh's weights."""
    if item.type == "ARMATURE" and item.pose is not None and item.mode != "EDIT":
        for bone in item.pose.bones:
            found[f"{place}/shown/{bone.name}"] = _same(_flat(bone.matrix))
    if item.type == "MESH" and len(item.vertex_groups):
        weights = tuple(tuple((group.group, group.weight) for group in vertex.groups) for vertex in item.data.vertices)
        found[f"{place}/weights"] = _same(weights)


class Values(NamedTuple):
    """What a struct of the host holds itself: its single values, vectors, what it points to, and the user's own."""

    kind: type
    single: Any
    vectors: tuple[Any, ...]
    pointed: tuple[str, ...]
    custom: tuple[tuple[str, str], ...]

    def named(self) -> dict[str, Any]:
        """The values by the names of their properties."""
        shape = _shape(self.kind)
        single = self.single if len(shape.single) > 1 else (self.single,)
        return {
            **dict(zip(shape.single, single, strict=False)),
            **dict(zip(shape.vectors, self.vectors, strict=True)),
            **dict(zip(shape.pointed, self.pointed, strict=True)),
            **dict(self.custom),
        }


class Shape(NamedTuple):
    """The properties of a kind of struct: names of single values, vectors, pointers that are named, those that are
    described, and of collections with whether their items are named.
    """

    single: tuple[str, ...]
    vectors: tuple[str, ...]
    pointed: tuple[str, ...]
    parts: tuple[str, ...]
    collections: tuple[tuple[str, bool], ...]
    get: Callable[[Any], Any]


@cache
def _shape(kind: type) -> Shape:
    single, vectors, pointed, parts, collections = [], [], [], [], []
    for entry in kind.bl_rna.properties:  # type: ignore[attr-defined]
        name = entry.identifier
        if name in DERIVED or name.startswith("bl_"):
            continue
        fixed = entry.fixed_type if entry.type in ("POINTER", "COLLECTION") else None
        is_named = fixed is not None and (_is_block(fixed) or fixed.identifier in NAMED)
        if entry.type == "COLLECTION":
            collections.append((name, is_named))
        elif entry.type == "POINTER":
            (pointed if is_named else parts).append(name)
        else:
            (vectors if getattr(entry, "is_array", False) else single).append(name)
    return Shape(
        *(tuple(names) for names in (single, vectors, pointed, parts)),
        collections=tuple(collections),
        get=attrgetter(*single) if single else lambda item: (),
    )


def _is_block(kind: Any) -> bool:
    while kind is not None:
        if kind.identifier == "ID":
            return True
        kind = kind.base
    return False


def _describe(item: Any, place: str, found: dict[str, Any], depth: int = 0) -> None:
    """Put `item`'s own values under `place`, and those of what it holds under places below."""
    kind = type(item)
    shape = _shape(kind)
    found[place] = _same(
        Values(
            kind,
            _hashed(shape.get(item)),
            tuple(_flat(getattr(item, name)) for name in shape.vectors),
            tuple(_name(getattr(item, name)) for name in shape.pointed),
            _custom(item),
        )
    )
    if depth == DEEPEST:
        return
    for name in shape.parts:
        value = getattr(item, name)
        if value is not None:
            _describe(value, f"{place}/{name}", found, depth + 1)
    for name, is_named in shape.collections:
        value = getattr(item, name)
        if len(value):
            _collection(item, name, value, f"{place}/{name}", found, depth, is_named)


def _flat(value: Any) -> Any:
    """A vector or matrix as plain numbers."""
    return tuple(tuple(row) for row in value) if hasattr(value, "row") else tuple(value)


def _hashed(values: Any) -> Any:
    """Choices of several (sets) as what can be kept."""
    if isinstance(values, tuple):
        return tuple(tuple(sorted(value)) if isinstance(value, set) else value for value in values)
    return tuple(sorted(values)) if isinstance(values, set) else values


def _custom(item: Any) -> tuple[tuple[str, str], ...]:
    """Properties of the user's. Registered ones are looked at by their names: 4.2 keeps them here as well, and begins
    to when they are read."""
    try:
        return tuple(
            (f"[{key}]", repr(_plain(value)))
            for key, value in item.items()
            if key not in item.bl_rna.properties and not hasattr(value, "bl_rna")
        )
    except (AttributeError, TypeError):
        # The kind has no properties of the user's.
        return ()


def _collection(item: Any, name: str, value: Any, place: str, found: dict[str, Any], depth: int, named: bool) -> None:
    from armwright.addon import host
    from armwright.addon.convert_splice import read_keys

    kind = type(item).__name__
    if kind in ("Object", "Scene", "Collection", "ViewLayer", "LayerCollection") and named and name != "bones":
        found[place] = _same(tuple(sorted(_name(entry) for entry in value)))
        return
    if kind in ("FCurve",) and name in ("keyframe_points", "sampled_points"):
        if name == "keyframe_points":
            found[place] = _same(read_keys(item).tobytes())
        return
    if kind == "Action" and name == "fcurves" and host.has_layers(item):
        # The same curves as in its layers.
        return
    if kind == "Mesh":
        _mesh(name, value, place, found)
        return
    for index, entry in enumerate(value):
        own = getattr(entry, "name", "") or ""
        label = f"{own}#{index}" if own else f"#{index}"
        if isinstance(entry, str | float | int):
            found[f"{place}/{label}"] = entry
        elif named and (kind, name) not in OWNERS:
            found[f"{place}/{label}"] = _name(entry)
        else:
            _describe(entry, f"{place}/{label}", found, depth + 1)


def _mesh(name: str, value: Any, place: str, found: dict[str, Any]) -> None:
    if name == "vertices":
        points = np.empty(3 * len(value), np.float32)
        value.foreach_get("co", points)
        found[place] = _same(points.tobytes())
    elif name in ("edges", "polygons", "loops"):
        found[place] = len(value)


def _name(value: Any) -> str:
    if value is None:
        return ""
    if hasattr(value, "data_path") and hasattr(value, "array_index"):
        return f"{value.data_path}[{value.array_index}]"
    return str(getattr(value, "name_full", getattr(value, "name", type(value).__name__)))


def _plain(value: Any) -> Any:
    """Groups and lists as what they hold, data blocks by their names: the host prints their addresses."""
    if hasattr(value, "name_full"):
        return value.name_full
    if hasattr(value, "to_dict"):
        return {key: _plain(entry) for key, entry in value.items()}
    return value.to_list() if hasattr(value, "to_list") else value
