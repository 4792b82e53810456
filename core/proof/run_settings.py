"""What to set on an arm for a run: channels, held points and dials, frame by frame."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from .. import arm_words
from ..errors import ProofError
from ..motion.clip import for_side
from ..rotations import matrix_to_euler, swing
from ..solve.arm import solve
from ..solve.settings import ArmGeometry, ArmPose, ArmSettings
from .expected import reach_limits
from .holds import BEYOND, Reach, far_place, near_place
from .measures import arm_length, at, carried, point_with_torso, shoulder_point, turn, unit
from .plant_settings import planted, planted_settings
from .roll_settings import rolled
from .run_plan import FAR, RunSpec

Array = NDArray[np.float64]

DIALS = (
    *("ik", "elbow", "isolate", "lift", "stretch", "soft", "volume"),
    *("upper_length", "forearm_length", "upper_roll"),
    *("hand_roll", "hand_side", "hand_spin", "finger_bend"),
)
CHANNELS = ("clavicle", "upper_arm", "forearm", "hand")

# Channels of controls that a clip leaves alone, left arm, radians: a loosely bent arm, away from every zero, so that no
# defect hides in an identity.
LOOSE = {
    "clavicle": (0.05, 0.0, 0.04),
    "upper_arm": (0.30, 0.15, -0.20),
    "forearm": (0.70, 0.30, 0.05),
    "hand": (0.20, -0.10, 0.15),
}
# Held points sit off the loose arm by this, units of L, character axes of the left arm (left, back, up), so that FK and
# IK differ.
HAND_OFFSET = np.array([-0.15, -0.12, 0.20])
ELBOW_OFFSET = np.array([0.05, -0.10, 0.10])
# Distance from elbow to held hand with both held and stretch on, over the forearm's length: rest, and its range.
BOTH_REACH, BOTH_LEAST, BOTH_MOST = 1.1, 0.7, 1.35
# Like the rig's aim at rest, behind the elbow, units of L.
AIM_DISTANCE = 0.75
# Hand's distance from the shoulder while it is raised, units of the arm's dialled length.
RAISED_REACH = 0.8
# The lift moves the shoulder and the shoulder the place: a third round would move it by well under a place's room.
ROUNDS = 2


def settings_for(
    spec: RunSpec, arm: str, geometry: ArmGeometry, torso: Array, root: Array, facing: Array | None = None
) -> ArmSettings:
    """Everything to set on the arm with the id `arm` for `spec`, whose motion is the left arm's or its mirror image.

    Args:
        torso, root: (N, 4, 4), poses of the two bones over the clip as the host showed them.
        facing: (3, 3), columns are the character's left, back and up in armature space; None for +X, +Y, +Z.

    Raises ProofError where no place for a held point stays in reach, or the poses do not fit the clip.
    """
    frames = spec.clip.frames
    if torso.shape != (frames, 4, 4) or root.shape != (frames, 4, 4):
        raise ProofError(
            f"{spec.motion}: poses of torso {torso.shape} and root {root.shape}; the clip needs ({frames}, 4, 4)"
        )
    facing = np.eye(3) if facing is None else facing
    free = _free(spec, arm, geometry, torso, root)
    if spec.raised is not None:
        return _raised(spec, arm, free, geometry, facing)
    if spec.around is not None:
        return _around(spec, arm, free, geometry, facing)
    held = _held(spec, arm, free, geometry, facing)
    return held if spec.rolled is None else rolled(held, spec.rolled, geometry)


def side_of(vectors: Array, arm: str) -> Array:
    """Vectors (..., 3) of the left arm, character axes, as the arm has them: mirrored for the right."""
    return np.asarray(vectors * np.array([1.0 if arm_words.side_of(arm) == "L" else -1.0, 1.0, 1.0]))


def _free(spec: RunSpec, arm: str, geometry: ArmGeometry, torso: Array, root: Array) -> ArmSettings:
    """The run with its channels and dials and with holds still at the rest frames."""
    frames, case, side = spec.clip.frames, spec.case, arm_words.side_of(arm)
    dials = {
        name: np.full(frames, value)
        for name, value in zip(
            DIALS,
            (case.ik, case.elbow, case.isolate, case.lift, case.stretch, 0.0, 1.0, 1.0, 1.0, *[0.0] * 5),
            strict=True,
        )
    }
    dials |= {name: np.asarray(values, float) for name, values in spec.dials}
    unknown = sorted(set(dials) - set(DIALS))
    if unknown or any(values.shape != (frames,) for values in dials.values()):
        raise ProofError(
            f"{spec.motion}: {', '.join(unknown) or 'a dial'} does not fit; "
            f"give {frames} values each for dials of {', '.join(DIALS)}"
        )
    clip = spec.clip
    moved = dict(zip(CHANNELS, (clip.clavicle, clip.upper_arm, clip.forearm, clip.hand_channels), strict=True))
    channels = {
        name: for_side(values if values.any() else np.broadcast_to(LOOSE[name], (frames, 3)), side)
        for name, values in moved.items()
    }
    elbow = geometry.upper_arm.copy()
    elbow[:3, 3] = at(geometry.forearm)
    aim = at(geometry.forearm) - AIM_DISTANCE * arm_length(geometry) * geometry.upper_arm[:3, 2]
    return ArmSettings(
        torso=torso,
        root=root,
        **channels,
        hand_hold=np.broadcast_to(geometry.hand, torso.shape).copy(),
        elbow_hold=np.broadcast_to(elbow, torso.shape).copy(),
        aim=point_with_torso(geometry, torso, aim),
        **dials,
    )


def _loose(geometry: ArmGeometry, free: ArmSettings, arm: str) -> ArmPose:
    """The loosely bent FK arm of a torso at rest, one pose."""
    first = {field.name: getattr(free, field.name)[:1] for field in fields(free)}
    at_rest = {
        "torso": geometry.torso[None],
        "root": geometry.root[None],
        **{name: for_side(LOOSE[name], arm_words.side_of(arm))[None] for name in CHANNELS},
        **{name: np.zeros(1) for name in ("ik", "elbow", "isolate", "lift")},
        **{name: np.ones(1) for name in ("upper_length", "forearm_length")},
    }
    return solve(geometry, ArmSettings(**(first | at_rest)))


def _held(spec: RunSpec, arm: str, free: ArmSettings, geometry: ArmGeometry, facing: Array) -> ArmSettings:
    """`free` with holds at natural places that are in reach, or leave it."""
    loose = _loose(geometry, free, arm)
    if planted(free) and free.ik.any():
        hand = loose.wrist[0] + facing @ side_of(HAND_OFFSET, arm) * arm_length(geometry)
        return planted_settings(geometry, free, loose, hand, f"{spec.motion}: the {arm} planted hand")
    size, clip = arm_length(geometry), spec.clip
    mirror = np.diag(side_of(np.ones(3), arm))
    turned = facing @ mirror @ clip.hand_turn @ mirror @ facing.T
    hand_move, elbow_move = (side_of(moves, arm) @ facing.T * size for moves in (clip.hand, clip.elbow))
    hand_offset, elbow_offset = (facing @ side_of(offset, arm) * size for offset in (HAND_OFFSET, ELBOW_OFFSET))
    a, b = geometry.upper_length * free.upper_length, geometry.forearm_length * free.forearm_length
    nearest, furthest = reach_limits((a, b), geometry.options.fold_limit)
    options, ones = geometry.options, np.ones(clip.frames)
    shortest, longest = options.shortest * geometry.upper_length * ones, options.longest * geometry.upper_length * ones
    forward = unit(loose.wrist[0] + hand_offset - loose.elbow[0] - elbow_offset)
    # A hold that nothing obeys stays near its natural place: no place has to be in reach for it.
    elbow_obeyed, hand_obeyed = bool(free.elbow.any()), bool(free.ik.any())
    # Without lift the shoulder does not depend on the holds.
    rounds = ROUNDS if (elbow_obeyed or hand_obeyed) and free.lift.any() else 1
    settings = free
    for _ in range(rounds):
        shoulder = solve(geometry, settings).shoulder
        elbow_place = loose.elbow[0] + elbow_offset
        hand_place = loose.wrist[0] + hand_offset
        if elbow_obeyed:
            reach = Reach(shoulder, elbow_move, shortest, longest, size)
            elbow_place = near_place(reach, elbow_place, f"{spec.motion}: the {arm_words.words(arm)} elbow hold")
            if spec.reach == FAR and not hand_obeyed:
                elbow_place = far_place(reach, elbow_place)
        elbow = elbow_place + elbow_move
        if elbow_obeyed and hand_obeyed:
            hand = elbow + _from_elbow(spec, free, forward, hand_move, b, options.stretch_limit)
        else:
            if hand_obeyed:
                reach = Reach(shoulder, hand_move, nearest, furthest, size, free.aim)
                hand_place = near_place(reach, hand_place, f"{spec.motion}: the {arm_words.words(arm)} hand hold")
                if spec.reach == FAR:
                    hand_place = far_place(reach, hand_place, _beyond(options.stretch_limit))
            hand = hand_place + hand_move
        settings = replace(
            free,
            hand_hold=_frames(turned @ loose.hand[0], hand),
            elbow_hold=_frames(np.broadcast_to(loose.upper_arm[0], turned.shape), elbow),
        )
    return settings


def _from_elbow(
    spec: RunSpec, free: ArmSettings, forward: Array, moves: Array, b: Array, stretch_limit: float
) -> Array:
    """Held hand seen from the held elbow, (N, 3): at the forearm's length exactly, or with stretch in its range."""
    if (free.stretch == 0.0).all() and spec.reach != FAR:
        return unit(forward * b[:, None] + moves) * b[:, None]
    if spec.reach == FAR:
        return unit(forward * b[:, None] + moves) * (b * _beyond(stretch_limit))[:, None]
    away = forward * (BOTH_REACH * b)[:, None] + moves
    least, most = BOTH_LEAST * b, min(BOTH_MOST, stretch_limit) * b
    return np.asarray(unit(away) * np.clip(np.linalg.norm(away, axis=1), least, most)[:, None])


def _beyond(stretch_limit: float) -> float:
    """Out of reach of the plain arm, in reach of one that stretches."""
    return min(BEYOND, (1.0 + stretch_limit) / 2.0)


def _raised(spec: RunSpec, arm: str, free: ArmSettings, geometry: ArmGeometry, facing: Array) -> ArmSettings:
    """The upper arm at the elevations asked for, sideways in the torso's frame: by channels, or by what it holds."""
    assert spec.raised is not None
    angles = spec.raised
    up, back = geometry.up, facing[:, 1]
    aside = facing @ side_of(np.array([1.0, 0.0, 0.0]), arm)
    at_rest = np.sin(angles)[:, None] * aside - np.cos(angles)[:, None] * up
    moved = turn(free.torso) @ turn(geometry.torso).T
    towards = np.asarray((moved @ at_rest[..., None])[..., 0])
    shoulder = shoulder_point(geometry, free.torso)
    still = np.zeros((len(angles), 3))
    # With clavicle, torso and root at rest the arm inherits the same whatever the isolation.
    socket = carried(free.torso, geometry.torso, geometry.upper_arm)
    channels = matrix_to_euler(np.swapaxes(socket, -1, -2) @ swing(socket, towards), geometry.rotation_orders[1])
    elbow = shoulder + towards * geometry.upper_length
    front = -np.asarray((moved @ back[:, None])[..., 0])
    if spec.case.mode == "both":
        hand = elbow + front * geometry.forearm_length
    else:
        hand = shoulder + towards * (RAISED_REACH * arm_length(geometry))
    return replace(
        free,
        clavicle=still,
        upper_arm=channels,
        hand_hold=_frames(turn(free.hand_hold), hand),
        elbow_hold=_frames(turn(free.elbow_hold), elbow),
        aim=shoulder - front * arm_length(geometry),
    )


def _around(spec: RunSpec, arm: str, free: ArmSettings, geometry: ArmGeometry, facing: Array) -> ArmSettings:
    """Hand hold and aim about the torso's own shoulder point; the clavicle at rest, so that it starts from there."""
    assert spec.around is not None
    shoulder, size = shoulder_point(geometry, free.torso), arm_length(geometry)
    hand, aim = (shoulder + side_of(way, arm) @ facing.T * size for way in (spec.around.hand, spec.around.aim))
    return replace(
        free,
        clavicle=np.zeros_like(free.clavicle),
        hand_hold=_frames(turn(free.hand_hold), hand),
        aim=aim,
    )


def _frames(turns: Array, points: Array) -> Array:
    """Rigid frames (N, 4, 4) of orientations (N, 3, 3) and points (N, 3)."""
    out = np.zeros((len(points), 4, 4))
    out[:, :3, :3], out[:, :3, 3], out[:, 3, 3] = turns, points, 1.0
    return out
