"""A person's arm: proportions, ranges of motion and the shoulder's rhythm against published figures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from arm_cases import arm, assert_close, mirrored_arm

from armwright.core import anatomy
from armwright.core.frames import ORDERS, arm_frames
from armwright.core.rotations import angle_between, axis_matrix, matrix_to_euler
from armwright.core.solve.arm import solve
from armwright.core.solve.rest import rest_settings
from armwright.core.solve.settings import ArmGeometry, ArmSettings
from armwright.core.stature import guide_from_stature

WINTER = "Winter, Biomechanics and Motor Control of Human Movement, fig. 4.1, after Drillis & Contini 1966"
AAOS = "AAOS, in Norkin & White, Measurement of Joint Motion, table A.1"
HOLZBAUR = "Holzbaur et al. 2005, as packaged in myo-sim: rise of the shoulder centre over humerus length"
INMAN = "Inman, Saunders & Abbott 1944: 2:1 after the first 30 degrees"
RETTIG = "Rettig et al. 2015: 32 degrees of shoulder elevation"

# The model's shoulder centre, over humerus length, at an elevation in degrees (HOLZBAUR).
RISE = ((30.0, 0.024), (60.0, 0.054), (90.0, 0.087), (120.0, 0.124), (150.0, 0.162), (180.0, 0.200))
BAND = (0.5, 2.0)
CEILING = 32.0
STATURE = 1.75


@pytest.mark.parametrize(
    ("part", "share", "source"),
    [
        ("upper arm", 0.186, WINTER),
        ("forearm", 0.146, WINTER),
        ("hand", 0.108, WINTER),
        ("shoulder half-breadth", 0.129, WINTER),
        ("shoulder height", 0.818, WINTER),
    ],
)
@pytest.mark.parametrize("height", [1.2, 1.75, 2.1])
def test_an_arm_from_stature_has_the_published_proportions(part: str, share: float, source: str, height: float) -> None:
    guide = guide_from_stature(height, "Wren")
    for side in guide.arms:
        frames = arm_frames(side, guide.up)
        measured = {
            "upper arm": frames.upper_length,
            "forearm": frames.forearm_length,
            "hand": frames.hand_length,
            "shoulder half-breadth": abs(frames.upper_arm[0, 3]),
            "shoulder height": frames.upper_arm[2, 3],
        }
        assert measured[part] / height == pytest.approx(share, abs=1e-12), source


# Joint, movement, published degrees; which bone's channel makes it, with what sign on a left arm.
MOVEMENTS = [
    ("shoulder", "flexion", 180.0, "upper_arm", "X", 1),
    ("shoulder", "extension", 60.0, "upper_arm", "X", -1),
    ("shoulder", "abduction", 180.0, "upper_arm", "Z", 1),
    ("shoulder", "medial rotation", 70.0, "upper_arm", "Y", 1),
    ("shoulder", "lateral rotation", 90.0, "upper_arm", "Y", -1),
    ("elbow", "flexion", 150.0, "forearm", "X", 1),
    ("forearm", "pronation", 80.0, "forearm", "Y", 1),
    ("forearm", "supination", 80.0, "forearm", "Y", -1),
    ("wrist", "flexion", 80.0, "hand", "X", 1),
    ("wrist", "extension", 70.0, "hand", "X", -1),
    ("wrist", "radial deviation", 20.0, "hand", "Z", 1),
    ("wrist", "ulnar deviation", 30.0, "hand", "Z", -1),
]
BONES = ("clavicle", "upper_arm", "forearm", "hand")
ABOVE = {"upper_arm": "clavicle", "forearm": "upper_arm", "hand": "forearm"}


def person() -> ArmGeometry:
    """A hanging left arm of a person of STATURE by fig. 4.1, the clavicle level; palm to the side of the body."""
    shoulder = np.array([0.129, 0.0, 0.818]) * STATURE
    clavicle = np.array([0.015, -0.012, 0.818]) * STATURE
    lengths = (0.186 * STATURE, 0.146 * STATURE, 0.108 * STATURE)
    return arm(90.0, bend=8.0, clavicle=clavicle, shoulder=shoulder, lengths=lengths)


def turned(geometry: ArmGeometry, bone: str, axis: str, degrees: np.ndarray) -> ArmSettings:
    channels = np.zeros((len(degrees), 3))
    channels[:, "XYZ".index(axis)] = np.radians(degrees)
    return replace(rest_settings(geometry, len(degrees)), **{bone: channels})


@pytest.mark.parametrize(("joint", "movement", "degrees", "bone", "axis", "sign"), MOVEMENTS)
def test_a_published_range_is_one_channel_s_turn_of_that_size(
    joint: str, movement: str, degrees: float, bone: str, axis: str, sign: int
) -> None:
    geometry = person()
    pose = solve(geometry, turned(geometry, bone, axis, np.array([sign * degrees])))
    parent = getattr(pose, ABOVE[bone])[0] @ getattr(geometry, ABOVE[bone])[:3, :3].T
    measured = angle_between(parent @ getattr(geometry, bone)[:3, :3], getattr(pose, bone)[0])
    assert np.degrees(measured) == pytest.approx(degrees, abs=1e-9), AAOS


# What a left arm's positive channel does, hanging, palm to the body: the axis of which bone goes where.
SIDES = [
    ("upper_arm", "X", "upper_arm", "Y", [0, -1, 0], "flexion raises the arm forwards"),
    ("upper_arm", "Z", "upper_arm", "Y", [1, 0, 0], "abduction raises the arm sideways"),
    ("upper_arm", "Y", "forearm", "Y", [-1, 0, 0], "medial rotation brings a bent forearm to the body"),
    ("forearm", "X", "forearm", "Y", [0, -1, 0], "elbow flexion brings the forearm forwards"),
    ("forearm", "Y", "hand", "Z", [0, 1, 0], "pronation turns the palm from the body backwards"),
    ("hand", "X", "hand", "Y", [-1, 0, 0], "wrist flexion closes the hand towards the palm"),
    ("hand", "Z", "hand", "Y", [0, -1, 0], "radial deviation brings the hand to the thumb's side, forwards"),
]


@pytest.mark.parametrize(("bone", "axis", "watched", "watched_axis", "goes", "movement"), SIDES)
@pytest.mark.parametrize("side", ["L", "R"])
def test_a_positive_channel_makes_the_movement_that_its_range_is_named_after(
    bone: str, axis: str, watched: str, watched_axis: str, goes: list[int], movement: str, side: str
) -> None:
    left = side == "L"
    geometry = person() if left else mirrored_arm(person())
    degrees = 30.0 if left or axis == "X" else -30.0
    pose = solve(geometry, turned(geometry, bone, axis, np.array([0.0, degrees])))
    went = np.diff(getattr(pose, watched)[:, :, "XYZ".index(watched_axis)], axis=0)[0]
    assert went @ (np.array(goes) * [1 if left else -1, 1, 1]) > 0.05, f"{movement}; {AAOS}"


@pytest.mark.parametrize(
    ("joint", "movement", "degrees"), [(joint, movement, degrees) for joint, movement, degrees, *_ in MOVEMENTS]
)
def test_the_product_s_ranges_are_the_published_ones(joint: str, movement: str, degrees: float) -> None:
    known = {(item.joint, item.towards): item.degrees for item in anatomy.RANGES}
    known |= {(item.joint, item.back): item.back_degrees for item in anatomy.RANGES}
    assert known[joint, movement] == degrees, AAOS


@pytest.mark.parametrize(
    ("bone", "order", "sequences", "limit", "source"),
    [
        ("forearm", ORDERS[2], ["XY"], 1e-9, "Wu et al. 2005 (ISB), J Biomech 38:981: flexion first, pronation last"),
        ("hand", ORDERS[3], ["XZ", "ZX"], 30.0, "the largest deviation, whichever of the two comes first; " + AAOS),
    ],
)
def test_anatomical_postures_of_forearm_and_hand_keep_the_middle_angle_from_a_quarter_turn(
    bone: str, order: str, sequences: list[str], limit: float, source: str
) -> None:
    """What an Euler order is chosen for: the movements mixed, over the whole of their ranges."""
    reach = {axis: np.zeros(2) for axis in "XYZ"}
    for _, _, degrees, where, axis, sign in MOVEMENTS:
        if where == bone:
            reach[axis][(sign + 1) // 2] = np.radians(sign * degrees)
    grid = {axis: np.linspace(*reach[axis], 41) for axis in "XYZ"}
    for one, two in sequences:
        posture = axis_matrix(one, grid[one])[:, None] @ axis_matrix(two, grid[two])[None]
        middle = np.degrees(np.abs(matrix_to_euler(posture, order)[..., "XYZ".index(order[1])]))
        assert middle.max() < limit + 1e-9, source


def lifted(axis: str, degrees: np.ndarray, side: str = "L") -> tuple[np.ndarray, np.ndarray]:
    """Rise of the shoulder over humerus length, and the clavicle's turn in degrees, the arm raised from hanging."""
    geometry = person() if side == "L" else mirrored_arm(person())
    mirror = -1.0 if side == "R" and axis == "Z" else 1.0
    settings = replace(turned(geometry, "upper_arm", axis, mirror * degrees), lift=np.ones(len(degrees)))
    pose = solve(geometry, settings)
    assert_close(np.degrees(pose.elevation), degrees, atol=1e-6)
    return (pose.shoulder[:, 2] - geometry.upper_arm[2, 3]) / geometry.upper_length, np.degrees(pose.lift)


@pytest.mark.parametrize("axis", ["Z", "X"], ids=["abduction", "flexion"])
@pytest.mark.parametrize("side", ["L", "R"])
@pytest.mark.parametrize(("degrees", "published"), RISE)
def test_the_shoulder_rises_as_the_published_model_s(axis: str, side: str, degrees: float, published: float) -> None:
    rise = lifted(axis, np.array([degrees]), side)[0][0]
    print(f"elevation {degrees:g}: rise {rise:.4f}, published {published:.3f}, ratio {rise / published:.2f}")
    assert BAND[0] * published < rise < BAND[1] * published, HOLZBAUR


@pytest.mark.parametrize("axis", ["Z", "X"], ids=["abduction", "flexion"])
@pytest.mark.parametrize("side", ["L", "R"])
def test_the_shoulder_rises_steadily_and_the_clavicle_stays_under_its_ceiling(axis: str, side: str) -> None:
    rise, turn = lifted(axis, np.linspace(0.0, 180.0, 181), side)
    assert rise[0] == pytest.approx(0.0, abs=1e-12)
    assert np.all(np.diff(rise) > 0.0), HOLZBAUR
    assert np.all(turn >= -1e-9)
    assert turn.max() < CEILING, RETTIG


def test_beyond_60_degrees_the_scapula_makes_a_third_of_every_degree() -> None:
    _, turn = lifted("Z", np.array([60.0, 90.0, 180.0]))
    # The clavicle carries the share of the scapula's turn that the options say; 2:1 leaves the scapula one third.
    share = person().options.lift_share
    assert_close(np.diff(turn) / share, [10.0, 30.0], atol=1e-6, err_msg=INMAN)
