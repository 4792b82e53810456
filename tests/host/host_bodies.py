"""Bodies of many kinds get arms that hold: long and short arms, unlike arms, one arm, mittens and hooves."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from host_proof import _checks


def point(start: Any, direction: Any, distance: float) -> Any:
    return tuple((np.array(start) + np.array(direction) * distance).tolist())


def with_lengths(arm: Any, upper: float, fore: float, hand: float) -> Any:
    """The arm with its segments by these factors, the shoulder where it is."""
    elbow = point(arm.shoulder, np.subtract(arm.elbow, arm.shoulder), upper)
    wrist = point(elbow, np.subtract(arm.wrist, arm.elbow), fore)
    return replace(arm, elbow=elbow, wrist=wrist, hand_end=point(wrist, np.subtract(arm.hand_end, arm.wrist), hand))


def base() -> Any:
    from armwright.core.stature import guide_from_stature

    return guide_from_stature(1.7, "Wren")


def of_both(upper: float, fore: float, hand: float) -> Any:
    guide = base()
    return replace(guide, arms=tuple(with_lengths(arm, upper, fore, hand) for arm in guide.arms))


def unlike() -> Any:
    """A right arm that is shorter, further forward and more bent than the left."""
    guide = base()
    left, right = guide.arms
    short = with_lengths(right, 0.7, 0.5, 1.3)
    shift = np.array([0.02, -0.05, 0.03])
    moved = {key: tuple((np.array(getattr(short, key)) + shift).tolist()) for key in ("elbow", "wrist", "hand_end")}
    return replace(guide, arms=(left, replace(short, **moved)))


def one(side: str) -> Any:
    guide = base()
    return replace(guide, arms=tuple(arm for arm in guide.arms if arm.side == side))


BODIES = {
    "long arms": lambda: of_both(1.7, 1.9, 1.2),
    # Half as long on the same torso. Much shorter, and nothing that the hands could hold stays in reach while it tilts.
    "short arms": lambda: of_both(0.5, 0.5, 0.8),
    "arms that are not alike": unlike,
    "the left arm alone": lambda: one("L"),
    "the right arm alone": lambda: one("R"),
    # No fingers: a hand of one piece; a hoof's is a stump.
    "mittens": lambda: of_both(1.0, 1.0, 0.5),
    "hooves": lambda: of_both(1.1, 1.3, 0.2),
}


@pytest.mark.parametrize("body", BODIES.values(), ids=BODIES.keys())
def test_a_body_of_this_kind_holds_whatever_the_torso_does(empty_file: Any, body: Any) -> None:
    from armwright.addon.build import build_new
    from armwright.core.arm.build import plan_arms
    from armwright.core.guide_check import check_guide
    from armwright.core.options import ArmOptions

    guide = body()
    check_guide(guide)
    armature = build_new(plan_arms(guide, ArmOptions()), "Wren")
    for motion, mode in (("torso-wiggle", "hand"), ("torso-wiggle", "elbow")):
        checks = _checks(armature, motion, mode)
        assert {check.arm for check in checks} == {arm.side for arm in guide.arms}
        assert "pass" in {check.verdict for check in checks}
        assert [check for check in checks if check.verdict not in ("pass", "not_applicable")] == []


def test_one_body_becomes_another_and_holds(wren: Any) -> None:
    from host_rebuild import again

    from armwright.addon.rig import read_record

    for body in ("arms that are not alike", "the right arm alone", "long arms"):
        guide = BODIES[body]()
        assert again(wren, guide).changed
        assert read_record(wren).arms == tuple(arm.side for arm in guide.arms)
        checks = _checks(wren, "torso-wiggle", "hand")
        assert [check for check in checks if check.verdict not in ("pass", "not_applicable")] == []
