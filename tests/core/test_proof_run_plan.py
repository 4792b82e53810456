"""The runs of a proof reach every requirement in every corner it has, within a budget of frames."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import numpy as np
import pytest

from armwright.core.errors import ProofError
from armwright.core.motion.clip import make_clip
from armwright.core.proof import verdicts
from armwright.core.proof.cases import CORNERS, MODES
from armwright.core.proof.run_plan import BETWEEN, FAR, evaluated_frames, planned_runs, standard_motions

MOTIONS = standard_motions()
RUNS = planned_runs(MOTIONS)


def test_all_corners_run_under_every_motion() -> None:
    assert len(CORNERS) == 32
    ran = Counter((spec.motion, spec.case) for spec in RUNS)
    for clip in MOTIONS:
        for case in CORNERS:
            assert ran[clip.name, case] == 1, (clip.name, case)
    assert {clip.name for clip in MOTIONS} == {
        "torso-wiggle", "torso-snap", "shrug", "hand-sweep", "elbow-sweep", "fk-sweep",
    }  # fmt: skip


def test_a_recorded_motion_runs_in_all_corners_as_well() -> None:
    clip = make_clip("recorded", 30, travel=np.linspace(0.0, 0.1, 90).reshape(30, 3))
    runs = planned_runs(standard_motions(2, clip))
    assert sum(spec.motion == "recorded" for spec in runs) == 32


@pytest.mark.parametrize("requirement", verdicts.REQUIREMENTS, ids=lambda item: item.ID)
def test_every_requirement_is_looked_at_in_every_corner_of_its_modes_and_nowhere_else(
    requirement: verdicts.Requirement,
) -> None:
    seen = {spec.case for spec in RUNS if requirement.applies(spec)}
    corners = {case for case in CORNERS if case.mode in requirement.MODES}
    assert corners <= seen
    assert {case.mode for case in seen} == set(requirement.MODES)
    left_out = [check for check in verdicts.not_applicable("L") if check.requirement == requirement.ID]
    assert {check.case for check in left_out} == set(CORNERS) - corners
    assert len(left_out) == len(set(CORNERS) - corners)


def test_the_requirements_are_the_designs_and_have_the_designs_limits() -> None:
    """Design's table of requirements: slides 2e-6 L, rotations 1e-3 degrees, lengths 1e-5."""
    assert [item.ID for item in verdicts.REQUIREMENTS] == [
        "swing", "hold-hand", "hold-elbow", "hold-both", "shoulder", "lift", "isolate", "stretch", "blend",
        "any-axis", "plant", "twist", "fingers",
    ]  # fmt: skip
    assert verdicts.EVERY[-1].ID == "switch"
    assert verdicts.EVERY[-1].LIMITS == {"pop": 1e-5, "turn": 1e-2}
    for requirement in verdicts.REQUIREMENTS:
        for measure, limit in requirement.LIMITS.items():
            if measure == "plant-jump":
                assert limit <= 1.01  # of what the geometry allows
            elif measure == "elbow-speed":
                assert limit == 20.0
            elif measure == "left-out":
                assert limit <= 0.2  # of the steps: the large majority is looked at
            elif measure.endswith(("slide", "gap", "travel", "wrist-error", "finger-place")):
                assert limit == 2e-6, measure
            elif measure in ("twist-share", "twist-backwards"):
                assert limit == 1e-4
            elif measure == "twist-end":
                assert limit == 5e-3  # design, section 3: host and reference solver
            elif measure.endswith(("length", "volume", "width")):
                assert limit == 1e-5, measure
            elif measure == "elbow-place":
                assert limit == 5e-6  # design, section 3: host and reference solver
            elif requirement.ID != "lift":
                assert limit == 1e-3, measure


def test_held_points_leave_their_reach_in_every_corner_that_holds() -> None:
    far = Counter(spec.case for spec in RUNS if spec.motion == "torso-wiggle+far" and spec.reach == FAR)
    assert far == Counter(case for case in CORNERS if case.mode != "none")


def test_the_blend_dial_runs_its_whole_way_in_equal_steps_in_every_corner() -> None:
    ramps = [spec for spec in RUNS if spec.motion == "blend-ramp"]
    assert {spec.case for spec in ramps} == set(CORNERS)
    for spec in ramps:
        dial = dict(spec.dials)["ik"]
        assert dial[0] == spec.case.ik
        assert dial[-1] == 1.0 - spec.case.ik
        assert np.ptp(np.diff(dial)) < 1e-12


def test_the_dials_in_between_are_looked_at() -> None:
    assert {spec.case.isolate for spec in RUNS if "isolate" in spec.requirements} >= set(BETWEEN)
    lengths = [dict(spec.dials) for spec in RUNS if spec.motion == "length-ramp"]
    assert len(lengths) == len(MODES) * 2
    for dials in lengths:
        for name in ("upper_length", "forearm_length"):
            assert dials[name].min() == pytest.approx(0.6, abs=5e-3)
            assert dials[name].max() == pytest.approx(1.8, abs=5e-3)
    volumes = np.concatenate([dict(spec.dials)["volume"] for spec in RUNS if spec.motion == "volume-ramp"])
    assert {0.0, 0.5, 1.0} <= set(np.round(volumes, 12))
    assert any(0.5 in dict(spec.dials).get("soft", ()) for spec in RUNS)


def test_extra_runs_add_at_most_a_third_to_the_frames_of_six_full_motions_in_all_corners() -> None:
    full = 32 * 6 * 240
    corners = sum(spec.clip.frames for spec in RUNS if spec.motion in {clip.name for clip in MOTIONS})
    assert corners <= full
    planted = sum(spec.clip.frames for spec in RUNS if "plant" in spec.requirements)
    rest = evaluated_frames(RUNS) - planted
    assert rest - corners <= full / 3.0
    # A planted hand has dials of its own, and so motions of its own.
    assert planted <= 0.06 * rest


def test_no_two_runs_share_a_motion_and_a_case() -> None:
    ordered = sorted((spec.motion, spec.case.mode, spec.case.label) for spec in RUNS)
    assert all(one != other for one, other in pairwise(ordered))


@pytest.mark.parametrize("names", [[], ["lean", "lean"], ["raise"], ["blend-ramp"], ["hand-round"], ["a/b"]])
def test_motions_that_would_mix_up_ids_are_refused(names: list[str]) -> None:
    with pytest.raises(ProofError, match="motion"):
        planned_runs([make_clip(name, 30) for name in names])
