"""Make the hands' poses as assets."""

from __future__ import annotations

import bpy

from .. import hand_poses, selection
from .common import OnRig, attempt


class ARMWRIGHT_OT_make_hand_poses(OnRig, bpy.types.Operator):
    """Add relaxed hand, fist and flat hand as pose assets of this file; nothing that you made is changed"""

    bl_idname = "armwright.make_hand_poses"
    bl_label = "Make hand poses"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            made = hand_poses.make_hand_poses(selection.armature_of(context))
            return f"Pose assets: {', '.join(action.name for action in made)}"

        return attempt(self, work)
