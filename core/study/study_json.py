"""A study's written form: figures and phases, not the motion; the same study always gives the same bytes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from .. import codec
from ..errors import MotionError
from .measures import ArmStudy, TorsoStudy
from .phases import KINDS, Phase
from .study import Study

FORMAT, VERSION = "armwright.study", 1

_WHAT = "study"


@dataclass(frozen=True)
class StudyRecord:
    """What is kept of a study.

    Attributes:
        name, rate, frames, left_out, notes: the motion's.
        phases, arms, torso: the study's.
    """

    name: str
    rate: float
    frames: int
    left_out: int
    notes: tuple[str, ...]
    phases: tuple[Phase, ...]
    arms: tuple[ArmStudy, ...]
    torso: TorsoStudy


def record_of(study: Study) -> StudyRecord:
    """What `to_text` keeps of `study`."""
    motion = study.motion
    return StudyRecord(
        motion.name,
        float(motion.rate),
        motion.frames,
        motion.left_out,
        motion.notes,
        study.phases,
        study.arms,
        study.torso,
    )


def to_text(record: StudyRecord) -> str:
    """JSON text, ASCII, a line a phase, a newline at the end. Raises MotionError where a figure is not finite."""
    return codec.to_text({"format": FORMAT, "version": VERSION, **codec.encode(record, MotionError)})


def from_text(text: str | bytes) -> StudyRecord:
    """The record that `text` holds. Raises MotionError, with line and column or the path, for any other text."""
    data = codec.parse(text, _WHAT, MotionError)
    codec.check_header(data, FORMAT, VERSION, _WHAT, MotionError)
    # check_header looked for a name that is there twice; what is left has to be the record's.
    plain: dict[str, Any] = {name: value for name, value in data.items() if name not in ("format", "version")}
    record = codec.decode(StudyRecord, plain, "", MotionError)
    _check(record)
    return record


def _check(record: StudyRecord) -> None:
    """Refuse a record of the right types that says what no study says."""
    arms = {arm.arm for arm in record.arms}
    if record.frames < 2 or not record.rate > 0.0:
        raise MotionError(f"{record.frames} frames at {record.rate:g} a second are no motion; write the study again")
    for index, phase in enumerate(record.phases):
        where = f"phases[{index}]"
        if phase.kind not in KINDS:
            raise MotionError(f"{where}.kind: {phase.kind[:40]!r} is unknown; expected one of {', '.join(KINDS)}")
        if phase.arm not in arms:
            raise MotionError(f"{where}.arm: {phase.arm[:40]!r} is not among the arms of the study")
        if not 0 <= phase.first <= phase.last < record.frames:
            raise MotionError(
                f"{where}: frames {phase.first} to {phase.last} are not within the study's 0 to {record.frames - 1}"
            )
