"""Fingers of a rig: their rest read by roles, what to set on them, and what the host showed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core import guide_json
from ..core.arm.fingers import curl_dial
from ..core.arm.names import CURL, SPREAD
from ..core.errors import HostError
from ..core.proof.finger_samples import FingerRun
from ..core.rig_record import RigRecord
from ..core.solve.fingers import Finger, FingerGeometry, FingerSettings
from ..core.tracks import DialTrack, EulerTrack, Tracks
from . import host

Array = NDArray[np.float64]


@dataclass(frozen=True)
class MovingHand:
    """An arm's fingers and what to set on them."""

    record: RigRecord
    arm: str
    geometry: FingerGeometry
    settings: FingerSettings


def finger_geometry(armature: bpy.types.Object, record: RigRecord, arm: str) -> FingerGeometry | None:
    """The arm's fingers at rest, from the host's own bones; None for a hand without any.

    Raises HostError for a rig that has lost a part of them.
    """
    guide = next((item for item in guide_json.from_text(record.guide).arms if item.id == arm), None)
    if guide is None or not guide.fingers:
        return None
    bones = armature.data.bones
    _check_dials(armature, record, arm, [finger.name for finger in guide.fingers])

    def finger(name: str, count: int, thumb: bool) -> Finger:
        frames = np.array([host.rest_matrix(bones[bone]) for bone in skin_bones(record, arm, name, count)])
        last = bones[record.bone(arm, f"skin_{name}_{count}")]
        return Finger(name, frames, frames[-1, :3, 3] + frames[-1, :3, 1] * last.length, thumb)

    return FingerGeometry(
        hand=host.rest_matrix(bones[record.bone(arm, "hand")]),
        knuckles=host.rest_matrix(bones[record.bone(arm, "fingers")])[:3, 3],
        fingers=tuple(finger(item.name, len(item.joints) - 1, item.thumb) for item in guide.fingers),
    )


def _check_dials(armature: bpy.types.Object, record: RigRecord, arm: str, fingers: list[str]) -> None:
    dials = armature.pose.bones[record.bone(arm, "finger_dials")]
    lost = [key for key in (CURL, SPREAD, *map(curl_dial, fingers)) if key not in dials]
    if lost:
        raise HostError(f"{dials.name!r} of {armature.name!r} has no dial {lost[0]!r}: build the arms again")


def skin_bones(record: RigRecord, arm: str, finger: str, count: int) -> list[str]:
    """The bones of a finger that carry skin, root first."""
    return [record.bone(arm, f"skin_{finger}_{place + 1}") for place in range(count)]


def all_skin_bones(record: RigRecord, arm: str, geometry: FingerGeometry) -> list[str]:
    """The bones of all fingers that carry skin, finger by finger."""
    return [bone for finger in geometry.fingers for bone in skin_bones(record, arm, finger.name, len(finger.frames))]


def sorted_by_finger(geometry: FingerGeometry, poses: Array) -> dict[str, Array]:
    """Poses (N, B, 4, 4) of `all_skin_bones` as (N, K, 4, 4) by the finger's name."""
    counts = [len(finger.frames) for finger in geometry.fingers]
    parts = np.split(poses, np.cumsum(counts)[:-1], axis=1)
    return {finger.name: part for finger, part in zip(geometry.fingers, parts, strict=True)}


def finger_tracks(
    record: RigRecord, arm: str, geometry: FingerGeometry, settings: FingerSettings
) -> tuple[list[EulerTrack], list[DialTrack]]:
    """Tracks of the controls' channels and of the dials."""
    angles = [
        EulerTrack(record.bone(arm, f"fk_{finger.name}_{place + 1}"), settings.channels[finger.name][:, place])
        for finger in geometry.fingers
        for place in range(len(finger.frames))
    ]
    dials = record.bone(arm, "finger_dials")
    values: Mapping[str, Array] = {
        CURL: settings.curl,
        SPREAD: settings.spread,
        **{curl_dial(name): own for name, own in settings.own.items()},
    }
    return angles, [DialTrack(dials, key, value) for key, value in values.items()]


def joined(tracks: Tracks, hands: Sequence[MovingHand]) -> Tracks:
    """`tracks` with those of the fingers."""
    angles, dials = list(tracks.angles), list(tracks.dials)
    for hand in hands:
        some_angles, some_dials = finger_tracks(hand.record, hand.arm, hand.geometry, hand.settings)
        angles += some_angles
        dials += some_dials
    return replace(tracks, angles=tuple(angles), dials=tuple(dials))


def read_bones(hands: Sequence[MovingHand]) -> list[str]:
    """Bones to read for the hands."""
    return [bone for hand in hands for bone in all_skin_bones(hand.record, hand.arm, hand.geometry)]


def finger_runs(hands: Sequence[MovingHand], poses: Array) -> dict[str, FingerRun]:
    """Sampled poses (N, B, 4, 4) of `read_bones`, by arm."""
    out: dict[str, FingerRun] = {}
    for hand in hands:
        count = sum(len(finger.frames) for finger in hand.geometry.fingers)
        own, poses = poses[:, :count], poses[:, count:]
        # In no run of a proof does a planted hand roll over its knuckles while the fingers move.
        base_turn = np.zeros(len(own))
        out[hand.arm] = FingerRun(hand.geometry, hand.settings, base_turn, sorted_by_finger(hand.geometry, own))
    return out
