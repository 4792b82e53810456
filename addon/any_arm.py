"""Runs a proof on arms of other making, as their rig card describes them."""

from __future__ import annotations

import time
from collections.abc import Callable, Generator
from dataclasses import replace

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.any_arm import plan
from ..core.any_arm.measures import measure
from ..core.any_arm.model import AnyRun, Shown
from ..core.card import card_json
from ..core.card.model import RigCard
from ..core.errors import ProofError
from ..core.motion.clip import Clip
from ..core.motion.wiggle import torso_snap, torso_wiggle
from ..core.pace import UNBROKEN, Pace, told
from ..core.proof import verdicts
from ..core.proof.cases import CORNERS
from ..core.proof.measures import at
from ..core.proof.results import Check, MadeWith, Results, Trace
from ..core.proof.run_plan import SWEEP_FRAMES
from . import findings, host, sample
from .any_arm_rig import AnySubject, check_there, kept_settings, subject_of_card
from .any_arm_runs import played, playing
from .one_check import Again
from .prove import Progress, made_with

Array = NDArray[np.float64]

JOINTS = ("clavicle", "upper_arm", "forearm", "hand")


def prove_card(
    armature: bpy.types.Object,
    card: RigCard,
    recorded: Clip | None = None,
    seed: int = 1,
    made: MadeWith | None = None,
    pace: Pace = UNBROKEN,
) -> Generator[Progress | Results, None, None]:
    """The whole proof of a card's arms: progress after each run, the results last; the file is as before whenever it
    ends.

    Within a run it yields its progress as well wherever a turn of `pace` is over. Raises CardError where the card does
    not fit the armature, before anything is set.
    """
    subject = subject_of_card(armature, card)
    runs: list[AnyRun] = []
    for some in plan.planning(card.arms, motions(seed, recorded)):
        runs += some
        if pace.due():
            yield Progress(0, 1, "planning")
    total, done, seconds = plan.frames(runs), 0, 0.0
    found: list[Check] = []
    traces: tuple[Trace, ...] = ()
    for rig in subject.rigs:
        for requirement in verdicts.EVERY:
            for case in CORNERS:
                reason = plan.why_not(rig.card, requirement, case)
                if reason:
                    found.append(verdicts.left_out(requirement, case, rig.card.arm, reason))
        if pace.due():
            yield Progress(0, total, "planning")
    check_there(subject)
    wrong = findings.findings_of(armature, subject.length)
    if pace.due():
        yield Progress(0, total, "planning")
        check_there(subject)
    with sample.borrowed(armature) as stage, kept_settings(armature, card):
        for run in runs:
            what = f"{run.motion}, {run.case.mode}"

            def tell(frames: int, before: int = done, what: str = what) -> Progress:
                return Progress(before + frames, total, what)

            start, away = time.perf_counter(), pace.away
            shown = yield from told(playing(subject, run, stage, pace), pace, tell)
            seconds += time.perf_counter() - start - (pace.away - away)
            for arm, (one, _) in shown.items():
                checks, kept = yield from told(judging(subject, run, arm, one), pace, tell)
                found += checks
                traces = verdicts.keep((*traces, *kept), found)
            done += run.clip.frames + 1
            yield Progress(done, total, what)
    yield Results(
        host=host.version_name(),
        rig=armature.name,
        plan_digest="",
        seed=seed,
        arm_lengths=tuple((rig.card.arm, rig.length * card.unit_m) for rig in subject.rigs),
        checks=tuple(found),
        traces=traces,
        frames_per_second=total / seconds if seconds > 0.0 else 0.0,
        made_with=replace(made or made_with(), card_digest=card_json.digest(card)),
        findings=wrong,
    )


def prove_card_whole(
    armature: bpy.types.Object,
    card: RigCard,
    recorded: Clip | None = None,
    seed: int = 1,
    report: Callable[[Progress], None] | None = None,
    made: MadeWith | None = None,
) -> Results:
    """`prove_card` from beginning to end."""
    for step in prove_card(armature, card, recorded, seed, made):
        if isinstance(step, Results):
            return step
        if report is not None:
            report(step)
    raise AssertionError("a proof ends with its results")


def motions(seed: int, recorded: Clip | None) -> tuple[Clip, ...]:
    """What the torso does while something is held."""
    made = (torso_wiggle(240, seed), torso_snap(SWEEP_FRAMES, seed))
    return made if recorded is None else (*made, recorded)


def judging(
    subject: AnySubject, run: AnyRun, arm: str, shown: Shown
) -> Generator[int, None, tuple[list[Check], list[Trace]]]:
    """Checks and traces of every requirement that looks at a run of one arm, in steps, one a requirement.

    Yields the run's frames, all of which are there.
    """
    found: list[Check] = []
    traces: list[Trace] = []
    joints = _joints(shown)
    for requirement in plan.looks(subject.rig(arm).card, run):
        checks, kept = verdicts.judged(requirement, shown, measure(requirement.ID, shown), joints)
        found += checks
        traces += kept
        yield run.clip.frames + 1
    return found, traces


def again_card(
    armature: bpy.types.Object,
    card: RigCard,
    check: Check,
    stage: sample.Stage,
    seed: int,
    recorded: Clip | None = None,
) -> Again:
    """Measure `check` of an earlier proof by this card again; call it within `kept_settings`.

    Raises ProofError where no run of that proof is meant.
    """
    subject = subject_of_card(armature, card)
    for run in plan.planned(card.arms, motions(seed, recorded)):
        if run.motion != check.motion or run.case != check.case or check.requirement not in run.requirements:
            continue
        shown = played(subject, run, stage)
        if check.arm not in shown:
            break
        one, tracks = shown[check.arm]
        requirement = next(item for item in verdicts.EVERY if check.requirement == item.ID)
        for measured in measure(requirement.ID, one):
            if measured.measure == check.measure:
                found = verdicts.judge(requirement, one, measured)
                return Again(found, verdicts.trace_of(_joints(one)[found.worst_frame], found, measured), tracks)
    raise ProofError(f"{check.id}: the proof by this card has no such run: prove it again")


def _joints(shown: Shown) -> Array:
    """(N, 4, 3) clavicle, shoulder, elbow and wrist; the shoulder twice without a clavicle."""
    roles = [role if role in shown.poses else "upper_arm" for role in JOINTS]
    return np.stack([at(shown.poses[role]) for role in roles], axis=1)
