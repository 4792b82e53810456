"""A guide from stature: the handbook's proportions, a plain bend, palms down or inwards, both sides alike."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from armwright.core.errors import GuideError
from armwright.core.frames import arm_frames, flexion
from armwright.core.guide import mirrored
from armwright.core.guide_check import check_guide
from armwright.core.stature import REST_FLEXION, guide_from_stature

WINTER = "Winter, Biomechanics and Motor Control of Human Movement, fig. 4.1, after Drillis & Contini 1966"

_statures = st.floats(0.2, 20.0)
_angles = st.floats(0.0, 0.5 * math.pi)


@pytest.mark.parametrize(
    ("head", "tail", "share", "source"),
    [
        ("shoulder", "elbow", 0.186, WINTER),
        ("elbow", "wrist", 0.146, WINTER),
        ("wrist", "hand_end", 0.108, WINTER),
    ],
)
@pytest.mark.parametrize("height", [0.2, 1.0, 1.75, 20.0])
def test_segments_have_the_handbook_s_lengths(head: str, tail: str, share: float, source: str, height: float) -> None:
    for arm in guide_from_stature(height, "Wren").arms:
        length = math.dist(getattr(arm, head), getattr(arm, tail))
        assert length / height == pytest.approx(share, rel=1e-12), source


def test_shoulders_and_hips_are_where_the_handbook_puts_them() -> None:
    guide = guide_from_stature(2.0, "Wren")
    left, right = guide.arms
    assert left.shoulder == pytest.approx((2.0 * 0.129, 0.0, 2.0 * 0.818)), WINTER
    assert right.shoulder == pytest.approx((-2.0 * 0.129, 0.0, 2.0 * 0.818)), WINTER
    assert guide.torso is not None
    assert guide.torso.chain[0] == pytest.approx((0.0, 0.0, 2.0 * 0.530)), WINTER
    assert guide.torso.head == pytest.approx((0.0, 0.0, 2.0))
    assert guide.torso.root == (0.0, 0.0, 0.0)


@given(_statures, _angles)
def test_every_stature_and_angle_gives_a_guide_without_warnings(height: float, angle: float) -> None:
    guide = guide_from_stature(height, "Wren", angle)
    assert check_guide(guide) == ()
    left, right = guide.arms
    assert (left.side, right.side) == ("L", "R")
    assert mirrored(left) == right
    assert flexion(left) == pytest.approx(REST_FLEXION, rel=1e-9)


@given(_statures, _angles)
def test_the_elbow_points_backwards_and_bends_forwards(height: float, angle: float) -> None:
    for arm in guide_from_stature(height, "Wren", angle).arms:
        shoulder, elbow, wrist = (np.array(point) for point in (arm.shoulder, arm.elbow, arm.wrist))
        assert (elbow - 0.5 * (shoulder + wrist))[1] > 0.0
        assert wrist[1] < elbow[1]


@pytest.mark.parametrize(
    ("degrees", "palm"), [(0.0, (0.0, 0.0, -1.0)), (45.0, (-(0.5**0.5), 0.0, -(0.5**0.5))), (90.0, (-1.0, 0.0, 0.0))]
)
def test_the_left_palm_turns_from_down_to_inwards_as_the_arm_hangs(
    degrees: float, palm: tuple[float, float, float]
) -> None:
    arm = guide_from_stature(1.7, "Wren", math.radians(degrees)).arms[0]
    assert arm.palm == pytest.approx(palm, abs=1e-15)
    assert np.dot(arm.palm, np.subtract(arm.elbow, arm.shoulder)) == pytest.approx(0.0, abs=1e-15)
    # The palm side of the hand's frame is its Z axis (docs/arm.md, "Rest frames").
    assert arm_frames(arm, (0.0, 0.0, 1.0)).hand[:3, 2] @ np.array(palm) > 0.99


def test_the_upper_arm_hangs_by_the_angle_below_horizontal() -> None:
    for degrees in (0.0, 45.0, 90.0):
        arm = guide_from_stature(1.7, "Wren", math.radians(degrees)).arms[0]
        x, y, z = np.subtract(arm.elbow, arm.shoulder)
        assert (math.degrees(math.atan2(-z, x)), y) == pytest.approx((degrees, 0.0), abs=1e-9)


def test_the_torso_s_joints_rise_from_the_hips_to_the_neck() -> None:
    torso = guide_from_stature(1.7, "Wren").torso
    assert torso is not None
    levels = [point[2] for point in (torso.root, *torso.chain, torso.head)]
    assert levels == sorted(set(levels))
    assert len(torso.chain) >= 3


@pytest.mark.parametrize("height", [0.0, -1.7, 0.1999, 20.001, 170.0, math.nan, math.inf, -math.inf])
def test_a_stature_that_is_no_character_s_is_refused(height: float) -> None:
    with pytest.raises(GuideError, match=r"the stature is .* from 0\.2 to 20 metres; check the unit"):
        guide_from_stature(height, "Wren")


@pytest.mark.parametrize("angle", [-0.01, 1.6, math.nan, math.inf])
def test_an_arm_angle_outside_t_pose_and_hanging_is_refused(angle: float) -> None:
    with pytest.raises(GuideError, match="from 0 to 90"):
        guide_from_stature(1.7, "Wren", angle)
