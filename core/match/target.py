"""What a match is asked for, and what it returns."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from ..errors import MatchError
from ..solve.settings import ArmSettings, Array

Dial = float | Array | None
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Target:
    """The dials wanted after the match: a number, one for each frame (N,), or None to keep the current one.

    Attributes:
        ik, elbow: 0 or 1; what lies between can only be kept, not asked for.
        isolate, lift, stretch, soft: 0 to 1.
        free_lengths: whether the two length dials may change. Where they may not, a segment's length that the dials
            and the wanted stretch do not allow is lost, and the nearest pose is found.
    """

    ik: Dial = None
    elbow: Dial = None
    isolate: Dial = None
    lift: Dial = None
    stretch: Dial = None
    soft: Dial = None
    free_lengths: bool = True


@dataclass(frozen=True)
class Matched:
    """Settings in the wanted mode, and how far their pose is from the pose before.

    Attributes:
        settings: all of them; what the wanted mode does not read is as it was.
        position_error: metres, (N,): the largest of shoulder, elbow and wrist.
        angle_error: radians, (N,): the largest of clavicle, upper arm, forearm and hand.
        exact: (N,): both errors below 1e-9 (of the arm's length; radians).
    """

    settings: ArmSettings
    position_error: Array
    angle_error: Array
    exact: Flags


@dataclass(frozen=True)
class WantedDials:
    """The dials of a target as rows (N,)."""

    ik: Array
    elbow: Array
    isolate: Array
    lift: Array
    stretch: Array
    soft: Array


def wanted_dials(settings: ArmSettings, target: Target) -> WantedDials:
    """The target's dials, with the current ones where it keeps them. MatchError for a value out of range or a shape."""

    def rows(name: str) -> Array:
        current: Array = getattr(settings, name)
        asked: Dial = getattr(target, name)
        if asked is None:
            return current.copy()
        values = np.asarray(asked, float)
        if values.shape not in ((), current.shape):
            raise MatchError(f"match: {name} has shape {values.shape}; give one number, or {len(current)}, one a frame")
        values = np.broadcast_to(values, current.shape).copy()
        bad = np.flatnonzero(~((values >= 0.0) & (values <= 1.0)))
        if len(bad):
            raise MatchError(f"match: {name} is {values[bad[0]]} at frame {bad[0]}; a dial runs from 0 to 1")
        return values

    return WantedDials(*(rows(name) for name in ("ik", "elbow", "isolate", "lift", "stretch", "soft")))


def picked_dials(wanted: WantedDials, which: Flags) -> WantedDials:
    """Some of the frames."""
    return WantedDials(**{item.name: getattr(wanted, item.name)[which] for item in fields(WantedDials)})


def unchanged_mode(settings: ArmSettings, wanted: WantedDials) -> Flags:
    """Frames (N,) whose wanted dials make the same pose of the same holds: only shoulder and isolation may differ.

    MatchError for a frame that changes its mode to something in between.
    """
    same_ik = (wanted.stretch == settings.stretch) & (wanted.soft == settings.soft)
    same = (wanted.ik == settings.ik) & (wanted.elbow == settings.elbow) & (same_ik | (settings.ik == 0.0))
    for name, values in (("ik", wanted.ik), ("elbow", wanted.elbow)):
        between = np.flatnonzero(~same & (values != 0.0) & (values != 1.0))
        if len(between):
            raise MatchError(
                f"match: {name} would be {values[between[0]]} at frame {between[0]}, and between its ends two poses "
                "are mixed, so none of them is matched; ask for 0 or 1, or keep ik, elbow, stretch and soft as they are"
            )
    return np.asarray(same, bool)
