"""Range conversion: an animation over a range of frames, in another mode of holding, with the same poses."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from . import convert_read, keys
from .arm_state import Channel
from .convert_read import ArmTake, Frames
from .convert_tracks import ArmTracks, arm_tracks
from .convert_write import Journal, check_action
from .holds import MODES
from .posed import back, posed
from .prove import Progress
from .subjects import Subject
from .switch import POP_ANGLE, POP_LIMIT, check_editable

Array = NDArray[np.float64]

EVERY, FEWEST = "every", "fewest"
KEYS = (EVERY, FEWEST)
# Frames that are looked at on the rig afterwards, spread over the range; the solver is asked about all of them.
MEASURED = 200


@dataclass(frozen=True)
class Request:
    """What to convert.

    Attributes:
        arms: sides.
        mode: a key of MODES.
        first, last: the range, both frames among it.
        keys: "every" frame, or the "fewest".
        tolerance: with the fewest keys, how far a joint may be off, metres; a segment may turn by as much as would
            move a point at the arm's own length from it by so much.
    """

    arms: tuple[str, ...]
    mode: str
    first: float
    last: float
    keys: str = EVERY
    tolerance: float = 0.001


@dataclass(frozen=True)
class Converted:
    """What a conversion did: the worse of what the solver says of every frame and what the rig shows on some.

    Attributes:
        frames: number of frames in the range.
        keys: number of keys set in it, over all curves.
        keyed_frames: number of its frames that have one of them.
        gap: largest distance of a joint from where it was, arm lengths.
        angle: largest turn of a segment, degrees.
        worst_frame: where.
        measured: number of frames that were measured on the rig, the solver's worst among them.
        mode: a key of MODES.
    """

    frames: int
    keys: int
    keyed_frames: int
    gap: float
    angle: float
    worst_frame: int
    measured: int
    mode: str

    def sentence(self) -> str:
        """For people."""
        what = f"{self.frames} frames: {MODES[self.mode].sentence.lower()}"
        if self.keys == 0:
            return f"{what} already; nothing was changed"
        kept = (
            "every pose is kept"
            if self.gap <= POP_LIMIT and self.angle <= POP_ANGLE
            else f"at most {100.0 * self.gap:.2g} % of the arm's length and {self.angle:.2g} degrees away "
            f"(frame {self.worst_frame})"
        )
        return f"{what}, {self.keys} keys on {self.keyed_frames} frames; {kept}"


def convert(subject: Subject, request: Request) -> Iterator[Progress | Converted]:
    """Convert a range: progress frame by frame, what was done last.

    The scene's frame and what is posed are as before whenever it ends. If it fails, or is closed before its end, so is
    every key. Raises HostError or MatchError with nothing changed.
    """
    frames = _checked(subject, request)
    armature, scene = subject.armature, bpy.context.scene
    at, kept, journal = (scene.frame_current, scene.frame_subframe), posed(armature), Journal(armature)
    written: list[Channel] = []
    done, total = False, frames.count + min(frames.count, MEASURED)
    try:
        takes: dict[str, ArmTake] = {}
        for step in convert_read.take(subject, request.arms, frames):
            if isinstance(step, dict):
                takes = step
            else:
                yield Progress(step, total, "reading")
        mode, tolerance = MODES[request.mode], request.tolerance if request.keys == FEWEST else None
        planned = {arm: arm_tracks(subject, arm, takes[arm], mode, frames, tolerance) for arm in request.arms}
        tracks = [track for arm in planned.values() for track in arm.tracks]
        written = [track.channel for track in tracks]
        keys.check_free(armature, written)
        count = journal.write(frames, tracks)
        rows = _rows_to_measure(planned, frames.count) if tracks else np.zeros(0, np.intp)
        joints = np.empty(0)
        for seen in convert_read.joints(subject, request.arms, frames.numbers[rows]):
            if isinstance(seen, int):
                yield Progress(frames.count + (total - frames.count) * seen // len(rows), total, "measuring")
            else:
                joints = seen
        gap, angle, worst = _apart(subject, takes, planned, joints, rows)
        keyed = len(set().union(*(track.kept.tolist() for track in tracks)))
        done = True
    finally:
        if not done:
            journal.undo()
            written = []
        back(armature, at, kept, written)
    yield Converted(frames.count, count, keyed, gap, angle, frames.first + worst, len(rows), request.mode)


def convert_whole(subject: Subject, request: Request, report: Callable[[Progress], None] | None = None) -> Converted:
    """`convert` from beginning to end."""
    for step in convert(subject, request):
        if isinstance(step, Converted):
            return step
        if report is not None:
            report(step)
    raise AssertionError("a conversion ends with what it did")


def _checked(subject: Subject, request: Request) -> Frames:
    frames = convert_read.frames_of(request.first, request.last)
    if request.mode not in MODES:
        raise HostError(f"there is no mode {request.mode!r}; there is: {', '.join(MODES)}")
    if request.keys not in KEYS:
        raise HostError(f"keys {request.keys!r}: give one of: {', '.join(KEYS)}")
    unknown = [arm for arm in request.arms if arm not in subject.arms]
    if unknown or not request.arms:
        raise HostError(
            f"{subject.armature.name!r} has no arm {', '.join(unknown) or 'chosen'}; it has: {', '.join(subject.arms)}"
        )
    if not (np.isfinite(request.tolerance) and request.tolerance >= 0.0):
        raise HostError(f"the tolerance is {request.tolerance:g}: give a length of 0 or more, in metres")
    check_editable(subject.armature)
    check_action(subject.armature)
    return frames


def _rows_to_measure(planned: dict[str, ArmTracks], count: int) -> NDArray[np.intp]:
    """Rows spread over the range, and each arm's worst by the solver."""
    worst = [int(np.argmax(errors)) for arm in planned.values() for errors in (arm.far, arm.turned)]
    spread = np.linspace(0, count - 1, min(count, MEASURED)).round().astype(np.intp)
    return np.unique([*spread, *worst]).astype(np.intp)


def _apart(
    subject: Subject, takes: dict[str, ArmTake], planned: dict[str, ArmTracks], joints: Array, rows: NDArray[np.intp]
) -> tuple[float, float, int]:
    """Largest gap (arm lengths), largest turn (degrees), and the row of the worse of the two by their limits."""
    gaps, angles = [], []
    for place, (arm, tracks) in enumerate(planned.items()):
        far, turned = tracks.far.copy(), tracks.turned.copy()
        if len(rows):
            # The rig's word is worth more than the solver's bound.
            far[rows], turned[rows] = convert_read.gaps(takes[arm].joints[rows], joints[:, place])
        geometry = subject.geometries[arm]
        gaps.append(far / (geometry.upper_length + geometry.forearm_length))
        angles.append(np.degrees(turned))
    gap, angle = np.max(gaps, axis=0), np.max(angles, axis=0)
    return float(gap.max()), float(angle.max()), int(np.argmax(np.maximum(gap / POP_LIMIT, angle / POP_ANGLE)))
