"""What to set on an arm of any making for a run: where its controls are put, how they are turned, the blend's dial."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from .. import arm_words
from ..card.model import FK_CONTROLS
from ..motion.clip import for_side
from ..proof.holds import Reach, near_place
from ..proof.measures import at, turn
from ..proof.run_settings import HAND_OFFSET, LOOSE, side_of
from ..rotations import matrix_to_euler, matrix_to_quat, quat_to_matrix, swing
from .model import BEYOND, BLEND, HOLD, RAISE, ROUND, SWING, AnyArm, AnyRun

Array = NDArray[np.float64]

# Distance of a held hand from the shoulder, over the difference and the sum of the segments.
LEAST, MOST = 1.3, 0.96
# Hand out of reach, over L.
FAR = 1.2
# What an upper arm that stretches at all may be asked for, over its length.
SHORTEST, LONGEST = 0.6, 1.75
# The elbow is planted away from its rest by this turn about the shoulder, radians, at its own distance from it.
ELBOW_TURN = 0.35


@dataclass(frozen=True, eq=False)
class AnySettings:
    """Attributes:
    places: frames (N, 4, 4), or (1, 4, 4) for one that stays, of placed controls, by role.
    channels: (N, 3), or (1, 3), Euler channels of FK controls, radians, in their own orders, by role.
    hand: (N, 3), where that puts the wrist; None where the hand is not held.
    aim: (N, 3), where the elbow's aim is; None without one.
    dial: (N,), 0 to 1, of the blend; None where it does not move.
    """

    places: Mapping[str, Array] = field(default_factory=dict)
    channels: Mapping[str, Array] = field(default_factory=dict)
    hand: Array | None = None
    aim: Array | None = None
    dial: Array | None = None


def settings_for(run: AnyRun, rig: AnyArm, torso: Array) -> AnySettings:
    """Everything to set on an arm for a run, frame 0 the planted one.

    `torso` (N + 1, 4, 4): poses of the torso bone. Raises ProofError where no place for the hand stays in reach.
    """
    frames, card = len(torso), rig.card
    channels = _channels(run, rig, frames)
    places: dict[str, Array] = {}
    hand = aim = None
    if card.elbow_aim:
        aim = np.broadcast_to(at(rig.rests["elbow_aim"]), (frames, 3)).copy()
    if run.case.mode in ("elbow", "both"):
        places["elbow_hold"] = _elbow_place(run, rig, torso)
    if run.case.mode in ("hand", "both") or run.kind == BLEND:
        hand = _hand_place(run, rig, torso, places)
        places["hand_hold"] = moved(rig.rests["hand_hold"], hand - at(rig.rests["hand"]))
    if run.kind == ROUND and run.around is not None and aim is not None:
        shoulder = at(rig.rests["upper_arm"])
        hand, aim = (
            planted_first(shoulder + side_of(way, card.arm) @ rig.facing.T * rig.length)
            for way in (run.around.hand, run.around.aim)
        )
        places["hand_hold"] = moved(rig.rests["hand_hold"], hand - at(rig.rests["hand"]))
        places["elbow_aim"] = moved(rig.rests["elbow_aim"], aim - at(rig.rests["elbow_aim"]))
    dial = None
    if run.kind == BLEND:
        ramp = np.linspace(0.0, 1.0, run.clip.frames)
        dial = planted_first(ramp if run.case.mode == "none" else 1.0 - ramp)
    if hand is not None:
        hand = np.broadcast_to(hand, (frames, 3))
    return AnySettings(places, channels, hand, aim, dial)


def planted_first(values: Array) -> Array:
    """`values` (N, ...) with the first once more before them."""
    return np.concatenate([values[:1], values])


def moved(frame: Array, by: Array) -> Array:
    """A frame (4, 4) displaced by (K, 3): (K, 4, 4)."""
    out = np.tile(frame, (len(by), 1, 1))
    out[:, :3, 3] += by
    return out


def _channels(run: AnyRun, rig: AnyArm, frames: int) -> dict[str, Array]:
    """Loose bends of what the mode leaves to FK, and what the run turns."""
    card, side = rig.card, arm_words.side_of(rig.card.arm)
    free = run.case.mode == "none" or run.kind == BLEND
    roles = {
        "fk_clavicle": "clavicle",
        **({"fk_upper_arm": "upper_arm"} if free else {}),
        **({"fk_forearm": "forearm", "fk_hand": "hand"} if free or run.case.mode == "elbow" else {}),
    }
    out: dict[str, Array] = {}
    for role, name in roles.items():
        if getattr(card, role):
            out[role] = for_side(np.array([LOOSE[name]]), side)
    clip = run.clip
    if run.kind == SWING:
        turned = (clip.clavicle, clip.upper_arm, clip.forearm, clip.hand_channels)
        for role, values in zip(FK_CONTROLS, turned, strict=True):
            if role in out:
                out[role] = planted_first(for_side(values, side))
    if run.kind == HOLD and clip.clavicle.any() and card.fk_clavicle:
        # From rest: the planted frame is before the shoulder moves.
        out["fk_clavicle"] = np.concatenate([np.zeros((1, 3)), for_side(clip.clavicle, side)])
    if run.kind in (RAISE, ROUND, BEYOND):
        out.pop("fk_clavicle", None)
    if run.kind == RAISE:
        out["fk_upper_arm"] = _raised(rig, frames)
    return out


def _raised(rig: AnyArm, frames: int) -> Array:
    """Channels (N, 3) of the upper arm's control that raise it sideways, from hanging in frames 0 and 1."""
    angles = planted_first(np.linspace(0.0, np.pi, frames - 1))
    aside = rig.facing @ side_of(np.array([1.0, 0.0, 0.0]), rig.card.arm)
    towards = np.sin(angles)[:, None] * aside - np.cos(angles)[:, None] * rig.facing[:, 2]
    rest, control = turn(rig.rests["upper_arm"]), turn(rig.rests["fk_upper_arm"])
    turned = swing(np.broadcast_to(rest, (frames, 3, 3)), towards) @ rest.T
    # The host's axes are not quite square, which tells near gimbal lock: by way of quaternions they are.
    own = quat_to_matrix(matrix_to_quat(control.T @ turned @ control))
    return matrix_to_euler(own, rig.orders["fk_upper_arm"])


def _elbow_place(run: AnyRun, rig: AnyArm, torso: Array) -> Array:
    """(1, 4, 4): the elbow's control, near where the elbow goes when the upper arm swings out by ELBOW_TURN.

    Where an upper arm of SHORTEST to LONGEST of its length reaches it throughout; what does not stretch at all leaves a
    gap, which is measured.
    """
    shoulder, elbow = at(rig.rests["upper_arm"]), at(rig.rests["forearm"])
    path = _shoulder_path(rig, torso)
    least, most = (np.full(len(path), share * rig.upper_length) for share in (SHORTEST, LONGEST))
    reach = Reach(path, np.zeros_like(path), least, most, rig.length)
    natural = shoulder + _out(rig) @ (elbow - shoulder)
    place = near_place(reach, natural, f"{run.motion}: the {arm_words.words(rig.card.arm)} elbow hold")
    return moved(rig.rests["elbow_hold"], (place - elbow)[None])


def _shoulder_path(rig: AnyArm, torso: Array) -> Array:
    """Where the torso alone carries the shoulder, (N, 3)."""
    local = np.linalg.inv(torso[0]) @ np.append(at(rig.rests["upper_arm"]), 1.0)
    return np.asarray((torso @ local)[:, :3])


def _out(rig: AnyArm) -> Array:
    """A turn about the character's front to back axis that takes the arm away from the body, (3, 3)."""
    angle = ELBOW_TURN * (1.0 if arm_words.side_of(rig.card.arm) == "L" else -1.0)
    x, y, z = np.eye(3)
    # Seen from behind, from left towards up.
    plain = np.cos(angle) * np.outer(x, x) + np.cos(angle) * np.outer(z, z) + np.outer(y, y)
    plain += np.sin(angle) * (np.outer(z, x) - np.outer(x, z))
    return np.asarray(rig.facing @ plain @ rig.facing.T)


def _hand_place(run: AnyRun, rig: AnyArm, torso: Array, places: Mapping[str, Array]) -> Array:
    """(1, 3): where the wrist is planted."""
    rests, size = rig.rests, rig.length
    shoulder, wrist = at(rests["upper_arm"]), at(rests["hand"])
    if "elbow_hold" in places:
        # At the forearm's own length from the planted elbow.
        elbow = at(places["elbow_hold"])[0] - at(rests["elbow_hold"]) + at(rests["forearm"])
        turned = _out(rig) @ _out(rig) @ (wrist - at(rests["forearm"]))
        return np.asarray((elbow + turned)[None])
    if run.kind == BEYOND:
        way = wrist - shoulder
        return np.asarray((shoulder + way / np.linalg.norm(way) * size * FAR)[None])
    path = _shoulder_path(rig, torso)
    natural = wrist + rig.facing @ side_of(HAND_OFFSET, rig.card.arm) * size
    least = max(LEAST * abs(rig.upper_length - rig.forearm_length), 0.2 * size)
    ones = np.ones(len(path))
    aim = None
    if rig.card.elbow_aim:
        aim = np.broadcast_to(at(rests["elbow_aim"]), path.shape)
    reach = Reach(path, np.zeros_like(path), least * ones, MOST * size * ones, size, aim)
    place = near_place(reach, natural, f"{run.motion}: the {arm_words.words(rig.card.arm)} hand hold")
    return np.asarray(place[None])
