"""Looks at a sweep's case in the host: poses the rig by the case's settings and measures its evaluated bones."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ..core.errors import ProofError
from ..core.proof.measures import arm_length, at, distance, turn, turn_error
from ..core.proof.samples import ArmSamples
from ..core.proof.synthetic import solved_samples
from ..core.solve.settings import ArmSettings
from ..core.sweep.case import SweepCase, settings_of
from ..core.sweep.look import Look, Show
from ..core.sweep.measure import Measure
from ..core.sweep.measures.catalogue import measure_named
from ..core.tracks import PoseTrack, Tracks
from . import sample
from .prove_runs import channel_tracks, dial_tracks, hold_tracks
from .subjects import Subject

Array = NDArray[np.float64]

# How far what carries the arm may be from where the case has it: single precision, and no more.
PLACE, TURN = 1e-5, 1e-2  # arm lengths, degrees


@dataclass(frozen=True)
class Replayed:
    """One number, three ways.

    Attributes:
        measure: what it is.
        in_case: the number in the case.
        solver: what the solver gives now, for the case's settings.
        host: what the host's bones give.
        held: what the solver gives for the controls as the host holds them, in single precision.
    """

    measure: Measure
    in_case: float
    solver: float
    host: float
    held: float

    @property
    def difference(self) -> float:
        """Of the host from the number in the case."""
        return abs(self.host - self.in_case)

    @property
    def same(self) -> bool:
        """Whether host, solver and case give the same number, within the measure's tolerance."""
        again = abs(self.solver - self.in_case)
        return bool(max(again, self.difference) <= self.measure.tolerance)

    @property
    def within(self) -> bool:
        """Whether the host keeps the limit; what is no number does not."""
        return bool(np.isfinite(self.host) and (self.measure.limit is None or self.host <= self.measure.limit))


def replay(subject: Subject, case: SweepCase) -> Replayed:
    """The case on a rig, which is afterwards as it was.

    Raises ProofError for a case of another rig or arm, and where the rig can not be put where the case has it.
    """
    if case.plan_digest != subject.record.plan_digest:
        raise ProofError(
            f"the case is of {case.rig!r}, plan {case.plan_digest[:12] or 'unknown'}, and {subject.armature.name!r} is "
            f"built from plan {subject.record.plan_digest[:12] or 'unknown'}: sweep this rig, or open that one"
        )
    if case.arm not in subject.geometries:
        raise ProofError(f"the case is of arm {case.arm!r}; the rig has: {', '.join(subject.arms)}")
    measure, geometry = measure_named(case.measure), subject.geometries[case.arm]
    settings = settings_of(case.settings, geometry, "settings")
    beside = settings_of(case.beside, geometry, "beside") if case.beside else settings

    def value(show: Show) -> float:
        return abs(float(measure.value(Look(geometry, settings, beside, show(settings), show))[0]))

    with sample.borrowed(subject.armature) as stage:
        show = partial(shown, subject, case.arm, stage)
        host, held = value(show), value(partial(as_held, subject, case.arm, stage))
    in_case = np.nan if case.value is None else case.value
    return Replayed(measure, in_case, value(partial(solved_samples, geometry)), host, held)


def shown(subject: Subject, arm: str, stage: sample.Stage, settings: ArmSettings) -> ArmSamples:
    """The rig's bones for settings of one arm; the other arms are at rest.

    Raises ProofError where the bones that carry the arm are not where the settings have them.
    """
    record = subject.record
    carriers = [PoseTrack(record.root, settings.root)] if record.root else []
    tracks = Tracks(
        len(settings.ik),
        (*carriers, PoseTrack(record.torso, settings.torso), *hold_tracks(subject, arm, settings)),
        tuple(channel_tracks(subject, arm, settings)),
        tuple(dial_tracks(subject, arm, settings)),
    )
    sampled = sample.step(stage, tracks, sample.sampled_bones(record, (arm,)))
    samples = sample.arm_samples(record, (arm,), sampled.poses)[arm]
    size = arm_length(subject.geometries[arm])
    for name, wanted, found in (
        (record.root, settings.root, samples.root),
        (record.torso, settings.torso, samples.torso),
    ):
        off = float(distance(at(found), at(wanted)).max()) / size
        turned = float(turn_error(turn(found), turn(wanted)).max())
        if off > PLACE or turned > TURN:
            raise ProofError(
                f"{name or 'the armature'!r} can not be put where the case has it: it stays {off:.3g} arm lengths and "
                f"{turned:.3g} degrees off; free its constraints and drivers, and do not connect it to its parent"
            )
    return samples


def as_held(subject: Subject, arm: str, stage: sample.Stage, settings: ArmSettings) -> ArmSamples:
    """What the solver makes of the controls as the host holds them."""
    found = shown(subject, arm, stage, settings)
    plain = {
        item.name: getattr(settings, item.name).astype(np.float32).astype(float)
        for item in fields(ArmSettings)
        if getattr(settings, item.name).ndim < 3
    }
    held = replace(
        settings,
        **{
            **plain,
            "torso": found.torso,
            "root": found.root,
            "hand_hold": found.hand_hold,
            "elbow_hold": found.elbow_hold,
            "aim": at(found.elbow_aim),
        },
    )
    return solved_samples(subject.geometries[arm], held)
