"""Every requirement passes the reference solver's arm and fails each defect planted in it, by the right figure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from proof_runs import RUNS, SIZE, run_of

from armwright.core.proof import verdicts
from armwright.core.proof.cases import Case
from armwright.core.proof.results import FAIL, NOT_APPLICABLE, OUT_OF_REACH, PASS, Check
from armwright.core.proof.run_plan import RunSpec
from armwright.core.proof.samples import ArmRun, ArmSamples
from armwright.core.proof.synthetic import solved_samples
from armwright.core.rotations import axis_matrix

FRAME = 37


def spec_of(motion: str, mode: str, isolate: float = 0.0, lift: float = 0.0, stretch: float = 0.0) -> RunSpec:
    case = Case(mode, isolate, lift, stretch)
    return next(spec for spec in RUNS if (spec.motion, spec.case) == (motion, case))


def judged(spec: RunSpec, run: ArmRun) -> dict[tuple[str, str], Check]:
    return {(check.requirement, check.measure): check for check in verdicts.checks(spec, run)[0]}


def damaged(run: ArmRun, **bones: np.ndarray) -> ArmRun:
    return replace(run, samples=replace(run.samples, **bones))


def moved(samples: ArmSamples, bone: str, metres: float, frame: int = FRAME) -> dict[str, np.ndarray]:
    frames = getattr(samples, bone).copy()
    frames[frame, 2, 3] += metres
    return {bone: frames}


def turned(samples: ArmSamples, bone: str, degrees: float, frame: int = FRAME) -> dict[str, np.ndarray]:
    frames = getattr(samples, bone).copy()
    frames[frame, :3, :3] = axis_matrix("X", np.radians(degrees)) @ frames[frame, :3, :3]
    return {bone: frames}


@pytest.mark.parametrize("mode", ["none", "hand", "elbow", "both"])
@pytest.mark.parametrize("arm", ["L", "R"])
def test_the_reference_solvers_arm_passes_everything_in_reach(mode: str, arm: str) -> None:
    specs = [spec for spec in RUNS if spec.case.mode == mode and spec.reach == "near" and spec.case.isolate != 0.0]
    looked_at = set()
    for spec in specs[::5]:
        for check in verdicts.checks(spec, run_of(spec, arm))[0]:
            assert check.verdict == PASS, check
            assert 0.0 <= check.value <= check.limit
            looked_at.add(check.requirement)
    assert {"stretch", "lift"} <= looked_at


# motion, mode, isolate, lift, stretch; bone; requirement, measure.
SLIDES = [
    ("torso-wiggle", "hand", (0.0, 1.0, 0.0), "wrist", "hold-hand", "wrist-slide"),
    ("torso-snap", "elbow", (1.0, 0.0, 0.0), "elbow", "hold-elbow", "elbow-slide"),
    ("torso-wiggle", "elbow", (0.0, 1.0, 1.0), "wrist", "hold-elbow", "wrist-slide"),
    ("elbow-sweep", "both", (0.0, 0.0, 0.0), "elbow", "hold-both", "elbow-slide"),
    ("hand-sweep", "both", (0.0, 0.0, 1.0), "wrist", "hold-both", "wrist-slide"),
    ("shrug", "hand", (0.0, 0.0, 0.0), "wrist", "shoulder", "wrist-slide"),
    ("shrug", "elbow", (0.0, 0.0, 0.0), "elbow", "shoulder", "elbow-slide"),
    ("shrug", "both", (0.0, 0.0, 0.0), "wrist", "shoulder", "wrist-slide"),
    ("torso-wiggle", "none", (1.0, 0.0, 0.0), "upper_arm", "isolate", "travel"),
    ("torso-wiggle", "hand", (1.0, 0.0, 1.0), "wrist", "stretch", "wrist-error"),
    ("torso-wiggle", "none", (1.0, 0.0, 1.0), "wrist", "stretch", "wrist-error"),
    ("torso-wiggle", "elbow", (1.0, 0.0, 1.0), "wrist", "stretch", "wrist-error"),
    ("torso-wiggle", "elbow", (1.0, 0.0, 1.0), "skin_upper_arm", "stretch", "upper-skin-gap"),
    ("torso-wiggle", "both", (1.0, 0.0, 1.0), "skin_forearm", "stretch", "forearm-skin-gap"),
    ("torso-wiggle", "hand", (1.0, 0.0, 1.0), "elbow", "hold-hand", "elbow-place"),
    ("shrug", "hand", (1.0, 0.0, 1.0), "elbow", "shoulder", "elbow-place"),
    ("blend-ramp", "none", (0.0, 0.0, 0.0), "forearm", "blend", "elbow-gap"),
    ("blend-ramp", "elbow", (0.0, 1.0, 0.0), "hand", "blend", "wrist-gap"),
]


@pytest.mark.parametrize(("motion", "mode", "dials", "bone", "requirement", "measure"), SLIDES)
def test_a_joint_off_by_a_hundred_thousandth_of_the_arm_in_one_frame_fails_by_that_much(
    motion: str, mode: str, dials: tuple[float, float, float], bone: str, requirement: str, measure: str
) -> None:
    spec = spec_of(motion, mode, *dials)
    run = run_of(spec)
    assert judged(spec, run)[requirement, measure].verdict == PASS
    check = judged(spec, damaged(run, **moved(run.samples, bone, 1e-5 * SIZE)))[requirement, measure]
    assert check.verdict == FAIL
    assert check.worst_frame == FRAME
    assert check.value == pytest.approx(1e-5, rel=1e-3)
    assert check.unit == "L"


TURNS = [
    ("fk-sweep", "none", (0.0, 0.0, 0.0), "fk_clavicle", "swing", "clavicle"),
    ("fk-sweep", "none", (1.0, 1.0, 0.0), "upper_arm", "swing", "upper-arm"),
    ("fk-sweep", "none", (0.0, 0.0, 1.0), "forearm", "swing", "forearm"),
    ("fk-sweep", "elbow", (0.0, 0.0, 0.0), "forearm", "swing", "forearm"),
    ("fk-sweep", "elbow", (0.0, 0.0, 0.0), "hand", "swing", "hand"),
    ("torso-wiggle", "hand", (0.0, 0.0, 0.0), "hand", "hold-hand", "hand-drift"),
    ("torso-wiggle", "elbow", (0.0, 0.0, 0.0), "hand", "hold-elbow", "hand-drift"),
    ("shrug", "hand", (0.0, 0.0, 0.0), "hand", "shoulder", "hand-drift"),
    ("torso-wiggle", "none", (0.0, 1.0, 0.0), "upper_arm", "isolate", "follow-error"),
    ("torso-wiggle", "none", (1.0, 1.0, 0.0), "upper_arm", "isolate", "drift"),
    ("torso-wiggle+between", "none", (0.25, 0.0, 0.0), "upper_arm", "isolate", "slerp-error"),
    ("torso-wiggle", "both", (1.0, 1.0, 0.0), "clavicle", "lift", "lift-error"),
    ("torso-wiggle", "hand", (1.0, 0.0, 0.0), "clavicle", "lift", "lift-error"),
]


@pytest.mark.parametrize(("motion", "mode", "dials", "bone", "requirement", "measure"), TURNS)
def test_a_bone_turned_by_a_hundredth_of_a_degree_in_one_frame_fails_by_that_much(
    motion: str, mode: str, dials: tuple[float, float, float], bone: str, requirement: str, measure: str
) -> None:
    spec = spec_of(motion, mode, *dials)
    run = run_of(spec, "R")
    assert judged(spec, run)[requirement, measure].verdict == PASS
    check = judged(spec, damaged(run, **turned(run.samples, bone, 0.01)))[requirement, measure]
    assert check.verdict == FAIL
    assert check.worst_frame == FRAME
    assert check.value == pytest.approx(0.01, rel=1e-4)
    assert check.unit == "deg"


@pytest.mark.parametrize(
    ("bone", "measure"),
    [
        ("elbow", "upper-length"),
        ("wrist", "forearm-length"),
        ("skin_upper_arm", "upper-volume"),
        ("skin_forearm", "forearm-volume"),
    ],
)
@pytest.mark.parametrize("mode", ["none", "hand", "elbow", "both"])
def test_a_segment_of_wrong_length_or_volume_fails_by_its_error(mode: str, bone: str, measure: str) -> None:
    spec = spec_of("length-ramp", mode, stretch=1.0)
    run = run_of(spec)
    assert judged(spec, run)["stretch", measure].verdict == PASS
    frames = getattr(run.samples, bone).copy()
    if bone.startswith("skin"):
        frames[FRAME, :3, 1] *= 1.001
        expected = 1e-3
    else:
        head = getattr(run.samples, {"elbow": "upper_arm", "wrist": "forearm"}[bone])[FRAME, :3, 3]
        arrow = frames[FRAME, :3, 3] - head
        frames[FRAME, :3, 3] += 0.001 * arrow
        rest = {"elbow": run.geometry.upper_length, "wrist": run.geometry.forearm_length}[bone]
        expected = 0.001 * float(np.linalg.norm(arrow)) / rest
    check = judged(spec, damaged(run, **{bone: frames}))["stretch", measure]
    assert check.verdict == FAIL
    assert check.worst_frame == FRAME
    assert check.value == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("segment", ["upper", "forearm"])
def test_skin_that_does_not_stretch_fails_though_its_volume_is_kept(segment: str) -> None:
    """At volume 1, x·y·z is 1 for the right answer and for a bone that does nothing."""
    spec = spec_of("length-ramp", "none")
    run = run_of(spec)
    name = {"upper": "skin_upper_arm", "forearm": "skin_forearm"}[segment]
    rigid = getattr(run.samples, name).copy()
    rigid[:, :3, :3] /= np.linalg.norm(rigid[:, :3, :3], axis=1, keepdims=True)
    found = judged(spec, damaged(run, **{name: rigid}))
    assert found["stretch", f"{segment}-skin-gap"].verdict == FAIL
    assert found["stretch", f"{segment}-volume"].verdict == FAIL


def test_an_elbow_that_bends_to_the_wrong_side_of_the_hand_fails() -> None:
    spec = spec_of("torso-wiggle", "hand")
    run = run_of(spec)
    shoulder, hand = run.samples.upper_arm[:, :3, 3], run.settings.hand_hold[:, :3, 3]
    line = (hand - shoulder) / np.linalg.norm(hand - shoulder, axis=1, keepdims=True)
    elbow = run.samples.elbow.copy()
    aside = elbow[:, :3, 3] - shoulder
    aside -= line * np.sum(aside * line, axis=1, keepdims=True)
    elbow[:, :3, 3] -= 2.0 * aside
    assert judged(spec, run)["hold-hand", "elbow-place"].verdict == PASS
    found = judged(spec, damaged(run, elbow=elbow))
    assert found["hold-hand", "elbow-place"].verdict == FAIL
    assert found["hold-hand", "wrist-slide"].verdict == PASS


@pytest.mark.parametrize(("bone", "measure"), [("elbow", "upper-length"), ("wrist", "forearm-length")])
def test_a_segment_that_shrinks_while_blending_fails(bone: str, measure: str) -> None:
    spec = spec_of("blend-ramp", "none")
    run = run_of(spec)
    head = getattr(run.samples, {"elbow": "upper_arm", "wrist": "forearm"}[bone])[:, :3, 3]
    frames = getattr(run.samples, bone).copy()
    share = run.settings.ik * (1.0 - run.settings.ik)
    frames[:, :3, 3] -= 1e-3 * share[:, None] * (frames[:, :3, 3] - head)
    check = judged(spec, damaged(run, **{bone: frames}))["blend", measure]
    assert check.verdict == FAIL
    assert check.value == pytest.approx(0.25e-3, rel=1e-2)


@pytest.mark.parametrize("mode", ["none", "hand", "elbow", "both"])
def test_a_jump_along_the_blend_dial_fails(mode: str) -> None:
    spec = spec_of("blend-ramp", mode, lift=1.0, stretch=1.0)
    run = run_of(spec)
    assert judged(spec, run)["blend", "jump"].verdict == PASS
    bones = {}
    for name in ("forearm", "wrist", "hand"):
        frames = getattr(run.samples, name).copy()
        frames[FRAME:, 1, 3] += 0.002 * SIZE
        bones[name] = frames
    check = judged(spec, damaged(run, **bones))["blend", "jump"]
    assert check.verdict == FAIL
    assert check.worst_frame in (FRAME - 1, FRAME)


def lifted(run: ArmRun, angle: Callable[[np.ndarray], np.ndarray]) -> ArmRun:
    """The run with its lift angle (N,), radians, replaced by a function of it; the shoulder goes along."""
    from armwright.core.proof.lift import lift_angle

    control = run.samples.fk_clavicle
    clavicle = run.samples.clavicle.copy()
    clavicle[:, :3, :3] = control[:, :3, :3] @ axis_matrix("X", angle(lift_angle(run)))
    upper = run.samples.upper_arm.copy()
    upper[:, :3, 3] = clavicle[:, :3, 3] + clavicle[:, :3, 1] * run.geometry.clavicle_length
    return damaged(run, clavicle=clavicle, upper_arm=upper)


def test_the_solvers_lift_is_read_back_from_the_bones() -> None:
    from armwright.core.proof.lift import lift_angle
    from armwright.core.solve.arm import solve

    run = run_of(spec_of("raise", "none", lift=1.0))
    wanted = solve(run.geometry, run.settings).lift
    assert np.ptp(wanted) > np.radians(20.0)
    assert np.abs(lift_angle(run) - wanted).max() < 1e-12


@pytest.mark.parametrize("mode", ["none", "hand", "elbow", "both"])
def test_a_lift_that_ignores_its_dial_fails_at_both_ends(mode: str) -> None:
    for dial in (0.0, 1.0):
        spec = spec_of("raise", mode, lift=dial)
        run = run_of(spec)
        assert judged(spec, run)["lift", "lift-error"].verdict == PASS
        wrong = lifted(run, lambda angle, dial=dial: angle * 0.0 if dial else angle + np.radians(5.0))
        check = judged(spec, wrong)["lift", "lift-error"]
        assert check.verdict == FAIL
        assert check.value > 3.0
    ramp = next(spec for spec in RUNS if spec.motion == "lift-ramp" and spec.case.mode == mode)
    run = run_of(ramp)
    assert judged(ramp, run)["lift", "lift-error"].verdict == PASS
    assert judged(ramp, lifted(run, lambda angle: np.full_like(angle, angle[-1])))["lift", "lift-error"].verdict == FAIL


@pytest.mark.parametrize(
    ("measure", "angle"),
    [
        ("lift-backwards", lambda angle: -angle),
        ("lift-jump", lambda angle: angle + np.where(np.arange(len(angle)) >= FRAME, np.radians(1.0), 0.0)),
        ("lift-range", lambda angle: 1.4 * angle),
        ("rise-band", lambda angle: 0.3 * angle),
        ("rise-band", lambda angle: 3.0 * angle),
        ("rise-band", lambda angle: -angle),
    ],
)
def test_a_lift_off_the_anatomical_rhythm_fails(measure: str, angle: Callable[[np.ndarray], np.ndarray]) -> None:
    spec = spec_of("raise", "none", lift=1.0)
    run = run_of(spec)
    assert judged(spec, run)["lift", measure].verdict == PASS
    check = judged(spec, lifted(run, angle))["lift", measure]
    assert check.verdict == FAIL
    assert np.isfinite(check.value)


@pytest.mark.parametrize("ratio", [0.40, 0.69, 1.0])
def test_the_published_rise_is_asked_in_proportion_to_the_clavicle(ratio: float) -> None:
    """The rhythm is one of angles: with it a shoulder that is shorter for its arm rises less, as that of long arms."""
    spec = spec_of("raise", "none", lift=1.0)
    run = run_of(spec)
    other = replace(run, geometry=replace(run.geometry, clavicle_length=ratio * run.geometry.upper_length))
    other = replace(other, samples=solved_samples(other.geometry, other.settings))
    assert judged(spec, other)["lift", "rise-band"].verdict == PASS
    for wrong in (0.3, 3.0):
        check = judged(spec, lifted(other, lambda angle, wrong=wrong: wrong * angle))["lift", "rise-band"]
        assert check.verdict == FAIL, wrong


def test_the_published_rise_is_not_asked_of_a_shoulder_unlike_a_persons() -> None:
    spec = spec_of("raise", "none", lift=1.0)
    run = run_of(spec)
    short = replace(run, geometry=replace(run.geometry, clavicle_length=0.2 * run.geometry.upper_length))
    check = judged(spec, replace(short, samples=solved_samples(short.geometry, short.settings)))["lift", "rise-band"]
    assert check.verdict == NOT_APPLICABLE
    assert "0.20" in check.note


@pytest.mark.parametrize(
    ("mode", "requirement"),
    [
        ("none", "swing"),
        ("hand", "hold-hand"),
        ("elbow", "hold-elbow"),
        ("both", "hold-both"),
        ("none", "isolate"),
        ("none", "lift"),
        ("none", "stretch"),
    ],
)
@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_a_bone_without_numbers_fails_every_requirement(mode: str, requirement: str, bad: float) -> None:
    spec = spec_of("torso-wiggle", mode, lift=1.0)
    run = run_of(spec)
    bones = {}
    for name in (
        "fk_clavicle",
        "clavicle",
        "upper_arm",
        "elbow",
        "forearm",
        "wrist",
        "hand",
        "skin_upper_arm",
        "skin_forearm",
    ):
        frames = getattr(run.samples, name).copy()
        frames[FRAME, :3, :] = bad
        bones[name] = frames
    with np.errstate(invalid="ignore"):
        found = [check for check in verdicts.checks(spec, damaged(run, **bones))[0] if check.requirement == requirement]
    assert found
    for check in found:
        assert check.verdict == FAIL, check
        assert check.worst_frame == FRAME


FAR = [
    ("torso-wiggle+far", "hand", 0.0, "hold-hand", "wrist-slide", "wrist"),
    ("torso-wiggle+far", "both", 0.0, "hold-both", "wrist-slide", "wrist"),
    ("torso-wiggle+far", "elbow", 1.0, "hold-elbow", "elbow-slide", "elbow"),
    ("torso-wiggle+far", "elbow", 0.0, "hold-elbow", "wrist-slide", "wrist"),
]


@pytest.mark.parametrize(("motion", "mode", "stretch", "requirement", "measure", "bone"), FAR)
def test_a_hold_out_of_reach_says_how_far_and_is_no_pass(
    motion: str, mode: str, stretch: float, requirement: str, measure: str, bone: str
) -> None:
    spec = spec_of(motion, mode, 0.0, 1.0, stretch)
    run = run_of(spec)
    check = judged(spec, run)[requirement, measure]
    assert check.verdict == OUT_OF_REACH
    assert f"{check.value:.6g}" in check.note
    assert check.value > 0.02


@pytest.mark.parametrize(("motion", "mode", "stretch", "requirement", "measure", "bone"), FAR)
@pytest.mark.parametrize("part", ["short", "aside"])
def test_an_arm_that_does_not_do_all_it_can_for_a_hold_out_of_reach_fails(
    motion: str, mode: str, stretch: float, requirement: str, measure: str, bone: str, part: str
) -> None:
    spec = spec_of(motion, mode, 0.0, 1.0, stretch)
    run = run_of(spec)
    worst = judged(spec, run)[requirement, measure].worst_frame
    frames = getattr(run.samples, bone).copy()
    hold = run.settings.elbow_hold if mode == "elbow" else run.settings.hand_hold
    line = hold[worst, :3, 3] - frames[worst, :3, 3]
    line /= np.linalg.norm(line)
    # Both along the line and beside it: the one changes how short the arm is, the other its direction.
    away = -line if part == "short" else np.cross(line, [0.0, 0.0, 1.0])
    frames[worst, :3, 3] += 1e-5 * SIZE * away / np.linalg.norm(away)
    check = judged(spec, damaged(run, **{bone: frames}))[requirement, measure]
    assert check.verdict == FAIL
    assert "out of reach" in check.note


@pytest.mark.parametrize("mode", ["hand", "both"])
def test_with_the_stretch_dial_the_same_far_hold_is_reached(mode: str) -> None:
    spec = spec_of("torso-wiggle+far", mode, 0.0, 1.0, 1.0)
    run = run_of(spec)
    found = judged(spec, run)
    assert found[f"hold-{mode}", "wrist-slide"].verdict == PASS
    assert max(np.linalg.norm(run.samples.skin_forearm[:, :3, 1], axis=1)) > 1.1


def test_an_arm_that_does_not_point_at_a_hold_out_of_reach_fails_stretch() -> None:
    spec = spec_of("torso-wiggle+far", "hand")
    run = run_of(spec)
    assert judged(spec, run)["stretch", "wrist-error"].verdict == PASS
    check = judged(spec, damaged(run, **moved(run.samples, "wrist", 1e-5 * SIZE)))["stretch", "wrist-error"]
    assert check.verdict == FAIL


def test_the_elbows_place_is_judged_in_every_near_corner_and_left_out_only_where_the_arm_is_straight() -> None:
    for spec in RUNS:
        if spec.case.mode == "hand" and spec.reach == "near" and "hold-hand" in spec.requirements:
            assert judged(spec, run_of(spec))["hold-hand", "elbow-place"].verdict == PASS, spec.motion
    spec = spec_of("torso-wiggle", "hand")
    run = run_of(spec)
    settings = replace(run.settings, hand_hold=run.settings.hand_hold - np.outer([0, 1, 0, 0], [0, 0, 0, 10.0]))
    straight = replace(run, settings=settings, samples=solved_samples(run.geometry, settings))
    assert judged(spec, straight)["hold-hand", "elbow-place"].verdict == NOT_APPLICABLE
