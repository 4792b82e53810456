"""From an arm's settings over a clip to the channels that get keys, and where; and what carries its holds."""

from __future__ import annotations

from dataclasses import dataclass

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from ..core.match.euler_paths import euler_path
from ..core.match.reduce import kept_frames
from ..core.match.spaces import hold_channels
from ..core.posing import rigid_inverse, unscaled_basis
from ..core.study.phases import WORLD
from ..core.transfer.arcs import Arcs
from . import arm_state, host, spaces
from .arm_state import Channel
from .convert_write import Track
from .subjects import DIAL_FIELDS, FK_ROLES, Subject

Array = NDArray[np.float64]
Rows = NDArray[np.intp]
Mask = NDArray[np.bool_]

# With the fewest keys each channel may be off by this part of the tolerance. A wrist adds up at most the torso's three
# angles at 2.5 L, clavicle, upper arm and forearm's at 3 L together, and three of a location:
# sqrt(3) (5.5 / 14 + 1 / 7) < 1.
ANGLE_PART, LOCATION_PART = 1.0 / 14.0, 1.0 / 7.0


@dataclass(frozen=True, eq=False)
class Fewest:
    """The least keys that keep joints within `tolerance`, metres, on arms of `length`, metres.

    `edges`: rows, in order, before which a hold of any arm begins or ends. Every channel has a key on either side of
    each, as every switch has, so that the switch is exact.
    """

    tolerance: float
    length: float
    edges: Rows


def edges_of(solved: dict[str, Arcs]) -> Rows:
    """Rows at which a hold of any arm begins, and those after one has ended."""
    return np.unique([row for one in solved.values() for run in one.runs for row in (run.first, run.last + 1)]).astype(
        np.intp
    )


def torso_tracks(subject: Subject, chain: Array, parent: Array, fewest: Fewest | None) -> list[Track]:
    """Channels of the chain's bones for poses `chain` (N, K, 4, 4) under `parent` (N, 4, 4), armature space."""
    bones, out = subject.armature.pose.bones, []
    carrier = parent
    for place, name in enumerate(subject.chain):
        bone = bones[name]
        basis = unscaled_basis(carrier, host.rest_in_parent(bone.bone), chain[:, place])
        parts = ["rotation"] if place else ["location", "rotation"]
        out += [_placed(bone, basis, part, np.arange(len(basis)), False, fewest) for part in parts]
        carrier = chain[:, place]
    return out


def arm_tracks(
    subject: Subject,
    arm: str,
    arcs: Arcs,
    hands: dict[str, Array],
    fewest: Fewest | None,
    constraints: dict[str, str],
) -> list[Track]:
    """Channels of one arm.

    Args:
        hands: poses (N, 4, 4) of the other arms' hands, armature space.
        fewest: None for a key on every frame.
        constraints: the space's constraint by the id of the arm that is held on to.
    """
    record, bones, s = subject.record, subject.armature.pose.bones, arcs.settings
    count = len(s.ik)
    every = np.arange(count)
    hand_runs = [run for run in arcs.runs if run.hand is not None]
    inside, elbow = s.ik == 1.0, s.elbow == 1.0
    edges = np.unique([row for run in hand_runs for row in (run.first, run.last)]).astype(np.intp)
    out = []
    for role, field in FK_ROLES.items():
        rows = every
        if role in arm_state.UNREAD_IN_IK:
            rows = np.unique(np.concatenate([np.flatnonzero(~inside), edges]))
        # A held elbow's forearm turns in another frame: its channels step there.
        stepped = _before_change(elbow) if role == "fk_forearm" else np.zeros(count, bool)
        out.append(_track(Channel(record.bone(arm, role), "rotation_euler"), getattr(s, field), rows, stepped, fewest))
    for hold, poses, which, rolls in (
        ("hand", s.hand_hold, inside, _rolls(arcs, count)),
        ("elbow", s.elbow_hold, elbow, np.zeros(count, bool)),
    ):
        out += _hold_tracks(subject, arm, hold, poses, which, rolls, arcs, hands, constraints)
    if inside.any():
        aim = bones[record.bone(arm, "elbow_aim")]
        frames = np.tile(np.eye(4), (count, 1, 1))
        frames[:, :3, 3] = s.aim
        basis = unscaled_basis(s.torso, host.rest_in_parent(aim.bone), frames)
        ends = _before_change(inside)
        out.append(_track(Channel(aim.name, "location"), basis[:, :3, 3], np.flatnonzero(inside), ends, fewest))
    dials = record.bone(arm, "dials")
    for key, field in DIAL_FIELDS.items():
        rows_of = np.asarray(getattr(s, field))[:, None]
        out.append(Track(Channel(dials, f'["{key}"]'), rows_of, _steps(rows_of), True))
    return out


def carriers(subject: Subject, arm: str, hold: str, arcs: Arcs, hands: dict[str, Array]) -> Array:
    """Poses (N, 4, 4) of what carries a hold, armature space: the world, or another hand while it is held on to."""
    rest = host.rest_matrix(spaces.space_bone(subject, arm, hold).bone)
    out = np.tile(rest, (len(arcs.settings.ik), 1, 1))
    for run in arcs.runs:
        if hold == "hand" and run.hand is not None and run.hand.on != WORLD:
            other = subject.geometries[run.hand.on].hand
            out[run.rows] = hands[run.hand.on][run.rows] @ (rigid_inverse(other) @ rest)
    return out


def _hold_tracks(
    subject: Subject,
    arm: str,
    hold: str,
    poses: Array,
    which: Mask,
    rolls: Mask,
    arcs: Arcs,
    hands: dict[str, Array],
    constraints: dict[str, str],
) -> list[Track]:
    """The hold's place, and what carries it, where it holds; between two keys it stands."""
    carrier, count = spaces.space_bone(subject, arm, hold), len(which)
    out = []
    for item in carrier.constraints:
        if item.type not in spaces.KINDS:
            continue
        rows = np.zeros((count, 1))
        for run in arcs.runs:
            if hold == "hand" and run.hand is not None and constraints.get(run.hand.on) == item.name:
                rows[run.rows] = 1.0
        out.append(Track(spaces.influence(carrier, item.name), rows, _steps(rows), True))
    if not which.any():
        return out
    bone = spaces.hold_bone(subject, arm, hold)
    basis = unscaled_basis(carriers(subject, arm, hold, arcs, hands), host.rest_in_parent(bone.bone), poses)
    values = np.concatenate([basis[:, :3, 3], basis[:, :3, :3].reshape(count, 9)], axis=1)
    changes = np.flatnonzero(np.any(np.diff(values, axis=0) != 0.0, axis=1))
    held = np.flatnonzero(which)
    runs = [row for run in arcs.runs for row in (run.first, run.last)]
    kept = np.unique([*np.intersect1d(held, [*runs, *changes, *(changes + 1)]), held[0], held[-1]]).astype(np.intp)
    stepped = ~(rolls & np.append(rolls[1:], False))
    return out + [_placed(bone, basis, part, kept, stepped, None) for part in ("location", "rotation")]


def _placed(
    bone: bpy.types.PoseBone, basis: Array, part: str, rows: Rows, stepped: bool | Mask, fewest: Fewest | None
) -> Track:
    """Location or rotation of a bone's own transforms (N, 4, 4), in its own rotation mode."""
    if part == "location":
        return _track(Channel(bone.name, "location"), basis[:, :3, 3], rows, stepped, fewest)
    path = arm_state.rotation_path(bone)
    if path == "rotation_axis_angle":
        raise HostError(f"{bone.name!r} turns by axis and angle: set its rotation mode to Quaternion")
    if path == "rotation_quaternion":
        values = hold_channels(basis, np.array(bone.rotation_quaternion, float))[1]
    else:
        values = euler_path(basis[:, :3, :3], bone.rotation_mode, np.array(bone.rotation_euler, float))
    return _track(Channel(bone.name, path), values, rows, stepped, fewest)


def _track(channel: Channel, values: Array, rows: Rows, stepped: bool | Mask, fewest: Fewest | None) -> Track:
    flags = np.full(len(values), stepped) if isinstance(stepped, bool) else stepped
    if fewest is None or len(rows) < 3:
        return Track(channel, values, rows, flags)
    within = LOCATION_PART if channel.path == "location" else ANGLE_PART / fewest.length
    limit = fewest.tolerance * within
    limit *= 0.5 if channel.path == "rotation_quaternion" else 1.0
    # Keys stay where rows are left out, where the curve steps, and on both sides of a switch.
    cuts = np.flatnonzero((np.diff(rows) > 1) | flags[rows[:-1]] | np.isin(rows[1:], fewest.edges)) + 1
    kept = [part[kept_frames(values[part], limit)] for part in np.split(rows, cuts) if len(part)]
    return Track(channel, values, np.concatenate(kept), flags)


def _rolls(arcs: Arcs, count: int) -> Mask:
    out = np.zeros(count, bool)
    for run in arcs.runs:
        if run.hand is not None:
            out[run.rows] = run.hand.rolls[run.rows - run.hand.first]
    return out


def _before_change(flags: Mask) -> Mask:
    return np.append(flags[1:] != flags[:-1], False)


def _steps(rows: Array) -> Rows:
    changes = np.flatnonzero(np.any(np.diff(rows, axis=0) != 0.0, axis=1)) + 1
    return np.unique([0, *changes, len(rows) - 1])
