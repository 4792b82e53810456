"""A rig that is lent to a proof, or shows a check, while somebody edits the file: what is still there is as it was."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest


@pytest.fixture
def posed(empty_file: Any) -> Any:
    """Wren with an action and poses over its keys, and a hand that a lantern carries half."""
    import bpy
    from characters import wren_on_own_armature
    from keepers import activate
    from props import lantern

    from armwright.addon import spaces, subjects

    armature = wren_on_own_armature()
    activate(armature, "POSE")
    subject = subjects.subject_of(armature)
    spaces.ensure_space(subject, "L", "hand", lantern())
    torso = armature.pose.bones["torso.2"]
    for frame, turn in ((1, 0.0), (20, 0.4)):
        torso.rotation_euler = (turn, 0.0, 0.1)
        torso.keyframe_insert("rotation_euler", frame=frame)
    bpy.context.scene.frame_set(7)
    torso.rotation_euler = (0.33, 0.1, 0.2)
    for item in spaces.space_bone(subject, "L", "hand").constraints:
        item.influence = 0.5
    for number, bone in enumerate(armature.pose.bones):
        # Each its own, so that one that gets another's is seen.
        bone.location = (0.001 * number, 0.0, 0.0)
    armature.pose.bones["fk.clavicle.L"]["ik"] = 0.37
    armature.pose.bones["fk.clavicle.L"]["mood"] = 0.7
    armature.location = (3.0, -4.0, 0.5)
    bpy.context.view_layer.update()
    return armature


def _state(armature: Any) -> dict[str, Any]:
    from armwright.addon.host import slot_of

    animation = armature.animation_data
    bones = {
        bone.name: (
            (tuple(bone.location), tuple(bone.rotation_euler), bone.rotation_mode),
            {key: value for key, value in bone.items() if isinstance(value, float)},
            {item.name: item.influence for item in bone.constraints},
        )
        for bone in armature.pose.bones
    }
    action = animation.action.name if animation is not None and animation.action is not None else None
    slot = slot_of(animation) if action is not None else None
    return {
        "bones": bones,
        "place": tuple(armature.location),
        "action": (action, slot.identifier if slot is not None else None),
        "layers": animation.use_nla if animation is not None else None,
    }


def _scenes() -> list[str]:
    import bpy

    return [scene.name for scene in bpy.data.scenes]


def _add_bone(armature: Any) -> None:
    from armwright.addon import host

    with host.mode(armature, "EDIT"):
        bone = armature.data.edit_bones.new("aaa")
        bone.head, bone.tail = (0.0, 0.0, 0.0), (0.0, 0.0, 0.1)


def _remove_bone(armature: Any) -> None:
    from armwright.addon import host

    with host.mode(armature, "EDIT"):
        armature.data.edit_bones.remove(armature.data.edit_bones["skin.hand.L"])


def _swap_bone(armature: Any) -> None:
    _remove_bone(armature)
    _add_bone(armature)


def _rename_bone(armature: Any) -> None:
    armature.data.bones["skin.hand.L"].name = "glove"


def _remove_action(armature: Any) -> None:
    import bpy

    bpy.data.actions.remove(bpy.data.actions[0])


def _clear_animation(armature: Any) -> None:
    armature.animation_data_clear()


def _remove_constraint(armature: Any) -> None:
    bone = next(bone for bone in armature.pose.bones if any(item.influence == 0.0 for item in bone.constraints))
    bone.constraints.remove(bone.constraints[-1])


def _remove_dial(armature: Any) -> None:
    # One that drives nothing: the host gives up a driver whose property was gone for a moment.
    del armature.pose.bones["fk.clavicle.L"]["mood"]


def _remove_stage(armature: Any) -> None:
    import bpy

    bpy.data.scenes.remove(next(scene for scene in bpy.data.scenes if scene.name.startswith("armwright")))


def _pose(armature: Any) -> None:
    import bpy

    for bone in armature.pose.bones:
        bone.location = (1.0, 2.0, 3.0)
        bone.keyframe_insert("location", frame=3)
    bpy.context.scene.frame_set(15)
    bpy.context.scene.frame_set(7)


# What an edit takes for good, by what it is called in `_state`.
EDITS: dict[str, tuple[Callable[[Any], None], Callable[[dict[str, Any]], None]]] = {
    "a bone is added": (_add_bone, lambda state: state["bones"].pop("aaa", None)),
    "a bone is removed": (_remove_bone, lambda state: state["bones"].pop("skin.hand.L", None)),
    "a bone is replaced": (
        _swap_bone,
        lambda state: [state["bones"].pop(name, None) for name in ("aaa", "skin.hand.L")],
    ),
    "a bone is renamed": (_rename_bone, lambda state: None),
    "the action is removed": (_remove_action, lambda state: state.pop("action")),
    "the animation is cleared": (_clear_animation, lambda state: None),
    "a constraint is removed": (_remove_constraint, lambda state: None),
    "a dial is removed": (_remove_dial, lambda state: None),
    "the stage is removed": (_remove_stage, lambda state: None),
    "all is posed": (_pose, lambda state: None),
}


@pytest.mark.parametrize("edit", EDITS)
def test_what_is_left_of_a_rig_that_is_edited_while_it_is_lent_is_as_it_was(posed: Any, edit: str) -> None:
    import bpy

    from armwright.addon import sample

    work, without = EDITS[edit]
    before, scenes = _state(posed), _scenes()
    assert any(0.0 < value < 1.0 for _, _, found in before["bones"].values() for value in found.values())
    with sample.borrowed(posed):
        assert _state(posed) != before
        work(posed)
    bpy.context.view_layer.update()
    now = _state(posed)
    if edit == "a bone is renamed":
        now["bones"]["skin.hand.L"] = now["bones"].pop("glove")
    if edit == "a constraint is removed":
        lost = [
            (bone, name)
            for bone, (_, _, found) in before["bones"].items()
            for name in found.keys() - now["bones"][bone][2].keys()
        ]
        assert len(lost) == 1
        for bone, name in lost:
            del before["bones"][bone][2][name]
    for state in (before, now):
        without(state)
    changed = {name for name in before["bones"] if before["bones"][name] != now["bones"].get(name)}
    assert changed == set()
    assert now == before
    assert _scenes() == scenes


@pytest.mark.parametrize("edit", EDITS)
def test_a_check_that_is_shown_while_the_rig_is_edited_is_put_back(posed: Any, edit: str) -> None:
    from armwright.addon import interruptions, sample, shown_check, subjects
    from armwright.addon.prove_runs import run
    from armwright.core.proof import verdicts
    from armwright.core.proof.run_plan import planned_runs, standard_motions

    subject = subjects.subject_of(posed)
    spec = next(item for item in planned_runs(standard_motions(1)) if item.case.mode == "hand")
    with sample.borrowed(posed) as stage:
        played = run(subject, spec, stage)[0]
    check = verdicts.checks(spec, played)[0][0]
    before, scenes, off = _state(posed), _scenes(), []
    shown_check.begin(subject, check, 1, until=lambda: off.append("off"))
    EDITS[edit][0](posed)
    assert shown_check.put_back()
    assert off == ["off"]
    assert interruptions._lent == []
    assert _scenes() == scenes
    now = _state(posed)
    same = before["bones"].keys() & now["bones"].keys()
    assert len(same) >= len(before["bones"]) - 1
    assert [name for name in same if before["bones"][name][0] != now["bones"][name][0]] == []
    assert (now["place"], now["layers"]) == (before["place"], before["layers"])


@pytest.mark.parametrize("edit", [name for name in EDITS if name.startswith("a bone is")])
# In the settings, in the frames of the first run, and in a later one.
@pytest.mark.parametrize("pieces", [1, 100, 400])
def test_a_proof_whose_bones_are_changed_on_the_way_says_so_and_gives_everything_back(
    posed: Any, edit: str, pieces: int
) -> None:
    import bpy

    from armwright.addon import prove, subjects
    from armwright.core.errors import HostError
    from armwright.core.pace import Pace

    before, scenes, actions = _state(posed), _scenes(), len(bpy.data.actions)
    steps = prove.prove(subjects.subject_of(posed), pace=Pace(0.0))
    while next(steps).what == "planning":
        pass
    for _ in range(pieces):
        next(steps)
    EDITS[edit][0](posed)
    if edit == "a bone is added" and pieces == 1:
        # Nothing was read yet, and what is read is all there.
        for _ in range(300):
            next(steps)
        steps.close()
    else:
        with pytest.raises(HostError, match=r"were changed|has lost the bone|has no bone"):
            for _ in range(300):
                next(steps)
    now = _state(posed)
    same = before["bones"].keys() & now["bones"].keys()
    assert [name for name in same if before["bones"][name][0] != now["bones"][name][0]] == []
    assert (now["place"], now["layers"], now["action"]) == (before["place"], before["layers"], before["action"])
    assert (_scenes(), len(bpy.data.actions)) == (scenes, actions)
