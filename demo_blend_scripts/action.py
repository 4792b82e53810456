"""Wren's action at 24 frames a second: the gallery's rail, up the ladder and down, the lookout's sill."""

from __future__ import annotations

import bpy

from ..addon.subjects import subject_of
from .acting import Stage
from .action_gallery import AT_HOOK, FIRST, gallery_body, key_gallery
from .action_ladder import key_ladder, ladder_body
from .action_sill import LAST, key_sill, sill_body
from .character import Character
from .ladder import sway
from .lighthouse import Lighthouse, hook_point
from .pendulum import hang_lantern

__all__ = ["FIRST", "LAST", "RATE", "make_action"]

RATE = 24


def make_action(character: Character, lighthouse: Lighthouse) -> bpy.types.Action:
    """Key everything; leaves the scene at its first frame."""
    armature, scene = character.armature, bpy.context.scene
    scene.frame_start, scene.frame_end, scene.render.fps = FIRST, LAST, RATE
    armature.animation_data_create()
    sway(lighthouse.ladder, FIRST, LAST)
    stage = Stage(subject_of(armature), character.hands, character.body, lighthouse.ladder)
    # The body first, all of it: what an arm holds on to or lets go of is matched to the pose at that frame.
    for key_body in (gallery_body, ladder_body, sill_body):
        key_body(stage)
    for key_arms in (key_gallery, key_ladder, key_sill):
        key_arms(stage)
    action = armature.animation_data.action
    action.name = f"{character.guide.name}.gallery"
    hang_lantern(armature, lighthouse.lantern, (FIRST, LAST), AT_HOOK, hook_point())
    scene.frame_set(FIRST)
    return action
