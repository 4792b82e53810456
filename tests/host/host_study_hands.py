"""Ranges of wrist and forearm of armatures of other making: what anatomy says they are, or left out with a sentence."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from foreign_hands import FINGERS, FRAMES, SIDES, at_work, t_posed

# Degrees: how far a range may be from what was keyed. The knuckles of a made hand are no straight line.
NEAR = 2.0
OF_HAND = ("forearm", "wrist")
TIMES = np.linspace(0.0, 1.0, FRAMES)


def ranges(armature: Any, **other: Any) -> tuple[dict[str, dict[tuple[str, str], float]], tuple[str, ...]]:
    """The degrees of each arm's ranges of forearm and wrist by joint and direction, and the study's notes."""
    from armwright.addon.study_action import motion_of_action
    from armwright.core.study.study import study

    motion = motion_of_action(armature, **other)
    found = study(motion)
    return {
        arm.arm: {(item.joint, item.direction): item.degrees for item in arm.ranges if item.joint in OF_HAND}
        for arm in found.arms
    }, motion.notes


def swept(least: float, most: float) -> np.ndarray:
    """From `least` to `most` and back to the middle, staying at both ends for longer than outliers last."""
    return least + (most - least) * np.clip(1.5 * TIMES - 0.2, 0.0, 1.0)


STILL = np.zeros(FRAMES)
WORK = {
    "wrist flexes": (STILL, STILL, swept(-35.0, 50.0)),
    "wrist deviates": (STILL, swept(-22.0, 14.0), STILL),
    "forearm turns": (swept(-55.0, 40.0), STILL, STILL),
    "all at once": (swept(-40.0, 60.0), swept(-20.0, 10.0), swept(45.0, -30.0)),
}


def expected(pronation: np.ndarray, radial: np.ndarray, flexion: np.ndarray) -> dict[tuple[str, str], float]:
    return {
        ("forearm", "pronation"): pronation.max(),
        ("forearm", "supination"): -pronation.min(),
        ("wrist", "flexion"): flexion.max(),
        ("wrist", "extension"): -flexion.min(),
        ("wrist", "radial deviation"): radial.max(),
        ("wrist", "ulnar deviation"): -radial.min(),
    }


def check(armature: Any, work: str, **other: Any) -> tuple[str, ...]:
    at_work(armature, *WORK[work])
    found, notes = ranges(armature, **other)
    print(work, {arm: {" ".join(key): round(value, 2) for key, value in own.items()} for arm, own in found.items()})
    for arm in SIDES:
        wanted = expected(*WORK[work])
        assert found[arm].keys() == wanted.keys(), notes
        for key, value in wanted.items():
            assert abs(found[arm][key] - value) < NEAR, (arm, key, value, found[arm][key])
    return notes


@pytest.mark.parametrize("seed", [11, 12, 13])
@pytest.mark.parametrize("work", WORK)
def test_what_wrists_do_is_measured_whatever_the_bones_rolls(empty_file: Any, work: str, seed: int) -> None:
    check(t_posed(seed=seed), work)


def test_names_of_fingers_are_not_needed(empty_file: Any) -> None:
    called = {finger: f"d{number}_" for number, finger in enumerate(FINGERS)}
    check(t_posed(names=called), "all at once")


def test_a_hand_whose_bone_points_elsewhere_is_told_by_its_knuckles(empty_file: Any) -> None:
    check(t_posed(hand_aside=True), "all at once")


@pytest.mark.parametrize("fingers", [("thumb", "index", "middle", "ring"), ("index", "middle", "ring", "little")])
def test_fewer_fingers_tell_as_much(empty_file: Any, fingers: tuple[str, ...]) -> None:
    check(t_posed(fingers=fingers), "all at once")


@pytest.mark.parametrize(
    ("fingers", "straight"),
    [
        ((), False),  # Nothing but the palm's bone, whose roll is anybody's.
        (("index",), True),  # A line.
        (("thumb",), True),  # It may stand out of the palm's plane by any angle.
        (("ring", "middle"), True),  # Too near to each other for a plane.
        (("index", "middle", "ring", "little"), True),  # A plane, and no word about which side of it is the palm.
    ],
)
def test_what_can_not_be_known_is_left_out_with_a_sentence(
    empty_file: Any, fingers: tuple[str, ...], straight: bool
) -> None:
    called = {finger: f"d{number}_" for number, finger in enumerate(FINGERS)}
    armature = t_posed(fingers=fingers, straight=straight, names=called)
    at_work(armature, *WORK["all at once"])
    found, notes = ranges(armature)
    assert found == {arm: {} for arm in SIDES}
    said = [note for note in notes if "forearm and wrist" in note]
    assert len(said) == 1, notes
    print(said[0])
    assert "L" in said[0] and "R" in said[0] and '"palm"' in said[0]


def test_a_card_says_where_the_palm_is(empty_file: Any) -> None:
    from armwright.addon.card_sketch import sketch_of
    from armwright.core.card.draft import draft

    armature = t_posed(fingers=())
    card = draft(sketch_of(armature))
    card = replace(card, arms=tuple(replace(arm, palm=(0.0, 0.0, -1.0)) for arm in card.arms))
    check(armature, "all at once", card=card)


def test_fingers_that_contradict_each_other_tell_nothing(empty_file: Any) -> None:
    from armwright.addon import host

    armature = t_posed()
    with host.mode(armature, "EDIT"):
        # Left and right hand swapped: the thumbs are behind, and the fingers still close downwards.
        for bone in armature.data.edit_bones:
            if any(bone.name.startswith(finger) for finger in FINGERS):
                for end in ("head", "tail"):
                    point = getattr(bone, end).copy()
                    point.y = -point.y
                    setattr(bone, end, point)
    at_work(armature, *WORK["all at once"])
    found, notes = ranges(armature)
    assert found == {arm: {} for arm in SIDES}
    assert any("contradict" in note for note in notes), notes


def test_our_own_rig_is_measured_by_its_guide(wren: Any) -> None:
    """Wren's FK hand, turned about its own rest axes, by docs/arm.md: X is the hinge of the wrist, Z the palm's."""
    bones, flexion = wren.pose.bones, swept(-35.0, 50.0)
    for side in SIDES:
        bones[f"fk.forearm.{side}"].rotation_euler = (np.radians(60.0), 0.0, 0.0)
        for frame in range(1, FRAMES + 1):
            bones[f"fk.hand.{side}"].rotation_euler = (np.radians(flexion[frame - 1]), 0.0, 0.0)
            bones[f"fk.hand.{side}"].keyframe_insert("rotation_euler", frame=frame)
    found, _ = ranges(wren)
    print(found)
    for arm in SIDES:
        assert abs(found[arm]["wrist", "flexion"] - 50.0) < NEAR
        assert abs(found[arm]["wrist", "extension"] - 35.0) < NEAR
        assert abs(found[arm]["forearm", "pronation"]) < NEAR
