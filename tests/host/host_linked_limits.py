"""What a linked character can not do is refused with a sentence; what is set on an override is the shot's."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from keepers import activate
from props import subject_of
from refusals import refused
from shots import both_arms, character, link_character, override_character, save_character, set_in_motion

DIALS = {
    "ik": 0.3,
    "elbow_hold": 0.2,
    "isolate": 0.4,
    "lift": 0.6,
    "stretch": 0.7,
    "soft": 0.1,
    "volume": 0.5,
    "upper_length": 1.1,
    "forearm_length": 0.9,
    "upper_roll": 0.2,
    "hand_roll": 0.5,
    "hand_side": -0.2,
    "hand_spin": 0.4,
    "finger_bend": 0.3,
}
RANGE = {"arm": "L", "mode": "hand", "first": 1, "last": 9}
# Every operator that changes an arm, or the armature that it is on.
CHANGES: dict[str, tuple[dict[str, Any], ...]] = {
    "hold": tuple({"arm": "L", "mode": mode} for mode in ("none", "hand", "elbow", "both")),
    "flip_dial": tuple({"arm": "R", "dial": dial} for dial in ("isolate", "lift", "stretch")),
    "set_space": ({"arm": "L", "hold": "hand", "space": "torso"},),
    "take_off_space": ({"arm": "L", "hold": "hand", "space": "torso"},),
    "grab": tuple({"arm": "L", "parts": parts} for parts in ("hand", "elbow", "both")),
    "release": ({"arm": "L"},),
    "hold_range": ({"arm": "L", "parts": "hand", "into": "WORLD", "first": 1, "last": 9},),
    "mend_spaces": ({},),
    "convert_range": (RANGE,),
    "ask_range": (RANGE,),
    "hold_phases": ({},),
    "remove_arms": ({},),
    "build_arms": ({},),
}


@pytest.fixture
def registered() -> Iterator[None]:
    import armwright

    armwright.register()
    yield
    armwright.unregister()


@pytest.fixture
def library(wren: Any, tmp_path: Path) -> Path:
    """The file of a character that moves by itself there."""
    set_in_motion(wren)
    path = tmp_path / "keeper.blend"
    save_character(wren, path)
    return path


def told(operator: str, options: dict[str, Any]) -> str:
    """What an operator that is refused says."""
    import bpy

    with pytest.raises(RuntimeError) as refusal:
        getattr(bpy.ops.armwright, operator)("EXEC_DEFAULT", True, **options)
    return str(refusal.value).strip()


def changed_operators() -> set[str]:
    import bpy

    from armwright.addon.registration import CLASSES

    return {
        entry.bl_idname.removeprefix("armwright.")
        for entry in CLASSES
        if issubclass(entry, bpy.types.Operator) and not entry.bl_idname.endswith(ALWAYS)
    }


# These leave the character as it is: they work on meshes or markers, write files or poses, or give everything back.
ALWAYS = (
    *("measure_mesh", "place_markers", "read_joints", "bind_skin"),
    *("run_proof", "recall_proof", "show_check", "run_study", "mark_phases", "clear_phase_marks"),
    *("save_report", "hand_over", "ask_hand_over", "save_controls_page", "make_hand_poses"),
    *("draft_card", "run_card_proof"),
)


def refuses_everything(armature: Any, words: str) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences

    assert set(CHANGES) >= changed_operators()
    activate(armature)
    settings = bpy.context.scene.armwright_build
    settings.armature, settings.torso = armature, "torso.2"
    before = deep_snapshot()
    for operator, calls in CHANGES.items():
        for options in calls:
            sentence = told(operator, options)
            expected = words if operator != "build_arms" else "is linked from"
            assert re.search(expected, sentence), (operator, sentence)
            # One sentence, no Python.
            assert "\n" not in sentence and "Traceback" not in sentence, (operator, sentence)
            assert differences(before, deep_snapshot()) == [], operator


def test_the_proof_that_a_library_keeps_is_listed_for_its_linked_character(
    registered: None, wren: Any, tmp_path: Path
) -> None:
    import bpy

    from armwright.addon import kept_results
    from armwright.addon.rig import read_record
    from armwright.core.proof.results import Results
    from armwright.core.proof.verdicts import not_applicable

    lengths = (("L", 0.58), ("R", 0.58))
    results = Results("4.5.15", wren.name, read_record(wren).plan_digest, 1, lengths, not_applicable("L"))
    assert kept_results.keep(wren, results)
    path, name = tmp_path / "keeper.blend", wren.name
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    with bpy.data.libraries.load(str(path), link=True) as (_, wanted):
        wanted.objects = [name]
    bpy.context.scene.collection.objects.link(wanted.objects[0])
    bpy.context.view_layer.update()
    activate(wanted.objects[0])
    assert bpy.ops.armwright.recall_proof() == {"FINISHED"}
    assert bpy.context.window_manager.armwright_proof.rig == name


def test_every_operator_is_refused_on_a_linked_character_with_one_sentence(registered: None, library: Path) -> None:
    import bpy

    was = library.read_bytes()
    bpy.ops.wm.read_factory_settings(use_empty=True)
    with bpy.data.libraries.load(str(library), link=True) as (_, wanted):
        wanted.objects = ["Wren"]
    bpy.context.scene.collection.objects.link(wanted.objects[0])
    bpy.context.view_layer.update()
    refuses_everything(wanted.objects[0], "linked: make a library override first")
    assert library.read_bytes() == was


def test_every_operator_is_refused_on_an_override_that_is_not_editable(registered: None, library: Path) -> None:
    import bpy

    instance = link_character(library)
    instance.instance_collection.override_hierarchy_create(
        bpy.context.scene, bpy.context.view_layer, reference=instance
    )
    bpy.data.objects.remove(instance)
    bpy.context.view_layer.update()
    over = character()
    assert over.override_library.is_system_override
    over.animation_data.action = None
    refuses_everything(over, "override.* not editable")
    # What the sentence asks for helps.
    activate(over)
    assert bpy.ops.object.make_override_library() == {"FINISHED"}
    assert bpy.ops.armwright.hold("EXEC_DEFAULT", True, arm="L", mode="hand") == {"FINISHED"}


def test_keys_are_refused_while_the_action_is_the_linked_file_s(registered: None, library: Path) -> None:
    import bpy

    from armwright.addon import convert, grab, host, spaces
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    over = override_character(library)
    assert over.animation_data.action.library is not None
    subject = subject_of(over)
    bpy.context.scene.frame_set(5)
    hold = Target(ik=1.0, elbow=0.0)
    for work in (
        lambda: switch(subject, "L", hold, keyed=True),
        # The FK channels have keys already, so an unkeyed change would not last.
        lambda: switch(subject, "L", Target(ik=0.0, elbow=0.0, isolate=1.0), keyed=None),
        lambda: grab.grab(subject, "L", "both", None, keyed=True),
        lambda: grab.hold_range(subject, "L", "hand", None, 5, 9),
        lambda: spaces.set_space(subject, "L", "hand", spaces.space_named(subject, "L", "hand", "torso"), keyed=True),
        lambda: convert.convert_whole(subject, convert.Request(("L",), "hand", 1, 9)),
    ):
        refused(work, "action 'WrenAction' is linked")
    # Made local, as the sentence says, it takes them.
    bpy.context.view_layer.update()
    before = both_arms(over)
    over.animation_data.action = over.animation_data.action.copy()
    host.give_any_slot(over.animation_data)
    bpy.context.scene.frame_set(5)
    assert switch(subject_of(over), "L", hold, keyed=True).kept
    assert np.abs(both_arms(over, range(1, 5)) - before[:4]).max() < 2e-6


def test_what_is_set_by_hand_on_an_override_is_kept_by_the_shot(library: Path, tmp_path: Path) -> None:
    import bpy

    over = override_character(library)
    over.animation_data.action = None
    wanted = _set_by_hand(over)
    bpy.context.view_layer.update()
    shown = np.array([list(bone.matrix.col[3]) for bone in over.pose.bones])
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "shot.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "shot.blend"))
    for item in bpy.data.libraries:
        item.reload()
    over = character()
    assert over.animation_data.action is None
    bpy.context.view_layer.update()
    assert {key: _value(over, *key) for key in wanted} == wanted
    assert np.abs(np.array([list(bone.matrix.col[3]) for bone in over.pose.bones]) - shown).max() < 2e-6


def _value(armature: Any, bone: str, path: str) -> Any:
    found = armature.pose.bones[bone].path_resolve(path)
    return tuple(found) if hasattr(found, "__len__") else found


def _set_by_hand(armature: Any) -> dict[tuple[str, str], Any]:
    """Every dial, every FK channel, hold, aim and space influence of both arms; what each is now."""
    wanted: list[tuple[str, str]] = []
    rng = np.random.default_rng(3)
    for side in "LR":
        for dial, value in DIALS.items():
            path = f'["{dial}"]'
            bone = armature.pose.bones[f"fk.clavicle.{side}"]
            assert bone.is_property_overridable_library(path), dial
            bone[dial] = value
            wanted.append((bone.name, path))
        for part in ("clavicle", "upper_arm", "forearm", "hand"):
            armature.pose.bones[f"fk.{part}.{side}"].rotation_euler = rng.uniform(-0.3, 0.3, 3).tolist()
            wanted.append((f"fk.{part}.{side}", "rotation_euler"))
        for hold in ("hold.hand", "hold.elbow", "aim.elbow"):
            bone = armature.pose.bones[f"{hold}.{side}"]
            bone.location = rng.uniform(-0.1, 0.1, 3).tolist()
            wanted.append((bone.name, "location"))
            if hold != "aim.elbow":
                bone.rotation_quaternion = (0.9, 0.1, 0.3, -0.2)
                wanted.append((bone.name, "rotation_quaternion"))
        for hold in ("hand", "elbow"):
            bone = armature.pose.bones[f"aux.{hold}_space.{side}"]
            bone.constraints["head"].influence = 1.0
            wanted.append((bone.name, 'constraints["head"].influence'))
    return {key: _value(armature, *key) for key in wanted}
