"""Fingers, thumb and pivots read from meshes against the hands that the meshes were made around, errors over L."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
import pytest
from fit_bodies import Made, Shape, moved, skin
from fit_hands import SEED, Hand, fingered, gathered, tube_fingers
from test_fit_family import LARGEST_LIMIT, MEDIAN_LIMIT, degrees_between, errors_of, fit_of

from armwright.core.fit.mesh import Fit, fit_mesh, place_of
from armwright.core.guide import ArmGuide
from armwright.core.guide_check import check_guide

MEMBERS = 16
KINDS = (5, 5, 4, 3, -4, 5, 4, -3)
PALM_LIMIT = 15.0


def member(number: int) -> tuple[str, Hand, Made]:
    """A body by its number: five kinds of hands, spread or lightly closed, skins from fine to gathered, and tubes."""
    rng = np.random.default_rng([SEED, number])
    kind = KINDS[number % len(KINDS)]
    hand = Hand(
        kind=kind,
        fan=rng.uniform(18.0, 34.0),
        curl=rng.choice((0.0, 8.0, 18.0, 28.0)),
        thick=rng.uniform(0.9, 1.1) * (1.0 if abs(kind) == 5 or kind == -4 else 1.25),
        stray=0.06,
        seed=number,
    )
    shape = Shape(
        stature=rng.uniform(1.2, 2.0),
        lowered=rng.choice((0.0, 30.0, 45.0, 60.0)) + rng.uniform(0.0, 4.0),
        flexion=rng.choice((0.0, 20.0, 45.0)),
        roll=rng.uniform(-25.0, 25.0),
    )
    if number % 4 == 3:
        made, way = tube_fingers(shape, hand, sides=int(rng.integers(5, 9))), "tubes"
    else:
        made = fingered(
            shape, hand, fine=float(rng.choice((0.0014, 0.0018))), noise=rng.choice((0.0, 0.0002)), seed=number
        )
        way = "skin"
        if number % 4 == 2:
            made, way = gathered(made, 0.0030 * shape.stature), "gathered"
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    scale = float(rng.choice((0.01, 1.0, 100.0)))
    return f"{way} {kind}", hand, moved(made, scale, turn, scale * rng.normal(size=3))


@dataclass(frozen=True)
class Row:
    """A member of the family and what was read from it."""

    label: str
    hand: Hand
    made: Made
    fit: Fit


@pytest.fixture(scope="module")
def rows() -> list[Row]:
    print(f"seed {SEED}")
    return [Row(*made, fit_of(made[2])) for made in map(member, range(MEMBERS))]


def test_every_finger_is_found_and_named_from_the_thumbs_side(rows: list[Row]) -> None:
    for row in rows:
        for arm in row.fit.guide.arms:
            assert [finger.name for finger in arm.fingers] == list(row.made.arms[arm.side].fingers), row.label
            assert [finger.thumb for finger in arm.fingers] == [finger.name == "thumb" for finger in arm.fingers]


def test_finger_joints_are_within_the_limits_over_the_family(rows: list[Row]) -> None:
    by_kind: dict[str, list[float]] = defaultdict(list)
    for row in rows:
        for arm in row.fit.guide.arms:
            truth = row.made.arms[arm.side]
            for finger in arm.fingers:
                gaps = np.linalg.norm(np.array(finger.joints) - truth.fingers[finger.name], axis=1) / truth.length
                by_kind[row.label] += list(gaps)
                by_kind["thumbs" if finger.thumb else "fingers"] += list(gaps)
    for label, errors in sorted(by_kind.items()):
        print(f"{label:12s} median {100 * np.median(errors):.2f} % L, largest {100 * max(errors):.2f} % L")
    every = np.array(by_kind["thumbs"] + by_kind["fingers"])
    print(f"all {len(every)} joints: median {100 * np.median(every):.2f} % L, largest {100 * every.max():.2f} % L")
    assert np.median(every) <= MEDIAN_LIMIT
    assert every.max() <= LARGEST_LIMIT


def test_the_arms_of_hands_with_fingers_are_within_the_limits_too(rows: list[Row]) -> None:
    # Of two fingers, about as long, either may be the longer one.
    plain = [row for row in rows if row.hand.kind != 3]
    errors = np.array([errors_of(row.made, arm) for row in plain for arm in row.fit.guide.arms])
    print("shoulder, elbow, wrist, hand end: largest", (100 * errors.max(axis=0)).round(2), "% L")
    assert np.median(errors) <= MEDIAN_LIMIT
    assert errors.max() <= LARGEST_LIMIT


def test_fingers_close_towards_the_palm_and_the_palm_is_no_back(rows: list[Row]) -> None:
    angles = []
    for row in rows:
        for arm in row.fit.guide.arms:
            palm = row.made.arms[arm.side].palm
            # Straight fingers without a thumb say nothing about the palm's sign.
            if row.hand.kind > 0 or row.hand.curl > 15.0:
                angles.append(degrees_between(arm.palm, palm))
            for finger in arm.fingers:
                assert np.dot(finger.curl, arm.palm) > 0.0
    print(f"palms: median {np.median(angles):.1f}, largest {max(angles):.1f} degrees")
    assert max(angles) < PALM_LIMIT


def test_the_hand_ends_where_its_middle_finger_does(rows: list[Row]) -> None:
    named = 0
    for row in rows:
        for arm in row.fit.guide.arms:
            middle = [finger for finger in arm.fingers if finger.name == "middle"]
            named += len(middle)
            assert all(finger.joints[-1] == arm.hand_end for finger in middle)
            assert arm.hand_end in [finger.joints[-1] for finger in arm.fingers]
    assert named > 4


def test_every_finger_joint_has_a_confidence_and_says_whether_it_was_guessed(rows: list[Row]) -> None:
    for row in rows:
        for arm in row.fit.guide.arms:
            parts = {reading.part: reading for reading in row.fit.readings if reading.side == arm.side}
            for finger in arm.fingers:
                for number, joint in enumerate(finger.joints):
                    reading = parts[f"{finger.name}.{number + 1}"]
                    assert 0.0 < reading.confidence < 1.0
                    assert place_of(arm, reading.part) == joint
                # A knuckle is inside the hand, a tip can be seen.
                assert parts[f"{finger.name}.1"].guessed and not parts[f"{finger.name}.4"].guessed


def test_most_joints_of_closed_fingers_are_read_where_they_bend_and_all_of_straight_ones_guessed() -> None:
    for curl, least, most in ((0.0, 0, 0), (28.0, 10, 16)):
        fit = fit_of(fingered(Shape(flexion=20.0), Hand(curl=curl), fine=0.0016))
        inner = [r for r in fit.readings if r.part[-2:] in (".2", ".3") and not r.part.startswith("thumb")]
        read = [reading for reading in inner if not reading.guessed]
        assert len(inner) == 16 and least <= len(read) <= most, (curl, len(read))
        assert all(reading.confidence > 0.6 for reading in read)
        assert all(reading.confidence < 0.6 for reading in inner if reading.guessed)


def test_a_guide_with_fingers_can_be_planned_from(rows: list[Row]) -> None:
    planned = 0
    for row in rows:
        if row.made.arms["L"].length > 0.1:
            assert not any("swapped" in warning for warning in check_guide(row.fit.guide))
            planned += 1
    assert planned > MEMBERS // 3


@pytest.mark.parametrize("thumb", [True, False])
def test_a_mitten_has_no_fingers_and_that_is_said(thumb: bool) -> None:
    fit = fit_of(skin(Shape(flexion=20.0, thumb=thumb), 16000))
    for arm, word in zip(fit.guide.arms, ("left", "right"), strict=True):
        assert arm.fingers == ()
        assert any(warning.startswith(f"the {word} hand") and "mitten" in warning for warning in fit.warnings)


def test_a_hand_of_few_polygons_is_said_to_be_too_coarse_for_fingers() -> None:
    shape = Shape(flexion=20.0)
    fit = fit_of(gathered(fingered(shape, Hand(), fine=0.0018), 0.022 * shape.stature))
    for arm in fit.guide.arms:
        assert arm.fingers == ()
    assert sum("too few to tell fingers" in warning for warning in fit.warnings) == 2


def test_fingers_that_touch_are_not_counted_as_one_without_a_word() -> None:
    """The two middle fingers of a hand are joined by a web up to their tips."""
    shape = Shape(flexion=20.0)
    made = fingered(shape, Hand(fan=4.0, thick=1.25), fine=0.0018)
    fit = fit_of(made)
    for side, word in (("L", "left"), ("R", "right")):
        arm = next(item for item in fit.guide.arms if item.side == side)
        told = any(warning.startswith(f"the {word} hand") for warning in fit.warnings)
        assert told or [finger.name for finger in arm.fingers] == list(made.arms[side].fingers)


# ---- the points that it rolls over ----


def in_hand(made: Made, arm: ArmGuide, point: tuple[float, ...]) -> np.ndarray:
    """A point in the hand that was made: to the thumb's side, along, out of the palm; over the hand's length."""
    truth = made.arms[arm.side]
    axes = np.stack([truth.thumb, np.cross(truth.thumb, truth.palm), truth.palm])
    axes[1] = (truth.wrist - truth.elbow) / np.linalg.norm(truth.wrist - truth.elbow)
    return axes @ (np.array(point) - truth.wrist) / np.linalg.norm(truth.hand_end - truth.wrist)


def test_pivots_lie_on_the_palms_skin_where_their_names_say(rows: list[Row]) -> None:
    for row in rows:
        if row.hand.kind < 0 and row.hand.curl <= 15.0:
            continue
        for arm in row.fit.guide.arms:
            truth = row.made.arms[arm.side]
            size = np.linalg.norm(truth.hand_end - truth.wrist)
            assert arm.pivots is not None, row.label
            at = {name: in_hand(row.made, arm, getattr(arm.pivots, name)) for name in vars(arm.pivots)}
            # The wrist itself is read within 0.2 of the hand's length.
            assert -0.2 < at["heel"][1] < at["palm"][1] < at["knuckles"][1] < at["fingertips"][1] < 1.05
            assert at["thumb_edge"][0] > 0.1 > -0.1 > at["outer_edge"][0]
            roots = np.mean([joints[0] for name, joints in truth.fingers.items() if name != "thumb"], axis=0)
            tips = np.mean([joints[-1] for name, joints in truth.fingers.items() if name != "thumb"], axis=0)
            assert np.linalg.norm(np.array(arm.pivots.knuckles) - roots) < LARGEST_LIMIT * truth.length
            under = np.array(arm.pivots.fingertips) - tips
            assert np.linalg.norm(under) < LARGEST_LIMIT * truth.length
            assert -0.01 < under @ truth.palm / size < 0.12
            # Every point but the knuckles has the skin behind it: none is inside the hand by more than a hair.
            skin_depth = depth_of_skin(row.made, arm, at)
            for name, depth in skin_depth.items():
                assert abs(at[name][2] - depth) < 0.06, (row.label, name, at[name], depth)


def depth_of_skin(made: Made, arm: ArmGuide, at: dict[str, np.ndarray]) -> dict[str, float]:
    """How deep the skin reaches around heel and palm, over the hand's length, on the mesh itself."""
    points = np.array([in_hand(made, arm, tuple(point)) for point in hand_points(made, arm)])
    found = {}
    for name in ("heel", "palm"):
        strip = points[np.abs(points[:, 1] - at[name][1]) < 0.07]
        strip = strip[np.abs(strip[:, 0]) < 0.2]
        found[name] = float(strip[:, 2].max())
    return found


def hand_points(made: Made, arm: ArmGuide) -> np.ndarray:
    truth = made.arms[arm.side]
    middle = 0.5 * (truth.wrist + truth.hand_end)
    near = np.linalg.norm(made.vertices - middle, axis=1) < 0.6 * np.linalg.norm(truth.hand_end - truth.wrist)
    return made.vertices[near]


def test_a_mitten_rolls_over_its_own_skin() -> None:
    made = skin(Shape(flexion=20.0, thumb=False), 16000)
    for arm in fit_of(made).guide.arms:
        assert arm.pivots is not None
        at = {name: in_hand(made, arm, getattr(arm.pivots, name)) for name in vars(arm.pivots)}
        # The slab of `fit_bodies`: 0.26 of the hand's length to each side, 0.11 deep, its middle half along.
        assert at["palm"] == pytest.approx([0.0, 0.5, 0.107], abs=0.05)
        assert at["thumb_edge"][0] == pytest.approx(0.24, abs=0.05)
        assert at["outer_edge"][0] == pytest.approx(-0.24, abs=0.05)
        assert at["fingertips"][1] == pytest.approx(1.0, abs=0.08)


def test_a_stub_has_no_pivots_to_read() -> None:
    made = skin(Shape(flexion=20.0, thumb=False), 9000)
    truth = made.arms["L"]
    fore = (truth.wrist - truth.elbow) / np.linalg.norm(truth.wrist - truth.elbow)
    kept = ((np.abs(made.vertices) * [1.0, 0.0, 0.0] + made.vertices * [0.0, 1.0, 1.0] - truth.wrist) @ fore < 0.0)[
        made.faces
    ].all(axis=1)
    fit = fit_mesh(made.vertices, made.faces[kept], "Wren")
    for arm in fit.guide.arms:
        assert arm.fingers == ()
        assert arm.pivots is None
    assert sum("stub" in warning for warning in fit.warnings) == 2
