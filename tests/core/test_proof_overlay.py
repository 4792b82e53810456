"""What the window draws over a worst pose: world places, screen places, lens and scale bars, as plain shapes."""

from __future__ import annotations

import re

import numpy as np
import pytest

from armwright.core.proof.cases import Case
from armwright.core.proof.overlay import BAR_PIXELS, LENS_RADIUS, Overlay, View, laid_out
from armwright.core.proof.report.lens import LENS_SHARE
from armwright.core.proof.results import FAIL, Check, Trace

SIZE = (1000.0, 800.0)
CHAIN = np.array([[0.0, 0.0, 1.4], [0.2, 0.0, 1.4], [0.2, 0.0, 1.15], [0.2, -0.2, 1.0]])
CHECK = Check(
    "hold-hand/torso-wiggle/isolate=0,lift=0,stretch=0/L/wrist-slide", "hold-hand", "torso-wiggle",
    Case("hand", 0.0, 0.0, 0.0), "L", "wrist-slide", "L", 0.1, 2e-6, FAIL, 113, 240,
)  # fmt: skip


def trace(slide: np.ndarray | None) -> Trace:
    none = np.zeros((0, 3))
    wanted = none if slide is None else CHAIN[None, 3]
    return Trace("id", np.zeros(1), CHAIN, wanted, none if slide is None else wanted + slide)


def camera(distance: float = 4.0, zoom: float = 1.0) -> View:
    """From the front at height 1 in the middle of the arm's plane x = 0.2, looking along +Y; 90 degrees wide."""
    look = np.array([[1.0, 0, 0, -0.2], [0, 0, 1.0, -1.0], [0, -1.0, 0, -distance], [0, 0, 0, 1.0]])
    lens = np.array([[1.0, 0, 0, 0], [0, SIZE[0] / SIZE[1], 0, 0], [0, 0, -1.0, -0.2], [0, 0, -1.0, 0]])
    return View(lens @ look, SIZE, zoom)


def drawn(slide: np.ndarray | None, view: View | None = None, world: np.ndarray | None = None) -> Overlay:
    made = laid_out(CHECK, trace(slide), np.eye(4) if world is None else world, camera() if view is None else view)
    assert made is not None
    return made


def only(made: Overlay, kind: str) -> np.ndarray:
    found = [circle.centre for circle in made.circles if circle.kind == kind]
    assert len(found) == 1, (kind, found)
    return np.array(found[0])


def bars(made: Overlay) -> list[float]:
    """Pixels of each scale bar: its level line."""
    lines = [line.points for line in made.lines if line.kind == "bar" and line.points[0][1] == line.points[1][1]]
    return [points[1][0] - points[0][0] for points in lines]


def lengths(made: Overlay) -> list[float]:
    """What the bars say, metres, largest first."""
    units = {"m": 1.0, "cm": 1e-2, "mm": 1e-3}
    found = [re.fullmatch(r"([\d.]+)(?:\u00d710(\S+))? (m|cm|mm)", label.words) for label in made.labels]
    plain = str.maketrans("\u207b\u2070\u00b9\u00b2\u00b3\u2074\u2075\u2076\u2077\u2078\u2079", "-0123456789")
    return sorted(
        (float(m[1]) * 10.0 ** int((m[2] or "0").translate(plain)) * units[m[3]] for m in found if m), reverse=True
    )


def test_a_slide_that_is_seen_by_itself_lies_where_the_camera_shows_it() -> None:
    made = drawn(np.array([0.2, 0.0, 0.1]))
    # 3.8 from the camera to the wrist at y = -0.2; half of the view is as wide as it is far.
    assert only(made, "wanted") == pytest.approx([500.0, 400.0])
    assert only(made, "found") == pytest.approx([500.0 + 500.0 * 0.2 / 3.8, 400.0 + 500.0 * 0.1 / 3.8])
    assert not [circle for circle in made.circles if circle.kind == "lens"]


def test_points_come_into_the_world_with_the_armatures_turn_scale_and_place() -> None:
    world = np.eye(4)
    world[:3, :3] = 2.0 * np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    world[:3, 3] = (0.1, -0.4, -1.2)
    made = drawn(np.array([0.1, 0.0, 0.1]), world=world)
    # The wrist is at (0.5, 0, 0.8) of the world, 4 from the camera, and slides to (0.5, 0.2, 1.0).
    assert only(made, "wanted") == pytest.approx([500.0 + 500.0 * 0.3 / 4.0, 400.0 - 500.0 * 0.2 / 4.0])
    assert only(made, "found") == pytest.approx([500.0 + 500.0 * 0.3 / 4.2, 400.0])


@pytest.mark.parametrize("size", [1e-3, 1e-6, 1e-7, 3e-9])
@pytest.mark.parametrize("direction", [(0.6, 0.0, -0.8), (-0.8, 0.0, -0.6)])
def test_a_slide_too_small_to_see_goes_its_own_way_in_the_lens_and_the_bar_measures_it(
    size: float, direction: tuple[float, float, float]
) -> None:
    made = drawn(size * np.array(direction))
    middle = only(made, "lens")
    assert only(made, "wanted") == pytest.approx(middle)
    way = only(made, "found") - middle
    # Coordinates near 1 are kept to 2e-16.
    exact = 1e-15 / size + 1e-9
    assert np.hypot(*way) == pytest.approx(LENS_SHARE * LENS_RADIUS, rel=exact)
    assert way / np.hypot(*way) == pytest.approx([direction[0], direction[2]], abs=exact)
    # Bars: the lens's and the view's. Pixels over metres is that of the slide.
    assert min(bars(made)) / lengths(made)[-1] == pytest.approx(np.hypot(*way) / size, rel=exact + 1e-5)


def test_a_way_along_the_line_of_sight_is_a_point_in_the_lens() -> None:
    made = drawn(np.array([0.0, 1e-5, 0.0]))
    assert only(made, "found") == pytest.approx(only(made, "lens"), abs=1e-6)


@pytest.mark.parametrize("distance", [0.5, 1.0, 7.0, 300.0])
def test_the_scale_bar_is_as_long_on_the_screen_as_its_words_are_at_the_wrist(distance: float) -> None:
    made = drawn(None, camera(distance))
    # Half of the view, 500 pixels, is as wide as the wrist is far.
    assert bars(made) == [pytest.approx(500.0 * lengths(made)[0] / (distance - 0.2))]
    assert 0.4 * BAR_PIXELS - 1e-9 <= bars(made)[0] <= BAR_PIXELS
    assert float(f"{lengths(made)[0]:.3e}".split("e")[0]) in (1.0, 2.0, 5.0)


@pytest.mark.parametrize("slide", [None, np.array([1e-6, 0.0, 0.0]), np.array([0.1, 0.0, 0.0])])
def test_nothing_is_drawn_of_an_arm_behind_the_viewer(slide: np.ndarray | None) -> None:
    assert laid_out(CHECK, trace(slide), np.eye(4), camera(-4.0)) is None


def test_a_pose_without_numbers_draws_nothing() -> None:
    lost = Trace("id", np.zeros(1), np.full((4, 3), np.nan), np.zeros((0, 3)), np.zeros((0, 3)))
    assert laid_out(CHECK, lost, np.eye(4), camera()) is None


def test_a_measure_without_a_point_has_neither_ring_nor_lens() -> None:
    assert drawn(None).circles == ()


def test_the_words_name_the_check_its_figure_its_limit_and_its_frame() -> None:
    text = "\n".join(label.words for label in drawn(np.array([0.2, 0.0, 0.1])).labels)
    for part in ("hold-hand", "wrist-slide", "0.1 L", "2e-06 L", "frame 113", "torso-wiggle", "isolate=0,lift=0"):
        assert part in text


def test_on_a_dense_screen_everything_is_larger_alike() -> None:
    one, two = drawn(np.array([1e-6, 0.0, 0.0])), drawn(np.array([1e-6, 0.0, 0.0]), camera(zoom=2.0))
    assert only(two, "found") - only(two, "lens") == pytest.approx(2.0 * (only(one, "found") - only(one, "lens")))
    heights = [sorted({label.place[1] for label in made.labels[:3]}) for made in (one, two)]
    assert np.diff(heights[1]) == pytest.approx(2.0 * np.diff(heights[0]))
