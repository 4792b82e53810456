"""Where a hand points and its palm faces, told by the bones of its fingers, whichever way the armature is turned."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from armwright.core.card.model import CardArm
from armwright.core.card.palms import CONTRADICTION, NO_FINGERS, NO_SIDE, hand_rest
from armwright.core.card.sketch import RigSketch, SketchBone
from armwright.core.rotations import quat_to_matrix

SEED = 5521
# A left hand along +X, palm down, thumb to -Y; metres, the forearm 0.26 long. Fingers close towards the palm.
WRIST = np.array([0.7, 0.0, 1.4])
FINGERS = {
    "thumb": [[0.02, -0.02, -0.005], [0.05, -0.045, -0.015], [0.075, -0.06, -0.02]],
    "index": [[0.087, -0.022, 0.0], [0.127, -0.024, -0.004], [0.150, -0.025, -0.012]],
    "middle": [[0.090, 0.0, 0.0], [0.134, 0.0, -0.004], [0.160, 0.0, -0.012]],
    "ring": [[0.085, 0.020, 0.0], [0.124, 0.021, -0.004], [0.148, 0.021, -0.013]],
    "little": [[0.076, 0.038, 0.0], [0.106, 0.040, -0.006], [0.124, 0.041, -0.013]],
}
ALONG, PALM = np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, -1.0])
MIRROR = np.diag([-1.0, 1.0, 1.0])
ARM = CardArm("L", "humerus", "ulna", "palm")


def hand(
    fingers: dict[str, list[list[float]]],
    turn: np.ndarray = MIRROR @ MIRROR,
    metacarpals: bool = False,
    size: float = 1.0,
) -> RigSketch:
    """The armature of a left hand, turned or mirrored by `turn`, `size` units a metre."""

    def bone(name: str, parent: str, head: np.ndarray, tail: np.ndarray) -> SketchBone:
        return SketchBone(name, parent, tuple(size * turn @ head), tuple(size * turn @ tail))

    bones = [
        bone("humerus", "", WRIST - [0.56, 0.0, 0.0], WRIST - [0.26, 0.0, 0.0]),
        bone("ulna", "humerus", WRIST - [0.26, 0.0, 0.0], WRIST),
        bone("palm", "ulna", WRIST, WRIST + np.array([0.08, 0.0, 0.0])),
    ]
    for name, joints in fingers.items():
        points = [WRIST + joint for joint in np.array(joints)]
        if metacarpals and name != "thumb":
            points.insert(0, WRIST + np.array([0.015, 0.3 * joints[0][1], 0.0]))
        above = "palm"
        for number, (head, tail) in enumerate(pairwise(points)):
            bones.append(bone(f"{name}{number}", above, head, tail))
            above = f"{name}{number}"
    return RigSketch("Keeper", tuple(bones))


def off(sketch: RigSketch, arm: CardArm, turn: np.ndarray) -> float:
    """Degrees between what is told and what is so."""
    found = hand_rest(sketch, arm)
    assert found.axes is not None, found.why
    assert np.linalg.det(found.axes) == pytest.approx(1.0)
    cosines = [float(found.axes[:, 1] @ turn @ ALONG), float(found.axes[:, 2] @ turn @ PALM)]
    return float(np.degrees(np.arccos(np.clip(min(cosines), -1.0, 1.0))))


def unnamed(fingers: dict[str, list[list[float]]]) -> dict[str, list[list[float]]]:
    return {f"bone_{letter}_": joints for letter, joints in zip("pqrst", fingers.values(), strict=False)}


@pytest.mark.parametrize("names", [True, False])
@pytest.mark.parametrize("metacarpals", [True, False])
@pytest.mark.parametrize("side", ["L", "R"])
def test_the_palm_is_told_however_the_armature_stands(names: bool, metacarpals: bool, side: str) -> None:
    rng = np.random.default_rng(SEED)
    print("seed", SEED)
    for _ in range(20):
        quat = rng.normal(size=4)
        turn = quat_to_matrix(quat / np.linalg.norm(quat)) @ (np.eye(3) if side == "L" else MIRROR)
        sketch = hand(FINGERS if names else unnamed(FINGERS), turn, metacarpals, float(rng.uniform(0.5, 120.0)))
        assert off(sketch, replace(ARM, arm=side), turn) < 1.5


def test_a_mitten_is_told_by_the_bend_of_its_finger() -> None:
    bent = {"thumb": FINGERS["thumb"], "mitten": [[0.09, 0.0, 0.0], [0.13, 0.0, -0.01], [0.16, 0.0, -0.03]]}
    assert off(hand(bent), ARM, np.eye(3)) < 1.0
    swapped = {**bent, "thumb": [[x, -y, z] for x, y, z in FINGERS["thumb"]]}
    assert hand_rest(hand(swapped), ARM).why == CONTRADICTION
    straight = {"thumb": FINGERS["thumb"], "mitten": [[0.09, 0.0, 0.0], [0.13, 0.0, 0.0], [0.16, 0.0, 0.0]]}
    assert hand_rest(hand(straight), ARM).why == NO_FINGERS
    # Without names one of the two may be a thumb.
    assert hand_rest(hand(unnamed(straight)), ARM).axes is None


def test_a_thing_in_the_hand_is_no_finger() -> None:
    lantern = {"lantern": [[0.06, 0.0, -0.03], [0.08, 0.03, -0.2]]}
    assert off(hand({**FINGERS, **lantern}), ARM, np.eye(3)) < 1.5


def test_a_flat_hand_is_told_by_its_thumb_or_by_names_and_not_at_all_without() -> None:
    flat = {name: [[x, y, joints[0][2]] for x, y, _ in joints] for name, joints in FINGERS.items()}
    fingers = {name: joints for name, joints in flat.items() if name != "thumb"}
    assert off(hand(unnamed(flat)), ARM, np.eye(3)) < 1.5
    assert off(hand(fingers), ARM, np.eye(3)) < 1.5
    assert hand_rest(hand(unnamed(fingers)), ARM).why == NO_SIDE


def test_the_wrong_hand_contradicts_itself() -> None:
    assert hand_rest(hand(FINGERS), replace(ARM, arm="R")).why == CONTRADICTION


def test_a_cards_palm_goes_before_what_the_fingers_tell() -> None:
    said = replace(ARM, palm=(0.0, -1.0, 0.0))
    found = hand_rest(hand(FINGERS), said).axes
    assert found is not None
    assert found[:, 2] @ [0.0, -1.0, 0.0] > 0.999
    assert hand_rest(hand({}), replace(ARM, palm=(1.0, 0.0, 0.0))).axes is None
