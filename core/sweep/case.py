"""A case: one pose of one arm that anybody can look at again, in the solver or in the host."""

from __future__ import annotations

from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from .. import codec
from ..errors import ProofError, named, shown
from ..solve.rest import rest_settings
from ..solve.settings import ArmGeometry, ArmSettings
from .measures.catalogue import measure_named

Array = NDArray[np.float64]

FORMAT = "armwright.case"
VERSION = 1
_WHAT = "case"
# A frame's axes may be off from units at right angles by this: rest frames of the host are in single precision.
RIGID = 1e-6


@dataclass(frozen=True)
class Setting:
    """One field of the arm's settings: its numbers row by row."""

    name: str
    values: tuple[float, ...]


@dataclass(frozen=True)
class SweepCase:
    """Attributes:
    rig, plan_digest: the character, and the plan that its rig is built from.
    arm, measure, unit: what is measured.
    value: what the reference solver gives; None where it gives no number.
    limit: largest value that passes; None for a distance out of reach, which is told and is no failure.
    seed, poses, pose: the sweep that found it, and the number of the pose.
    refined: whether a local search has moved it since.
    settings: the pose, every field, metres and radians, armature space.
    beside: the settings next to it, for a measure that compares two; otherwise empty.
    """

    rig: str
    plan_digest: str
    arm: str
    measure: str
    unit: str
    value: float | None
    limit: float | None
    seed: int
    poses: int
    pose: int
    refined: bool
    settings: tuple[Setting, ...]
    beside: tuple[Setting, ...] = ()


def to_text(case: SweepCase) -> str:
    """JSON text of `case`, a line a setting."""
    return codec.to_text({"format": FORMAT, "version": VERSION, **codec.encode(case, ProofError)})


def from_text(text: str | bytes) -> SweepCase:
    """The case in `text`. Raises ProofError, with line and column or the field, where it is no case."""
    data = codec.parse(text, _WHAT, ProofError)
    codec.check_header(data, FORMAT, VERSION, _WHAT, ProofError)
    plain = {name: value for name, value in data.items() if name not in ("format", "version")}
    case = codec.decode(SweepCase, plain, "", ProofError)
    measure = measure_named(case.measure)
    for name in ("unit", "limit"):
        found, known = getattr(case, name), getattr(measure, name)
        if found != known:
            raise ProofError(f"{name}: {shown(found)} is not that of {measure.name}, which has {known!r}: sweep again")
    if not case.settings or bool(case.beside) != measure.pair:
        raise ProofError(
            f"{'beside' if case.settings else 'settings'}: {measure.name} needs "
            f"{'two settings' if measure.pair else 'one setting'} of the arm, given as settings"
            f"{' and beside' if measure.pair else ' alone'}: sweep again"
        )
    return case


def read(path: Path) -> SweepCase:
    """The case in the file at `path`; raises ProofError as `from_text` does, or if the file can not be read."""
    try:
        return from_text(codec.read_bytes(path, _WHAT, ProofError))
    except ProofError as problem:
        raise ProofError(f"{path.name}: {problem}") from None


def written(settings: ArmSettings) -> tuple[Setting, ...]:
    """The first pose of `settings`, field by field."""
    return tuple(
        Setting(item.name, tuple(np.ravel(getattr(settings, item.name)[0]).tolist())) for item in fields(ArmSettings)
    )


def settings_of(found: tuple[Setting, ...], geometry: ArmGeometry, where: str) -> ArmSettings:
    """One pose from its written form; `where` starts the field in messages.

    Raises ProofError for a field too many or too few, of the wrong size, or a frame that is not rigid.
    """
    rest = rest_settings(geometry, 1)
    known = {item.name: getattr(rest, item.name) for item in fields(ArmSettings)}
    given: dict[str, Array] = {}
    for place, item in enumerate(found):
        at = f'{where}[{place}] ("{named(item.name)}")'
        if item.name not in known:
            raise ProofError(f"{at}: there is no such setting; there is: {', '.join(known)}")
        if item.name in given:
            raise ProofError(f"{at}: it is there twice; keep one of them")
        shape = known[item.name].shape
        if len(item.values) != known[item.name].size:
            raise ProofError(f"{at}.values: expected {known[item.name].size} numbers, found {len(item.values)}")
        given[item.name] = np.array(item.values, float).reshape(shape)
        if shape[1:] == (4, 4) and not _rigid(given[item.name][0]):
            raise ProofError(f"{at}.values: expected a frame of unit axes at right angles and a place; sweep again")
    missing = [name for name in known if name not in given]
    if missing:
        raise ProofError(f'{where}: the setting "{missing[0]}" is missing: sweep again with this version')
    return ArmSettings(**given)


def _rigid(frame: Array) -> bool:
    turn = frame[:3, :3]
    if not np.abs(turn).max() <= 2.0:  # far from any unit, where squares overflow
        return False
    square = np.abs(turn.T @ turn - np.eye(3)).max() <= RIGID and np.linalg.det(turn) > 0.0
    return bool(square and (frame[3] == (0.0, 0.0, 0.0, 1.0)).all())
