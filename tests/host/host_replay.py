"""A sweep's cases in the host: its bones give the solver's number, a defect does not, and the file stays as it was."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

POSES = 6000
SEED = 5
ROUNDS = 4


def sweep_of(subject: Any, poses: int = POSES) -> Any:
    from armwright.core.sweep.job import job_of
    from armwright.core.sweep.run import sweep

    print("seed", SEED)
    arms = tuple(subject.geometries.items())
    return sweep(job_of(subject.record.name, subject.record.plan_digest, arms, SEED, poses, ROUNDS))


@pytest.mark.parametrize("with_root", [True, False], ids=["root", "no-root"])
def test_every_case_gives_the_same_number_in_the_host_within_its_limit(empty_file: Any, with_root: bool) -> None:
    from characters import wren_on_own_armature, wren_on_torso

    from armwright.addon import replay, subjects
    from armwright.core.sweep.measures.catalogue import MEASURES

    subject = subjects.subject_of(wren_on_own_armature() if with_root else wren_on_torso())
    outcome = sweep_of(subject)
    assert not outcome.failed
    seen = set()
    for worst in outcome.worst:
        found = replay.replay(subject, worst.case)
        print(
            f"{worst.arm} {worst.measure:20s} case {found.in_case:.6g} host {found.host:.6g} "
            f"difference {found.difference:.1e} of {found.measure.tolerance:.1e}"
        )
        assert found.same, worst.measure
        assert found.within, worst.measure
        # A search's case is no zero that anything would give.
        assert not found.measure.search or found.host > 0.02 * worst.limit
        seen.add(worst.measure)
    assert seen == {measure.name for measure in MEASURES}


def test_a_guide_s_sweep_is_of_the_rig_that_is_built_from_it(wren: Any) -> None:
    from armwright.addon import replay, subjects
    from armwright.core.stature import guide_from_stature
    from armwright.core.sweep.job import job_of_guide
    from armwright.core.sweep.run import sweep

    outcome = sweep(job_of_guide(guide_from_stature(1.7, "Wren"), SEED, 1500, 2))
    subject = subjects.subject_of(wren)
    for worst in outcome.worst:
        if worst.measure in ("elbow-speed", "jump", "held-wrist-missing", "lift-range"):
            assert replay.replay(subject, worst.case).same, worst.id


def cases_of(subject: Any, *measures: str) -> dict[str, Any]:
    return {worst.measure: worst.case for worst in sweep_of(subject, 2000).worst if worst.measure in measures}


def test_a_rig_with_a_defect_does_not_give_the_case_s_number(wren: Any) -> None:
    from armwright.addon import replay, subjects

    subject = subjects.subject_of(wren)
    names = ("held-wrist-slide", "elbow-speed", "swung-wrist-slide", "held-wrist-missing")
    found = cases_of(subject, *names)
    assert set(found) == set(names)
    assert all(replay.replay(subject, item).same for item in found.values())
    for arm in subject.arms:
        # The first two leave the forearm where it is, the third one leaves the whole arm where it is.
        for bone, name in (("ik.forearm", "hand"), ("ik.forearm", "exact"), ("ik.span", "hand")):
            wren.pose.bones[f"{bone}.{arm}"].constraints[name].mute = True
    slide = replay.replay(subject, found["held-wrist-slide"])
    assert not slide.within and not slide.same and slide.host > 0.01
    assert not replay.replay(subject, found["held-wrist-missing"]).same
    # What does not hang on the forearm is as it was.
    assert replay.replay(subject, found["swung-wrist-slide"]).same


def test_a_rig_whose_hand_does_not_roll_does_not_give_a_planted_case_s_number(wren: Any) -> None:
    from armwright.addon import replay, subjects

    subject = subjects.subject_of(wren)
    names = ("pivot-slide", "pivot-short", "pivot-missing", "finger-turn", "held-elbow-slide")
    found = cases_of(subject, *names)
    assert set(found) == set(names)
    for item in found.values():
        outcome = replay.replay(subject, item)
        assert outcome.same and outcome.within, item.measure
    dials = {setting.name: setting.values[0] for setting in found["pivot-slide"].settings}
    assert any(dials[name] != 0.0 for name in ("hand_roll", "hand_side", "hand_spin"))
    rolling = [role.bone for role in subject.record.roles if role.role == "fingers" or role.role.startswith("pivot_")]
    driven = [
        driver
        for driver in wren.animation_data.drivers
        if any(f'["{bone}"].rotation_euler' in driver.data_path for bone in rolling)
    ]
    assert len(driven) == len(rolling) == 14
    for driver in driven:
        driver.mute = True
    for name in names[:4]:
        outcome = replay.replay(subject, found[name])
        print(f"{name}: host {outcome.host:.4g}, case {outcome.in_case:.4g}")
        assert not outcome.same, name
    assert replay.replay(subject, found["held-elbow-slide"]).same


def test_a_case_whose_number_is_not_the_solver_s_is_not_the_same(wren: Any) -> None:
    from armwright.addon import replay, subjects

    subject = subjects.subject_of(wren)
    found = cases_of(subject, "elbow-speed")["elbow-speed"]
    assert not replay.replay(subject, replace(found, value=found.value + 0.01)).same
    assert not replay.replay(subject, replace(found, value=None)).same


def test_looking_at_a_case_leaves_the_file_as_it_was(wren: Any) -> None:
    from host_proof import _assert_same, _file_state, _pose_by_hand

    from armwright.addon import replay, subjects

    _pose_by_hand(wren)
    before = _file_state(wren)
    subject = subjects.subject_of(wren)
    for found in cases_of(subject, "jump", "elbow-speed").values():
        replay.replay(subject, found)
    _assert_same(_file_state(wren), before)


def test_a_case_of_another_rig_or_arm_is_refused(wren: Any) -> None:
    from armwright.addon import replay, subjects
    from armwright.core.errors import ProofError

    subject = subjects.subject_of(wren)
    found = cases_of(subject, "lift-range")["lift-range"]
    with pytest.raises(ProofError, match=r"the case is of 'Wren', plan 0123.*: sweep this rig, or open that one"):
        replay.replay(subject, replace(found, plan_digest="0123" * 16))
    with pytest.raises(ProofError, match="the case is of arm 'tail'; the rig has: L, R"):
        replay.replay(subject, replace(found, arm="tail"))


def test_a_torso_that_can_not_be_put_there_is_refused_and_the_file_stays(wren: Any) -> None:
    import bpy
    from host_proof import _assert_same, _file_state

    from armwright.addon import replay, subjects
    from armwright.core.errors import ProofError

    subject = subjects.subject_of(wren)
    found = cases_of(subject, "lift-range")["lift-range"]
    tie = wren.pose.bones[subject.record.torso].constraints.new("LIMIT_LOCATION")
    for side in ("use_min_x", "use_max_x", "use_min_y", "use_max_y", "use_min_z", "use_max_z"):
        setattr(tie, side, True)
    wren.animation_data_create()
    bpy.context.view_layer.update()
    before = _file_state(wren)
    with pytest.raises(ProofError, match=rf"'{subject.record.torso}' can not be put where the case has it"):
        replay.replay(subject, found)
    _assert_same(_file_state(wren), before)
