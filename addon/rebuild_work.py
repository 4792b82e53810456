"""What the parts of a rebuild share: the rig, what is to become of it, and single changes."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from ..core.plan.made import Made
from ..core.plan.model import Plan

# Single precision keeps seven digits.
SAME = 2e-6


@dataclass(frozen=True)
class Work:
    """A rebuild.

    Attributes:
        armature: the object.
        plan: what its arms are to be.
        made: what the last build made, under the names that its bones have by now.
        fresh: bones that are made this time.
        left: bones of the last build that stay with the user.
    """

    armature: bpy.types.Object
    plan: Plan
    made: Made
    fresh: frozenset[str]
    left: tuple[str, ...] = ()


@dataclass(frozen=True)
class Change:
    """One thing to be done to a rig, and a sentence for the user where it is not what they asked for; "" if it is."""

    do: Callable[[], Any]
    note: str = ""


def same(first: Any, second: Any) -> bool:
    """Whether two of the host's values are the same, numbers as far as single precision can tell."""
    if isinstance(first, bool | str) or first is None or isinstance(second, bool | str) or second is None:
        return bool(first == second)
    one, other = np.asarray(first, float), np.asarray(second, float)
    return one.shape == other.shape and bool((np.abs(one - other) <= SAME * np.maximum(1.0, np.abs(other))).all())


def keyed(armature: bpy.types.Object, paths: Collection[str]) -> bool:
    """Whether the armature's action, or one of its strips', has a curve on one of the data paths."""
    from .curves import curves_of

    animation = armature.animation_data
    if animation is None:
        return False
    actions = [animation.action, *(strip.action for track in animation.nla_tracks for strip in track.strips)]
    return any(curve.data_path in paths for action in actions if action is not None for curve in curves_of(action))
