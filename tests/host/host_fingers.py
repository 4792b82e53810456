"""Fingers in the host: they follow the hand in every mode, are proved, and nothing that moves the arm moves them."""

from __future__ import annotations

import itertools
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hands import arm_length, build_hand, hand_guide
from props import pose_freely, subject_of
from swings import ANGLE, GAP, animated, apart, converted, every_key

SEED = 8801
MODES = ("none", "hand", "elbow", "both")


class Drawn:
    """Stands for the host's layout: remembers which dials were drawn."""

    def __init__(self) -> None:
        self.shown: list[tuple[str, str]] = []

    def prop(self, bone: Any, path: str, **options: Any) -> None:
        assert bone.path_resolve(path) is not None
        self.shown.append((bone.name[-1], path[2:-2]))

    def part(self, *values: Any, **options: Any) -> Drawn:
        return self

    column = row = split = label = operator = part


@pytest.fixture
def keeper(empty_file: Any) -> Any:
    """Wren with five fingers on both hands."""
    return build_hand("five")


def skins(armature: Any) -> list[str]:
    record = subject_of(armature).record
    return [
        role.bone
        for role in record.roles
        if role.bone.startswith("skin.")
        and role.role.rsplit("_", 1)[-1].isdigit()
        and not role.role.startswith(("skin_upper_arm", "skin_forearm"))
    ]


def pose_fingers(rng: np.random.Generator, armature: Any) -> None:
    for arm in "LR":
        dials = armature.pose.bones[f"fk.fingers.{arm}"]
        for key, _ in dials.items():
            dials[key] = float(rng.uniform(-0.3, 0.7))
    for name in skins(armature):
        armature.pose.bones[name.replace("skin.", "fk.")].rotation_euler = rng.uniform(-0.4, 0.4, 3).tolist()
    armature.update_tag()


def shown(armature: Any, names: list[str]) -> np.ndarray:
    """Evaluated bones, (B, 4, 4)."""
    import bpy

    bpy.context.view_layer.update()
    return np.array([[list(row) for row in armature.pose.bones[name].matrix] for name in names])


def checks_of(armature: Any, mode: str, corner: tuple[float, float, float] = (0.0, 1.0, 1.0)) -> list[Any]:
    """The checks of fingers in the wiggle's run of one corner."""
    from armwright.addon import prove_runs, sample
    from armwright.core.proof import verdicts
    from armwright.core.proof.cases import Case
    from armwright.core.proof.run_plan import WIGGLE, planned_runs, standard_motions

    subject = subject_of(armature)
    spec = next(
        spec for spec in planned_runs(standard_motions()) if spec.motion == WIGGLE and spec.case == Case(mode, *corner)
    )
    with sample.borrowed(armature) as stage:
        found = [check for run in prove_runs.run(subject, spec, stage) for check in verdicts.checks(spec, run)[0]]
    return [check for check in found if check.requirement == "fingers"]


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("kind", ["five", "unlike"])
def test_sound_fingers_pass_in_every_mode(empty_file: Any, kind: str, mode: str) -> None:
    armature = build_hand(kind)
    for corner in itertools.product((0.0, 1.0), repeat=3) if kind == "five" else [(1.0, 1.0, 0.0)]:
        checks = checks_of(armature, mode, corner)
        assert {(check.arm, check.measure) for check in checks} == {
            (arm, measure) for arm in "LR" for measure in ("finger-turn", "finger-place")
        }
        assert {check.verdict for check in checks} == {"pass"}, checks
        print(mode, corner, {check.measure: f"{check.value:.1e}" for check in checks})


def test_a_hand_without_fingers_is_not_applicable(wren: Any) -> None:
    assert {check.verdict for check in checks_of(wren, "hand")} == {"not_applicable"}


def test_a_muted_driver_fails_on_its_own_hand_with_the_fingers_name(keeper: Any) -> None:
    curve = next(item for item in keeper.animation_data.drivers if '"aux.ring.2.L"' in item.data_path)
    curve.mute = True
    failed = [check for check in checks_of(keeper, "hand") if check.verdict == "fail"]
    assert {check.arm for check in failed} == {"L"}
    assert {check.measure for check in failed} == {"finger-turn", "finger-place"}
    assert max(check.value for check in failed if check.measure == "finger-turn") > 10.0
    assert all("ring" in check.note for check in failed)


def test_exchanged_bones_fail(keeper: Any) -> None:
    first, second, spare = "skin.index.2.R", "skin.middle.2.R", "spare"
    for old, new in ((first, spare), (second, first), (spare, second)):
        keeper.data.bones[old].name = new
    failed = [check for check in checks_of(keeper, "none") if check.verdict == "fail"]
    assert {check.arm for check in failed} == {"R"}
    assert {check.measure for check in failed} == {"finger-turn", "finger-place"}


def test_fingers_that_hang_on_the_fk_control_fail_as_soon_as_the_hand_is_held(keeper: Any) -> None:
    from armwright.addon import host

    with host.mode(keeper, "EDIT"):
        keeper.data.edit_bones["aux.fingers.L"].parent = keeper.data.edit_bones["fk.hand.L"]
    assert {check.verdict for check in checks_of(keeper, "none")} == {"pass"}
    assert {check.arm for check in checks_of(keeper, "hand") if check.verdict == "fail"} == {"L"}


def test_a_lost_dial_is_refused_with_its_name(keeper: Any) -> None:
    from armwright.core.errors import HostError

    del keeper.pose.bones["fk.fingers.L"]["curl_ring"]
    with pytest.raises(HostError, match="curl_ring"):
        checks_of(keeper, "hand")


def test_sampling_leaves_channels_and_dials_of_the_fingers_as_found(keeper: Any) -> None:
    print("seed", SEED)
    pose_fingers(np.random.default_rng(SEED), keeper)
    names = skins(keeper)
    before = shown(keeper, names)
    dials = {arm: dict(keeper.pose.bones[f"fk.fingers.{arm}"].items()) for arm in "LR"}
    assert {check.verdict for check in checks_of(keeper, "both")} == {"pass"}
    assert np.abs(shown(keeper, names) - before).max() == 0.0
    assert {arm: dict(keeper.pose.bones[f"fk.fingers.{arm}"].items()) for arm in "LR"} == dials


def test_no_switch_moves_a_finger_by_more_than_the_limits_of_a_pop(keeper: Any) -> None:
    import bpy

    from armwright.addon.holds import MODES as HOLDS
    from armwright.addon.switch import POP_ANGLE, POP_LIMIT, switch
    from armwright.core.match.target import Target

    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    subject, names = subject_of(keeper), skins(keeper)
    length = arm_length(keeper, subject.record, "L")
    worst = np.zeros(2)
    for _ in range(4):
        pose_freely(rng, keeper)
        pose_fingers(rng, keeper)
        bpy.context.view_layer.update()
        before = shown(keeper, names)
        for mode in ("hand", "both", "elbow", "none"):
            for arm in "LR":
                switch(subject, arm, Target(ik=HOLDS[mode].ik, elbow=HOLDS[mode].elbow), keyed=False)
            gap, angle = apart(before, shown(keeper, names))
            worst = np.maximum(worst, [gap / length, angle])
    print(f"worst {worst[0]:.1e} L, {worst[1]:.1e} degrees")
    assert worst[0] < POP_LIMIT
    assert worst[1] < POP_ANGLE


def test_converting_a_range_leaves_the_fingers_keys_and_poses(keeper: Any) -> None:
    import bpy

    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    animated(keeper)
    names = skins(keeper)
    for frame in (1, 30, 60):
        pose_fingers(rng, keeper)
        for arm in "LR":
            keeper.pose.bones[f"fk.fingers.{arm}"].keyframe_insert('["curl"]', frame=frame)
        for name in names:
            keeper.pose.bones[name.replace("skin.", "fk.")].keyframe_insert("rotation_euler", frame=frame)

    def filmed() -> np.ndarray:
        out = []
        for frame in range(1, 61, 7):
            bpy.context.scene.frame_set(frame)
            out.append(shown(keeper, names))
        return np.array(out)

    def of_fingers() -> dict[Any, bytes]:
        return {key: value for key, value in every_key(keeper).items() if any(f'"{n}"' in key[0] for n in controls)}

    controls = [name.replace("skin.", "fk.") for name in names] + ["fk.fingers.L", "fk.fingers.R"]
    before, keys = filmed(), of_fingers()
    assert len(keys) == 2 * (15 * 3 + 1)
    converted(keeper, "hand")
    gap, angle = apart(before, filmed())
    print(f"{gap / 0.56:.1e} L, {angle:.1e} degrees")
    assert gap / 0.56 < GAP and angle < ANGLE
    assert of_fingers() == keys


def test_removing_the_arms_takes_the_fingers_away(keeper: Any) -> None:
    from armwright.addon.remove import remove_arms

    remove_arms(keeper)
    assert sorted(bone.name for bone in keeper.data.bones) == ["head", "root", "torso.1", "torso.2", "torso.3"]
    assert "Arms fingers" not in keeper.data.collections_all


def test_every_driver_of_a_finger_is_simple_and_sound(keeper: Any) -> None:
    drivers = [item for item in keeper.animation_data.drivers if '"aux.' in item.data_path]
    mine = [
        item
        for item in drivers
        if item.driver.variables and "fk.fingers" in item.driver.variables[0].targets[0].data_path
    ]
    assert len(mine) == 2 * (15 + 5)
    assert all(item.driver.is_simple_expression and item.driver.is_valid for item in mine)


def test_a_scaled_armature_gets_its_fingers_and_pivots_where_they_are_in_the_world(empty_file: Any) -> None:
    import bpy
    from characters import torso_armature

    from armwright.addon import build as building
    from armwright.core.frames import arm_frames
    from armwright.core.guide import PivotGuide

    armature = torso_armature()
    armature.scale = (0.01,) * 3
    bpy.context.view_layer.update()
    body = hand_guide("five")
    from dataclasses import replace

    wrist = body.arms[0].wrist
    pivots = PivotGuide(*(tuple(np.array(wrist) + 0.01 * index) for index in range(6)))
    body = replace(body, arms=(replace(body.arms[0], pivots=pivots),))
    sized = building.sized_for(armature, body)
    wanted, found = (arm_frames(item.arms[0], item.up) for item in (body, sized))
    for one, other in zip(wanted.fingers, found.fingers, strict=True):
        assert np.array(other.lengths) * 0.01 == pytest.approx(one.lengths, rel=1e-5)
        assert other.frames[0][:3, 3] * 0.01 == pytest.approx(one.frames[0][:3, 3], rel=1e-5)
    assert found.pivots.knuckles * 0.01 == pytest.approx(wanted.pivots.knuckles, abs=1e-6)


def test_the_sidebar_shows_the_dials_of_hands_with_fingers_alone(empty_file: Any) -> None:
    import bpy
    from keepers import activate

    import armwright
    from armwright.addon.panels import fingers_panel

    armwright.register()
    try:
        mitten, hands = build_hand("one_bone"), build_hand("unlike")
        from characters import wren_on_own_armature

        plain = wren_on_own_armature()
        for armature, expected in ((hands, True), (mitten, True), (plain, False)):
            activate(armature, "POSE")
            assert fingers_panel.ARMWRIGHT_PT_fingers.poll(bpy.context) is expected
            activate(armature, "OBJECT")
        rows = fingers_panel.rows(subject_of(hands).record)
        assert rows == [
            ("curl", "Curl"),
            ("spread", "Spread"),
            *((f"curl_{name}", f"{name.capitalize()} curl") for name in ("thumb", "index", "middle", "ring", "little")),
        ]
        assert [key for key, _ in fingers_panel.rows(subject_of(mitten).record)] == ["curl", "spread", "curl_middle"]
        drawn = Drawn()
        fingers_panel.ARMWRIGHT_PT_fingers.draw_rig(
            SimpleNamespace(layout=drawn), bpy.context, hands, subject_of(hands).record
        )
        # The right hand has one finger.
        assert sorted(drawn.shown) == sorted(
            [(arm, key) for arm in "LR" for key in ("curl", "spread", "curl_middle")]
            + [("L", f"curl_{name}") for name in ("thumb", "index", "ring", "little")]
        )
    finally:
        armwright.unregister()


def test_a_hand_between_two_orientations_that_are_next_to_each_other_keeps_its_knuckles_where_they_are(
    keeper: Any,
) -> None:
    """There the host interpolates without a unit result, which would shrink the way to the fingers by up to 5e-5."""
    import bpy

    bones = keeper.pose.bones
    hand, root = "skin.hand.L", "skin.middle.1.L"
    length = arm_length(keeper, subject_of(keeper).record, "L")

    def reach() -> float:
        one, other = shown(keeper, [hand, root])
        return float(np.linalg.norm(one[:3, 3] - other[:3, 3]))

    rest = reach()
    # Half a blend between two orientations 1.5 degrees apart.
    bones["hold.hand.L"].rotation_mode = "XYZ"
    bones["hold.hand.L"].rotation_euler = (np.radians(1.5), 0.0, 0.0)
    bones["fk.clavicle.L"]["ik"] = 0.5
    keeper.update_tag()
    bpy.context.view_layer.update()
    kept = abs(reach() - rest) / length
    bones[hand].constraints["size"].mute = True
    keeper.update_tag()
    shrunk = abs(reach() - rest) / length
    print(f"kept {kept:.1e} L, without its size {shrunk:.1e} L")
    assert kept < 1e-6 < 5e-6 < shrunk
