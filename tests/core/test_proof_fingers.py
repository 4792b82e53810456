"""`fingers`: the reference's hand passes, and each defect planted in it fails by its own figure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from proof_runs import RUNS, SIZE, WREN, run_of

from armwright.core.proof import fingers, verdicts
from armwright.core.proof.cases import CORNERS, Case
from armwright.core.proof.finger_samples import moving_fingers
from armwright.core.proof.results import FAIL, NOT_APPLICABLE, PASS, Check
from armwright.core.proof.run_plan import WIGGLE
from armwright.core.proof.samples import ArmRun
from armwright.core.proof.synthetic import (
    guide_fingers,
)
from armwright.core.rotations import axis_matrix
from armwright.core.solve.fingers import CURL_RANGE

SPEC = next(spec for spec in RUNS if spec.motion == WIGGLE and spec.case == Case("hand", 0.0, 1.0, 0.0))


RUN = run_of(SPEC)


def judged(run: ArmRun) -> dict[str, Check]:
    return {check.measure: check for check in verdicts.checks(SPEC, run)[0] if check.requirement == "fingers"}


def with_poses(finger: str, poses: np.ndarray) -> ArmRun:
    assert RUN.fingers is not None
    return replace(RUN, fingers=replace(RUN.fingers, poses={**RUN.fingers.poses, finger: poses}))


@pytest.mark.parametrize("arm", ["L", "R"])
def test_the_references_hand_passes(arm: str) -> None:
    checks = judged(run_of(SPEC, arm))
    assert set(checks) == set(fingers.LIMITS)
    assert {check.verdict for check in checks.values()} == {PASS}
    assert {check.samples for check in checks.values()} == {240}


def test_every_corner_is_looked_at_without_a_run_of_its_own() -> None:
    seen = [spec for spec in RUNS if fingers.applies(spec)]
    assert [spec.case for spec in seen] == list(CORNERS)
    assert all("swing" in spec.requirements for spec in seen)


@pytest.mark.parametrize(("finger", "place"), [("index", 0), ("little", 2), ("thumb", 1)])
def test_a_bone_that_turns_too_far_in_one_frame_fails_with_its_name_and_frame(finger: str, place: int) -> None:
    assert RUN.fingers is not None
    poses = RUN.fingers.poses[finger].copy()
    poses[37, place, :3, :3] = poses[37, place, :3, :3] @ axis_matrix("Y", np.radians(0.01))
    check = judged(with_poses(finger, poses))["finger-turn"]
    assert (check.verdict, check.worst_frame, check.note) == (FAIL, 37, f"worst: {finger} {place + 1}")
    assert check.value == pytest.approx(0.01, rel=1e-6)


def test_a_joint_out_of_place_fails_by_its_distance() -> None:
    assert RUN.fingers is not None
    poses = RUN.fingers.poses["ring"].copy()
    poses[12, 1, 2, 3] += 1e-5
    check = judged(with_poses("ring", poses))["finger-place"]
    assert (check.verdict, check.worst_frame, check.note) == (FAIL, 12, "worst: ring 2")
    assert check.value == pytest.approx(1e-5 / SIZE, rel=1e-6)


def test_a_last_bone_that_is_longer_fails_at_its_tip() -> None:
    assert RUN.fingers is not None
    poses = RUN.fingers.poses["middle"].copy()
    poses[:, 2, :3, 1] *= 1.001
    checks = judged(with_poses("middle", poses))
    assert checks["finger-place"].note == "worst: middle's tip"
    assert {check.verdict for check in checks.values()} == {FAIL}


def test_exchanged_fingers_and_exchanged_bones_fail() -> None:
    assert RUN.fingers is not None
    swapped = {**RUN.fingers.poses, "index": RUN.fingers.poses["ring"], "ring": RUN.fingers.poses["index"]}
    exchanged = replace(RUN, fingers=replace(RUN.fingers, poses=swapped))
    reverse = with_poses("index", RUN.fingers.poses["index"][:, ::-1])
    for run in (exchanged, reverse):
        assert {check.verdict for check in judged(run).values()} == {FAIL}


def test_fingers_that_stay_with_another_bone_than_the_hand_fail() -> None:
    """As on a rig whose fingers hang on the FK control, while the hand is held."""
    assert RUN.fingers is not None
    forearm = RUN.samples.forearm
    local = np.linalg.inv(RUN.geometry.forearm) @ RUN.geometry.hand
    moved = forearm @ local @ np.linalg.inv(RUN.samples.hand)
    poses = {name: moved[:, None] @ found for name, found in RUN.fingers.poses.items()}
    checks = judged(replace(RUN, fingers=replace(RUN.fingers, poses=poses)))
    assert checks["finger-turn"].value > 1.0


def test_a_pose_without_a_number_fails() -> None:
    assert RUN.fingers is not None
    poses = RUN.fingers.poses["index"].copy()
    poses[5, 0] = np.nan
    assert {check.verdict for check in judged(with_poses("index", poses)).values()} == {FAIL}


def test_a_hand_without_fingers_has_nothing_to_measure() -> None:
    checks = judged(replace(RUN, fingers=None))
    assert {check.verdict for check in checks.values()} == {NOT_APPLICABLE}
    assert {check.note for check in checks.values()} == {"the hand has no fingers"}


def test_every_dial_and_channel_moves_in_a_time_of_its_own_and_the_curl_goes_past_both_ends() -> None:
    geometry = guide_fingers(WREN, "L")
    assert geometry is not None
    settings = moving_fingers(geometry, 240)
    moved = [settings.spread, settings.curl, *settings.own.values()]
    moved += [
        values[:, place, axis] for values in settings.channels.values() for place in range(3) for axis in range(3)
    ]
    for one, first in enumerate(moved):
        assert np.ptp(first) > 0.3
        for second in moved[:one]:
            assert abs(np.corrcoef(first, second)[0, 1]) < 0.999
    sums = np.concatenate([settings.curl + own for own in settings.own.values()])
    assert sums.min() < CURL_RANGE[0] and sums.max() > CURL_RANGE[1]
