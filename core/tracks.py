"""What to set on a rig, frame by frame, as data: transforms of bones, Euler channels and dials."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PoseTrack:
    """A bone's pose in armature space, (N, 4, 4), rigid, metres."""

    bone: str
    poses: Array


@dataclass(frozen=True)
class EulerTrack:
    """A bone's own Euler channels, (N, 3), radians, in the bone's rotation order."""

    bone: str
    angles: Array


@dataclass(frozen=True)
class DialTrack:
    """A custom property of a bone, (N,); `path` is its data path where it is another's, such as the object's."""

    bone: str
    key: str
    values: Array
    path: str = ""


@dataclass(frozen=True)
class Tracks:
    """Everything to set over N frames. Parents' poses come before their children's."""

    frames: int
    poses: tuple[PoseTrack, ...] = ()
    angles: tuple[EulerTrack, ...] = ()
    dials: tuple[DialTrack, ...] = ()
