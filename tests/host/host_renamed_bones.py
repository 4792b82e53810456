"""Bones of the arms that somebody has renamed by hand: they move as before, and building again gives the names back."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from keepers import activate
from props import subject_of
from shots import arm_length, both_arms, set_in_motion
from swings import every_key
from whole_file import changes, whole_file

# Controls, skin, and what only the rig itself needs; bones with children and without.
RENAMED = {
    "fk.hand.L": "left lantern hand",
    "fk.upper_arm.L": "swing",
    "hold.elbow.R": "elbow pin",
    "hold.hand.L": "hand pin",
    "fk.clavicle.R": "r_clav",
    "skin.hand.R": "paw",
    "aux.elbow.L": "helper",
    "torso.2": "middle",
}
ALIKE = 1e-6


@pytest.fixture
def named_by_hand(wren: Any) -> Iterator[tuple[Any, np.ndarray, Any]]:
    """Wren in motion with bones renamed by hand; his poses and his keys before that."""
    import bpy

    import armwright

    set_in_motion(wren)
    armwright.register()
    bpy.context.scene.tool_settings.use_keyframe_insert_auto = True
    activate(wren)
    bpy.context.scene.frame_set(10)
    assert bpy.ops.armwright.hold(arm="R", mode="elbow") == {"FINISHED"}
    poses, keys = both_arms(wren), every_key(wren)
    bones = wren.data.bones
    for old, new in RENAMED.items():
        bones[old].name = new
    # The first look makes what the host makes when it is asked for.
    whole_file()
    yield wren, poses, keys
    armwright.unregister()


def off(armature: Any, poses: np.ndarray) -> float:
    """The largest difference of the arms from `poses` on any frame, the skin's hands by what they are called now."""
    return float(np.abs(both_arms(armature) - poses)[..., :3, 3].max()) / arm_length(armature)


def settings() -> Any:
    import bpy

    return bpy.context.scene.armwright_build


def test_operators_say_which_bone_is_missing_and_what_to_do(named_by_hand: Any) -> None:
    import bpy

    assert named_by_hand
    before = whole_file()
    with pytest.raises(RuntimeError, match="removed or renamed: undo that, or build the arms again"):
        bpy.ops.armwright.hold(arm="L", mode="hand")
    assert changes(before, whole_file()) == []


def test_building_again_gives_every_bone_its_name_back_with_its_keys(named_by_hand: Any) -> None:
    import bpy

    from armwright.addon.rebuild import rebuild
    from armwright.addon.rebuild_plan import plan_again

    armature, poses, keys = named_by_hand
    count = len(armature.data.bones)
    done = rebuild(armature, plan_again(armature))
    print(done.notes)
    assert done.changed
    assert len(armature.data.bones) == count
    for old, new in RENAMED.items():
        assert old in armature.data.bones and new not in armature.data.bones
        assert any(f"{new!r} is named {old!r} again" in note for note in done.notes), old
    assert not any("was gone" in note or "put back" in note for note in done.notes)
    assert every_key(armature) == keys
    assert off(armature, poses) < ALIKE
    assert subject_of(armature).arms == ("L", "R")
    assert not rebuild(armature, plan_again(armature)).changed
    activate(armature, "POSE")
    assert bpy.ops.armwright.hold(arm="L", mode="both") == {"FINISHED"}


def test_one_undo_brings_the_users_names_again(named_by_hand: Any) -> None:
    import bpy

    settings().armature = named_by_hand[0]
    bpy.context.scene.frame_set(10)
    bpy.ops.ed.undo_push(message="before")
    before = whole_file()
    assert bpy.ops.armwright.build_arms("EXEC_DEFAULT", True) == {"FINISHED"}
    assert changes(before, whole_file())
    assert bpy.ops.ed.undo() == {"FINISHED"}
    bpy.context.scene.frame_set(10)
    assert changes(before, whole_file()) == []


def test_a_failure_on_the_way_leaves_the_users_names(named_by_hand: Any, monkeypatch: Any) -> None:
    import bpy

    from armwright.addon import rebuild, rebuild_bones
    from armwright.addon.rebuild_plan import plan_again
    from armwright.core.stature import guide_from_stature

    armature, _, _ = named_by_hand
    # An action that nothing plays keeps the old names: the host renames in what plays.
    shelf = armature.animation_data.action.copy()
    shelf.use_fake_user = True
    from armwright.addon.curves import curves_of

    for curve in curves_of(shelf):
        curve.data_path = curve.data_path.replace("left lantern hand", "fk.hand.L")
    bpy.context.scene.frame_set(10)
    before = whole_file()

    def fail(*_: Any) -> Any:
        raise RuntimeError("the lamp went out")

    monkeypatch.setattr(rebuild_bones, "write", fail)
    with pytest.raises(RuntimeError, match="lamp"):
        rebuild.rebuild(armature, plan_again(armature, guide_from_stature(1.8, "Wren")))
    bpy.context.scene.frame_set(10)
    assert changes(before, whole_file()) == []


def test_a_bone_of_the_users_in_the_place_of_a_lost_one_is_not_taken_for_it(wren: Any) -> None:
    from armwright.addon import host
    from armwright.addon.rebuild import rebuild
    from armwright.addon.rebuild_plan import plan_again

    with host.mode(wren, "EDIT"):
        edit = wren.data.edit_bones
        lost = edit["hold.hand.L"]
        mine = edit.new("mine")
        mine.head, mine.tail = lost.head + lost.tail * 0.1, lost.tail * 1.2
        mine.parent = lost.parent
        edit.remove(lost)
    done = rebuild(wren, plan_again(wren))
    assert any("'hold.hand.L' was gone: made again" in note for note in done.notes)
    assert "mine" in wren.data.bones
