"""Match: the settings in another mode, or under other dials, that give the same pose.

Closed form (one corner of the soft reach apart, see soft.py), batched over frames. What shows the way:

- The shoulder stays where it is, lifted as it is. So every joint and orientation that the new mode is to make is known
  from the start, and the new mode's elevation with them: it sees the arm from the torso's own shoulder point and never
  asks the clavicle. The lift λ that follows is taken off the clavicle: Rl = Rc rot_x(λ), so Rc = Rl rot_x(-λ).
- The FK upper arm inherits what the clavicle and isolation then say, so its channels come last.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ..errors import MatchError
from ..rotations import angle_between, axis_matrix, euler_to_matrix, unit
from ..solve.arm import solve, solve_parts
from ..solve.plant import hold_for
from ..solve.settings import ArmGeometry, ArmPose, ArmSettings, Array
from .euler_paths import euler_near, euler_path
from .hand import match_hand, placed_aim
from .nearest import Joints, LengthLimits, bend_side, nearest_joints, picked_joints
from .target import Flags, Matched, Target, WantedDials, picked_dials, unchanged_mode, wanted_dials

# The length dials' range (docs/arm.md).
SHORTEST_DIAL = 0.25
LONGEST_DIAL = 4.0
# Errors below this (of the arm's length; radians) are rounding.
EXACT = 1e-9
# Channels whose matrices differ by less are left as they are: rounding makes up to 6.2e-15 of them (15000 random arms).
SAME_TURN = 1e-14
# A roll this near to half a turn is half a turn, radians: which way it is told as is rounding's choice otherwise.
HALF_TURN_ROOM = 1e-12


@dataclass(frozen=True)
class ArmToMatch:
    """One arm's part of a match of several."""

    geometry: ArmGeometry
    settings: ArmSettings
    target: Target


def match_arms(arms: Mapping[str, ArmToMatch], *, in_time: bool = True) -> dict[str, Matched]:
    """`match` for each arm, by the same keys; nothing is returned unless all of them can be asked for."""
    return {name: match(arm.geometry, arm.settings, arm.target, in_time=in_time) for name, arm in arms.items()}


def match(
    geometry: ArmGeometry,
    settings: ArmSettings,
    target: Target,
    *,
    in_time: bool = True,
    shown: ArmPose | None = None,
    precision: float = 0.0,
) -> Matched:
    """Settings whose pose under the target's dials is the pose of `settings`, N frames.

    Args:
        geometry: the arm.
        settings: the current state; its dials may lie in between, the pose is what `solve` makes of them.
        target: the dials wanted.
        in_time: whether the frames follow each other. Then Euler channels run on from frame to frame, and start
            nearest to the first frame's current ones; otherwise each frame is nearest to its own current ones.
        shown: the pose before, where it is known better than from `settings`: a nearly straight IK arm magnifies
            rounding, so that what a host of less precision evaluates is not what is solved here.
        precision: of who evaluates the result, a part of the arm's length; see hand.py.

    What the wanted mode does not read stays as it is; so do the holds, the aim and the length dials of frames whose
    ik, elbow, stretch and soft do not change. An elbow hold that is taken up gets the upper arm's orientation, so that
    an FK forearm keeps its channels. Where the pose can not be made, the nearest is: the wrist first (a held elbow
    before it), then the elbow, then the orientations; the errors say how far it is. An IK elbow is a hinge; what the
    upper arm has rolled against the plane of the joints, the dial `upper_roll` takes up, within half a turn either way.
    An elbow that is folded past the IK's limit is folded to the limit at its own lengths; the wrist is then off.

    Raises MatchError for a dial out of range or an in-between mode, and for a pose that is not finite.
    """
    wanted = wanted_dials(settings, target)
    same = unchanged_mode(settings, wanted)
    solved, parts = solve_parts(geometry, settings)
    before = solved if shown is None else shown
    _check_finite(before)
    joints = nearest_joints(_joints(before), _limits(geometry, settings, wanted, same, target.free_lengths))
    dialled = replace(
        settings,
        ik=wanted.ik,
        elbow=wanted.elbow,
        isolate=wanted.isolate,
        lift=wanted.lift,
        stretch=wanted.stretch,
        soft=wanted.soft,
    )
    held = _held(geometry, dialled, joints, wanted, same, settings, target.free_lengths, precision)
    # Orientations that the FK channels have to make; frames that read none keep the one they have.
    keep_fk = same | (wanted.ik == 1.0)
    fk_upper = np.where(keep_fk[:, None, None], parts.fk_upper, joints.upper_arm)
    held = _with_clavicle(geometry, held, before, fk_upper, in_time)
    held = _with_fk(geometry, held, joints, fk_upper, ~same & (wanted.ik == 0.0), in_time)
    held = _with_roll(geometry, held, joints, ~same & (wanted.ik == 1.0), in_time)
    return _measured(geometry, held, before)


def _joints(pose: ArmPose) -> Joints:
    return Joints(pose.shoulder, pose.elbow, pose.wrist, pose.upper_arm, pose.forearm, pose.hand)


def _check_finite(pose: ArmPose) -> None:
    points = np.concatenate([pose.shoulder, pose.elbow, pose.wrist], axis=-1)
    turns = np.concatenate([pose.clavicle, pose.upper_arm, pose.forearm, pose.hand], axis=-1)
    bad = np.flatnonzero(~(np.isfinite(points).all(axis=1) & np.isfinite(turns).all(axis=(1, 2))))
    if len(bad):
        raise MatchError(
            f"match: the pose at frame {bad[0]} is not defined: a hold or the aim is at the shoulder, or in line with "
            "it; move it a little"
        )


def _limits(g: ArmGeometry, s: ArmSettings, wanted: WantedDials, same: Flags, free: bool) -> LengthLimits:
    """The lengths that the wanted mode can make."""
    o = g.options
    ik, elbow = wanted.ik == 1.0, wanted.elbow == 1.0
    upper, fore = g.upper_length * s.upper_length, g.forearm_length * s.forearm_length
    most = wanted.stretch * (o.stretch_limit - 1.0)
    if free:
        low = [
            np.full_like(upper, g.upper_length * SHORTEST_DIAL),
            np.full_like(fore, g.forearm_length * SHORTEST_DIAL),
        ]
        high = [np.full_like(upper, g.upper_length * LONGEST_DIAL), np.full_like(fore, g.forearm_length * LONGEST_DIAL)]
    else:
        # A free IK elbow is left to the IK, which points the arm at its hand by itself.
        open_ik = ik & ~elbow
        low = [np.where(open_ik, 0.0, upper), np.where(ik, fore * (1.0 - wanted.stretch * (1.0 - o.shortest)), fore)]
        high = [np.where(open_ik, np.inf, upper), np.where(ik, fore * (1.0 + most), fore)]
        low[1], high[1] = np.where(open_ik, 0.0, low[1]), np.where(open_ik, np.inf, high[1])
    low[0] = np.where(elbow, o.shortest * g.upper_length, low[0])
    high[0] = np.where(elbow, o.longest * g.upper_length, high[0])
    low = [np.where(same, 0.0, values) for values in low]
    high = [np.where(same, np.inf, values) for values in high]
    return LengthLimits(low[0], high[0], low[1], high[1], elbow_first=elbow)


def _held(
    g: ArmGeometry,
    dialled: ArmSettings,
    joints: Joints,
    wanted: WantedDials,
    same: Flags,
    before: ArmSettings,
    free: bool,
    precision: float,
) -> ArmSettings:
    """Holds, aim and length dials."""
    ik, elbow = ~same & (wanted.ik == 1.0), ~same & (wanted.elbow == 1.0)
    fk_lengths, both = ~same & (wanted.ik == 0.0), ik & elbow
    upper, fore = joints.upper_length, joints.forearm_length

    hand_hold = before.hand_hold.copy()
    hand_hold[ik, :3, :3], hand_hold[ik, :3, 3] = joints.hand[ik], joints.wrist[ik]
    aim = before.aim.copy()
    dial_upper, dial_fore = g.upper_length * before.upper_length, g.forearm_length * before.forearm_length
    if free:
        dial_upper = np.where(both | (fk_lengths & ~elbow), upper, dial_upper)
        dial_fore = np.where(both | fk_lengths, fore, dial_fore)
    lone = ik & ~elbow
    if lone.any():
        with np.errstate(invalid="ignore", divide="ignore"):
            hand = match_hand(
                g, picked_joints(joints, lone), picked_dials(wanted, lone), before.aim[lone], free, precision
            )
        aim[lone], hand_hold[lone, :3, 3] = hand.aim, hand.hold
        if free:
            dial_upper[lone], dial_fore[lone] = hand.upper, hand.forearm
    if both.any():
        with np.errstate(invalid="ignore", divide="ignore"):
            some = picked_joints(joints, both)
            # In the plane of the joints, like a lone hand's: an arm bent by its hinge then needs no roll.
            side = bend_side(some, unit(some.wrist - some.shoulder), precision)
            aim[both] = placed_aim(g, some, some.wrist, side, before.aim[both])
    # Until here it is where the hand is to be; the hold is what a planted hand rolls from.
    hand_hold[ik] = hold_for(g, before, hand_hold)[ik]

    elbow_hold = before.elbow_hold.copy()
    # An elbow that is held already keeps its hold, out of reach or not: the arm points at it in every mode.
    fresh = elbow & (before.elbow != 1.0)
    elbow_hold[fresh, :3, :3] = joints.upper_arm[fresh]
    elbow_hold[fresh, :3, 3] = joints.elbow[fresh]
    return replace(
        dialled,
        hand_hold=hand_hold,
        elbow_hold=elbow_hold,
        aim=aim,
        upper_length=_dial(dial_upper / g.upper_length, before.upper_length),
        forearm_length=_dial(dial_fore / g.forearm_length, before.forearm_length),
    )


def _dial(values: Array, current: Array) -> Array:
    """Length dials within their range; as they are where only rounding would change them."""
    same = np.abs(values - current) < 4.0 * np.finfo(float).eps * current
    return np.where(same, current, np.clip(values, SHORTEST_DIAL, LONGEST_DIAL))


def _with_clavicle(g: ArmGeometry, held: ArmSettings, before: ArmPose, fk_upper: Array, in_time: bool) -> ArmSettings:
    """Clavicle channels that keep the lifted clavicle, and with it the shoulder, where it was.

    The elevation does not depend on the clavicle once the FK upper arm's orientation is given: isolated, it does not
    inherit it, so that `solve` tells the lift before the clavicle is known.
    """
    isolated = replace(held, isolate=np.ones_like(held.isolate), upper_arm=np.zeros_like(held.upper_arm))
    level = solve_parts(g, isolated)[1].fk_upper
    isolated = replace(
        isolated, upper_arm=euler_near(_turned_back(level, fk_upper), g.rotation_orders[1], held.upper_arm)
    )
    lift = solve(g, isolated).lift
    control = before.clavicle @ axis_matrix("X", -lift)
    inherited = held.torso[:, :3, :3] @ (g.torso[:3, :3].T @ g.clavicle[:3, :3])
    channels = _channels(_turned_back(inherited, control), g.rotation_orders[0], held.clavicle, in_time)
    return replace(held, clavicle=channels)


def _with_fk(
    g: ArmGeometry, held: ArmSettings, joints: Joints, fk_upper: Array, made: Flags, in_time: bool
) -> ArmSettings:
    """FK channels: the upper arm's for all frames, forearm's and hand's for frames that FK makes (`made`, (N,))."""
    orders = g.rotation_orders
    rests = [frame[:3, :3] for frame in (g.upper_arm, g.forearm, g.hand)]
    socket = solve_parts(g, replace(held, upper_arm=np.zeros_like(held.upper_arm)))[1].fk_upper
    upper = _channels(_turned_back(socket, fk_upper), orders[1], held.upper_arm, in_time)

    frame: Array = np.where((held.elbow == 1.0)[:, None, None], held.elbow_hold[:, :3, :3], fk_upper)
    forearm = _turned_back(frame @ (rests[0].T @ rests[1]), joints.forearm)
    hand = _turned_back(joints.forearm @ (rests[1].T @ rests[2]), joints.hand)
    turned = made[:, None, None]
    forearm = np.where(turned, forearm, euler_to_matrix(held.forearm, orders[2]))
    hand = np.where(turned, hand, euler_to_matrix(held.hand, orders[3]))
    return replace(
        held,
        upper_arm=upper,
        forearm=_channels(forearm, orders[2], held.forearm, in_time),
        hand=_channels(hand, orders[3], held.hand, in_time),
    )


def _with_roll(g: ArmGeometry, held: ArmSettings, joints: Joints, made: Flags, in_time: bool) -> ArmSettings:
    """IK's rolls (docs/arm.md, 6 and 10), the upper arm's dial and the forearm's channel, for frames that it makes.

    Each turns a segment about its own axis, so it is the turn about Y that is nearest to what is missing. The forearm
    has the upper arm's roll already.
    """
    if not made.any():
        return held
    level = held.forearm.copy()
    level[made, 1] = 0.0
    parts = solve_parts(g, replace(held, forearm=level, upper_roll=np.where(made, 0.0, held.upper_roll)))[1]
    upper = _about_y(_turned_back(parts.held_ik_upper, joints.upper_arm))
    half = np.abs(np.abs(upper) - np.pi) < HALF_TURN_ROOM
    upper = np.where(half, np.copysign(np.pi, held.upper_roll), upper)
    upper = np.where(made & (np.abs(upper - held.upper_roll) > SAME_TURN), upper, held.upper_roll)

    roll = _about_y(_turned_back(parts.ik_forearm, joints.forearm)) - upper
    current = held.forearm[:, 1]
    roll = np.unwrap(roll) if in_time else roll
    roll += 2.0 * np.pi * np.round((current[:1] - roll[:1] if in_time else current - roll) / (2.0 * np.pi))
    forearm = held.forearm.copy()
    forearm[:, 1] = np.where(made & (np.abs(roll - current) > SAME_TURN), roll, current)
    return replace(held, forearm=forearm, upper_roll=upper)


def _about_y(turns: Array) -> Array:
    """Angles (N,) of the turns about Y that are nearest to `turns` (N, 3, 3)."""
    return np.asarray(np.arctan2(turns[:, 0, 2] - turns[:, 2, 0], turns[:, 0, 0] + turns[:, 2, 2]))


def _channels(turns: Array, order: str, current: Array, in_time: bool) -> Array:
    """Euler channels (N, 3) of `turns` (N, 3, 3); the current ones if all of them say the same already."""
    if len(turns) == 0 or np.abs(euler_to_matrix(current, order) - turns).max() < SAME_TURN:
        return current.copy()
    return euler_path(turns, order, current[0]) if in_time else euler_near(turns, order, current)


def _turned_back(outer: Array, inner: Array) -> Array:
    """`inner` (N, 3, 3) as seen from `outer` (N, 3, 3)."""
    return np.asarray(np.swapaxes(outer, -1, -2) @ inner)


def _measured(g: ArmGeometry, settings: ArmSettings, before: ArmPose) -> Matched:
    after = solve(g, settings)
    points, turns = ("shoulder", "elbow", "wrist"), ("clavicle", "upper_arm", "forearm", "hand")
    gaps = [np.linalg.norm(getattr(after, name) - getattr(before, name), axis=-1) for name in points]
    angles = [angle_between(getattr(after, name), getattr(before, name)) for name in turns]
    position, angle = np.max(gaps, axis=0), np.max(angles, axis=0)
    size = g.upper_length + g.forearm_length
    return Matched(settings, position, angle, exact=(position < EXACT * size) & (angle < EXACT))
