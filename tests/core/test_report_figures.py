"""The curve and the pose: what they draw is where it should be, whatever the numbers are."""

from __future__ import annotations

import math
import re
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from report_cases import CHAIN, check, failing, trace

from armwright.core.errors import ProofError
from armwright.core.proof.report import plot as curve
from armwright.core.proof.report.figures import figure
from armwright.core.proof.report.plot import key, plot
from armwright.core.proof.results import Check, Trace

LARGEST_PLOT = 20_000  # bytes
# Labels take at least so much of a plot's width and height, user units.
INDENT = 20
NUMBER = r"-?\d+(?:\.\d+)?"


def of_class(svg: str, name: str) -> list[ET.Element]:
    return [element for element in ET.fromstring(svg).iter() if element.get("class") == name]


def line_height(svg: str) -> float:
    (line,) = of_class(svg, "limit")
    return float(re.findall(NUMBER, line.get("d", ""))[1])


def ticks(svg: str) -> dict[str, float]:
    """Heights of the lines of the vertical axis by their labels."""
    root = ET.fromstring(svg)
    (axis,) = (group for group in root.iter("g") if (group.get("class") or "").startswith("axis y"))
    return {
        str(tick.findtext("text")): float(re.findall(NUMBER, tick.find("path").get("d", ""))[1])  # type: ignore[union-attr]
        for tick in axis.findall("g")
    }


def centre(element: ET.Element) -> tuple[float, float]:
    return float(element.get("cx", "")), float(element.get("cy", ""))


def drawn(values: list[float], limit: float, worst: int) -> str:
    item = failing(value=values[worst], limit=limit, worst_frame=worst, samples=len(values))
    return plot(item, replace(trace(item), values=np.array(values)))


def test_the_mark_is_over_its_frame_and_above_the_limit_when_it_fails() -> None:
    svg = drawn([1.0, 2.0, 4.0, 1.0, 1.0], 3.0, 2)
    x, y = centre(of_class(svg, "mark")[0])
    line = [float(number) for number in re.findall(NUMBER, of_class(svg, "limit")[0].get("d", ""))]
    assert x == pytest.approx((line[0] + line[2]) / 2, abs=0.1)
    assert y < line_height(svg)


def test_a_linear_axis_places_values_in_proportion() -> None:
    svg = drawn([1.0, 4.0], 2.0, 1)
    base = ticks(svg)["0"]
    assert base - line_height(svg) == pytest.approx((base - centre(of_class(svg, "mark")[0])[1]) / 2, abs=0.1)
    assert ticks(svg)["2"] == pytest.approx(line_height(svg), abs=0.1)


def test_a_logarithmic_axis_gives_each_decade_the_same_height() -> None:
    svg = drawn([1e-6, 2e-3], 1e-5, 1)
    heights = list(ticks(svg).values())
    assert list(ticks(svg)) == ["10⁻⁶", "10⁻⁵", "10⁻⁴", "10⁻³", "0.01"]
    assert -np.diff(heights) == pytest.approx([heights[0] - heights[1]] * 4, abs=0.11)
    assert line_height(svg) == pytest.approx(ticks(svg)["10⁻⁵"], abs=0.1)
    part = (ticks(svg)["10⁻³"] - centre(of_class(svg, "mark")[0])[1]) / (heights[0] - heights[1])
    assert part == pytest.approx(math.log10(2.0), abs=0.01)


def test_a_plot_has_no_script_no_style_sheet_and_no_day_in_it() -> None:
    svg = drawn([1.0, 2.0], 3.0, 1)
    tags = {element.tag for element in ET.fromstring(svg).iter()}
    assert tags == {"svg", "g", "path", "text", "circle"}
    assert not re.search(r"https?:|<!--|<\?|url\(|style=", svg)


def test_the_key_says_unit_limit_and_worst_value() -> None:
    words = key(failing(value=8e-5, limit=2e-6))
    assert "arm lengths, L" in words and "limit 2×10⁻⁶ L" in words and "worst 8×10⁻⁵ L" in words


def test_names_stay_text_in_plot_and_key() -> None:
    name = '<script>"&'
    item = failing(measure=name, unit=name)
    assert "<script>" not in plot(item, trace(item)) + key(item)
    assert name in str(ET.fromstring(plot(item, trace(item))).get("aria-label"))


def test_a_missing_library_is_named_with_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pygal", None)
    with pytest.raises(ProofError, match="needs the Python package pygal"):
        drawn([1.0], 3.0, 0)


def test_a_frame_without_a_number_leaves_a_gap_and_a_mark() -> None:
    svg = drawn([1.0, 2.0, math.nan, 2.0, 1.0], 3.0, 2)
    assert of_class(svg, "curve")[0].get("d", "").count("M") == 2
    assert of_class(svg, "hole")
    assert "frame 2: no number" in svg


def test_a_long_recording_keeps_its_peak() -> None:
    values = [1.0] * 50_000
    values[31_237] = 9.0
    svg = drawn(values, 3.0, 31_237)
    assert len(svg) < LARGEST_PLOT
    places = re.findall(rf"({NUMBER}) ({NUMBER})", of_class(svg, "curve")[0].get("d", ""))
    assert min(float(y) for _, y in places) == pytest.approx(centre(of_class(svg, "mark")[0])[1], abs=0.1)


def test_no_plot_is_large_however_often_it_is_interrupted() -> None:
    for values in ([1.0] * 420, [math.nan, 1.0] * 210, [math.nan, 1.0, 1.0] * 1000, [math.nan] * 5000):
        assert len(drawn(values, 3.0, 0)) < LARGEST_PLOT


finite = st.floats(0.0, 1e300)


@example(values=[0.0], limit=5e-324)
@example(values=[1.0, 1e-250], limit=0.0)
@example(values=[1.7976931348623158e36], limit=2.5265057603023753e-272)
@given(values=st.lists(finite | st.sampled_from([math.nan, math.inf]), min_size=1, max_size=30), limit=finite)
def test_any_values_give_a_well_formed_curve_inside_its_frame(values: list[float], limit: float) -> None:
    ok = np.isfinite(values)
    svg = drawn(values, limit, int(np.argmax(values)) if ok.all() else int(np.argmin(ok)))
    assert not re.search(r"nan|inf\b", svg)
    for line in of_class(svg, "curve") + of_class(svg, "limit"):
        for x, y in re.findall(rf"({NUMBER}) ({NUMBER})", line.get("d", "")):
            assert 0.0 <= float(x) <= curve.WIDTH - INDENT
            assert 0.0 <= float(y) <= curve.HEIGHT - INDENT


def pose(item: Check, of: Trace | None = None) -> str:
    return figure(item, trace(item) if of is None else of, 0.58)


def test_the_front_view_has_the_left_arm_reaching_to_the_viewers_right() -> None:
    joints = [centre(joint) for joint in of_class(pose(check()), "joint")]
    assert len(joints) == 8
    front, side = joints[:4], joints[4:]
    assert [x for x, _ in front] == sorted(x for x, _ in front)
    # Up is up: the shoulder is above the elbow, in both views at the same height.
    assert front[1][1] < front[2][1]
    assert [y for _, y in front] == [y for _, y in side]


def test_each_arm_is_seen_from_its_own_side_with_the_front_where_it_faces() -> None:
    mirrored = replace(trace(check(arm="R")), chain=CHAIN * np.array([-1.0, 1.0, 1.0]))
    left = [centre(joint)[0] for joint in of_class(pose(check()), "joint")][4:]
    right = [centre(joint)[0] for joint in of_class(pose(check(arm="R"), mirrored), "joint")][4:]
    # The wrist is in front of the elbow: to the left seen from the left, to the right seen from the right.
    assert left[3] < left[2] and right[3] > right[2]


def drawn_slide(svg: str, bar: int) -> float:
    """The slide in the front view, in L by the scale of that bar. These slides lie along x, in full view."""
    ring, dot = centre(of_class(svg, "wanted")[0]), centre(of_class(svg, "found")[0])
    width = float(re.findall(r"h(-?[\d.]+)", of_class(svg, "bar")[bar].get("d", ""))[0])
    label = re.findall(r"([\d.×⁻⁰¹²³⁴-⁹]+) L</text>", svg)[bar]
    shown = float(label.replace("×10", "e").translate(str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")))
    return (dot[0] - ring[0]) / width * shown


@pytest.mark.parametrize("size", [3e-9, 1.7e-4, 0.01])
def test_the_lens_draws_the_slide_to_the_scale_of_its_bar(size: float) -> None:
    svg = pose(failing(value=size))
    assert drawn_slide(svg, 1) == pytest.approx(size, rel=0.01)
    assert centre(of_class(svg, "wanted")[0]) == centre(of_class(svg, "lens")[0])


@pytest.mark.parametrize("size", [0.3, 4.0])
def test_a_slide_that_shows_by_itself_is_drawn_where_it_is(size: float) -> None:
    svg = pose(failing(value=size))
    assert of_class(svg, "lens") == []
    assert drawn_slide(svg, 0) == pytest.approx(size, rel=0.01)
    assert centre(of_class(svg, "wanted")[0]) == centre(of_class(svg, "joint")[3])


def test_without_a_held_point_there_is_no_lens() -> None:
    item = failing(unit="deg")
    assert of_class(pose(item, trace(item, held=0)), "lens") == []
    assert len(of_class(pose(item, trace(item, held=2)), "lens")) == 2


def test_a_pose_without_numbers_is_not_drawn() -> None:
    item = failing(value=math.nan)
    assert pose(item, replace(trace(item), chain=np.full((4, 3), np.nan))) == ""
    assert figure(item, trace(item), 0.0) == ""


def test_an_arm_folded_into_a_point_is_drawn_all_the_same() -> None:
    svg = pose(failing(), replace(trace(failing()), chain=np.zeros((4, 3))))
    assert len(of_class(svg, "joint")) == 8
    assert "nan" not in svg
