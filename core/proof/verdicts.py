"""From measures to verdicts: one check a measure, and the traces that plots and pictures need."""

from __future__ import annotations

from collections.abc import Generator, Mapping, Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from ..errors import ProofError
from ..pace import whole
from . import (
    any_axis,
    blend,
    fingers,
    hold_both,
    hold_elbow,
    hold_hand,
    isolate,
    lift,
    plant,
    shoulder,
    stretch,
    swing,
    switch,
    twist,
)
from .cases import CORNERS, Case
from .measures import Measured, at
from .precision import restated
from .results import FAIL, NOT_APPLICABLE, OUT_OF_REACH, PASS, Check, Trace
from .run_plan import RunSpec
from .samples import ArmRun
from .switch import SwitchRun

Array = NDArray[np.float64]

# Failing checks whose traces are kept; a rig that fails everywhere is not better explained by more of them.
MOST_FAILING = 60
# A check that holds is near its limit when it uses more than this part of it; traces are kept of so many a requirement.
NEAR = 0.5
MOST_NEAR = 3
# Motion and measure in the id of a check for a requirement that a mode does not have.
EVERY_MOTION, APPLIES = "every-motion", "applies"


class Named(Protocol):
    """What every module of this folder has that stands for a row of design's table."""

    ID: str
    MODES: tuple[str, ...]
    LIMITS: dict[str, float]


class Played(Protocol):
    """Of which arm, motion and case a check is."""

    @property
    def arm(self) -> str:
        """Its id."""

    @property
    def motion(self) -> str:
        """Name of the clip."""

    @property
    def case(self) -> Case:
        """Mode and dials."""


class Requirement(Named, Protocol):
    """Shape of those that look at runs that are played."""

    def applies(self, spec: RunSpec) -> bool:
        """Whether the run is one that it looks at."""

    def measure(self, run: ArmRun) -> tuple[Measured, ...]:
        """Its figures of one arm in one run; none where the run does not show them."""


REQUIREMENTS: tuple[Requirement, ...] = (
    swing,
    hold_hand,
    hold_elbow,
    hold_both,
    shoulder,
    lift,
    isolate,
    stretch,
    blend,
    any_axis,
    plant,
    twist,
    fingers,
)
# `switch` looks at changes that are made one by one.
EVERY: tuple[Named, ...] = (*REQUIREMENTS, switch)


def checks(spec: RunSpec, run: ArmRun) -> tuple[tuple[Check, ...], tuple[Trace, ...]]:
    """Every check of a run, and traces of those that failed or came near, and of the worst of each requirement.

    Raises ProofError as `checking` does.
    """
    return whole(checking(spec, run))


def checking(spec: RunSpec, run: ArmRun) -> Generator[int, None, tuple[tuple[Check, ...], tuple[Trace, ...]]]:
    """`checks` in steps, one a requirement: yields the run's frames, all of which are there.

    Raises ProofError where the run is not of `spec`, or its samples are not of the clip's length.
    """
    frames = spec.clip.frames
    if (run.motion, run.case) != (spec.motion, spec.case) or len(run.samples.wrist) != frames or frames < 1:
        raise ProofError(
            f"{spec.motion}, {spec.case.label}: got samples of {run.motion}, {run.case.label}, "
            f"{len(run.samples.wrist)} frames; {frames} of the run are needed"
        )
    samples = run.samples
    bones = (samples.clavicle, samples.upper_arm, samples.elbow, samples.wrist)
    joints = np.stack([at(bone) for bone in bones], axis=1)
    found: list[Check] = []
    traces: list[Trace] = []
    for requirement in REQUIREMENTS:
        if not requirement.applies(spec):
            continue
        some, kept = judged(requirement, run, measures_of(requirement, run), joints)
        found += some
        traces += kept
        yield frames
    return tuple(found), tuple(traces)


def measures_of(requirement: Requirement, run: ArmRun) -> tuple[Measured, ...]:
    """What a requirement measures on a run, with the limits that hold where the arm's bones are."""
    return restated(requirement.measure(run), run.geometry)


def switch_checks(run: SwitchRun) -> tuple[tuple[Check, ...], tuple[Trace, ...]]:
    """The checks of a change, and traces of those that failed or came near, and of the worst."""
    return judged(switch, run, switch.measure(run), run.before[..., :3, 3])


def judged(
    requirement: Named, run: Played, measures: Sequence[Measured], joints: Array
) -> tuple[tuple[Check, ...], tuple[Trace, ...]]:
    """The checks of a requirement's measures on one run; traces of those that failed or came near, and of the worst.

    `joints`: (N, 4, 3) clavicle, shoulder, elbow and wrist, armature space.
    """
    found = [(judge(requirement, run, measured), measured) for measured in measures]
    worst = max(found, key=lambda pair: severity(pair[0]))
    kept = [pair for pair in found if pair[0].verdict == FAIL or is_near(pair[0]) or pair is worst]
    return tuple(check for check, _ in found), tuple(
        trace_of(joints[check.worst_frame], check, measured)
        for check, measured in kept
        if check.verdict != NOT_APPLICABLE
    )


def is_near(check: Check) -> bool:
    """Whether a check holds, but by less than half of its limit."""
    return check.verdict == PASS and severity(check) > NEAR


def judge(requirement: Named, run: Played, measured: Measured) -> Check:
    """The verdict on one measure. A value that is not finite fails, whatever its limit."""
    values = np.abs(measured.values)
    finite = np.isfinite(values)
    worst = int(np.argmax(values)) if finite.all() else int(np.argmin(finite))
    verdict, note = _verdict(measured, values)
    return Check(
        id=check_id(requirement, run.motion, run.case, run.arm, measured.measure),
        requirement=requirement.ID,
        motion=run.motion,
        case=run.case,
        arm=run.arm,
        measure=measured.measure,
        unit=measured.unit,
        value=0.0 if verdict == NOT_APPLICABLE else float(values[worst]),
        limit=measured.limit,
        verdict=verdict,
        worst_frame=worst,
        samples=len(values),
        note=note,
    )


def _verdict(measured: Measured, values: Array) -> tuple[str, str]:
    if measured.not_applicable:
        return NOT_APPLICABLE, measured.note
    if not np.isfinite(values).all():
        unknown = int((~np.isfinite(values)).sum())
        return FAIL, measured.note or f"{unknown} frames have no number: a bone's transform is damaged"
    missing, misplaced = measured.missing, measured.misplaced
    if missing is None or misplaced is None:
        return (PASS if (values <= measured.limit).all() else FAIL), measured.note
    if not np.isfinite([missing, misplaced]).all():
        return FAIL, "whether the point is in reach has no number: the shoulder's transform is damaged"
    if not (missing > measured.limit).any():
        return (PASS if (values <= measured.limit).all() else FAIL), measured.note
    furthest = int(np.argmax(missing))
    unreached = f"out of reach by up to {missing[furthest]:.6g} {measured.unit}, at frame {furthest}"
    # Only an arm that does all it can is excused: short by the missing distance in each frame, on the way to the point.
    wrong = (np.abs(values - missing) > measured.limit) | (misplaced > measured.limit)
    if wrong.any():
        frame = int(np.argmax(np.where(wrong, misplaced, -1.0)))
        off = f"{misplaced[frame]:.3g} {measured.unit}"
        return FAIL, f"{unreached}; and {off} from where that leaves it, at frame {frame}"
    return OUT_OF_REACH, unreached


def check_id(requirement: Named, motion: str, case: Case, arm: str, measure: str) -> str:
    """Id of a check, "requirement/motion/dials/arm/measure"; the dials begin with the mode where there are several."""
    only_mode = len(requirement.MODES) == 1 and case.mode in requirement.MODES
    mode = "" if only_mode else f"mode={case.mode},"
    return f"{requirement.ID}/{motion}/{mode}{case.label}/{arm}/{measure}"


def left_out(requirement: Named, case: Case, arm: str, note: str) -> Check:
    """The check of a requirement that is not applicable in a corner, for the reason in `note`."""
    return Check(
        id=check_id(requirement, EVERY_MOTION, case, arm, APPLIES),
        requirement=requirement.ID,
        motion=EVERY_MOTION,
        case=case,
        arm=arm,
        measure=APPLIES,
        unit="1",
        value=0.0,
        limit=0.0,
        verdict=NOT_APPLICABLE,
        worst_frame=0,
        samples=0,
        note=note,
    )


def not_applicable(arm: str) -> tuple[Check, ...]:
    """One check for each requirement and corner whose mode has nothing for it, so that coverage can be counted."""
    return tuple(
        left_out(
            requirement,
            case,
            arm,
            f"{requirement.ID} looks at {', '.join(requirement.MODES)}; the mode is {case.mode}",
        )
        for requirement in EVERY
        for case in CORNERS
        if case.mode not in requirement.MODES
    )


def uncovered(found: Sequence[Check], arms: Sequence[str]) -> tuple[str, ...]:
    """Requirement, corner and arm of every place in the matrix without a check: empty when a proof was complete."""
    seen = {(check.requirement, check.case, check.arm) for check in found}
    return tuple(
        f"{requirement.ID}, mode={case.mode},{case.label}, {arm}"
        for requirement in EVERY
        for case in CORNERS
        for arm in arms
        if (requirement.ID, case, arm) not in seen
    )


def severity(check: Check) -> float:
    """How bad a check is: its value over its limit; no number is worst, out of reach next to a perfect pass."""
    if check.verdict == NOT_APPLICABLE:
        return -1.0
    if check.verdict == OUT_OF_REACH:
        return 0.0
    ratio = check.value / check.limit if check.limit > 0.0 else float(check.value > 0.0)
    return float("inf") if not np.isfinite(ratio) else ratio


def trace(run: ArmRun, check: Check, measured: Measured) -> Trace:
    """What a plot and a picture of `check` need."""
    samples, frame = run.samples, check.worst_frame
    chain = np.stack([at(bone)[frame] for bone in (samples.clavicle, samples.upper_arm, samples.elbow, samples.wrist)])
    return trace_of(chain, check, measured)


def trace_of(chain: Array, check: Check, measured: Measured) -> Trace:
    """Likewise, with the arm's joints (4, 3) at the worst frame."""
    frame = check.worst_frame
    return Trace(
        check=check.id,
        values=np.abs(measured.values),
        chain=chain,
        wanted=_point(measured.wanted, frame),
        found=_point(measured.found, frame),
    )


def _point(points: Array | None, frame: int) -> Array:
    return np.zeros((0, 3)) if points is None else points[frame : frame + 1].copy()


def keep(
    traces: Sequence[Trace], found: Sequence[Check], most_failing: int = MOST_FAILING, most_near: int = MOST_NEAR
) -> tuple[Trace, ...]:
    """The traces to keep of those of many runs, worst first.

    They are the `most_failing` worst failing ones of all, the `most_near` nearest to their limit of each requirement,
    and the worst of each requirement, so at most most_failing + (most_near + 1) * requirements. Call it after each run
    with what was kept before and the run's own; `found` has the checks of all of them.
    """
    by_id: Mapping[str, Check] = {check.id: check for check in found}
    ordered = sorted(traces, key=lambda item: -severity(by_id[item.check]))
    kept: dict[str, Trace] = {}
    worst: set[str] = set()
    near: dict[str, int] = {}
    failing = 0
    for item in ordered:
        check = by_id[item.check]
        fails = check.verdict == FAIL and failing < most_failing
        comes_near = is_near(check) and near.get(check.requirement, 0) < most_near
        if fails or comes_near or check.requirement not in worst:
            kept[item.check] = item
            failing += check.verdict == FAIL
            near[check.requirement] = near.get(check.requirement, 0) + is_near(check)
        worst.add(check.requirement)
    return tuple(kept.values())
