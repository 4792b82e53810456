"""A study's phases as markers of the timeline: ours are known by a record, so that nobody else's is ever taken."""

from __future__ import annotations

import json
from collections import Counter
from typing import Any

import bpy

from ..core.study.phases import ELBOW, HAND, HELD, ROLL
from .hold_phase_plan import PARTS

# Of the scene: [frame, name] of each marker that was made here. Markers themselves keep nothing of ours in every host.
KEY = "armwright_phase_markers"
STANDING = (HAND, ELBOW, ROLL, HELD)


def mark(scene: bpy.types.Scene, lines: Any) -> int:
    """Set markers where something begins to stand, and where it is free again, in place of those set before.

    A marker that somebody has at that frame under that name stays as it is, and is none of ours. Returns how many were
    set.
    """
    clear(scene)
    taken = {(marker.frame, marker.name) for marker in scene.timeline_markers}
    made = [entry for entry in dict.fromkeys(_wanted(lines)) if entry not in taken]
    for frame, name in made:
        scene.timeline_markers.new(name, frame=frame)
    if made:
        scene[KEY] = json.dumps(made)
    return len(made)


def clear(scene: bpy.types.Scene) -> int:
    """Remove the markers that were set here and are as they were; how many. One that was moved, renamed or bound to a
    camera since is somebody's own.
    """
    ours = Counter(tuple(entry) for entry in recorded(scene))
    gone = 0
    for marker in list(scene.timeline_markers):
        entry = (marker.frame, marker.name)
        if ours[entry] > 0 and marker.camera is None:
            ours[entry] -= 1
            scene.timeline_markers.remove(marker)
            gone += 1
    if KEY in scene:
        del scene[KEY]
    return gone


def recorded(scene: bpy.types.Scene) -> list[tuple[int, str]]:
    """Frame and name of the markers that were set here; none where the record is damaged."""
    try:
        return [(int(frame), str(name)) for frame, name in json.loads(str(scene.get(KEY, "[]")))]
    except (ValueError, TypeError, OverflowError, RecursionError):
        return []


def _wanted(lines: Any) -> list[tuple[int, str]]:
    standing = [line for line in lines if line.kind in STANDING]
    out = [(line.first, line.words) for line in standing]
    for line in standing:
        part = PARTS.get(line.kind, "hand")
        follows = any(
            other.arm == line.arm and PARTS.get(other.kind, "hand") == part and other.first == line.last + 1
            for other in standing
        )
        if not follows:
            out.append((line.last + 1, f"{line.arm} {part} free"))
    return sorted(out)
