"""Bind the selected meshes to the arms."""

from __future__ import annotations

import bpy

from ...core.bind.mapping import parse_mapping
from .. import bind, selection
from .common import OnRig, attempt

WAYS = [
    ("auto", "Automatic weights", "Find new weights by the host's heat, for the arms and the character's other bones"),
    ("names", "Keep the weights", "Share the weights of old vertex groups over the arms' skin bones"),
]


class ARMWRIGHT_OT_bind_skin(OnRig, bpy.types.Operator):
    """Let the arms move the selected meshes. What a vertex group held before stays beside it"""

    bl_idname = "armwright.bind_skin"
    bl_label = "Bind the skin"
    bl_options = {"REGISTER", "UNDO"}

    way: bpy.props.EnumProperty(name="Weights", items=WAYS)  # type: ignore[valid-type]
    mapping: bpy.props.StringProperty(  # type: ignore[valid-type]
        name="Mapping",
        description='Which old group goes where, such as {"old_arm": "upper_arm.L"}; empty to guess from old bones',
    )

    def execute(self, context: bpy.types.Context) -> set[str]:
        return attempt(self, lambda: self._bind(context))

    def _bind(self, context: bpy.types.Context) -> str:
        armature = selection.armature_of(context)
        meshes = [item for item in context.selected_objects if item.type == "MESH"]
        if self.way == "auto":
            return bind.bind_automatically(armature, meshes)
        return bind.bind_by_names(armature, meshes, parse_mapping(self.mapping) if self.mapping.strip() else None)
