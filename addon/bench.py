"""Measurements behind `bench`. Times are medians of repeats that take turns; only ratios are judged."""

from __future__ import annotations

import functools
import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.arm.build import plan_arms
from ..core.arm.names import IK
from ..core.arm.torso import add_torso
from ..core.frames import arm_frames
from ..core.guide import Guide
from ..core.options import ArmOptions
from ..core.plan.draft import Draft
from ..core.plan.model import Plan
from ..core.posing import chain_poses, rigid_inverse
from ..core.stature import guide_from_stature
from ..core.tracks import DialTrack, PoseTrack, Tracks
from . import (
    bench_fingers,
    bench_many,
    bench_native,
    bench_solver,
    bench_switch,
    build,
    host,
    prove_runs,
    remove,
    sample,
    subjects,
)
from .bench_stage import alone, create_bare, play
from .curves import new_action, write_curve

Array = NDArray[np.float64]

STATURE = 1.7
TORSO_TURN = 0.3
REACH_TURN = 0.6
REACH_TRAVEL = 0.1


@dataclass(frozen=True)
class Row:
    """One figure: `sign` is "<=" or ">=" against `target`; None for a figure without one."""

    what: str
    value: float
    sign: str = "<="
    target: float | None = None
    note: str = ""

    @property
    def reached(self) -> bool:
        """Whether the target is met."""
        if self.target is None:
            return True
        return self.value <= self.target if self.sign == "<=" else self.value >= self.target

    def as_dict(self) -> dict[str, object]:
        """For JSON."""
        return {**asdict(self), "reached": self.reached}


def measure(effort: float = 1.0) -> list[Row]:
    """Every figure. `effort` scales the number of repetitions."""
    rows = [*_exactness(max(200, int(10_000 * effort)))]
    rows += _evaluation(max(3, int(15 * effort)))
    _fresh()
    rows += bench_many.rows(_guide(2), alternate, max(3, int(7 * effort)), Row)
    _fresh()
    rows += bench_fingers.rows(_guide(1), alternate, max(3, int(15 * effort)), Row)
    rows += bench_solver.rows(effort, Row)
    rows += _building(max(3, int(9 * effort)))
    rows += _proof_rate(effort)
    _fresh()
    rows += bench_switch.rows(build.build_new(plan_arms(_guide(2), ArmOptions()), "Wren"), Row)
    return rows


def alternate(jobs: Sequence[Callable[[], None]], repeats: int) -> list[float]:
    """Median seconds of each job; the jobs take turns, so that a slow moment of the machine hits all of them."""
    times: list[list[float]] = [[] for _ in jobs]
    for _ in range(repeats):
        for job, kept in zip(jobs, times, strict=True):
            start = time.perf_counter()
            job()
            kept.append(time.perf_counter() - start)
    return [statistics.median(kept) for kept in times]


def _fresh() -> None:
    bpy.ops.wm.read_factory_settings(use_empty=True)


def _guide(arms: int = 2) -> Guide:
    whole = guide_from_stature(STATURE, "Wren")
    return Guide(whole.name, whole.arms[:arms], whole.torso, whole.up, whole.front)


def _torso_plan(guide: Guide) -> Plan:
    draft = Draft()
    assert guide.torso is not None
    torso, root, _ = add_torso(draft, guide.torso, guide.up, guide.front)
    return draft.plan(guide.name, torso, root, "", "")


def _native(name: str) -> bpy.types.Object:
    guide = _guide(1)
    plan = _torso_plan(guide)
    armature = build.build_new(plan, name)
    bench_native.build_native(armature, arm_frames(guide.arms[0], guide.up), plan.torso)
    return armature


def _exactness(poses: int) -> list[Row]:
    """A held hand under random torso poses in reach: ours over the native constraint's."""
    _fresh()
    rng = np.random.default_rng(1)
    guide = _guide(1)
    frames = arm_frames(guide.arms[0], guide.up)
    ours = build.build_new(plan_arms(guide, ArmOptions()), "ours")
    native = _native("native")
    length = frames.length
    torso = _torso_plan(guide).torso
    shoulder = frames.upper_arm[:3, 3]
    target = np.eye(4)
    target[:3, :3], target[:3, 3] = frames.hand[:3, :3], shoulder + length * np.array([0.35, -0.35, -0.3])
    kept: list[tuple[Array, Array]] = []
    while len(kept) < poses:
        turn = rng.uniform(-REACH_TURN, REACH_TURN, 3)
        travel = rng.uniform(-REACH_TRAVEL, REACH_TRAVEL, 3)
        pose = _torso_pose(ours, torso, turn, travel)
        moved = pose @ rigid_inverse(host.rest_matrix(ours.data.bones[torso])) @ np.append(shoulder, 1.0)
        if 0.3 * length < np.linalg.norm(target[:3, 3] - moved[:3]) < 0.97 * length:
            kept.append((turn, travel))
    errors = [
        _hold_error(ours, torso, kept, target, "hold.hand.L", "skin.hand.L", "fk.clavicle.L"),
        _hold_error(native, torso, kept, target, bench_native.TARGET, "n.end.hand", bench_native.CONTROL),
    ]
    worst, native_worst = (float(error.max()) / length for error in errors)
    return [
        Row(f"held hand, {poses} torso poses in reach: worst slide, arm lengths", worst, "<=", 2e-6),
        Row("the same on the native IK constraint, arm lengths", native_worst),
        Row("slide of the native constraint over ours", native_worst / worst, ">=", 50.0),
    ]


def _torso_pose(armature: bpy.types.Object, torso: str, turn: Array, travel: Array) -> Array:
    from mathutils import Euler

    rest = host.rest_matrix(armature.data.bones[torso])
    matrix = np.eye(4)
    matrix[:3, :3] = np.array(Euler(turn).to_matrix())
    return chain_poses(rest[None], matrix[None, None, :3, :3], travel[None])[0, 0]


def _hold_error(
    armature: bpy.types.Object,
    torso: str,
    kept: Sequence[tuple[Array, Array]],
    target: Array,
    hold: str,
    hand: str,
    dials: str,
) -> Array:
    count = len(kept)
    poses = np.array([_torso_pose(armature, torso, turn, travel) for turn, travel in kept])
    tracks = Tracks(
        count,
        (PoseTrack(torso, poses), PoseTrack(hold, np.broadcast_to(target, (count, 4, 4)))),
        (),
        (DialTrack(dials, IK, np.ones(count)),),
    )
    with sample.borrowed(armature) as stage:
        sampled = sample.step(stage, tracks, [hand])
    return np.linalg.norm(sampled.poses[:, 0, :3, 3] - target[:3, 3], axis=1)


def _evaluation(repeats: int) -> list[Row]:
    """Cost of a full arm over a native arm on the same joints: playing keyed frames, and posing by hand."""
    _fresh()
    ours = build.build_new(plan_arms(_guide(1), ArmOptions()), "ours")
    native = _native("native")
    bare = build.build_new(_torso_plan(_guide(1)), "bare")
    scenes = [alone(item) for item in (ours, native, bare)]
    torso = _torso_plan(_guide(1)).torso
    turns = np.random.default_rng(2).uniform(-TORSO_TURN, TORSO_TURN, (300, 3))
    rows = []
    for ik in (0.0, 1.0):
        ours.pose.bones["fk.clavicle.L"][IK] = ik
        native.pose.bones[bench_native.CONTROL][IK] = ik
        for item in (ours, native, bare):
            item.update_tag()
            _key_turns(item, torso, turns)
        jobs = [functools.partial(play, scene, len(turns)) for scene in scenes]
        for job in jobs:
            job()
        mine, theirs, nothing = alternate(jobs, repeats)
        mode = "IK" if ik else "FK"
        rows.append(Row(f"playing a full arm over a native arm, {mode}", mine / theirs, "<=", 1.5))
        rows.append(Row(f"the same without the torso's own cost, {mode}", (mine - nothing) / (theirs - nothing)))
    for item in (ours, native, bare):
        item.animation_data.action = None
    jobs = [
        functools.partial(_pose, item, scene, torso, turns)
        for item, scene in zip((ours, native, bare), scenes, strict=True)
    ]
    for job in jobs:
        job()
    mine, theirs, _ = alternate(jobs, repeats)
    rows.append(
        Row(
            "posing by hand: a full arm over a native arm, IK",
            mine / theirs,
            note="the host copies the whole rig first",
        )
    )
    return rows


def _key_turns(item: bpy.types.Object, torso: str, turns: Array) -> None:
    _, curves = new_action(item, "turns")
    for index, column in enumerate(turns.T):
        write_curve(curves, f'pose.bones["{torso}"].rotation_euler', index, np.arange(len(turns)) + 1.0, column)


def _pose(item: bpy.types.Object, scene: bpy.types.Scene, torso: str, turns: Array) -> None:
    bone, layer = item.pose.bones[torso], scene.view_layers[0]
    for turn in turns:
        bone.rotation_euler = turn
        layer.update()


def _building(repeats: int) -> list[Row]:
    """Building both arms over bare bones of the same number and names."""
    _fresh()
    guide = _guide(2)
    plan = plan_arms(guide, ArmOptions())

    def bare() -> None:
        before = remove.snapshot_file()
        create_bare(plan)
        remove.roll_back_file(before)

    def whole() -> None:
        before = remove.snapshot_file()
        build.build_new(plan_arms(guide, ArmOptions()), "whole")
        remove.roll_back_file(before)

    mine, theirs = alternate([whole, bare], repeats)
    return [
        Row("building both arms, seconds", mine, "<=", 0.5),
        Row("building both arms over creating the bare bones", mine / theirs, "<=", 3.0),
    ]


def _proof_rate(effort: float) -> list[Row]:
    """Frames a second of a proof's matrix, everything included, over the host stepping the same keyed frames.

    All corners of modes and dials under all motions, both arms, 240 frames each; a part of them for less effort.
    """
    _fresh()
    armature = build.build_new(plan_arms(_guide(2), ArmOptions()), "Wren")
    subject = subjects.subject_of(armature)
    from ..core.proof import verdicts
    from ..core.proof.run_plan import WIGGLE_FRAMES, planned_runs, standard_motions

    motions = standard_motions(sweep=WIGGLE_FRAMES)
    names = {clip.name for clip in motions}
    matrix = [spec for spec in planned_runs(motions) if spec.motion in names]
    runs = matrix[:: max(1, round(1.0 / min(effort, 1.0)))]
    proof_seconds = host_seconds = 0.0
    with sample.borrowed(armature) as stage:
        for spec in runs:
            start = time.perf_counter()
            for arm_run in prove_runs.run(subject, spec, stage):
                verdicts.checks(spec, arm_run)
            proof_seconds += time.perf_counter() - start
            host_seconds += _step_alone(stage, prove_runs.tracks_of(subject, spec)[0])
    frames = sum(spec.clip.frames for spec in runs)
    return [
        Row("proof, frames a second", frames / proof_seconds),
        Row("proof's rate over the host's own stepping of the same frames", host_seconds / proof_seconds, ">=", 0.5),
    ]


def _step_alone(stage: sample.Stage, tracks: Tracks) -> float:
    """Seconds that the host takes to step the same keyed frames when nobody reads them."""
    armature = stage.armature
    action, curves = new_action(armature, "alone")
    sample.write_tracks(armature, tracks, curves)
    start = time.perf_counter()
    play(stage.scene, tracks.frames)
    seconds = time.perf_counter() - start
    armature.animation_data.action = None
    bpy.data.actions.remove(action)
    return seconds
