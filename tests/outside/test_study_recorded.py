"""A recording of a person (CMU Graphics Lab 01_01; tests/data/SOURCES.md) in the study, and plants put into it.

Its subject jumps, and never rests a hand on anything: over the quietest quarter of a second of the whole trial a wrist
spans 10 mm, where a planted one may span 7.5. So the phases whose stability is tested are plants put into it by hand.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from armwright.core.motion.bvh import read_bvh
from armwright.core.study.from_bvh import motion_of_bvh
from armwright.core.study.motion import StudyMotion
from armwright.core.study.phases import HAND, ROLL, SWING, phases_of, planted_frames
from armwright.core.study.still import noise_of, place_of

EXCERPT = Path(__file__).resolve().parents[1] / "data" / "cmu_01_01_upper.bvh"
FAST, SLOW = 120.0, 30.0
# Seconds of the holds that are put in, and of the way there and back.
HOLDS = ((1.5, 2.6), (4.0, 5.2), (7.1, 8.4), (10.0, 11.0))
WAY = 0.4


TRIAL_HOLDS = ((1.5, 2.6), (4.0, 5.2), (7.1, 8.4), (10.0, 11.0), (14.2, 15.5), (17.0, 17.9), (20.0, 21.4))
SHIFTS = (0.0, 0.4 / SLOW, 0.7 / SLOW)
WHOLE = pytest.mark.skipif("ARMWRIGHT_CMU_0101" not in os.environ, reason="ARMWRIGHT_CMU_0101 names no whole trial")


def trial() -> StudyMotion:
    """The whole trial at its own 120 Hz."""
    return motion_of_bvh(read_bvh(Path(os.environ["ARMWRIGHT_CMU_0101"]).read_bytes()), "trial")


def jumps() -> StudyMotion:
    return motion_of_bvh(read_bvh(EXCERPT.read_bytes()), "jumps")


def resampled(motion: StudyMotion, rate: float, shift: float = 0.0) -> StudyMotion:
    """Positions at another rate, straight between the frames, from `shift` seconds on."""
    count = int((motion.frames - 1) / motion.rate * rate - shift * rate)
    at = (np.arange(count) / rate + shift) * motion.rate

    def points(array: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.stack([np.interp(at, np.arange(len(array)), column) for column in array.T], axis=1)

    nearest = np.minimum(np.round(at).astype(int), motion.frames - 1)
    arms = tuple(
        replace(
            arm,
            shoulder=points(arm.shoulder),
            elbow=points(arm.elbow),
            wrist=points(arm.wrist),
            tip=None if arm.tip is None else points(arm.tip),
            hand=None,
            upper=None,
            clavicle=None,
        )
        for arm in motion.arms
    )
    return replace(motion, rate=rate, arms=arms, torso=motion.torso[nearest])


def decimated(motion: StudyMotion, rate: float) -> StudyMotion:
    """Every frame that is nearest to one at another rate, as it was recorded, orientations too."""
    count = int((motion.frames - 1) / motion.rate * rate)
    nearest = np.round(np.arange(count) / rate * motion.rate).astype(int)

    def kept(array: NDArray[np.float64] | None) -> NDArray[np.float64] | None:
        return None if array is None else array[nearest]

    names = ("shoulder", "elbow", "wrist", "tip", "hand", "upper", "clavicle")
    arms = tuple(replace(arm, **{name: kept(getattr(arm, name)) for name in names}) for arm in motion.arms)
    return replace(motion, rate=rate, arms=arms, torso=motion.torso[nearest])


def with_plants(motion: StudyMotion, holds: Sequence[tuple[float, float]] = HOLDS) -> StudyMotion:
    """The left hand put to where it is in the middle of each of `holds`, by minimum jerk from and to the recording."""
    arm = motion.arms[0]
    time = np.arange(motion.frames) / motion.rate
    wrist = arm.wrist.copy()
    for first, last in holds:
        share = np.clip(np.minimum((time - first + WAY) / WAY, (last + WAY - time) / WAY), 0.0, 1.0)
        share = (share**3 * (10.0 - 15.0 * share + 6.0 * share**2))[:, None]
        wrist += share * (arm.wrist[round((first + last) / 2.0 * motion.rate)] - wrist)
    return replace(motion, arms=(replace(arm, wrist=wrist, tip=None, hand=None),))


def bounds(motion: StudyMotion) -> list[tuple[float, float]]:
    return [(phase.first / motion.rate, phase.last / motion.rate) for phase in phases_of(motion) if phase.kind == HAND]


def test_a_jumping_persons_hands_rest_on_nothing() -> None:
    motion = jumps()
    assert {phase.kind for phase in phases_of(motion)} == {SWING}
    # By another way than speeds: in no half second does a wrist stay within four times the place of a plant.
    half = round(0.5 * motion.rate) + 1
    for arm in motion.arms:
        place = place_of(noise_of(arm.wrist, motion.rate), arm.length)
        spread = min(
            float(np.linalg.norm(np.ptp(arm.wrist[first : first + half], axis=0)))
            for first in range(motion.frames - half)
        )
        assert spread > 4.0 * place, f"{arm.arm}: {spread:.4f} m within half a second, a place is {place:.4f} m"


@pytest.mark.parametrize("shift", [0.0, 0.4 / SLOW, 0.7 / SLOW], ids=["decimated", "shifted 0.4", "shifted 0.7"])
def test_plants_in_a_recording_stay_where_they_are_at_a_quarter_of_the_rate(shift: float) -> None:
    fast = with_plants(resampled(jumps(), FAST))
    slow = resampled(fast, SLOW, shift)
    at_fast, at_slow = bounds(fast), bounds(slow)
    assert len(at_fast) == len(at_slow) == len(HOLDS)
    for one, other in zip(at_fast, at_slow, strict=True):
        assert abs(other[0] + shift - one[0]) <= 3.0 / SLOW
        assert abs(other[1] + shift - one[1]) <= 3.0 / SLOW
    truth = np.zeros(fast.frames, bool)
    for first, last in HOLDS:
        truth[round(first * FAST) : round(last * FAST) + 1] = True
    found = planted_frames(phases_of(fast), "L", fast.frames, (HAND, ROLL))
    assert (found & truth).sum() / truth.sum() >= 0.95


def same_phases(fast: StudyMotion, slow: StudyMotion, shift: float) -> None:
    """The hand's and the elbow's phases that are no swings are as many of the same kinds, within 3 frames."""

    def list_of(motion: StudyMotion) -> list[tuple[str, str, float, float]]:
        found = [phase for phase in phases_of(motion) if phase.kind != SWING]
        return sorted((one.arm, one.kind, one.first / motion.rate, one.last / motion.rate) for one in found)

    at_fast, at_slow = list_of(fast), list_of(slow)
    assert [one[:2] for one in at_fast] == [one[:2] for one in at_slow]
    for one, other in zip(at_fast, at_slow, strict=True):
        assert abs(other[2] + shift - one[2]) <= 3.0 / SLOW, (one, other)
        assert abs(other[3] + shift - one[3]) <= 3.0 / SLOW, (one, other)


@pytest.mark.parametrize("shift", SHIFTS)
def test_an_excerpt_without_plants_has_none_at_another_rate(shift: float) -> None:
    same_phases(jumps(), resampled(jumps(), SLOW, shift), shift)


@WHOLE
def test_the_whole_trial_rests_no_hand_at_its_own_rate() -> None:
    assert {phase.kind for phase in phases_of(trial())} == {SWING}


@WHOLE
@pytest.mark.parametrize("shift", SHIFTS)
@pytest.mark.parametrize("plants", [False, True], ids=["as it is", "with plants"])
def test_the_whole_trial_has_the_same_phases_at_a_quarter_of_the_rate(plants: bool, shift: float) -> None:
    motion = with_plants(trial(), TRIAL_HOLDS) if plants else trial()
    assert sum(phase.kind == HAND for phase in phases_of(motion)) == (len(TRIAL_HOLDS) if plants else 0)
    same_phases(motion, resampled(motion, SLOW, shift), shift)


@WHOLE
@pytest.mark.parametrize("rate", [24.0, 30.0, 60.0])
def test_the_whole_trial_with_its_hands_turns_rests_no_hand_at_any_rate(rate: float) -> None:
    assert {phase.kind for phase in phases_of(decimated(trial(), rate))} == {SWING}
