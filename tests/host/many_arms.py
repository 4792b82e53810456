"""Keepers with other arms than a pair of one length: four, one, an unlike pair, and as many as you like."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

# The lower pair hangs lower and is shorter; the left arm of the unlike pair is longer.
LOWER_BY, LOWER_SIZE, LONGER = 0.2, 0.8, 1.3
JOINTS = ("clavicle", "shoulder", "elbow", "wrist", "hand_end")


def scaled(arm: Any, size: float, down: float = 0.0, pair: str = "", bend_back: bool = False) -> Any:
    """The arm, `size` times as long from its shoulder on and `down` metres lower, of a pair.

    `bend_back`: the elbow is put through the line from shoulder to wrist, so that it bends the other way.
    """
    shoulder, lower = np.array(arm.shoulder), np.array([0.0, 0.0, down])
    joints = {name: shoulder + size * (np.array(getattr(arm, name)) - shoulder) - lower for name in JOINTS[1:]}
    joints["clavicle"] = np.array(arm.clavicle) - lower
    if bend_back:
        line, upper = joints["wrist"] - joints["shoulder"], joints["elbow"] - joints["shoulder"]
        joints["elbow"] = joints["shoulder"] + 2.0 * line * (upper @ line) / (line @ line) - upper
    return replace(arm, pair=pair, **{name: tuple(point.tolist()) for name, point in joints.items()})


def four_armed_guide(bend_back: bool = False) -> Any:
    """Wren with a lower pair."""
    guide = _wren()
    lower = tuple(scaled(arm, LOWER_SIZE, LOWER_BY, "lower", bend_back) for arm in guide.arms)
    return replace(guide, arms=(*guide.arms, *lower))


def one_armed_guide(side: str = "R") -> Any:
    """Wren with one arm."""
    guide = _wren()
    return replace(guide, arms=tuple(arm for arm in guide.arms if arm.side == side))


def unlike_guide() -> Any:
    """Wren with a left arm that is longer."""
    guide = _wren()
    return replace(guide, arms=tuple(scaled(arm, LONGER) if arm.side == "L" else arm for arm in guide.arms))


def crowd_guide(pairs: int) -> Any:
    """Wren with so many pairs, one below the other."""
    guide = _wren()
    more = [scaled(arm, 0.9, 0.02 * number, f"p{number}") for number in range(1, pairs) for arm in guide.arms]
    return replace(guide, arms=(*guide.arms, *more))


GUIDES = {
    "four": four_armed_guide,
    "four-bent-back": lambda: four_armed_guide(bend_back=True),
    "one": one_armed_guide,
    "unlike": unlike_guide,
}


def built(guide: Any) -> Any:
    """An armature with root, torso, head and the arms of `guide`."""
    from armwright.addon.build import build_new
    from armwright.core.arm.build import plan_arms
    from armwright.core.options import ArmOptions

    return build_new(plan_arms(guide, ArmOptions()), guide.name)


def _wren() -> Any:
    from armwright.core.stature import guide_from_stature

    return guide_from_stature(1.7, "Wren")
