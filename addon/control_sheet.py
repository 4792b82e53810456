"""Reads what the page about a character's controls needs: bones, shapes as they are drawn, colours, dials, body."""

from __future__ import annotations

import bpy
import numpy as np
from mathutils import Matrix
from numpy.typing import NDArray

from ..core.arm.torso import HEAD
from ..core.controls.model import Colour, Control, Dial, Limb, ModeWords, Sheet
from ..core.rig_record import RigRecord
from . import host
from .hand_over import meshes_of
from .holds import MODES
from .panels.dials_panel import GROUPS
from .subjects import Subject

Array = NDArray[np.float64]

# A shape with more edges is no wire shape any more: the bone is drawn in its place.
MOST_EDGES = 4000
# A part of the body is as thick as this part of its length, within these parts of an arm's length.
THICKNESS, THINNEST, THICKEST = 0.5, 0.03, 0.25
# More triangles than this say nothing more about an outline.
MOST_TRIANGLES = 400_000
# Palettes of the host's theme are "THEME01" and so on.
THEME = "THEME"
DIAL_LABELS = {
    # In the sidebar the heading says that these are lengths.
    key: f"{label} length" if group == "Length" else label
    for group, dials in GROUPS
    for key, label in dials
}


def sheet_of(subject: Subject) -> Sheet:
    """Everything about the controls of a rig, as it is now, with the bones at rest."""
    armature, record = subject.armature, subject.record
    controls = [
        Control(bone.name, arm, role, _lines(armature, bone), _colour(bone))
        for bone, arm, role in _parts(armature, record, subject.chain)
    ]
    triangles = _surface(armature)
    return Sheet(
        name=record.name or armature.name,
        controls=tuple(controls),
        dials=tuple(dial for control in controls for dial in _dials(armature.pose.bones[control.bone])),
        modes=tuple(ModeWords(mode.label, mode.help) for mode in MODES.values()),
        limbs=_limbs(subject),
        triangles=triangles,
        facing=subject.facing,
        palms=tuple((arm, host.rest_matrix(armature.data.bones[record.bone(arm, "hand")])) for arm in record.arms),
    )


def _parts(
    armature: bpy.types.Object, record: RigRecord, chain: tuple[str, ...]
) -> list[tuple[bpy.types.PoseBone, str, str]]:
    """Every bone of ours that has a shape, with its arm and its role; arms first, in the order of the roles."""
    roles: dict[str, tuple[str, str]] = {}
    for entry in record.roles:
        # A part's own role is the one that is told; "dials" is where they are.
        if entry.role != "dials" and entry.bone not in roles:
            roles[entry.bone] = (entry.arm, entry.role)
    for name in record.bones:
        if name in roles:
            continue
        if name == record.root:
            roles[name] = ("", "root")
        elif name in chain:
            roles[name] = ("", "torso")
        elif name == HEAD:
            roles[name] = ("", "head")
    bones = armature.pose.bones
    known = [bones[name] for name in (*dict.fromkeys(e.bone for e in record.roles), *record.bones) if name in bones]
    shown = [bone for bone in dict.fromkeys(known) if bone.custom_shape is not None]
    return [(bone, *roles.get(bone.name, ("", ""))) for bone in shown]


def _lines(armature: bpy.types.Object, bone: bpy.types.PoseBone) -> tuple[Array, ...]:
    """What the host draws for a control, with the bones at rest: polylines, armature space."""
    at = bone.custom_shape_transform or bone
    frame = host.rest_matrix(armature.data.bones[at.name])
    length = bone.bone.length
    mesh = getattr(bone.custom_shape, "data", None)
    if not isinstance(mesh, bpy.types.Mesh) or not 0 < len(mesh.edges) <= MOST_EDGES:
        head, tail = (np.array(point) for point in (bone.bone.head_local, bone.bone.tail_local))
        return (np.stack([head, tail]),)
    size = np.array(bone.custom_shape_scale_xyz) * (length if bone.use_custom_shape_bone_size else 1.0)
    own = Matrix.LocRotScale(bone.custom_shape_translation, bone.custom_shape_rotation_euler, size.tolist())
    placed = frame @ host.matrix_to_numpy(own)
    points = np.empty(3 * len(mesh.vertices), np.float32)
    mesh.vertices.foreach_get("co", points)
    corners = points.reshape(-1, 3).astype(float) @ placed[:3, :3].T + placed[:3, 3]
    return tuple(corners[run] for run in _runs([(edge.vertices[0], edge.vertices[1]) for edge in mesh.edges]))


def _runs(edges: list[tuple[int, int]]) -> list[list[int]]:
    """Edges that follow each other as polylines."""
    runs: list[list[int]] = []
    for start, end in edges:
        if runs and runs[-1][-1] == start:
            runs[-1].append(end)
        else:
            runs.append([start, end])
    return runs


def _colour(bone: bpy.types.PoseBone) -> Colour | None:
    color = bone.color if bone.color.palette != "DEFAULT" else bone.bone.color
    if color.palette == "DEFAULT":
        return None
    sets = bpy.context.preferences.themes[0].bone_color_sets
    shown = color.custom if color.palette == "CUSTOM" else sets[int(color.palette.removeprefix(THEME)) - 1]
    return (shown.normal[0], shown.normal[1], shown.normal[2])


def _dials(bone: bpy.types.PoseBone) -> list[Dial]:
    """The numbers that people set on a control."""
    out = []
    for key, value in bone.items():
        if isinstance(value, bool) or not isinstance(value, int | float):
            continue
        shown = bone.id_properties_ui(key).as_dict()
        out.append(
            Dial(
                bone.name,
                key,
                DIAL_LABELS.get(key, key.replace("_", " ").capitalize()),
                float(shown["min"]),
                float(shown["max"]),
                float(shown["default"]),
                shown.get("description") or "",
                angle=shown.get("subtype") == "ANGLE",
            )
        )
    return out


def _limbs(subject: Subject) -> tuple[Limb, ...]:
    """The bones that carry skin, as thick lines."""
    arm = float(np.mean([shape.upper_length + shape.forearm_length for shape in subject.geometries.values()]))
    return tuple(
        Limb(
            np.array(bone.head_local),
            np.array(bone.tail_local),
            float(np.clip(THICKNESS * bone.length, THINNEST * arm, THICKEST * arm)),
        )
        for bone in subject.armature.data.bones
        if bone.use_deform
    )


def _surface(armature: bpy.types.Object) -> Array:
    """Triangles (T, 3, 3) of the meshes that the armature moves, undeformed, armature space."""
    out = [np.empty((0, 3, 3))]
    to_armature = np.linalg.inv(host.matrix_to_numpy(armature.matrix_world))
    for item in meshes_of(armature):
        mesh = item.data
        mesh.calc_loop_triangles()
        points = np.empty(3 * len(mesh.vertices), np.float32)
        mesh.vertices.foreach_get("co", points)
        corners = np.empty(3 * len(mesh.loop_triangles), np.int32)
        mesh.loop_triangles.foreach_get("vertices", corners)
        placed = to_armature @ host.matrix_to_numpy(item.matrix_world)
        out.append((points.reshape(-1, 3) @ placed[:3, :3].T + placed[:3, 3])[corners].reshape(-1, 3, 3))
    found = np.concatenate(out)
    return found if len(found) <= MOST_TRIANGLES else np.empty((0, 3, 3))
