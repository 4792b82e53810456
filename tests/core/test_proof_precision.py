"""Limits far from the origin: as the design has them near it, and no finer than single precision further away."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from proof_runs import RUNS, SIZE, run_of

from armwright.core.proof import precision, verdicts
from armwright.core.proof.measures import SLIDE_LIMIT, TURN_LIMIT, arm_length
from armwright.core.proof.run_plan import RunSpec
from armwright.core.proof.samples import ArmRun, ArmSamples
from armwright.core.solve.settings import ArmGeometry

SEED = 6007


def spec_of(mode: str = "both") -> RunSpec:
    return next(spec for spec in RUNS if spec.motion == "torso-wiggle" and spec.case.mode == mode)


def moved(run: ArmRun, away: float) -> ArmRun:
    """The run as it is when everything is so far along X, in double precision."""
    shift = np.eye(4)
    shift[0, 3] = away

    def further(frames: np.ndarray) -> np.ndarray:
        out = np.array(frames, float)
        if out.shape[-2:] == (4, 4):
            out[..., 0, 3] += away
        return out

    samples = ArmSamples(**{name: further(value) for name, value in vars(run.samples).items()})
    rest = {
        name: further(getattr(run.geometry, name)) for name in ("torso", "clavicle", "upper_arm", "forearm", "hand")
    }
    held = {name: further(getattr(run.settings, name)) for name in ("torso", "hand_hold", "elbow_hold")}
    aim = run.settings.aim + shift[:3, 3]
    return replace(
        run,
        geometry=replace(run.geometry, **rest),
        settings=replace(run.settings, **held, aim=aim),
        samples=samples,
    )


def wrist_slide(run: ArmRun) -> verdicts.Check:
    found = verdicts.checks(spec_of(), run)[0]
    return next(check for check in found if check.requirement == "hold-both" and check.measure == "wrist-slide")


@pytest.mark.parametrize("scale", [0.01, 1.0, 100.0])
def test_at_the_origin_every_limit_is_the_designs_at_any_size(scale: float) -> None:
    assert precision.limit_at(SLIDE_LIMIT, 0.0, scale * SIZE) == SLIDE_LIMIT
    assert precision.turn_limit_at(TURN_LIMIT, 0.0, scale * SIZE) == TURN_LIMIT
    geometry = run_of(spec_of()).geometry
    assert precision.body_away(geometry) == 0.0
    measures = verdicts.REQUIREMENTS[1].measure(run_of(spec_of("hand")))
    assert precision.restated(measures, geometry) is measures


def test_short_arms_have_as_many_steps_of_single_precision_as_the_handbooks() -> None:
    """The same body with its arms at 0.72 of their length: as much of a step's share more, and never over BODY's."""
    run = run_of(spec_of("hand"))
    rest = run.geometry
    far = np.linalg.norm(rest.upper_arm[:3, 3])

    def at_shoulder(share: float) -> ArmGeometry:
        frames: dict[str, np.ndarray] = {}
        for name in ("forearm", "hand"):
            frame = np.array(getattr(rest, name))
            frame[:3, 3] = rest.upper_arm[:3, 3] + share * (frame[:3, 3] - rest.upper_arm[:3, 3])
            frames[name] = frame
        lengths = {name: share * getattr(rest, name) for name in ("upper_length", "forearm_length")}
        return replace(rest, **frames, **lengths)

    (slide,) = (item for item in verdicts.REQUIREMENTS[1].measure(run) if item.measure == "wrist-slide")
    for share in (0.72, 0.5, 0.1):
        short = at_shoulder(share)
        steps = SLIDE_LIMIT * arm_length(rest) / (precision.STEP * far)
        (found,) = (item for item in precision.restated((slide,), short) if item.measure == "wrist-slide")
        away = far / arm_length(short)
        assert away > precision.SHOULDER and found.limit > SLIDE_LIMIT
        if away <= precision.BODY:
            assert found.limit * arm_length(short) / (precision.STEP * far) <= 1.02 * steps
            assert "the shoulder is" in found.note
    longer = at_shoulder(1.5)
    assert precision.restated((slide,), longer) == (slide,)


# Distance of neighbours just above a power of two, IEEE 754: 2^(e - 23) between 2^e and 2^(e + 1).
@pytest.mark.parametrize(("away", "step"), [(8.0, 2.0**-20), (64.0, 2.0**-17), (512.0, 2.0**-14), (1024.0, 2.0**-13)])
def test_a_limit_is_no_finer_than_the_steps_of_single_precision(away: float, step: float) -> None:
    assert step == np.spacing(np.float32(away))
    off = precision.off_by(away, SIZE)
    assert off >= precision.STEPS * step / SIZE
    # And not more than the body's own size adds to them.
    assert off <= precision.STEPS * step * (1.0 + precision.BODY * SIZE / away) / SIZE * (1.0 + 1e-12)


def test_a_limit_never_falls_with_the_distance_and_never_rises_with_the_size() -> None:
    away = np.geomspace(1e-3, 1e5, 200)
    limits = [precision.limit_at(SLIDE_LIMIT, far, SIZE) for far in away]
    assert np.all(np.diff(limits) >= 0.0)
    assert np.all(
        np.diff([precision.limit_at(SLIDE_LIMIT, 50.0, size) for size in np.geomspace(0.01, 100.0, 200)]) <= 0.0
    )


@pytest.mark.parametrize("away", [100.0, 1000.0])
def test_bones_far_from_their_own_origin_have_restated_limits_and_say_so(away: float) -> None:
    check = wrist_slide(moved(run_of(spec_of()), away))
    print(check.limit, check.note)
    assert check.limit == pytest.approx(precision.off_by(away, SIZE), rel=0.05)
    assert "single precision tells no less" in check.note and f"{check.limit:.2g} L for 2e-06" in check.note
    assert check.verdict == "pass"


def test_a_hand_that_slides_far_away_fails_and_one_that_is_rounded_does_not() -> None:
    rng = np.random.default_rng(SEED)
    print(f"seed {SEED}")
    for away, slide in ((100.0, 1e-3), (1000.0, 5e-3)):
        run = moved(run_of(spec_of()), away)
        wrist = np.array(run.samples.wrist)
        # As far off as the host was measured to be, to the steps of single precision.
        step = np.spacing(np.float32(away))
        wrist[:, :3, 3] += rng.integers(-5, 6, (len(wrist), 3)) * step
        rounded = replace(run, samples=replace(run.samples, wrist=wrist))
        check = wrist_slide(rounded)
        assert check.verdict == "pass" and check.value > SLIDE_LIMIT
        slid = wrist.copy()
        slid[100:, 2, 3] += slide * SIZE
        check = wrist_slide(replace(run, samples=replace(run.samples, wrist=slid)))
        print(f"{away:g} m: {check.value:.2e} L of {check.limit:.2e}")
        assert check.verdict == "fail"
        assert check.value == pytest.approx(slide, rel=0.2)
