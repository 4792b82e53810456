"""How near a rotation order comes to gimbal lock, and which would keep further away."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from report_cases import check, results

from armwright.core.errors import ProofError
from armwright.core.frames import ORDERS as RIG_ORDERS
from armwright.core.motion.clip import make_clip
from armwright.core.motion.sweeps import HAND_DEGREES, UPPER_ARM_DEGREES, fk_sweep
from armwright.core.proof.order_margin import OrderMargin, middle_margin, order_margin, order_margins
from armwright.core.proof.report.html import page
from armwright.core.proof.report.table import table
from armwright.core.proof.results_json import from_text, to_text


def degrees(*rows: tuple[float, float, float]) -> np.ndarray:
    return np.radians(np.array(rows))


# order, channels about X, Y, Z, margin: the middle letter's channel alone decides, on either side of 90.
MARGINS = [
    ("XYZ", (170.0, 30.0, -60.0), 60.0),
    ("XYZ", (0.0, -90.0, 10.0), 0.0),
    ("XYZ", (10.0, 100.0, 20.0), 10.0),
    ("YZX", (80.0, 90.0, -25.0), 65.0),
    ("ZXY", (89.999, 1.0, 2.0), 0.001),
    ("YXZ", (-89.9999999, 1.0, 2.0), 1e-7),
]


@pytest.mark.parametrize(("order", "channels", "margin"), MARGINS)
def test_the_margin_is_the_middle_channels_distance_from_90_degrees(
    order: str, channels: tuple[float, float, float], margin: float
) -> None:
    assert middle_margin(degrees(channels), order, order) == pytest.approx([margin], rel=1e-6, abs=1e-9)


def test_the_worst_frame_of_all_motions_counts_and_is_named() -> None:
    ladder = degrees((0, 10, 0), (0, -50, 0), (0, 20, 0))
    rope = degrees((0, 10, 0), (0, 5, 0), (0, 5, 0), (0, 71, 0))
    found = order_margin("hand", [("ladder", ladder), ("rope", rope)], "XYZ")
    assert (found.order, found.motion, found.frame) == ("XYZ", "rope", 3)
    assert found.margin == pytest.approx(19.0)
    # The turn is about Y alone: with Y first or last nothing is in the middle.
    assert found.best != "XYZ"
    assert found.best[1] != "Y"
    assert found.best_margin == pytest.approx(90.0)
    assert found.sentence == (
        f"hand: XYZ stays 19 degrees from gimbal lock at the least (rope, frame 3); {found.best} would stay 90"
    )


def test_another_order_is_named_only_where_it_keeps_clearly_further_away() -> None:
    found = order_margin("hand", [("rope", degrees((0, 4, 0)))], "XYZ")
    assert (found.best, found.best_margin) == ("XYZ", found.margin)
    assert found.sentence.endswith("no order stays 5 degrees further")


def test_the_rigs_orders_have_the_margins_of_the_published_ranges() -> None:
    """AAOS, in Norkin & White, table A.1: 90 degrees of lateral rotation, 30 of ulnar deviation."""
    margins = {found.joint: found for found in order_margins([fk_sweep(960)], RIG_ORDERS)}
    assert list(margins) == ["clavicle", "upper arm", "forearm", "hand"]
    roll = max(abs(end) for end in UPPER_ARM_DEGREES[1])
    deviation = max(abs(end) for end in HAND_DEGREES[2])
    assert margins["upper arm"].margin == pytest.approx(90.0 - roll, abs=0.05)
    assert margins["hand"].margin == pytest.approx(90.0 - deviation, abs=0.05)
    assert margins["clavicle"].margin == pytest.approx(90.0)
    # The hinge's tilt, 10 degrees, is common practice.
    assert margins["forearm"].margin == pytest.approx(80.0, abs=0.05)


def test_a_joint_that_no_motion_moves_is_left_out() -> None:
    assert order_margins([make_clip("still", 3)], RIG_ORDERS) == ()
    shrugged = make_clip("still", 3, clavicle=np.full((3, 3), 0.1))
    assert [found.joint for found in order_margins([shrugged], RIG_ORDERS)] == ["clavicle"]


@pytest.mark.parametrize(
    ("channels", "order", "words"),
    [
        (np.zeros((0, 3)), "XYZ", "no frame"),
        (np.zeros((1, 3)), "XYX", "XYX"),
        (np.full((1, 3), np.nan), "XYZ", "not a finite number"),
    ],
)
def test_what_has_no_margin_is_refused(channels: np.ndarray, order: str, words: str) -> None:
    with pytest.raises(ProofError, match=words):
        order_margin("hand", [("rope", channels)], order)


SPOILT = OrderMargin("hand", "rope", "XYZ", 1.0, 0, "YXZ", 40.0, "hand: <b>XYZ\n stays 1 degree from gimbal lock")


def test_table_and_page_tell_the_margins_before_the_end_and_the_results_file_stays_what_it_is() -> None:
    plain = results([check()])
    told = replace(plain, orders=(SPOILT,))
    lines = table(told).splitlines()
    assert lines[:-4] == table(plain).splitlines()[:-1]
    assert lines[-4] == "rotation orders"
    assert lines[-3] == "  hand: <b>XYZ\ufffd stays 1 degree from gimbal lock"
    assert lines[-1] == table(plain).splitlines()[-1]
    assert "<li>hand: &lt;b&gt;XYZ\ufffd stays 1 degree from gimbal lock</li>" in page(told)
    assert "Rotation orders" not in page(plain)
    assert to_text(told) == to_text(plain)
    assert from_text(to_text(told)).orders == ()
