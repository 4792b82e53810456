"""Keepers with other arms than a pair of one length: four, one, an unlike pair, and as many as you like."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

# The lower pair hangs lower and is shorter; the left arm of the unlike pair is longer.
LOWER_BY, LOWER_SIZE, LONGER = 0.2, 0.8, 1.3
JOINTS = ("clavicle", "shoulder", "elbow", "wrist", "hand_end")


def scaled(arm: Any, size: float, down: float = 0.0, pair: str = "", bend_back: bool = False) -> Any:
    """The arm, `size` times as long from its shoulder on and `down` metres lower, of a pair.

    `bend_back`: the elbow is put through the line from shoulder to wrist, so that it bends the other way.
    """
    shoulder = arm.shoulder

    def moved(point: Any) -> Any:
        return tuple(
            s + size * (p - s) - (down if axis == 2 else 0.0) for axis, (s, p) in enumerate(zip(shoulder, point))
        )

    joints = {name: moved(getattr(arm, name)) for name in JOINTS[1:]}
    joints["clavicle"] = (arm.clavicle[0], arm.clavicle[1], arm.clavicle[2] - down)
    if bend_back:
        s, e, w = joints["shoulder"], joints["elbow"], joints["wrist"]
        line = [b - a for a, b in zip(s, w)]
        share = sum((b - a) * c for a, b, c in zip(s, e, line)) / sum(c * c for c in line)
        joints["elbow"] = tuple(2.0 * (a + share * c) - b for a, b, c in zip(s, e, line))
    return replace(arm, pair=pair, **joints)


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
