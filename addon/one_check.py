"""One check of a proof again: the run that it belongs to, measured anew, and what was set on its worst frame."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import dataclass

from ..core.errors import ProofError
from ..core.motion.clip import Clip
from ..core.pace import UNBROKEN, Pace, told, whole
from ..core.proof import verdicts
from ..core.proof.results import Check, Trace
from ..core.proof.run_plan import RunSpec, planning_runs, standard_motions
from ..core.proof.switch import ID as SWITCH
from ..core.tracks import Tracks
from . import sample
from .prove import Progress
from .prove_runs import playing
from .subjects import Subject


@dataclass(frozen=True)
class Again:
    """A check measured again.

    Attributes:
        check: as it is now.
        trace: its curve, and the pose and the held point at its worst frame.
        tracks: what its run sets, all arms; give `sample.pose` these and `check.worst_frame`.
    """

    check: Check
    trace: Trace
    tracks: Tracks


def again(
    subject: Subject,
    check: Check,
    stage: sample.Stage,
    seed: int,
    recorded: Clip | None = None,
    runs: Sequence[RunSpec] | None = None,
) -> Again:
    """Measure `check` of an earlier proof of this rig again, on a stage that `sample.borrowed` gives.

    Args:
        seed, recorded: those of the proof.
        runs: what it played; None for everything.

    Raises ProofError for a check whose run is not a played one, or is not among the runs of that proof.
    """
    return whole(measuring(subject, check, stage, seed, UNBROKEN, recorded, runs))


def measuring(
    subject: Subject,
    check: Check,
    stage: sample.Stage,
    seed: int,
    pace: Pace,
    recorded: Clip | None = None,
    runs: Sequence[RunSpec] | None = None,
) -> Generator[Progress, None, Again]:
    """`again` in steps that may be left where a turn of `pace` is over: yields its progress there."""
    motions = standard_motions(seed, recorded)
    if pace.due():
        yield Progress(0, 1, check.motion)
    planned = []
    for run in planning_runs(motions) if runs is None else runs:
        planned.append(run)
        if pace.due():
            yield Progress(0, 1, check.motion)
    spec = run_of(check, planned)
    played = yield from told(
        playing(subject, spec, stage, pace), pace, lambda done: Progress(done, spec.clip.frames, check.motion)
    )
    arm_run = next((made for made in played.runs if made.arm == check.arm), None)
    if arm_run is None:
        raise ProofError(f"{check.id}: the rig has no arm {check.arm}; it has: {', '.join(subject.arms)}")
    for requirement in verdicts.REQUIREMENTS:
        if check.requirement != requirement.ID or not requirement.applies(spec):
            continue
        for measured in verdicts.measures_of(requirement, arm_run):
            if measured.measure == check.measure:
                found = verdicts.judge(requirement, arm_run, measured)
                return Again(found, verdicts.trace(arm_run, found, measured), played.tracks)
    raise ProofError(f"{check.id}: the proof of this version has no such measure: run the proof again")


def run_of(check: Check, runs: Sequence[RunSpec]) -> RunSpec:
    """The run that a check was measured in. Raises ProofError where there is none."""
    if check.requirement == SWITCH:
        raise ProofError(f"{check.id}: it is about the moment of a change, which is no frame of a motion")
    found = next((spec for spec in runs if spec.motion == check.motion and spec.case == check.case), None)
    if found is None:
        raise ProofError(
            f"{check.id}: no run of the proof is called {check.motion!r} in this case: if it is a recorded motion, "
            "give the proof's recording as well"
        )
    return found
