"""Arms as people and scripts name them: what operators offer, mirrored paste, markers, the command line."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import many_arms
import numpy as np
import pytest
from host_cli import run
from keepers import activate
from props import subject_of

SEED = 991
FOUR = ("L", "R", "lower.L", "lower.R")


@pytest.fixture
def registered(empty_file: Any) -> Iterator[Any]:
    import armwright

    armwright.register()
    yield armwright
    armwright.unregister()


@pytest.fixture
def four(registered: Any) -> Any:
    armature = many_arms.built(many_arms.four_armed_guide())
    activate(armature, "POSE")
    select(armature)
    return armature


def select(armature: Any, *bones: str) -> None:
    """Select exactly these bones; the last one is active."""
    from armwright.addon import host

    for bone in armature.pose.bones:
        host.select(bone, bone.name in bones)
    armature.data.bones.active = armature.data.bones[bones[-1]] if bones else None


def modes(armature: Any) -> dict[str, Any]:
    from armwright.addon.holds import mode_of

    record = subject_of(armature).record
    return {arm: mode_of(armature, record, arm) for arm in record.arms}


@pytest.mark.parametrize("arm", FOUR)
def test_an_operator_takes_an_arms_id_or_its_selected_control(four: Any, arm: str) -> None:
    import bpy

    free = dict.fromkeys(FOUR, "none")
    assert bpy.ops.armwright.hold(arm=arm, mode="hand") == {"FINISHED"}
    assert modes(four) == free | {arm: "hand"}
    select(four, f"fk.hand.{arm}")
    assert bpy.ops.armwright.hold(mode="both") == {"FINISHED"}
    assert modes(four) == free | {arm: "both"}
    assert bpy.ops.armwright.flip_dial(arm=arm, dial="stretch") == {"FINISHED"}
    assert [four.pose.bones[f"fk.clavicle.{item}"]["stretch"] for item in FOUR] == [float(item == arm) for item in FOUR]
    assert bpy.ops.armwright.release(arm=arm) == {"FINISHED"}
    assert modes(four) == free


def test_both_means_all_arms_and_selected_any_number(four: Any) -> None:
    import bpy

    assert bpy.ops.armwright.hold(arm="BOTH", mode="hand") == {"FINISHED"}
    assert modes(four) == dict.fromkeys(FOUR, "hand")
    select(four, "fk.hand.R", "hold.hand.lower.L")
    assert bpy.ops.armwright.hold(mode="none") == {"FINISHED"}
    assert modes(four) == {"L": "hand", "R": "none", "lower.L": "none", "lower.R": "hand"}


@pytest.mark.parametrize(
    ("keeper", "offered"),
    [
        ("four", ["Selected", "Left arm", "Right arm", "Lower left arm", "Lower right arm", "All 4 arms"]),
        ("one", ["Selected", "Right arm", "All arms"]),
        ("unlike", ["Selected", "Left arm", "Right arm", "Both arms"]),
    ],
)
def test_the_choice_offers_the_arms_that_the_rig_has(registered: Any, keeper: str, offered: list[str]) -> None:
    import bpy

    from armwright.addon.operators.common import _arm_items

    activate(many_arms.built(many_arms.GUIDES[keeper]()))
    items = _arm_items(None, bpy.context)
    assert [item[1] for item in items] == offered
    assert items is _arm_items(None, bpy.context), "the host reads the same texts again"
    numbers = {item[0]: item[4] for item in items}
    assert len(set(numbers.values())) == len(numbers)
    assert {key: numbers.get(key, number) for key, number in {"SELECTED": 0, "L": 1, "R": 2, "BOTH": 3}.items()} == {
        "SELECTED": 0,
        "L": 1,
        "R": 2,
        "BOTH": 3,
    }


def test_an_arms_number_is_the_same_whatever_other_arms_there_are() -> None:
    """A shortcut keeps the number and not the name."""
    from armwright.addon.operators.common import items_for

    every = tuple(f"p{number}.{side}" for number in range(20) for side in "LR")
    numbers = {item[0]: item[4] for item in items_for(every)}
    assert len(set(numbers.values())) == len(numbers) == 42
    for arm in every:
        alone = {item[0]: item[4] for item in items_for((arm,))}
        assert alone[arm] == numbers[arm]
        assert 16 <= numbers[arm] < 2**31


def test_a_shortcut_for_an_arm_means_it_on_every_rig_that_has_it(four: Any) -> None:
    import bpy

    from armwright.addon import selection
    from armwright.core.errors import HostError

    keymap = bpy.context.window_manager.keyconfigs.new("lamp").keymaps.new("Pose", space_type="EMPTY")
    item = keymap.keymap_items.new("armwright.hold", "F5", "PRESS")
    item.properties.arm = "lower.L"
    assert item.properties.arm == "lower.L"
    number = dict(item.properties.items())["arm"]
    other = many_arms.built(replace(many_arms.four_armed_guide(), arms=many_arms.four_armed_guide().arms[2:]))
    bpy.ops.object.mode_set(mode="OBJECT")
    activate(other)
    assert (item.properties.arm, dict(item.properties.items())["arm"]) == ("lower.L", number)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    armature = many_arms.built(many_arms.unlike_guide())
    activate(armature)
    with pytest.raises(HostError, match=r"not the arm that is asked for; its arms: left, right"):
        selection.arms_of(armature, subject_of(armature).record, "")


def test_reports_and_tooltips_name_the_arm(four: Any) -> None:
    import bpy

    from armwright.addon.operators.common import whose

    class Given:
        arm = "lower.R"

    assert whose(Given) == "Lower right arm"
    for given, said in (("BOTH", "All arms"), ("SELECTED", "Selected arm"), ("L", "Left arm")):
        Given.arm = given
        assert whose(Given) == said
    with pytest.raises(RuntimeError, match="the lower left arm holds nothing"):
        bpy.ops.armwright.hold(arm="R", mode="hand")
        bpy.ops.armwright.release(arm="lower.L")


def test_a_space_of_another_hand_is_set_by_its_key(four: Any) -> None:
    import bpy

    from armwright.addon import spaces

    assert bpy.ops.armwright.hold(arm="lower.L", mode="hand") == {"FINISHED"}
    assert bpy.ops.armwright.set_space(arm="lower.L", hold="hand", space="hand.R") == {"FINISHED"}
    assert spaces.active_space(subject_of(four), "lower.L", "hand").label == "Right hand"
    with pytest.raises(RuntimeError, match="the lower left hand can be held in the right hand"):
        bpy.ops.armwright.set_space(arm="R", hold="hand", space="hand.lower.L")


@pytest.mark.parametrize("arm", FOUR)
def test_a_pose_pasted_flipped_is_the_mirror_image_on_the_partner(four: Any, arm: str) -> None:
    import bpy

    partner = {"L": "R", "R": "L", "lower.L": "lower.R", "lower.R": "lower.L"}[arm]
    assert bpy.utils.flip_name(f"fk.upper_arm.{arm}") == f"fk.upper_arm.{partner}"
    seed = SEED + FOUR.index(arm)
    print("seed", seed)
    rng = np.random.default_rng(seed)
    controls = ["fk.clavicle", "fk.upper_arm", "fk.forearm", "fk.hand", "hold.hand", "hold.elbow", "aim.elbow"]
    for part in controls:
        bone = four.pose.bones[f"{part}.{arm}"]
        if part.startswith("fk"):
            bone.rotation_euler = rng.uniform(-0.5, 0.5, 3).tolist()
        else:
            bone.location = rng.uniform(-0.1, 0.1, 3).tolist()
    four.pose.bones[f"fk.clavicle.{arm}"]["ik"] = 0.7
    others = [item for item in FOUR if item not in (arm, partner)]
    select(four, *(f"{part}.{arm}" for part in controls))
    bpy.ops.pose.copy()
    before = {name: np.array(four.pose.bones[f"skin.hand.{name}"].matrix) for name in (*others, arm)}
    bpy.ops.pose.paste(flipped=True)
    four.update_tag()
    bpy.context.view_layer.update()
    assert four.pose.bones[f"fk.clavicle.{partner}"]["ik"] == pytest.approx(0.7)
    mirror = np.diag([-1.0, 1.0, 1.0, 1.0])
    turned = np.diag([-1.0, 1.0, 1.0, 1.0])
    for part in ("skin.upper_arm", "skin.forearm", "skin.hand"):
        own, other = (np.array(four.pose.bones[f"{part}.{name}"].matrix) for name in (arm, partner))
        assert np.abs(mirror @ own @ turned - other).max() < 5e-6, part
    for name, was in before.items():
        assert np.array_equal(np.array(four.pose.bones[f"skin.hand.{name}"].matrix), was), name


def test_markers_keep_arms_of_several_pairs_apart(registered: Any) -> None:
    import bpy

    from armwright.addon import marker_objects
    from armwright.core.guide_check import check_guide

    guide = many_arms.four_armed_guide()
    marker_objects.place(guide)
    bpy.context.view_layer.update()
    read = marker_objects.read("Wren", None, guide)
    assert [arm.id for arm in read.arms] == list(FOUR)
    for own, other in zip(guide.arms, read.arms, strict=True):
        for joint in many_arms.JOINTS:
            assert np.allclose(getattr(own, joint), getattr(other, joint), atol=1e-6), (own.id, joint)
    assert check_guide(read) == ()


def test_the_command_line_plans_builds_and_switches_four_arms(empty_file: Any, tmp_path: Path) -> None:
    import bpy

    from armwright.core import guide_json

    guide, scene = tmp_path / "guide.json", tmp_path / "scene.blend"
    guide.write_text(guide_json.to_text(many_arms.four_armed_guide()), encoding="utf-8")
    bpy.ops.wm.save_as_mainfile(filepath=str(scene))
    done = run("plan", "--guide", guide, "--out", tmp_path / "plan.json")
    assert done.returncode == 0, done.stderr
    plan = json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))
    assert {role["arm"] for role in plan["roles"]} == set(FOUR)
    wren = tmp_path / "out" / "wren.blend"
    wren.parent.mkdir()
    done = run("build", scene, "--out", wren, "--guide", guide)
    assert done.returncode == 0, done.stderr
    assert "4 arms" in done.stdout
    bpy.ops.wm.open_mainfile(filepath=str(wren))
    armature = next(item for item in bpy.data.objects if item.type == "ARMATURE")
    for frame in (1, 3):
        armature.pose.bones["fk.upper_arm.lower.L"].keyframe_insert("rotation_euler", frame=frame)
    bpy.ops.wm.save_as_mainfile(filepath=str(wren))
    held = tmp_path / "held.blend"
    options = ("--mode", "hand", "--from", "1", "--to", "3")
    done = run("switch", wren, "--out", held, "--arm", "upper.L", *options)
    assert done.returncode == 2
    assert "no arm 'upper.L': choose one of L, R, lower.L, lower.R, all" in done.stderr
    done = run("switch", wren, "--out", held, "--arm", "lower.L", *options)
    assert done.returncode == 0, done.stderr
    bpy.ops.wm.open_mainfile(filepath=str(held))
    bpy.context.scene.frame_set(2)
    assert modes(next(item for item in bpy.data.objects if item.type == "ARMATURE")) == {
        **dict.fromkeys(FOUR, "none"),
        "lower.L": "hand",
    }
