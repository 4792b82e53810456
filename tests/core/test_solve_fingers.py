"""The fingers' reference: closed hands close, open hands open, mirror images mirror, and an outside chain agrees."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from armwright.core.arm import fingers as rig_fingers
from armwright.core.arm.build import plan_arms
from armwright.core.frames import arm_frames
from armwright.core.guide import UP, ArmGuide, FingerGuide, Guide, mirrored
from armwright.core.hand_poses import FIST, FLAT, RELAXED, hand_poses
from armwright.core.hand_proportions import with_fingers
from armwright.core.options import ArmOptions
from armwright.core.plan import expressions
from armwright.core.plan.model import Plan
from armwright.core.plan.validate import validate
from armwright.core.proof.synthetic import guide_fingers
from armwright.core.solve.fingers import FingerGeometry, FingerSettings, aside, bend_limits, solve_fingers
from armwright.core.stature import guide_from_stature

BODY = guide_from_stature(1.7, "Wren")
LEFT = with_fingers(BODY.arms[0])
SEED = 5113
MIRROR = np.diag([-1.0, 1.0, 1.0, 1.0])


def guide(*arms: ArmGuide) -> Guide:
    return replace(BODY, arms=arms)


def geometry_of(arm: ArmGuide) -> FingerGeometry:
    found = guide_fingers(guide(arm), arm.id)
    assert found is not None
    return found


def settings_of(geometry: FingerGeometry, curl: float = 0.0, spread: float = 0.0, **own: float) -> FingerSettings:
    return FingerSettings(
        np.array([curl]),
        np.array([spread]),
        {finger.name: np.array([own.get(finger.name, 0.0)]) for finger in geometry.fingers},
        {finger.name: np.zeros((1, len(finger.frames), 3)) for finger in geometry.fingers},
    )


def posed(geometry: FingerGeometry, settings: FingerSettings, turn: float = 0.0) -> dict[str, np.ndarray]:
    return solve_fingers(geometry, geometry.hand[None], np.array([turn]), settings)


def split(finger: FingerGuide, bones: int) -> FingerGuide:
    start, end = np.array(finger.joints[0]), np.array(finger.joints[-1])
    return replace(finger, joints=tuple(tuple(start + (end - start) * part / bones) for part in range(bones + 1)))


def test_at_rest_every_bone_is_where_the_guide_has_it() -> None:
    geometry = geometry_of(LEFT)
    for finger in geometry.fingers:
        assert posed(geometry, settings_of(geometry))[finger.name][0] == pytest.approx(finger.frames, abs=1e-12)


# Bones of a finger, thumb, turns at a curl of 1 in degrees. AAOS, in Norkin & White (from memory): MCP 90, PIP 100,
# DIP 90; thumb CMC 20, MCP 50, IP 80. More bones share the same total: 280, and 150.
LIMITS = [
    (1, False, (90.0,)),
    (2, False, (90.0, 100.0)),
    (3, False, (90.0, 100.0, 90.0)),
    (4, False, (70.0,) * 4),
    (7, False, (40.0,) * 7),
    (1, True, (80.0,)),
    (2, True, (50.0, 80.0)),
    (3, True, (20.0, 50.0, 80.0)),
    (5, True, (30.0,) * 5),
]


@pytest.mark.parametrize(("bones", "thumb", "degrees"), LIMITS)
def test_a_whole_curl_turns_each_bone_by_its_joints_range_in_rig_and_reference(
    bones: int, thumb: bool, degrees: tuple[float, ...]
) -> None:
    finger = replace(split(LEFT.fingers[1], bones), thumb=thumb)
    geometry = geometry_of(replace(LEFT, fingers=(finger,)))
    assert np.degrees(bend_limits(geometry.fingers[0])) == pytest.approx(degrees)
    assert np.degrees(rig_fingers.flexion_limits(bones, thumb)) == pytest.approx(degrees)


def test_a_fist_brings_the_fingertips_to_the_palm_and_back_towards_the_wrist() -> None:
    geometry = geometry_of(LEFT)
    local = np.linalg.inv(geometry.hand)
    length = float(np.linalg.norm(np.array(LEFT.hand_end) - np.array(LEFT.wrist)))
    for finger in geometry.fingers:
        pose = posed(geometry, settings_of(geometry, curl=1.0))[finger.name][0]
        size = np.linalg.norm(finger.tip - finger.frames[-1][:3, 3])
        tip = (local @ np.append(pose[-1, :3, 3] + pose[-1, :3, 1] * size, 1.0))[:3]
        rest = (local @ np.append(finger.tip, 1.0))[:3]
        assert tip[2] > rest[2], finger.name  # +Z is the palm's side
        if not finger.thumb:
            assert tip[1] < 0.6 * length and rest[1] > 0.7 * length
            # 280 degrees in all: the last bone points back and away from the palm's inside.
            angle = np.degrees(np.arccos(np.clip(pose[-1, :3, 1] @ finger.frames[0][:3, 1], -1.0, 1.0)))
            assert angle == pytest.approx(80.0, abs=1e-6)


@pytest.mark.parametrize("arm", [LEFT, mirrored(LEFT)], ids=["L", "R"])
def test_spread_opens_the_hand_and_a_negative_one_closes_it(arm: ArmGuide) -> None:
    geometry = geometry_of(arm)
    across = geometry.hand[:3, 0]

    def widths(spread: float) -> np.ndarray:
        pose = posed(geometry, settings_of(geometry, spread=spread))
        tips = [pose[f.name][0, -1, :3, 3] for f in geometry.fingers]
        return np.linalg.norm(np.diff(tips, axis=0), axis=1)

    assert (widths(1.0) > widths(0.0)).all()
    assert (widths(0.0) > widths(-0.5)).all()
    index, little = (posed(geometry, settings_of(geometry, spread=1.0))[name][0, 0] for name in ("index", "little"))
    angle = np.degrees(np.arccos(np.clip(index[:3, 1] @ little[:3, 1], -1.0, 1.0)))
    assert angle == pytest.approx(40.0, abs=1e-6)
    assert abs((index[:3, 1] + little[:3, 1]) @ across) < 1e-9


def test_fingers_without_sides_do_not_spread() -> None:
    one = geometry_of(replace(LEFT, fingers=(LEFT.fingers[2],)))
    assert aside(one, one.fingers[0]) == 0.0


def test_a_thumb_opens_away_from_the_fingers_and_without_any_from_the_hands_line() -> None:
    for fingers in (LEFT.fingers, LEFT.fingers[:1]):
        geometry = geometry_of(replace(LEFT, fingers=fingers))
        tips = [posed(geometry, settings_of(geometry, spread=s))["thumb"][0, 0, :3, 1] for s in (-1.0, 0.0, 1.0)]
        along = [float(tip @ geometry.hand[:3, 1]) for tip in tips]
        assert along[0] > along[1] > along[2]


def test_dials_of_all_and_of_one_add_up_within_their_ends() -> None:
    geometry = geometry_of(LEFT)
    for all_of_them, own, sum_of_both in ((0.7, 0.6, 1.0), (-0.3, -0.4, -0.5), (0.6, -0.5, 0.1)):
        both = posed(geometry, settings_of(geometry, curl=all_of_them, index=own))["index"]
        assert both == pytest.approx(posed(geometry, settings_of(geometry, index=sum_of_both))["index"], abs=1e-12)


def test_fingers_that_stay_while_the_hand_rolls_over_its_knuckles_turn_about_them_and_the_thumb_does_not() -> None:
    geometry = geometry_of(LEFT)
    rest, rolled = (posed(geometry, settings_of(geometry), turn) for turn in (0.0, 0.7))
    axis = geometry.hand[:3, 0]
    assert rolled["thumb"] == pytest.approx(rest["thumb"], abs=1e-12)
    for name in ("index", "little"):
        moved = rolled[name][0, 0, :3, 1]
        assert np.degrees(np.arccos(np.clip(moved @ rest[name][0, 0, :3, 1], -1.0, 1.0))) == pytest.approx(
            np.degrees(0.7), abs=1e-6
        )
        offsets = [pose[name][0, 0, :3, 3] - geometry.knuckles for pose in (rest, rolled)]
        assert offsets[1] @ axis == pytest.approx(float(offsets[0] @ axis), abs=1e-12)
        assert np.linalg.norm(offsets[1]) == pytest.approx(float(np.linalg.norm(offsets[0])), abs=1e-12)


def test_the_right_hand_is_the_left_ones_mirror_image_at_random_dials_and_channels() -> None:
    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    left, right = geometry_of(LEFT), geometry_of(mirrored(LEFT))
    count = 50
    settings = FingerSettings(
        rng.uniform(-0.5, 1.0, count),
        rng.uniform(-1.0, 1.0, count),
        {finger.name: rng.uniform(-0.5, 1.0, count) for finger in left.fingers},
        {finger.name: rng.uniform(-1.0, 1.0, (count, 3, 3)) for finger in left.fingers},
    )
    flipped = replace(settings, channels={name: value * [1, -1, -1] for name, value in settings.channels.items()})
    hand = np.broadcast_to(left.hand, (count, 4, 4))
    one = solve_fingers(left, hand, np.zeros(count), settings)
    other = solve_fingers(right, MIRROR @ hand @ MIRROR, np.zeros(count), flipped)
    for name in one:
        assert MIRROR @ one[name] @ MIRROR == pytest.approx(other[name], abs=1e-12)


def variants() -> dict[str, ArmGuide]:
    thumb, index, middle, ring, little = LEFT.fingers
    back = tuple(-np.array(LEFT.palm))
    six = tuple(split(finger, 4) for finger in (index, middle, ring, little, thumb))
    return {
        "five": LEFT,
        "right": mirrored(LEFT),
        "two": replace(LEFT, fingers=(index, split(little, 2))),
        "one bone": replace(LEFT, fingers=(split(middle, 1),)),
        "six of four": replace(LEFT, fingers=(*six, replace(split(ring, 4), name="extra"))),
        "thumb": replace(LEFT, fingers=(replace(thumb, joints=thumb.joints[1:]),)),
        "backwards": replace(LEFT, fingers=(replace(index, curl=back), middle, replace(little, curl=back))),
    }


@pytest.mark.parametrize("kind", variants())
def test_rig_and_reference_agree_on_limits_and_sides_of_any_hand(kind: str) -> None:
    arm = variants()[kind]
    geometry = geometry_of(arm)
    frames = arm_frames(arm, UP)
    shares = rig_fingers.spread_shares(frames)
    for finger, share in zip(geometry.fingers, shares, strict=True):
        assert np.degrees(aside(geometry, finger)) == pytest.approx(20.0 * share, abs=1e-9)
        limits = rig_fingers.flexion_limits(len(finger.frames), finger.thumb)
        assert bend_limits(finger) == pytest.approx(limits)


def plan_of(arm: ArmGuide) -> Plan:
    plan = plan_arms(guide(arm), ArmOptions())
    validate(plan)
    return plan


@pytest.mark.parametrize("kind", variants())
def test_a_plan_has_three_bones_a_finger_bone_with_roles_and_a_dial_a_finger(kind: str) -> None:
    arm = variants()[kind]
    plan = plan_of(arm)
    bones = {bone.name: bone for bone in plan.bones}
    roles = {(role.role, role.bone) for role in plan.roles}
    dials = {entry.name for entry in plan.properties if entry.bone == f"fk.fingers.{arm.id}"}
    assert dials == {"curl", "spread", *(f"curl_{finger.name}" for finger in arm.fingers)}
    for finger in arm.fingers:
        parent = f"skin.hand.{arm.id}" if finger.thumb else f"aux.fingers.{arm.id}"
        for place in range(1, len(finger.joints)):
            aux, fk, skin = (f"{layer}.{finger.name}.{place}.{arm.id}" for layer in ("aux", "fk", "skin"))
            assert [bones[name].parent for name in (aux, fk, skin)] == [parent, aux, fk]
            assert {(f"fk_{finger.name}_{place}", fk), (f"skin_{finger.name}_{place}", skin)} <= roles
            assert bones[skin].deform and not bones[aux].deform and not bones[fk].deform
            assert bones[fk].lock_location == (True,) * 3 and bones[fk].rotation_order == "XYZ"
            parent = fk


def test_the_hands_skin_ends_at_the_knuckles_only_where_fingers_go_on_from_there() -> None:
    arms = (*variants().values(), replace(LEFT, fingers=()))
    hand = float(np.linalg.norm(np.array(LEFT.hand_end) - np.array(LEFT.wrist)))
    for arm in arms:
        length = next(bone.length for bone in plan_of(arm).bones if bone.name == f"skin.hand.{arm.id}")
        if all(finger.thumb for finger in arm.fingers):
            assert length == pytest.approx(hand)
        else:
            assert length == pytest.approx(float(arm_frames(arm, UP).pivots.knuckles[1]))
            assert 0.4 * hand < length < 0.6 * hand


def test_a_plan_without_fingers_has_none_of_their_parts() -> None:
    plan = plan_of(BODY.arms[0])
    # What a planted hand rolls over is there for every hand.
    planted = {"pivot_fingertips", "fingers"}
    assert not [bone.name for bone in plan.bones if bone.collection == "Arms fingers"]
    assert {role.role for role in plan.roles if "finger" in role.role} == planted


def test_the_driver_of_a_finger_gives_the_sum_of_the_dials_within_their_ends() -> None:
    driver = next(item for item in plan_of(LEFT).drivers if item.bone == "aux.index.2.L")
    for curl, own, share in ((0.3, 0.2, 0.5), (1.0, 1.0, 1.0), (-0.5, -0.2, -0.5)):
        value = expressions.evaluate(driver.expression, {"all": curl, "own": own})
        assert np.degrees(value) == pytest.approx(100.0 * share, abs=1e-6)


def test_poses_of_a_hand_are_the_same_however_its_fingers_were_modelled() -> None:
    """Fingers bent at rest about their hinges, by turns of the straight ones: fist, flat and relaxed coincide."""
    straight = geometry_of(LEFT)
    bends = {finger.name: np.zeros((1, len(finger.frames), 3)) for finger in straight.fingers}
    for finger in straight.fingers:
        bends[finger.name][0, :, 0] = np.radians([0.0 if finger.thumb else 12.0, 25.0, 9.0])
    modelled = posed(straight, replace(settings_of(straight), channels=bends))
    bent = replace(
        straight,
        fingers=tuple(
            replace(
                finger,
                frames=modelled[finger.name][0],
                tip=modelled[finger.name][0, -1, :3, 3]
                + modelled[finger.name][0, -1, :3, 1] * np.linalg.norm(finger.tip - finger.frames[-1][:3, 3]),
            )
            for finger in straight.fingers
        ),
    )
    for name in (RELAXED, FIST, FLAT):
        for one, other in zip(_pose_of(straight, name).values(), _pose_of(bent, name).values(), strict=True):
            assert one == pytest.approx(other, abs=1e-9)


def _pose_of(geometry: FingerGeometry, name: str) -> dict[str, np.ndarray]:
    pose = hand_poses(geometry)[name]
    channels = {finger: values[None] for finger, values in pose.channels.items()}
    return posed(geometry, replace(settings_of(geometry, pose.curl, pose.spread, **pose.own), channels=channels))


def test_a_relaxed_hand_closes_from_finger_to_finger_and_a_thumb_a_little() -> None:
    own = hand_poses(geometry_of(LEFT))[RELAXED].own
    assert list(own) == ["thumb", "index", "middle", "ring", "little"]
    assert list(own.values()) == [0.1, 0.12, 0.18, 0.24, 0.3]
