"""Figures of a study: hand-made motions at known angles give them back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made_motions import FORE, HAND, LENGTH, SHOULDER, UPPER, arm_to, shoulder_of, torso_motion

from armwright.core.anatomy import RANGES
from armwright.core.frames import ORDERS as RIG_ORDERS
from armwright.core.proof.lift import BAND, CEILING, ELEVATIONS, RISES
from armwright.core.proof.order_margin import ORDERS
from armwright.core.rotations import axis_matrix, euler_to_matrix
from armwright.core.study.joints import bone_frames, joint_angles, t_pose
from armwright.core.study.measures import ArmStudy, arm_study, torso_study
from armwright.core.study.motion import ArmMotion, StudyMotion
from armwright.core.study.orders import joint_orders
from armwright.core.study.study import study

FRAMES = 401
RATE = 60.0
# The left arm in anatomical position but with its thumb forward: hanging, palm towards the body, elbow bending forward.
HANGING = np.stack([[-1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, -1.0, 0.0]], axis=1)
PALM_IN = np.stack([[0.0, 1.0, 0.0], [0.0, 0.0, -1.0], [-1.0, 0.0, 0.0]], axis=1)


def posed(
    side: float = 1.0,
    flexion: np.ndarray | float = 0.0,
    abduction: np.ndarray | float = 0.0,
    lateral: np.ndarray | float = 0.0,
    elbow: np.ndarray | float = 0.0,
    pronation: np.ndarray | float = 0.0,
    bend: np.ndarray | float = 0.0,
    radial: np.ndarray | float = 0.0,
    orientations: bool = True,
) -> StudyMotion:
    """One arm at these angles, degrees, (FRAMES,) or fixed, on a torso that sways: each joint turned by the textbook.

    Turns are about the body's own axes for the left arm; the right arm is its mirror image.
    """
    parts = [np.radians(np.broadcast_to(value, FRAMES)) for value in (flexion, abduction, lateral, elbow)]
    up, out, spin, hinge = parts
    # Forward about left -> right (-X), outwards about front -> back; the arm's own spin is about its Y, hinge its X.
    turn = axis_matrix("X", -up) @ axis_matrix("Y", -out)
    upper = turn @ HANGING @ axis_matrix("Y", -spin)
    fore = upper @ axis_matrix("X", hinge)
    wrist_turn = axis_matrix("Y", np.radians(np.broadcast_to(pronation, FRAMES)))
    wrist_turn = wrist_turn @ axis_matrix("Z", np.radians(np.broadcast_to(radial, FRAMES)))
    wrist_turn = wrist_turn @ axis_matrix("X", np.radians(np.broadcast_to(bend, FRAMES)))
    hand = fore @ (HANGING.T @ PALM_IN) @ wrist_turn
    mirror = np.diag([side, 1.0, 1.0])
    upper, hand = (mirror @ turned @ mirror_columns(side) for turned in (upper, hand))
    shoulder = np.tile(SHOULDER * [side, 1.0, 1.0], (FRAMES, 1))
    elbow_at = shoulder + upper[:, :, 1] * UPPER
    wrist_at = elbow_at + (mirror @ fore[:, :, 1].T).T * FORE
    torso = torso_motion(np.random.default_rng(4), FRAMES, RATE)

    def world(points: np.ndarray) -> np.ndarray:
        return torso[:, :3, 3] + np.einsum("fij,fj->fi", torso[:, :3, :3], points)

    arm = ArmMotion(
        "L" if side > 0.0 else "R",
        world(shoulder),
        world(elbow_at),
        world(wrist_at),
        world(wrist_at + hand[:, :, 1] * HAND),
        torso[:, :3, :3] @ hand if orientations else None,
        torso[:, :3, :3] @ upper if orientations else None,
    )
    return StudyMotion("textbook", RATE, (arm,), torso)


def mirror_columns(side: float) -> np.ndarray:
    """A mirrored frame has its X turned round, so that it stays a rotation with Y and Z mirrored."""
    return np.diag([side, 1.0, 1.0])


def measured(motion: StudyMotion) -> dict[tuple[str, str], float]:
    return {(item.joint, item.direction): item.degrees for item in arm_study(motion, motion.arms[0]).ranges}


def sweep(low: float, high: float) -> np.ndarray:
    """From low to high with rests at both, so that no end is an outlier."""
    return np.concatenate([np.full(20, low), np.linspace(low, high, FRAMES - 40), np.full(20, high)])


# joint, direction, what moves, from, to, what else is set, the figure that has to come back.
KNOWN = [
    ("shoulder", "flexion", {"flexion": sweep(0.0, 165.0)}, 165.0),
    ("shoulder", "extension", {"flexion": sweep(0.0, -55.0)}, 55.0),
    ("shoulder", "abduction", {"abduction": sweep(0.0, 170.0)}, 170.0),
    ("shoulder", "lateral rotation", {"lateral": sweep(0.0, 80.0), "elbow": 90.0}, 80.0),
    ("shoulder", "lateral rotation", {"lateral": sweep(-60.0, 85.0), "elbow": 90.0, "abduction": 90.0}, 85.0),
    ("shoulder", "medial rotation", {"lateral": sweep(0.0, -65.0), "elbow": 90.0}, 65.0),
    ("shoulder", "medial rotation", {"lateral": sweep(0.0, -65.0), "elbow": 90.0, "flexion": 60.0}, 65.0),
    ("elbow", "flexion", {"elbow": sweep(10.0, 140.0)}, 140.0),
    ("forearm", "pronation", {"pronation": sweep(0.0, 75.0), "elbow": 90.0}, 75.0),
    ("forearm", "supination", {"pronation": sweep(0.0, -78.0), "elbow": 90.0, "flexion": 40.0}, 78.0),
    ("wrist", "flexion", {"bend": sweep(0.0, 70.0), "elbow": 60.0, "pronation": 50.0}, 70.0),
    ("wrist", "extension", {"bend": sweep(0.0, -65.0), "elbow": 60.0, "radial": 10.0}, 65.0),
    ("wrist", "radial deviation", {"radial": sweep(0.0, 18.0), "elbow": 60.0, "pronation": -30.0}, 18.0),
    ("wrist", "ulnar deviation", {"radial": sweep(0.0, -28.0), "elbow": 60.0, "bend": 20.0}, 28.0),
]


@pytest.mark.parametrize("side", [1.0, -1.0], ids=["left", "right"])
@pytest.mark.parametrize(("joint", "direction", "angles", "expected"), KNOWN)
def test_a_known_angle_comes_back_to_a_tenth_of_a_degree(
    joint: str, direction: str, angles: dict[str, float], expected: float, side: float
) -> None:
    assert measured(posed(side, **angles))[(joint, direction)] == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize("side", [1.0, -1.0], ids=["left", "right"])
def test_positions_alone_give_what_they_can_tell(side: float) -> None:
    found = measured(posed(side, lateral=sweep(0.0, 70.0), elbow=80.0, abduction=45.0, orientations=False))
    assert found[("shoulder", "lateral rotation")] == pytest.approx(70.0, abs=0.1)
    assert found[("elbow", "flexion")] == pytest.approx(80.0, abs=0.1)
    assert not any(joint in ("wrist", "forearm") for joint, _ in found)


@pytest.mark.parametrize(
    ("joint", "direction", "angles"),
    [
        ("shoulder", "medial rotation", {"lateral": sweep(0.0, -80.0), "elbow": 90.0}),
        ("shoulder", "extension", {"flexion": sweep(0.0, -70.0)}),
        ("elbow", "flexion", {"elbow": sweep(20.0, 160.0)}),
        ("elbow", "extension", {"elbow": sweep(20.0, -8.0)}),
        ("forearm", "pronation", {"pronation": sweep(0.0, 95.0), "elbow": 90.0}),
        ("wrist", "flexion", {"bend": sweep(0.0, 88.0), "elbow": 60.0}),
        ("wrist", "extension", {"bend": sweep(0.0, -80.0), "elbow": 60.0}),
        ("wrist", "radial deviation", {"radial": sweep(0.0, 30.0), "elbow": 60.0}),
        ("wrist", "ulnar deviation", {"radial": sweep(0.0, -38.0), "elbow": 60.0}),
    ],
)
def test_what_goes_beyond_the_handbook_is_flagged_and_nothing_else(
    joint: str, direction: str, angles: dict[str, float]
) -> None:
    motion = posed(**angles)
    flagged = arm_study(motion, motion.arms[0]).beyond
    assert [(item.joint, item.direction) for item in flagged] == [(joint, direction)]
    limits = {(item.joint, item.towards): item.degrees for item in RANGES}
    limits |= {(item.joint, item.back): item.back_degrees for item in RANGES}
    assert flagged[0].limit == limits[(joint, direction)]


def test_the_rig_s_orders_keep_the_middle_channel_that_the_channels_say() -> None:
    rng = np.random.default_rng(11)
    channels = rng.uniform(-0.6, 0.6, (FRAMES, 4, 3))
    for side in (1.0, -1.0):
        rest = t_pose(side)
        frames, carrier, before = [], np.eye(3), np.eye(3)
        for joint in range(4):
            turn = euler_to_matrix(channels[:, joint], RIG_ORDERS[joint])
            carrier = carrier @ (before.T @ rest[joint]) @ turn
            frames.append(carrier)
            before = rest[joint]
        clavicle, upper, fore, hand = frames
        bones = bone_frames(posed(side), posed(side).arms[0])
        made = replace(bones, upper=upper, fore=fore, hand=hand, clavicle=clavicle)
        for found in joint_orders(made, side > 0.0):
            if found.rest != "T-pose":
                continue
            joint = ("clavicle", "upper arm", "forearm", "hand").index(found.joint)
            middle = np.degrees(np.abs(channels[:, joint, "XYZ".index(RIG_ORDERS[joint][1])]))
            assert found.order == RIG_ORDERS[joint]
            assert found.margin == pytest.approx(90.0 - middle.max(), abs=1e-6)
            assert found.frame == int(np.argmax(middle))
            assert dict(found.margins)[found.best] == found.best_margin
            assert {order for order, _ in found.margins} == set(ORDERS)


def test_an_arm_that_swings_through_the_rigs_pole_gets_another_order() -> None:
    motion = posed(flexion=sweep(-20.0, 120.0), elbow=40.0, lateral=sweep(-85.0, 88.0))
    found = [item for item in arm_study(motion, motion.arms[0]).orders if item.joint == "upper arm"]
    assert {item.rest for item in found} == {"T-pose", "A-pose"}
    for item in found:
        assert item.best_margin == max(margin for _, margin in item.margins) or item.best == item.order


def raised(girdle_of: np.ndarray, elevation: np.ndarray, rise: np.ndarray) -> ArmStudy:
    """An arm raised to the side; its shoulder rises by `rise` upper arms, or on a clavicle turned by `girdle_of`."""
    count = len(elevation)
    torso = torso_motion(np.random.default_rng(2), count, RATE)
    inner = np.array([0.02, 0.0, 0.25])
    out = np.stack([np.cos(girdle_of), np.zeros(count), np.sin(girdle_of)], axis=1)
    shoulder = inner + out * 0.17
    if rise.any():
        shoulder = np.tile([0.19, 0.0, 0.25], (count, 1)) + rise[:, None] * [0.0, 0.0, UPPER]
    along = np.stack([np.sin(elevation), np.zeros(count), -np.cos(elevation)], axis=1)

    def world(points: np.ndarray) -> np.ndarray:
        return torso[:, :3, 3] + np.einsum("fij,fj->fi", torso[:, :3, :3], points)

    arm = ArmMotion(
        "L",
        world(shoulder),
        world(shoulder + along * UPPER),
        world(shoulder + along * LENGTH),
        clavicle=world(np.tile(inner, (count, 1))),
    )
    motion = StudyMotion("weather", RATE, (arm,), torso)
    return arm_study(motion, arm)


def test_a_girdle_that_follows_inmans_rhythm_gives_two_to_one_back() -> None:
    elevation = np.radians(np.linspace(2.0, 170.0, 600))
    girdle = np.maximum(elevation - np.radians(30.0), 0.0) / 3.0
    found = raised(girdle, elevation, np.zeros(600))
    assert found.ratio == pytest.approx(2.0, abs=0.01)
    assert found.girdle is not None and found.girdle.most - found.girdle.least == pytest.approx(140.0 / 3.0, abs=0.5)
    braman = raised(np.maximum(elevation - np.radians(30.0), 0.0) / 3.3, elevation, np.zeros(600))
    assert braman.ratio == pytest.approx(2.3, abs=0.01)
    still = raised(np.zeros(600), elevation, np.zeros(600))
    assert still.ratio is None
    assert CEILING == 32.0


def test_the_published_rise_comes_back_within_its_band_at_every_elevation() -> None:
    elevation = np.linspace(0.5, 180.0, 3000)
    published = np.interp(elevation, [0.0, *ELEVATIONS], [0.0, *RISES])
    found = raised(np.zeros(3000), np.radians(elevation), published)
    assert [row[0] for row in found.rhythm] == list(ELEVATIONS)
    for angle, rise, expected in found.rhythm:
        # Of the last only the frames below it are near: their median is at 177.5 degrees.
        assert rise == pytest.approx(expected, abs=0.004), angle
        assert expected == pytest.approx(
            np.interp(angle, ELEVATIONS, RISES) - np.interp(9.2, [0.0, 30.0], [0.0, 0.024]), abs=1e-3
        )
        assert 1.0 / BAND <= rise / expected <= BAND


def test_reach_stretch_and_the_elbow_s_distance_to_straight() -> None:
    count = 400
    torso = torso_motion(np.random.default_rng(3), count, RATE, 0.0)
    shoulder = shoulder_of(torso, 1.0)
    reach = np.linspace(0.3, 0.98, count)
    arm = arm_to("L", shoulder, shoulder + np.array([0.0, -1.0, 0.0]) * (reach * LENGTH)[:, None])
    found = arm_study(StudyMotion("rope", RATE, (arm,), torso), arm)
    assert found.length == pytest.approx(LENGTH)
    assert (found.reach.least, found.reach.most) == pytest.approx(tuple(np.quantile(reach, [0.005, 0.995])), abs=1e-6)
    assert found.stretch == 0.0 and found.stretched == ()
    far = reach[-1] * LENGTH
    along = (UPPER**2 - FORE**2 + far**2) / (2.0 * far)
    assert found.straight == (pytest.approx(np.sqrt(UPPER**2 - along**2) / LENGTH), count - 1)
    # The same arm, drawn out to 1.2 of its length for 40 frames.
    longer = arm.wrist.copy()
    longer[200:240] = shoulder[200:240] + np.array([0.0, -1.2 * LENGTH, 0.0])
    elbow = arm.elbow.copy()
    elbow[200:240] = shoulder[200:240] + np.array([0.0, -1.2 * UPPER, 0.0])
    drawn = replace(arm, elbow=elbow, wrist=longer)
    found = arm_study(StudyMotion("rope", RATE, (drawn,), torso), drawn)
    assert found.stretch == pytest.approx(0.2, abs=1e-6)
    assert found.stretched == ((200, 239),)


def test_the_torso_s_motion_is_given_back() -> None:
    time = np.arange(1200) / RATE
    angles = np.radians(np.stack([25.0 * np.sin(2.0 * time), 10.0 * np.sin(3.1 * time), 0.0 * time], axis=1))
    motion = posed()
    torso = np.tile(np.eye(4), (1200, 1, 1))
    torso[:, :3, :3] = euler_to_matrix(angles, "XYZ")
    arm = arm_to("L", shoulder_of(torso, 1.0), shoulder_of(torso, 1.0) + np.array([0.0, -0.4, 0.0]))
    found = torso_study(replace(motion, torso=torso, arms=(arm,)))
    assert (found.tilt.least, found.tilt.most) == pytest.approx((-25.0, 25.0), abs=0.1)
    assert (found.side.least, found.side.most) == pytest.approx((-10.0, 10.0), abs=0.1)
    assert abs(found.twist.most) < 1e-6 and found.travel < 1e-9


@pytest.mark.parametrize("side", [1.0, -1.0], ids=["left", "right"])
def test_an_arm_raised_to_the_side_is_abducted_and_neither_flexed_nor_extended(side: float) -> None:
    found = measured(posed(side, abduction=sweep(20.0, 120.0)))
    assert found["shoulder", "abduction"] == pytest.approx(120.0, abs=0.1)
    assert not {("shoulder", "flexion"), ("shoulder", "extension")} & set(found)


@pytest.mark.parametrize("side", [1.0, -1.0], ids=["left", "right"])
@pytest.mark.parametrize(("rest", "abduction"), [("T-pose", 90.0), ("A-pose", 45.0)])
def test_an_arm_that_stays_in_a_rest_pose_is_a_right_angle_from_gimbal_lock_in_every_order(
    side: float, rest: str, abduction: float
) -> None:
    motion = posed(side, abduction=abduction)
    orders = joint_orders(bone_frames(motion, motion.arms[0]), side > 0.0)
    margins = {item.rest: dict(item.margins) for item in orders if item.joint == "upper arm"}
    assert set(margins) == {"T-pose", "A-pose"}
    assert margins[rest] == {order: pytest.approx(90.0, abs=1e-4) for order in ORDERS}
    other = next(name for name in margins if name != rest)
    assert min(margins[other].values()) == pytest.approx(45.0, abs=1e-4)


def test_a_study_has_the_figures_of_every_arm() -> None:
    motion = posed(elbow=30.0)
    found = study(motion)
    assert [arm.arm for arm in found.arms] == ["L"]
    angles = joint_angles(bone_frames(motion, motion.arms[0]), True)
    assert angles.flexion == pytest.approx(np.full(FRAMES, 30.0))
