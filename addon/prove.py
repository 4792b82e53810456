"""Runs a proof in the host: plays its runs, makes its changes, and hands what the rig showed to the measures."""

from __future__ import annotations

import hashlib
import platform
import time
from collections.abc import Callable, Generator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..core.motion.bvh import read_bvh
from ..core.motion.clip import Clip
from ..core.motion.recorded import recorded_clip
from ..core.pace import UNBROKEN, Pace, told
from ..core.proof import verdicts
from ..core.proof.order_margin import order_margins
from ..core.proof.results import Check, MadeWith, Results, Trace
from ..core.proof.run_plan import RunSpec, evaluated_frames, planning_runs, standard_motions
from ..core.version import ARMWRIGHT
from . import findings, host, prove_switch, sample
from .prove_runs import playing
from .subjects import Subject

Array = NDArray[np.float64]

# The same bound as the wiggle's, arm lengths.
RECORDED_TRAVEL = 0.15


@dataclass(frozen=True)
class Progress:
    """How far a proof is: frames done of all, and what runs."""

    done: int
    total: int
    what: str


def made_with(name: str = "", recording: bytes = b"") -> MadeWith:
    """The versions at work, and the recorded motion's file by its name and bytes, if there is one."""
    return MadeWith(
        armwright=ARMWRIGHT,
        python=platform.python_version(),
        numpy=np.__version__,
        recorded=name,
        recorded_digest=hashlib.sha256(recording).hexdigest() if name else "",
    )


@dataclass(frozen=True)
class Scope:
    """What a proof looks at.

    Attributes:
        motions: whose rotation orders are looked at.
        runs: what is played, on all arms at once.
        switching: arms whose changes of what is held are made.
        middle: the motion in whose middle they are made.
        is_asked: whether a check counts; the others are dropped.
    """

    motions: tuple[Clip, ...]
    runs: tuple[RunSpec, ...]
    switching: tuple[str, ...]
    middle: Clip
    is_asked: Callable[[Check], bool] = lambda check: True


def planning(subject: Subject, recorded: Clip | None, seed: int, pace: Pace) -> Generator[Progress, None, Scope]:
    """Everything, in steps that may be left where a turn of `pace` is over."""
    motions = standard_motions(seed, recorded)
    if pace.due():
        yield Progress(0, 1, "planning")
    runs = []
    for run in planning_runs(motions):
        runs.append(run)
        if pace.due():
            yield Progress(0, 1, "planning")
    return Scope(motions, tuple(runs), subject.arms, recorded or motions[0])


def prove(
    subject: Subject,
    recorded: Clip | None = None,
    seed: int = 1,
    made: MadeWith | None = None,
    scope: Scope | None = None,
    pace: Pace = UNBROKEN,
) -> Generator[Progress | Results, None, None]:
    """Run a proof: progress after each run, the results last; the file is as before whenever it ends.

    `made` is what the results say that they were made with; None for no recording. `scope` is what to look at; None
    for everything, with `recorded` as one of the motions. Within a run it yields its progress as well wherever a turn
    of `pace` is over.
    """
    if scope is None:
        scope = yield from planning(subject, recorded, seed, pace)
    motions, runs = scope.motions, scope.runs
    frames, done = evaluated_frames(runs), 0
    total = frames + prove_switch.most_changes(subject, scope.switching)
    found: list[Check] = [
        check for arm in subject.arms for check in verdicts.not_applicable(arm) if scope.is_asked(check)
    ]
    traces: tuple[Trace, ...] = ()
    seconds = 0.0
    lengths = [item.upper_length + item.forearm_length for item in subject.geometries.values()]
    wrong = findings.findings_of(subject.armature, float(np.mean(lengths)))
    with sample.borrowed(subject.armature) as stage:
        for spec in runs:
            what = f"{spec.motion}, {spec.case.mode}"

            def tell(frames: int, before: int = done, what: str = what) -> Progress:
                return Progress(before + frames, total, what)

            start, away = time.perf_counter(), pace.away
            played = yield from told(playing(subject, spec, stage, pace), pace, tell)
            seconds += time.perf_counter() - start - (pace.away - away)
            for arm_run in played.runs:
                checks, kept = yield from told(verdicts.checking(spec, arm_run), pace, tell)
                checks, kept = _asked(scope, checks, kept)
                found += checks
                traces = verdicts.keep((*traces, *kept), found)
            done += spec.clip.frames
            yield Progress(done, total, what)
        pending: tuple[Trace, ...] = ()
        for change in prove_switch.switch_runs(subject, stage, scope.middle, seed, scope.switching):
            if change is None:
                done += 1
                yield Progress(done, total, "changes of what is held")
                continue
            checks, kept = _asked(scope, *verdicts.switch_checks(change))
            found += checks
            pending += kept
            if pace.due():
                yield Progress(done, total, "changes of what is held")
        traces = verdicts.keep((*traces, *pending), found)
    yield Results(
        host=host.version_name(),
        rig=subject.armature.name,
        plan_digest=subject.record.plan_digest,
        seed=seed,
        arm_lengths=tuple(zip(subject.geometries, lengths, strict=True)),
        checks=tuple(found),
        traces=traces,
        frames_per_second=frames / seconds if seconds > 0.0 else 0.0,
        orders=order_margins(motions, subject.geometries[subject.arms[0]].rotation_orders),
        made_with=made or made_with(),
        findings=wrong,
    )


def prove_whole(
    subject: Subject,
    recorded: Clip | None = None,
    seed: int = 1,
    report: Callable[[Progress], None] | None = None,
    made: MadeWith | None = None,
    scope: Scope | None = None,
) -> Results:
    """`prove` from beginning to end."""
    for step in prove(subject, recorded, seed, made, scope):
        if isinstance(step, Results):
            return step
        if report is not None:
            report(step)
    raise AssertionError("a proof ends with its results")


def _asked(
    scope: Scope, checks: tuple[Check, ...], kept: tuple[Trace, ...]
) -> tuple[tuple[Check, ...], tuple[Trace, ...]]:
    """Those that count, with their traces."""
    asked = tuple(check for check in checks if scope.is_asked(check))
    names = {check.id for check in asked}
    return asked, tuple(trace for trace in kept if trace.check in names)


def recorded_clip_of(text: bytes, frames: int = 240) -> Clip:
    """A clip from the text of a BVH file, made ready for holds: slow turning and drift taken off, travel bounded."""
    return recorded_clip(read_bvh(text), frames=frames, follow_turn=True, limit_travel=RECORDED_TRAVEL)
