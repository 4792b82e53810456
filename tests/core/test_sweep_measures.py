"""Every measure of the sweep: a sound arm passes it, an arm with a planted defect fails it with the right figure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
from arm_cases import turn as about
from sweep_jobs import look, moved, shown_by, turned

from armwright.core.errors import ProofError
from armwright.core.proof.measures import at, turn
from armwright.core.proof.plant import laid_flat
from armwright.core.sweep.measure import read
from armwright.core.sweep.measures import elbow_speed, jump
from armwright.core.sweep.measures.catalogue import MEASURES, measure_named
from armwright.core.sweep.near import near
from armwright.core.sweep.space import between, take

POSES = 3000
OFF = 1e-3  # arm lengths
SLIP = 0.01  # degrees
FATTER = 1.001**2 - 1.0  # of a cross-section
LONGEST = 2.0 * 1.5  # most that dial and stretch together make of a segment
Change = Callable[[Any, Any], Any]


@pytest.mark.parametrize("arm", ["L", "R"])
@pytest.mark.parametrize("measure", MEASURES, ids=[measure.name for measure in MEASURES])
def test_the_solved_arm_keeps_every_limit_and_each_measure_looks_at_many_poses(measure: Any, arm: str) -> None:
    values, looked, left_out = read(measure, look(POSES, arm))
    assert looked > 0.02 * POSES
    assert left_out < 0.5 * (looked + left_out)
    assert len(values) == POSES and (values > -np.inf).sum() == looked
    assert values.max() <= (np.inf if measure.limit is None else measure.limit)
    # What is held, joined or turned by design is so to the last digits of a double.
    if not measure.search and measure.limit is not None:
        assert values.max() < 0.05 * measure.limit


def test_no_two_measures_have_the_same_name() -> None:
    assert len({measure.name for measure in MEASURES}) == len(MEASURES)
    with pytest.raises(ProofError, match=r"no measure 'lantern'; there is: .*elbow-speed"):
        measure_named("lantern")


def aside(of: Any) -> np.ndarray:
    return np.array([0.0, 0.0, OFF * of.size])


def elbow_off(of: Any) -> Change:
    """The elbow a little above the end of the upper arm, and all that hangs on it."""

    def change(settings: Any, s: Any) -> Any:
        by = aside(of)
        carried = {name: moved(getattr(s, name), by) for name in ("elbow", "forearm", "wrist", "hand", "skin_forearm")}
        return replace(s, **carried)

    return change


def hand_off(of: Any) -> Change:
    """Hand and fingers a little above where the forearm ends."""
    return lambda settings, s: replace(s, hand=moved(s.hand, aside(of)), fingers=moved(s.fingers, aside(of)))


def fingers_off(of: Any) -> Change:
    return lambda settings, s: replace(s, fingers=moved(s.fingers, aside(of)))


def fingers_turned(of: Any) -> Change:
    return lambda settings, s: replace(s, fingers=turned(s.fingers, about((1, 2, 0), np.radians(SLIP))))


def rolls_over_the_wrist(of: Any) -> Change:
    """A planted hand that is turned as it should be, at the wrist of a flat one: the rolls move no wrist."""

    def change(settings: Any, s: Any) -> Any:
        back = at(settings.hand_hold) - at(laid_flat(of.geometry, settings).hand_hold)
        held = (settings.ik == 1.0)[:, None] * back
        return replace(s, hand=moved(s.hand, held), fingers=moved(s.fingers, held))

    return change


def stiff_fingers(of: Any) -> Change:
    """Fingers that go with the hand where it rolls over its knuckles, about the knuckles' own point."""

    def change(settings: Any, s: Any) -> Any:
        fingers = s.fingers.copy()
        fingers[:, :3, :3] = s.hand[:, :3, :3]
        return replace(s, fingers=fingers)

    return change


def wrist_off(of: Any) -> Change:
    return lambda settings, s: replace(s, wrist=moved(s.wrist, aside(of)), hand=moved(s.hand, aside(of)))


def hand_turned(of: Any) -> Change:
    return lambda settings, s: replace(s, hand=turned(s.hand, about((1, 2, 0), np.radians(SLIP))))


def upper_turned(of: Any) -> Change:
    return lambda settings, s: replace(s, upper_arm=turned(s.upper_arm, about((0, 1, 0), np.radians(SLIP))))


def fat_skin(of: Any) -> Change:
    wider = np.diag([1.001, 1.0, 1.001])
    return lambda settings, s: replace(
        s, skin_upper_arm=turned(s.skin_upper_arm, wider), skin_forearm=turned(s.skin_forearm, wider)
    )


def short_skin(of: Any) -> Change:
    return lambda settings, s: replace(s, skin_upper_arm=turned(s.skin_upper_arm, np.diag([1.0, 0.999, 1.0])))


def shoulder_off(of: Any) -> Change:
    return lambda settings, s: replace(s, upper_arm=moved(s.upper_arm, aside(of)))


def lifted(degrees: float) -> Callable[[Any], Change]:
    return lambda of: lambda settings, s: replace(s, clavicle=turned(s.clavicle, about((1, 0, 0), np.radians(degrees))))


def drags_along(of: Any) -> Change:
    """An isolated arm that still takes a thousandth of the torso's turn about the vertical."""

    def change(settings: Any, s: Any) -> Any:
        yaw = 1e-3 * np.arctan2(settings.torso[:, 1, 0], settings.torso[:, 0, 0])
        tops = np.array([about((0, 0, 1), angle) for angle in yaw])
        upper = s.upper_arm.copy()
        upper[:, :3, :3] = tops @ upper[:, :3, :3]
        return replace(s, upper_arm=upper)

    return change


def sinks(of: Any) -> Change:
    """A shoulder that goes down as the arm goes up."""

    def change(settings: Any, s: Any) -> Any:
        back = np.swapaxes(turn(s.clavicle), -1, -2) @ turn(s.fk_clavicle)
        clavicle = s.clavicle.copy()
        clavicle[:, :3, :3] = clavicle[:, :3, :3] @ back @ back
        return replace(s, clavicle=clavicle)

    return change


def whirls(of: Any) -> Change:
    """An elbow that goes 0.1 L to and fro as the hand moves a step: 40 times as far at the most."""

    def change(settings: Any, s: Any) -> Any:
        wobble = 0.1 * of.size * np.sin(np.pi * settings.hand_hold[:, :1, 3] / (elbow_speed.STEP * of.size))
        return replace(s, elbow=moved(s.elbow, wobble * np.array([1.0, 0.0, 0.0])))

    return change


def flips(of: Any) -> Change:
    """An arm whose hand end turns over where the aim passes a plane."""

    def change(settings: Any, s: Any) -> Any:
        over = settings.aim[:, 0] > of.settings.aim[:, 0].mean()
        hand = s.hand.copy()
        hand[over, :3, :3] = hand[over, :3, :3] @ about((0, 1, 0), 0.2)
        return replace(s, hand=hand)

    return change


@pytest.mark.parametrize(
    ("name", "defect", "least", "most"),
    [
        ("held-elbow-slide", elbow_off, OFF, OFF),
        ("held-elbow-short", elbow_off, OFF, OFF),
        ("held-elbow-missing", elbow_off, 10.0 * OFF, 2.0),
        ("swung-wrist-slide", elbow_off, OFF, OFF),
        ("swung-wrist-slide", wrist_off, OFF, OFF),
        ("swung-hand-drift", hand_turned, SLIP, SLIP),
        ("held-wrist-slide", wrist_off, OFF, OFF),
        ("held-wrist-short", wrist_off, OFF, OFF),
        ("held-wrist-missing", wrist_off, 10.0 * OFF, 4.0),
        ("held-hand-drift", hand_turned, SLIP, SLIP),
        ("pivot-slide", hand_off, OFF, OFF),
        ("pivot-slide", rolls_over_the_wrist, 0.2, 0.7),
        ("pivot-slide", stiff_fingers, 0.1, 0.4),
        ("pivot-short", hand_off, OFF, OFF),
        ("pivot-short", rolls_over_the_wrist, 0.2, 0.7),
        ("pivot-missing", hand_off, 10.0 * OFF, 4.0),
        ("finger-turn", fingers_turned, SLIP, SLIP),
        ("finger-turn", stiff_fingers, 90.0, 90.0),
        ("knuckle-gap", fingers_off, OFF, OFF),
        ("elbow-gap", elbow_off, 0.99 * OFF, OFF),
        ("wrist-gap", wrist_off, 0.99 * OFF, OFF),
        ("upper-length", elbow_off, OFF, 2.0 * OFF),
        ("forearm-length", wrist_off, OFF, 2.4 * OFF),
        ("upper-volume", fat_skin, FATTER, LONGEST * FATTER),
        ("forearm-volume", fat_skin, FATTER, LONGEST * FATTER),
        ("skin-gap", short_skin, 0.5e-3, LONGEST * 0.6e-3),
        ("swing-error", hand_turned, SLIP, SLIP),
        ("isolate-error", upper_turned, SLIP, SLIP),
        ("isolate-drift", drags_along, 0.03, 0.2),
        ("shoulder-travel", shoulder_off, OFF, OFF),
        ("lift-error", lifted(1.0), 1.0, 1.0),
        ("lift-step", sinks, 0.1, 0.4),
        ("lift-range", lifted(40.0), 45.0, 65.0),
        ("elbow-speed", whirls, 35.0, 55.0),
        ("jump", flips, 0.2 * jump.ASIDE * 0.9 / jump.LAST, 0.2 * jump.ASIDE * 1.1 / jump.LAST),
    ],
)
def test_a_planted_defect_shows_with_its_size(name: str, defect: Any, least: float, most: float) -> None:
    measure, sound = measure_named(name), look(POSES)
    values, looked, _ = read(measure, shown_by(sound, defect(sound)))
    assert looked > 0
    assert least * (1.0 - 1e-3) <= values.max() <= most * (1.0 + 1e-3), values.max()
    if measure.limit is not None:
        assert values.max() > measure.limit


def test_every_measure_has_a_planted_defect() -> None:
    marks = test_a_planted_defect_shows_with_its_size.pytestmark
    assert {row[0] for row in marks[0].args[1]} == {measure.name for measure in MEASURES}


def test_a_pose_without_a_number_is_the_worst_of_all() -> None:
    sound = look(POSES)

    def lost(settings: Any, s: Any) -> Any:
        wrist = s.wrist.copy()
        wrist[17, :3, 3] = np.nan
        return replace(s, wrist=wrist)

    values, looked, _ = read(measure_named("wrist-gap"), shown_by(sound, lost))
    assert looked == POSES
    assert values[17] == np.inf and (np.delete(values, 17) < 1e-12).all()


def test_a_way_that_leads_through_a_singular_set_is_no_jump() -> None:
    # The aim swings from one side of the line to the hand to the other: both ends are clear, the middle is not.
    few = take(look(POSES).flat, look(POSES).settings.ik == 1.0)
    few = take(few, np.flatnonzero(~near(look(POSES).geometry, few).any)[:20])
    geometry = look(POSES).geometry
    shoulder = at(look(POSES).show(few).upper_arm)
    line = at(few.hand_hold) - shoulder
    side = np.cross(line, few.aim - shoulder)
    across = [
        replace(few, aim=shoulder + line + sign * np.cross(side, line) / np.linalg.norm(side)) for sign in (1, -1)
    ]
    sound = look(POSES)
    through = type(sound)(geometry, across[0], across[1], sound.show(across[0]), sound.show)
    clear = ~(near(geometry, across[0]).any | near(geometry, across[1]).any)
    values = jump._jump(through)
    assert clear.sum() >= 3
    assert (values[clear & (few.elbow == 0.0)] == -np.inf).any()
    assert (values[clear] <= jump.JUMP / jump.LAST).all()


@pytest.mark.parametrize("name", ["aim", "hold", "hand", "halfway", "straight"])
def test_each_singular_set_is_seen_where_it_is(name: str) -> None:
    sound = look(POSES)
    clear = np.flatnonzero(~sound.near.any & (sound.settings.ik == 1.0) & (sound.settings.soft == 0.0))[:50]
    s = take(sound.flat, clear)
    shoulder = at(sound.show(s).upper_arm)
    whole = sound.geometry.upper_length * s.upper_length + sound.geometry.forearm_length * s.forearm_length
    line = (at(s.hand_hold) - shoulder) / np.linalg.norm(at(s.hand_hold) - shoulder, axis=1, keepdims=True)
    ones = np.ones(len(clear))

    def held(at_point: np.ndarray) -> np.ndarray:
        out = s.elbow_hold.copy()
        out[:, :3, 3] = at_point
        return out

    def hand(at_point: np.ndarray) -> np.ndarray:
        out = s.hand_hold.copy()
        out[:, :3, 3] = at_point
        return out

    opposite = s.elbow_hold.copy()
    opposite[:, :3, :3] = turn(sound.show(replace(s, ik=0.0 * ones, elbow=0.0 * ones)).upper_arm) @ about(
        (0, 1, 0), 3.1
    )
    moved_there = {
        "aim": replace(s, aim=shoulder + 1.3 * (at(s.hand_hold) - shoulder), lift=0.0 * ones),
        "hold": replace(s, elbow=ones, elbow_hold=held(shoulder), lift=0.0 * ones),
        "hand": replace(s, elbow=ones, hand_hold=hand(at(s.elbow_hold)), lift=0.0 * ones),
        "halfway": replace(s, elbow=0.5 * ones, elbow_hold=opposite),
        "straight": replace(s, hand_hold=hand(shoulder + line * whole[:, None]), lift=0.0 * ones),
    }[name]
    assert not getattr(near(sound.geometry, s), name).any()
    assert getattr(near(sound.geometry, moved_there), name).mean() > 0.6


def test_between_two_settings_lie_both_ends_and_rigid_frames() -> None:
    sound = look(POSES)
    for share, end in ((0.0, sound.settings), (1.0, sound.beside)):
        found = between(sound.settings, sound.beside, np.full(POSES, share))
        for item in fields(found):
            np.testing.assert_allclose(getattr(found, item.name), getattr(end, item.name), rtol=0.0, atol=1e-12)
    middle = between(sound.settings, sound.beside, np.full(POSES, 0.5)).hand_hold[:, :3, :3]
    np.testing.assert_allclose(np.swapaxes(middle, 1, 2) @ middle, np.broadcast_to(np.eye(3), middle.shape), atol=1e-12)
