"""Characters with other arms than a pair of one length: built, posed, switched, held in each other's hands, removed."""

from __future__ import annotations

import time
from typing import Any

import many_arms
import numpy as np
import pytest
from props import subject_of

SEED = 7411
POSES = 500
KEEPERS = sorted(many_arms.GUIDES)
FOUR = ("L", "R", "lower.L", "lower.R")


@pytest.fixture
def four(empty_file: Any) -> Any:
    return many_arms.built(many_arms.four_armed_guide())


def pose_freely(rng: np.random.Generator, armature: Any) -> None:
    """A random pose of the torso and of every arm."""
    import bpy

    record, bones = subject_of(armature).record, armature.pose.bones
    for name in ("torso.1", "torso.2"):
        bones[name].rotation_mode = "XYZ"
        bones[name].rotation_euler = rng.uniform(-0.3, 0.3, 3).tolist()
    for arm in record.arms:
        for role, size in (("fk_clavicle", 0.2), ("fk_upper_arm", 0.8), ("fk_hand", 0.7)):
            bones[record.bone(arm, role)].rotation_euler = rng.uniform(-size, size, 3).tolist()
        bones[record.bone(arm, "fk_forearm")].rotation_euler = (rng.uniform(0.2, 1.6), rng.uniform(-1.0, 1.0), 0.0)
    armature.update_tag()
    bpy.context.view_layer.update()


def state(armature: Any, arm: str) -> dict[str, Any]:
    """Every bone of an arm as it is evaluated, and its channels and dials; compared exactly."""
    found = {}
    for bone in armature.pose.bones:
        if arm == max((item for item in FOUR if bone.name.endswith(f".{item}")), key=len, default=""):
            found[bone.name] = (
                np.array(bone.matrix).tobytes(),
                np.array(bone.matrix_basis).tobytes(),
                {key: value for key, value in bone.items() if isinstance(value, (int, float))},
                [item.influence for item in bone.constraints],
            )
    return found


@pytest.mark.parametrize("keeper", KEEPERS)
def test_every_arm_is_at_its_joints_at_rest(empty_file: Any, keeper: str) -> None:
    guide = many_arms.GUIDES[keeper]()
    armature = many_arms.built(guide)
    record = subject_of(armature).record
    assert record.arms == tuple(arm.id for arm in guide.arms)
    for arm in guide.arms:
        for role, joint in (("upper_arm", arm.shoulder), ("forearm", arm.elbow), ("hand", arm.wrist)):
            found = np.array(armature.pose.bones[record.bone(arm.id, role)].matrix)[:3, 3]
            assert np.abs(found - np.array(joint)).max() < 2e-6, (arm.id, role)


@pytest.mark.parametrize("keeper", KEEPERS)
def test_host_and_solver_agree_on_every_arm(empty_file: Any, keeper: str) -> None:
    from host_agreement import agree

    seed = SEED + KEEPERS.index(keeper)
    print("seed", seed)
    agree(many_arms.built(many_arms.GUIDES[keeper]()), np.random.default_rng(seed), POSES)


@pytest.mark.parametrize("keeper", KEEPERS)
def test_part_of_the_proof_passes_with_the_same_checks_of_every_arm(
    empty_file: Any, keeper: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from armwright.addon import prove
    from armwright.core import arm_words
    from armwright.core.proof import changes, results_json
    from armwright.core.proof.report.html import page
    from armwright.core.proof.report.junit import junit
    from armwright.core.proof.results import FAIL, PASS

    planned = prove.planning_runs
    monkeypatch.setattr(prove, "planning_runs", lambda motions: list(planned(motions))[::9])
    walk = changes.dial_walk()
    monkeypatch.setattr(changes, "dial_walk", lambda: walk[:40])
    monkeypatch.setattr(changes, "POSES", 1)
    subject = subject_of(many_arms.built(many_arms.GUIDES[keeper]()))
    results = prove.prove_whole(subject)
    assert [check.id for check in results.checks if check.verdict == FAIL] == []
    of_arm = {
        arm: {check.id.replace(f"/{arm}/", "/*/") for check in results.checks if check.arm == arm}
        for arm in subject.arms
    }
    first = of_arm[subject.arms[0]]
    assert all(found == first for found in of_arm.values())
    passed = {check.requirement for check in results.checks if check.verdict == PASS}
    assert passed >= {"swing", "hold-hand", "hold-elbow", "hold-both", "lift", "isolate", "switch", "any-axis"}
    lengths = dict(results.arm_lengths)
    for arm, geometry in subject.geometries.items():
        assert lengths[arm] == geometry.upper_length + geometry.forearm_length
    text = results_json.to_text(results)
    assert results_json.to_text(results_json.from_text(text)) == text
    shown, xml = page(results), junit(results)
    assert all(f"{arm_words.words(arm)} {length:.4g} m" in shown for arm, length in results.arm_lengths)
    assert all(f"/{arm}/" in xml for arm in subject.arms)


def test_the_walk_over_spaces_takes_a_further_hand_where_there_are_more_than_two(four: Any) -> None:
    from armwright.addon.prove_switch import _other_hands

    subject = subject_of(four)
    for arm, hands in (("L", ("R", "lower.L")), ("lower.R", ("lower.L", "L"))):
        assert _other_hands(subject, arm, "hand") == dict(zip(hands, ("other-hand", "further-hand"), strict=True))


@pytest.mark.parametrize("arm", FOUR)
def test_switching_one_arm_leaves_every_other_arm_exactly_as_it_is(four: Any, arm: str) -> None:
    import bpy

    from armwright.addon.holds import MODES, mode_of
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    seed = SEED + FOUR.index(arm)
    print("seed", seed)
    pose_freely(np.random.default_rng(seed), four)
    subject = subject_of(four)
    others = [other for other in FOUR if other != arm]
    before = {other: state(four, other) for other in others}
    assert all(len(found) > 15 for found in before.values())
    own = state(four, arm)
    for mode in ("hand", "both", "elbow", "none", "hand"):
        outcome = switch(subject, arm, Target(ik=MODES[mode].ik, elbow=MODES[mode].elbow), keyed=False)
        assert outcome.lost < 1e-5
        bpy.context.view_layer.update()
        assert mode_of(four, subject.record, arm) == mode
        for other in others:
            assert state(four, other) == before[other], (mode, other)
    assert state(four, arm) != own


@pytest.mark.parametrize("carrier", FOUR)
@pytest.mark.parametrize("arm", FOUR)
def test_a_hand_can_be_held_in_any_other_hand_and_goes_with_it(four: Any, arm: str, carrier: str) -> None:
    import bpy

    from armwright.addon import grab, spaces
    from armwright.core.errors import HostError

    if arm == carrier:
        with pytest.raises(HostError, match=rf"no space 'hand\.{arm}'"):
            spaces.space_named(subject_of(four), arm, "hand", spaces.hand_key(arm))
        return
    rng = np.random.default_rng(SEED)
    print("seed", SEED)
    pose_freely(rng, four)
    subject = subject_of(four)
    hand, holder = (four.pose.bones[subject.record.bone(which, "hand")] for which in (arm, carrier))
    outcome = grab.grab(subject, arm, "hand", grab.Thing(four, holder.name), keyed=False)
    assert outcome.lost < 1e-5
    space = spaces.active_space(subject, arm, "hand")
    assert (space.key, space.label) == (
        f"hand.{carrier}",
        {"L": "Left hand", "R": "Right hand", "lower.L": "Lower left hand", "lower.R": "Lower right hand"}[carrier],
    )
    bpy.context.view_layer.update()
    was = np.linalg.inv(np.array(holder.matrix)) @ np.array(hand.matrix)
    place = np.array(holder.matrix)
    for _ in range(3):
        moved = rng.uniform(-0.1, 0.1, 3)
        four.pose.bones[subject.record.bone(carrier, "fk_upper_arm")].rotation_euler = moved.tolist()
        four.update_tag()
        bpy.context.view_layer.update()
        # Only where the held hand is still in reach it can go with it.
        geometry = subject.geometries[arm]
        reach = geometry.upper_length + geometry.forearm_length
        hold = np.array(four.pose.bones[subject.record.bone(arm, "hand_hold")].matrix)[:3, 3]
        shoulder = np.array(four.pose.bones[subject.record.bone(arm, "upper_arm")].matrix)[:3, 3]
        assert np.abs(np.array(holder.matrix) - place).max() > 1e-3
        if np.linalg.norm(hold - shoulder) < 0.98 * reach:
            now = np.linalg.inv(np.array(holder.matrix)) @ np.array(hand.matrix)
            assert np.abs(now - was).max() < 1e-5


def test_hands_held_in_a_circle_are_refused_with_the_way_round(four: Any) -> None:
    from armwright.addon import spaces
    from armwright.core.errors import HostError

    subject = subject_of(four)

    def hold(arm: str, carrier: str) -> None:
        spaces.ensure_space(subject, arm, "hand", four, subject.record.bone(carrier, "hand"))

    hold("L", "lower.L")
    with pytest.raises(HostError, match=r"the left hand can be held in the lower left hand, so .* off the left arm's"):
        hold("lower.L", "L")
    hold("lower.L", "R")
    hold("R", "lower.R")
    with pytest.raises(
        HostError,
        match=r"the left hand can be held in the lower right hand, by way of the lower left and the right hand, .* "
        "off the right arm's",
    ):
        hold("lower.R", "L")
    hold("L", "R")
    hold("L", "lower.R")


def test_a_rig_whose_hands_hold_each_other_can_be_proved(four: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    from armwright.addon import prove_switch, sample, spaces
    from armwright.core.proof import changes
    from armwright.core.proof.run_plan import standard_motions

    subject = subject_of(four)
    spaces.ensure_space(subject, "L", "hand", four, subject.record.bone("R", "hand"))
    walk = changes.dial_walk()
    monkeypatch.setattr(changes, "dial_walk", lambda: walk[:8])
    monkeypatch.setattr(changes, "POSES", 1)
    with sample.borrowed(four) as stage:
        made = [step for step in prove_switch.switch_runs(subject, stage, standard_motions(1, None)[0], 1) if step]
    assert {step.refused for step in made} == {""}
    # The right hand can not be held in the left one here, so others take its place.
    assert prove_switch._other_hands(subject, "R", "hand") == {"lower.L": "other-hand", "lower.R": "further-hand"}
    walked = {arm: {step.motion for step in made if step.arm == arm} for arm in FOUR}
    assert all(any("other-hand-to-further-hand" in motion for motion in walked[arm]) for arm in FOUR)


def test_many_arms_are_removed_without_a_trace(empty_file: Any) -> None:
    from deep_snapshot import deep_snapshot, differences
    from keepers import keeper, plan_for

    from armwright.addon import build, remove

    armature = keeper()
    before = deep_snapshot()
    build.build(armature, plan_for(armature, guide=many_arms.four_armed_guide()))
    assert len(subject_of(armature).arms) == 4
    remove.remove_arms(armature)
    assert differences(before, deep_snapshot()) == []


def test_forty_arms_are_built_and_each_is_at_its_joints(empty_file: Any) -> None:
    """The time of an evaluation is told, not asserted."""
    import bpy

    figures = {}
    for pairs in (1, 5, 20):
        bpy.ops.wm.read_factory_settings(use_empty=True)
        guide = many_arms.crowd_guide(pairs)
        armature = many_arms.built(guide)
        record = subject_of(armature).record
        assert len(record.arms) == 2 * pairs
        for arm in guide.arms:
            wrist = np.array(armature.pose.bones[record.bone(arm.id, "hand")].matrix)[:3, 3]
            assert np.abs(wrist - np.array(arm.wrist)).max() < 2e-6, arm.id
        times = []
        for _ in range(30):
            armature.update_tag()
            start = time.perf_counter()
            bpy.context.view_layer.update()
            times.append(time.perf_counter() - start)
        figures[2 * pairs] = 1e3 * float(np.median(times))
    print("milliseconds an evaluation, by arms:", {arms: round(value, 2) for arms, value in figures.items()})
    print("milliseconds an arm:", {arms: round(value / arms, 3) for arms, value in figures.items()})
