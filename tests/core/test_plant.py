"""The planted hand of the reference solver: which way it rolls, over which point, without a jump; and its match."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from arm_cases import (
    MIRROR,
    PIVOTS,
    arm,
    assert_close,
    mirrored_arm,
    mirrored_settings,
    random_settings,
)

from armwright.core.match.match import match
from armwright.core.match.target import Target
from armwright.core.rotations import angle_between
from armwright.core.solve.arm import solve
from armwright.core.solve.plant import finger_base, goal_in_hold, hand_goal, hold_for
from armwright.core.solve.rest import rest_settings
from armwright.core.solve.settings import ArmGeometry, ArmSettings

SEED = 20240707
ARMS = {"L": arm(), "R": arm(side="R")}
ROUNDING = 1e-15
BEND = np.radians(40.0)


@pytest.fixture(params=ARMS.values(), ids=ARMS.keys())
def geometry(request: pytest.FixtureRequest) -> ArmGeometry:
    return request.param


def planted(geometry: ArmGeometry, bend: float = BEND, **dials: float) -> ArmSettings:
    rest = rest_settings(geometry, 1)
    values = {f"hand_{name}": np.array([value]) for name, value in dials.items()}
    return replace(rest, **values, finger_bend=np.array([bend]))


def hand_in_hold(geometry: ArmGeometry, **dials: float) -> np.ndarray:
    return goal_in_hold(geometry, planted(geometry, **dials))[0]


def fingers_in_hold(geometry: ArmGeometry, settings: ArmSettings) -> np.ndarray:
    """Where the fingers' carrier is, as a frame that is the identity in a hand that lies flat."""
    base = finger_base(geometry, settings, goal_in_hold(geometry, settings))
    base[:, :3, 3] -= (base[:, :3, :3] @ geometry.pivots.knuckles[:, None])[..., 0]
    return base


def on(frame: np.ndarray, point: np.ndarray) -> np.ndarray:
    return frame[..., :3, :3] @ point + frame[..., :3, 3]


# The surface is on the side of +Z, out of the palm: what rises goes to -Z.
@pytest.mark.parametrize(
    ("dials", "stays", "rises"),
    [
        ({"roll": -0.3}, "heel", "fingertips"),
        ({"roll": 0.3}, "knuckles", "heel"),
        ({"roll": BEND + 0.3}, None, "heel"),
        ({"side": 0.3}, "outer_edge", "thumb_edge"),
        ({"side": -0.3}, "thumb_edge", "outer_edge"),
        ({"spin": 0.3}, "palm", None),
    ],
)
def test_each_dial_rolls_the_hand_over_its_own_point_off_the_surface(
    geometry: ArmGeometry, dials: dict[str, float], stays: str | None, rises: str | None
) -> None:
    hand = hand_in_hold(geometry, **dials)
    if stays is not None:
        point = getattr(geometry.pivots, stays)
        assert_close(on(hand, point), point, atol=ROUNDING)
    if rises is not None:
        point = getattr(geometry.pivots, rises)
        assert on(hand, point)[2] < point[2] - 0.01


def test_a_spin_turns_the_fingertips_towards_the_thumbs_side(geometry: ArmGeometry) -> None:
    points = geometry.pivots
    towards = np.sign(points.thumb_edge[0] - points.outer_edge[0])
    turned = on(hand_in_hold(geometry, spin=0.4), points.fingertips)
    assert towards * (turned[0] - points.fingertips[0]) > 0.03
    assert_close(turned[2], points.fingertips[2], atol=ROUNDING)


def test_a_quarter_turn_over_each_point_is_where_a_sheet_of_paper_says(geometry: ArmGeometry) -> None:
    """Reckoned by hand: a turn of 90 degrees about X takes (y, z) to (-z, y), about the point that stays."""
    p, quarter = geometry.pivots, np.pi / 2.0
    over_heel = hand_in_hold(geometry, roll=-quarter)
    assert_close(over_heel[:3, 3], [0.0, p.heel[1] - p.heel[2], p.heel[2] + p.heel[1]], atol=ROUNDING)
    no_fingers = hand_in_hold(geometry, bend=0.0, roll=quarter)
    tips = p.fingertips
    assert_close(no_fingers[:3, 3], [0.0, tips[1] + tips[2], tips[2] - tips[1]], atol=ROUNDING)
    sigma = np.sign(p.thumb_edge[0] - p.outer_edge[0])
    edge = p.outer_edge
    over_edge = hand_in_hold(geometry, side=quarter)
    # About Y, (z, x) goes to (-x, z) for a right hand and to (x, -z) for a left one.
    assert_close(over_edge[:3, 3], [edge[0] - sigma * edge[2], 0.0, edge[2] + sigma * edge[0]], atol=ROUNDING)


def test_the_fingers_stay_where_they_are_while_the_hand_rolls_over_its_knuckles(geometry: ArmGeometry) -> None:
    for roll in np.linspace(0.0, BEND, 9):
        assert_close(fingers_in_hold(geometry, planted(geometry, roll=roll))[0], np.eye(4), atol=ROUNDING)
    tips = geometry.pivots.fingertips
    for roll in np.linspace(BEND, np.pi, 9):
        carrier = fingers_in_hold(geometry, planted(geometry, roll=roll))[0]
        assert_close(on(carrier, tips), tips, atol=ROUNDING)
        assert angle_between(carrier[None, :3, :3], np.eye(3)[None])[0] == pytest.approx(roll - BEND, abs=1e-14)


def test_leaning_and_spun_the_point_rolled_over_still_stays(geometry: ArmGeometry) -> None:
    p = geometry.pivots
    for side in (-0.6, 0.5):
        lean = hand_in_hold(geometry, side=side, spin=0.8)
        for roll, point in ((-1.0, p.heel), (0.5, p.knuckles)):
            hand = hand_in_hold(geometry, side=side, spin=0.8, roll=roll)
            assert_close(on(hand, point), on(lean, point), atol=ROUNDING)
        settings = planted(geometry, side=side, spin=0.8, roll=2.0)
        assert_close(on(fingers_in_hold(geometry, settings)[0], p.fingertips), on(lean, p.fingertips), atol=ROUNDING)


def test_the_hand_is_turned_by_spin_then_side_then_roll(geometry: ArmGeometry) -> None:
    """Against scipy.spatial.transform."""
    Rotation = pytest.importorskip("scipy.spatial.transform").Rotation
    sigma = np.sign(geometry.pivots.thumb_edge[0] - geometry.pivots.outer_edge[0])
    for roll, side, spin in ((2.5, -0.9, 1.7), (-1.1, 0.4, -2.6)):
        wanted = Rotation.from_euler("ZYX", [-sigma * spin, sigma * side, roll]).as_matrix()
        assert_close(hand_in_hold(geometry, roll=roll, side=side, spin=spin)[:3, :3], wanted, atol=ROUNDING)


def test_no_dial_makes_the_hand_jump(geometry: ArmGeometry) -> None:
    """Half as large steps of a dial move the hand half as far, through every hand-over."""
    count = 4001
    still, points = np.zeros(count), [getattr(PIVOTS, item.name) for item in fields(PIVOTS)]
    for dial, low, high in (("hand_roll", -np.pi / 2, np.pi), ("hand_side", -np.pi / 2, np.pi / 2)):
        ramp = np.linspace(low, high, count)
        settings = replace(
            rest_settings(geometry, count),
            **({"hand_roll": still + 0.7, "hand_side": still - 0.3, "hand_spin": still + 0.5} | {dial: ramp}),
            finger_bend=still + BEND,
        )
        goal = goal_in_hold(geometry, settings)
        moved = np.concatenate([np.linalg.norm(np.diff(on(goal, point), axis=0), axis=1) for point in points])
        # No point of the hand is further than 0.25 m from another, by the knuckles.
        assert moved.max() < 0.25 * (ramp[1] - ramp[0])


def test_equal_dials_of_both_hands_are_mirror_images() -> None:
    rng = np.random.default_rng(SEED)
    print("seed", SEED)
    left = ARMS["L"]
    settings = random_settings(rng, left, 200, planted=True)
    right = mirrored_arm(left)
    assert_close(hand_goal(right, mirrored_settings(settings)), MIRROR @ hand_goal(left, settings) @ MIRROR, atol=1e-14)


def test_the_arm_reaches_for_the_goal_and_not_for_the_hold(geometry: ArmGeometry) -> None:
    rng = np.random.default_rng(SEED)
    print("seed", SEED)
    settings = random_settings(rng, geometry, 300, planted=True)
    ones, zeros = np.ones(300), np.zeros(300)
    settings = replace(settings, ik=ones, elbow=zeros)
    flat = replace(settings, hand_hold=hand_goal(geometry, settings), hand_roll=zeros, hand_side=zeros, hand_spin=zeros)
    planted_pose, flat_pose = solve(geometry, settings), solve(geometry, flat)
    for item in fields(planted_pose):
        assert_close(getattr(planted_pose, item.name), getattr(flat_pose, item.name), atol=1e-9)
    assert_close(planted_pose.hand, hand_goal(geometry, settings)[:, :3, :3], atol=1e-14)


def test_a_hold_is_found_for_every_goal(geometry: ArmGeometry) -> None:
    rng = np.random.default_rng(SEED)
    print("seed", SEED)
    settings = random_settings(rng, geometry, 300, planted=True)
    goal = hand_goal(geometry, settings)
    assert_close(hold_for(geometry, settings, goal), settings.hand_hold, atol=1e-14)


@pytest.mark.parametrize("elbow", [0.0, 1.0])
def test_taking_hold_of_a_hand_keeps_its_pose_and_its_dials(geometry: ArmGeometry, elbow: float) -> None:
    rng = np.random.default_rng(SEED)
    print("seed", SEED)
    count = 200
    before = random_settings(rng, geometry, count, planted=True)
    forearm = np.zeros((count, 3))
    forearm[:, 0], forearm[:, 1] = rng.uniform(0.3, 2.0, count), rng.uniform(-1.0, 1.0, count)
    before = replace(
        before,
        forearm=forearm,
        ik=np.zeros(count),
        elbow=np.zeros(count),
        soft=np.zeros(count),
        upper_length=rng.uniform(0.7, 1.4, count),
    )
    assert np.abs(before.hand_roll).max() > 1.0
    matched = match(geometry, before, Target(ik=1.0, elbow=elbow), in_time=False)
    assert matched.exact.all()
    old, new = solve(geometry, before), solve(geometry, matched.settings)
    assert_close(new.wrist, old.wrist, atol=1e-9)
    assert angle_between(new.hand, old.hand).max() < 1e-9
    for name in ("hand_roll", "hand_side", "hand_spin", "finger_bend"):
        assert np.array_equal(getattr(matched.settings, name), getattr(before, name))
    back = match(geometry, matched.settings, Target(ik=0.0, elbow=0.0), in_time=False)
    assert back.exact.all()
