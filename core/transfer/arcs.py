"""One arm's settings over a clip: FK arcs that lead into holds, and the holds; each frame as the reference solver's."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from ..match.euler_paths import euler_path
from ..match.hand import placed_aim
from ..match.match import match
from ..match.nearest import Joints
from ..match.target import Target
from ..posing import rigid_inverse
from ..rotations import swing, unit
from ..solve.arm import solve, solve_parts
from ..solve.settings import ArmGeometry, ArmPose, ArmSettings
from .holds import ElbowHold, HandHold, smooth
from .mapped import MappedArm
from .together import Handover, handovers
from .turns import Turns, blended, forearm_roll

Array = NDArray[np.float64]
Rows = NDArray[np.intp]

# A factor of a length this near to 1 is 1: rest frames that the host keeps in single precision make up to 8e-7 of it.
ROUNDING = 2e-6
# Dials that a transfer keeps as they are on the rig.
KEPT = ("isolate", "stretch", "soft", "volume", "finger_bend")


@dataclass(frozen=True, eq=False)
class Run:
    """Frames `first` to `last` in one mode: `hand` and `elbow` say what is held; None for what is not."""

    first: int
    last: int
    hand: HandHold | None
    elbow: ElbowHold | None

    @property
    def rows(self) -> Rows:
        """Frames, (M,)."""
        return np.arange(self.first, self.last + 1)


@dataclass(frozen=True, eq=False)
class Arcs:
    """What one arm is to do.

    Attributes:
        settings: every frame in its mode, N frames.
        free: the same poses by FK alone, apart from the holds' effect on nothing: what a switch changes to and from.
        pose: the solver's, of `settings`.
        runs: the holds, in order of time.
        led: frames (N,) in which the arc leads into a hold or out of it.
    """

    settings: ArmSettings
    free: ArmSettings
    pose: ArmPose
    runs: tuple[Run, ...]
    led: NDArray[np.bool_]


def base_settings(geometry: ArmGeometry, torso: Array, root: Array, dials: dict[str, float]) -> ArmSettings:
    """FK at rest on poses of torso and root (N, 4, 4), every dial at its default but those of KEPT in `dials`."""
    count = len(torso)
    zero, one = np.zeros(count), np.ones(count)
    carried = torso @ rigid_inverse(geometry.torso)
    back = (
        geometry.forearm[:3, 3] - 0.75 * (geometry.upper_length + geometry.forearm_length) * geometry.upper_arm[:3, 2]
    )
    elbow = geometry.upper_arm.copy()
    elbow[:3, 3] = geometry.forearm[:3, 3]
    kept = {name: np.full(count, dials.get(name, 0.0)) for name in KEPT}
    return ArmSettings(
        torso=torso,
        root=root,
        **{name: np.zeros((count, 3)) for name in ("clavicle", "upper_arm", "forearm", "hand")},
        hand_hold=np.tile(geometry.hand, (count, 1, 1)),
        elbow_hold=np.tile(elbow, (count, 1, 1)),
        aim=carried[:, :3, :3] @ back + carried[:, :3, 3],
        ik=zero,
        elbow=zero,
        lift=zero,
        upper_length=one,
        forearm_length=one,
        upper_roll=zero,
        hand_roll=zero,
        hand_side=zero,
        hand_spin=zero,
        **kept,
    )


def runs_of(hands: list[HandHold], elbows: list[ElbowHold], count: int) -> tuple[Run, ...]:
    """Stretches of frames in which the same is held."""
    hand, elbow = np.full(count, -1), np.full(count, -1)
    for index, hold in enumerate(hands):
        hand[hold.first : hold.last + 1] = index
    for index, held in enumerate(elbows):
        elbow[held.first : held.last + 1] = index
    same = np.flatnonzero((np.diff(hand) != 0) | (np.diff(elbow) != 0)) + 1
    found = []
    for first, end in zip([0, *same], [*same, count], strict=True):
        if hand[first] >= 0 or elbow[first] >= 0:
            found.append(
                Run(
                    int(first),
                    int(end) - 1,
                    hands[hand[first]] if hand[first] >= 0 else None,
                    elbows[elbow[first]] if elbow[first] >= 0 else None,
                )
            )
    return tuple(found)


def arcs(
    geometry: ArmGeometry,
    base: ArmSettings,
    arm: MappedArm,
    turns: Turns,
    runs: tuple[Run, ...],
    goals: Array,
    blend: int,
) -> Arcs:
    """Settings of one arm that follow `turns` and hold what `runs` say.

    Args:
        base: `base_settings`.
        goals: poses (N, 4, 4) of held hands, armature space; of frames in which none is held they mean nothing.
        blend: frames over which an arc is led into a hold and out of it, fewer where two holds are nearer.
    """
    swinging = _swung(geometry, base, arm, turns)
    settings = _fk(geometry, base, swinging)
    towards = _towards(runs, len(goals))
    held = _held(geometry, settings, swinging, runs, goals, towards)
    shown = solve(geometry, held)
    met = handovers([(run.first, run.last, run.hand is not None, run.elbow is not None) for run in runs], blend)
    if met:
        turns = _handed(turns, shown, met)
        swinging = _swung(geometry, base, arm, turns)
        settings = _fk(geometry, base, swinging)
        held = _held(geometry, settings, swinging, runs, goals, _led_towards(towards, runs, shown, met))
        shown = solve(geometry, held)
    upper, fore = np.ones(len(goals)), np.ones(len(goals))
    led = np.zeros(len(goals), bool)
    turned = turns
    for rows, share, at in _leads(runs, len(goals), blend):
        delta = (
            shown.upper_arm[at] @ turns.upper_arm[at].T,
            shown.forearm[at] @ turns.forearm[at].T,
            shown.hand[at] @ turns.hand[at].T,
        )
        turned = blended(turned, rows, share, delta)
        upper[rows] += share * (shown.upper_factor[at] - 1.0)
        fore[rows] += share * (shown.forearm_factor[at] - 1.0)
        led[rows] = True
    target = _swung(geometry, base, arm, turned, upper, fore)
    in_hold = np.zeros(len(goals), bool)
    for run in runs:
        in_hold[run.rows] = True
    target = _picked(in_hold, shown, target)
    free = _fk(geometry, base, target)
    settings = _joined(geometry, held, free, target, runs, in_hold)
    return Arcs(settings, free, solve(geometry, settings), runs, led)


def _swung(
    g: ArmGeometry,
    base: ArmSettings,
    arm: MappedArm,
    turns: Turns,
    upper: Array | None = None,
    fore: Array | None = None,
) -> ArmPose:
    """The pose with the recorded directions at the rig's own lengths, times factors (N,)."""
    rest = solve(g, base)
    count = len(rest.shoulder)
    carried = base.torso @ rigid_inverse(g.torso)
    inner = carried @ g.clavicle
    wanted = np.einsum("fij,fj->fi", carried[:, :3, :3], g.upper_arm[:3, 3] + arm.rise) + carried[:, :3, 3]
    clavicle = swing(inner[:, :3, :3], wanted - inner[:, :3, 3])
    shoulder: Array = inner[:, :3, 3] + clavicle[:, :, 1] * g.clavicle_length
    upper_factor = np.ones(count) if upper is None else upper
    forearm_factor = np.ones(count) if fore is None else fore
    elbow: Array = shoulder + turns.upper_arm[:, :, 1] * (g.upper_length * upper_factor)[:, None]
    wrist: Array = elbow + turns.forearm[:, :, 1] * (g.forearm_length * forearm_factor)[:, None]
    return replace(
        rest,
        shoulder=shoulder,
        elbow=elbow,
        wrist=wrist,
        clavicle=clavicle,
        upper_arm=turns.upper_arm,
        forearm=turns.forearm,
        hand=turns.hand,
        upper_factor=upper_factor,
        forearm_factor=forearm_factor,
    )


def _fk(g: ArmGeometry, base: ArmSettings, pose: ArmPose) -> ArmSettings:
    """FK settings, channels continuous in time, that make `pose`."""
    # Asked for as a change of mode, so that the match makes every channel anew.
    made = match(g, replace(base, ik=np.ones_like(base.ik)), Target(ik=0.0, elbow=0.0), shown=pose).settings
    return replace(made, upper_length=_still(made.upper_length), forearm_length=_still(made.forearm_length))


def _still(factors: Array) -> Array:
    """Factors (N,) of a length, without the rounding around 1: a dial that stands gets no keys."""
    return np.where(np.abs(factors - 1.0) < ROUNDING, 1.0, factors)


@dataclass(frozen=True, eq=False)
class _Towards:
    """Where a held hand's elbow is led: by `share` (N,) to the side of `place` (N, 3), upper arm `factor` (N,) long."""

    share: Array
    place: Array
    factor: Array


def _towards(runs: tuple[Run, ...], count: int) -> _Towards:
    """All the way where hand and elbow are held at once."""
    share, place = np.zeros(count), np.zeros((count, 3))
    for run in runs:
        if run.elbow is not None:
            share[run.rows], place[run.rows] = 1.0, run.elbow.place
    return _Towards(share, place, np.ones(count))


def _led_towards(towards: _Towards, runs: tuple[Run, ...], shown: ArmPose, met: list[Handover]) -> _Towards:
    """Held hands' elbows on the way to an elbow's hold, and back from it."""
    share, place, factor = towards.share.copy(), towards.place.copy(), towards.factor.copy()
    for item in met:
        if item.elbow:
            share[item.rows], place[item.rows] = item.share, towards.place[item.at]
            factor[item.rows] += item.share * (shown.upper_factor[item.at] - 1.0)
    return _Towards(share, place, factor)


def _handed(turns: Turns, shown: ArmPose, met: list[Handover]) -> Turns:
    """Forearms and hands above a held elbow on the way to a hand's hold, and back from it."""
    out = turns
    for item in met:
        if item.hand:
            forearm, hand = (
                getattr(shown, name)[item.at] @ getattr(turns, name)[item.at].T for name in ("forearm", "hand")
            )
            out = blended(out, item.rows, item.share, (np.eye(3), forearm, hand))
    return out


def _held(
    g: ArmGeometry, settings: ArmSettings, swinging: ArmPose, runs: tuple[Run, ...], goals: Array, towards: _Towards
) -> ArmSettings:
    """`settings` with the holds of `runs` on their frames."""
    out = {item.name: getattr(settings, item.name).copy() for item in fields(ArmSettings)}
    for run in runs:
        rows = run.rows
        if run.elbow is not None:
            out["elbow"][rows] = 1.0
            frame = np.eye(4)
            frame[:3, 3] = run.elbow.place
            at = run.elbow.first
            reach = (run.elbow.place - swinging.shoulder[at])[None]
            frame[:3, :3] = swing(swinging.upper_arm[at][None], reach)[0]
            out["elbow_hold"][rows] = frame
        if run.hand is not None:
            out["ik"][rows], out["hand_hold"][rows] = 1.0, goals[rows]
            along = unit(goals[rows, :3, 3] - swinging.shoulder[rows])
            side = unit(np.cross(along, swinging.upper_arm[rows, :, 0]))
            side = _turned_side(side, along, towards.place[rows] - swinging.shoulder[rows], towards.share[rows])
            out["upper_length"][rows] = towards.factor[rows]
            joints = Joints(
                *(
                    getattr(swinging, name)[rows]
                    for name in ("shoulder", "elbow", "wrist", "upper_arm", "forearm", "hand")
                )
            )
            out["aim"][rows] = placed_aim(g, joints, goals[rows, :3, 3], side, settings.aim[rows])
    held = ArmSettings(**out)
    fore = held.forearm.copy()
    for run in runs:
        rows = run.rows
        if run.hand is not None:
            fore[rows, 1] = 0.0
    parts = solve_parts(g, replace(held, forearm=fore))[1]
    rests = [frame[:3, :3] for frame in (g.upper_arm, g.forearm)]
    for run in runs:
        rows = run.rows
        if run.hand is not None:
            roll = forearm_roll(g, parts.ik_forearm[rows], goals[rows, :3, :3])
            near = settings.forearm[rows[0], 1]
            fore[rows, 1] = roll + 2.0 * np.pi * np.round((near - roll[0]) / (2.0 * np.pi))
        elif run.elbow is not None:
            frame = held.elbow_hold[rows, :3, :3] @ (rests[0].T @ rests[1])
            own = np.swapaxes(frame, -1, -2) @ swinging.forearm[rows]
            fore[rows] = euler_path(own, g.rotation_orders[2], settings.forearm[rows[0]])
    return replace(held, forearm=fore)


def _turned_side(side: Array, along: Array, way: Array, share: Array) -> Array:
    """Units (M, 3) at right angles to `along`, turned about it by `share` (M,) of the angle to the side of `way`."""
    ahead = np.cross(along, side)
    angle = share * np.arctan2(np.sum(way * ahead, axis=1), np.sum(way * side, axis=1))
    return np.asarray(side * np.cos(angle)[:, None] + ahead * np.sin(angle)[:, None])


def _leads(runs: tuple[Run, ...], count: int, blend: int) -> list[tuple[Rows, Array, int]]:
    """Rows of the arcs before and after each run, by what share they turn to the run's pose at row `at`."""
    found = []
    ends = [-1, *(run.last for run in runs)]
    starts = [*(run.first for run in runs), count]
    for index, run in enumerate(runs):
        room = run.first - ends[index] - 1
        size = min(blend, room)
        if size > 0:
            step = np.arange(1, size + 1)
            found.append((run.first - step, smooth(1.0 - step / (size + 1.0)), run.first))
        size = min(blend, starts[index + 1] - run.last - 1)
        if size > 0:
            step = np.arange(1, size + 1)
            found.append((run.last + step, smooth(1.0 - step / (size + 1.0)), run.last))
    return found


def _picked(which: NDArray[np.bool_], one: ArmPose, other: ArmPose) -> ArmPose:
    """Rows of `one` where `which`, of `other` elsewhere."""
    out = {}
    for item in fields(ArmPose):
        first, second = getattr(one, item.name), getattr(other, item.name)
        out[item.name] = np.where(which.reshape(-1, *(1,) * (first.ndim - 1)), first, second)
    return ArmPose(**out)


def _joined(
    g: ArmGeometry,
    held: ArmSettings,
    free: ArmSettings,
    target: ArmPose,
    runs: tuple[Run, ...],
    in_hold: NDArray[np.bool_],
) -> ArmSettings:
    """FK where nothing is held, the holds elsewhere; between holds they wait where the next one, or the last, is."""
    out = {item.name: getattr(free, item.name).copy() for item in fields(ArmSettings)}
    for name in ("ik", "elbow", "aim", "upper_length", "forearm_length"):
        out[name][in_hold] = getattr(held, name)[in_hold]
    for run in runs:
        rows = run.rows
        if run.hand is None:
            # In the hold's frame; a held hand reads the roll alone, which is the same in both.
            start = euler_path(_forearm_in_hold(g, held, target, rows), g.rotation_orders[2], free.forearm[rows[0]])
            out["forearm"][rows] = start
        else:
            out["forearm"][rows, 1] = _wound(held.forearm[rows, 1], free.forearm[rows[0], 1])
    for name, has in (("hand_hold", "hand"), ("elbow_hold", "elbow")):
        frames = [run.rows for run in runs if getattr(run, has) is not None]
        out[name] = _waiting(getattr(held, name), np.concatenate(frames) if frames else np.zeros(0, np.intp), out[name])
    return ArmSettings(**out)


def _forearm_in_hold(g: ArmGeometry, held: ArmSettings, target: ArmPose, rows: Rows) -> Array:
    frame = held.elbow_hold[rows, :3, :3] @ (g.upper_arm[:3, :3].T @ g.forearm[:3, :3])
    return np.asarray(np.swapaxes(frame, -1, -2) @ target.forearm[rows])


def _wound(angles: Array, near: float) -> Array:
    return np.asarray(angles + 2.0 * np.pi * np.round((near - angles[0]) / (2.0 * np.pi)))


def _waiting(poses: Array, rows: Rows, rest: Array) -> Array:
    """Poses (N, 4, 4) at `rows`, and everywhere else those of the last of them before, or of the first."""
    if len(rows) == 0:
        return rest
    rows = np.sort(rows)
    place = np.maximum(np.searchsorted(rows, np.arange(len(poses)), side="right") - 1, 0)
    return np.asarray(poses[rows[place]])
