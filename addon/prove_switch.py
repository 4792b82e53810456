"""Makes every change of what an arm holds on a rig that is lent to the proof, and reads what each did to the pose."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core import arm_words
from ..core.arm import names as n
from ..core.errors import ArmwrightError
from ..core.match.target import Target
from ..core.motion.clip import Clip, make_clip
from ..core.proof import changes, switch
from ..core.proof.cases import CORNERS, Case
from ..core.proof.run_plan import RunSpec
from ..core.proof.switch import SwitchRun
from ..core.tracks import Tracks
from . import grabbed, host, prove_runs, sample, spaces
from .dependencies import Thing, needs
from .sample import Stage
from .subjects import Subject
from .switch import Outcome
from .switch import switch as switched

Array = NDArray[np.float64]

PROP = "armwright.prop"
# Names of spaces in checks; the rig's own keys are names in the user's file.
PROP_SPACE, OTHER_HAND, FURTHER_HAND = "prop", "other-hand", "further-hand"
# How far the prop stands from the rest pose's elbow, units of L, and its least and greatest size.
PROP_AWAY = 0.4
PROP_SIZE = (0.6, 1.7)
# Isolate, lift and stretch while spaces are walked.
SPACE_DIALS = (0.0, 1.0, 1.0)
# World, torso, head, prop and the other hand; with more than two arms a further one.
SPACES = 5


@dataclass(frozen=True)
class _Step:
    """One change: the case before it, its kind and its way (see changes.py), and what makes it."""

    case: Case
    kind: str
    way: str
    make: Callable[[], Outcome]


@dataclass
class _Gathered:
    """What a change did in the poses so far. It guards the lists that grow."""

    before: list[Array] = field(default_factory=list)
    after: list[Array] = field(default_factory=list)
    lost: list[tuple[float, float]] = field(default_factory=list)
    refused: str = ""


Found = dict[tuple[Case, str, str], _Gathered]


def most_changes(subject: Subject, arms: Sequence[str] | None = None) -> int:
    """How many changes `switch_runs` makes at most on `arms`; None for all."""
    arms = subject.arms if arms is None else arms
    count = SPACES + (len(subject.arms) > 2)
    spaces_walked = len(_space_cases()) * count * (count - 1)
    return (1 + changes.POSES) * len(arms) * (len(changes.dial_walk()) + spaces_walked)


def switch_runs(
    subject: Subject, stage: Stage, clip: Clip, seed: int, arms: Sequence[str] | None = None
) -> Iterator[SwitchRun | None]:
    """Make every change in the rest pose and in the middle of `clip`, on each of `arms`; None for all.

    Yields None after each change, and a change's run once it has been made in all its poses. The rig's spaces are as
    before afterwards; its pose is not.
    """
    for poses in (make_clip(switch.REST, 1), changes.mid_motion(clip)):
        tracks = _tracks(subject, poses)
        for arm in subject.arms if arms is None else arms:
            found: Found = defaultdict(_Gathered)
            reader = host.PoseReader(
                subject.armature, stage.layer, [subject.record.bone(arm, role) for role in switch.ROLES]
            )
            for index in range(poses.frames):
                rng = np.random.default_rng((seed, index))
                with _lent_spaces(subject, arm), _prop(subject, stage, arm, rng) as prop:
                    with _on(stage):
                        sample.pose(stage, tracks, index)
                    for step in _steps(subject, stage, arm, prop):
                        with _on(stage):
                            _take(reader, step, found[step.case, step.kind, step.way])
                        yield None
            yield from _runs(subject, arm, poses.name, found)


def _tracks(subject: Subject, poses: Clip) -> Tracks:
    """What to set for the poses: the arms free; all of it at rest for the rest pose, otherwise the hands rolled."""
    dials = () if poses.name == switch.REST else changes.plant_dials(poses.frames)
    tracks, _ = prove_runs.tracks_of(subject, RunSpec(poses.name, poses, CORNERS[0], dials=dials))
    if poses.name != switch.REST:
        return tracks
    return replace(tracks, angles=tuple(replace(track, angles=np.zeros_like(track.angles)) for track in tracks.angles))


def _steps(subject: Subject, stage: Stage, arm: str, prop: bpy.types.Object) -> Iterator[_Step]:
    """Walk all dials, then all spaces of both holds; each step is to be made before the next is asked for."""
    for change in changes.dial_walk():
        yield _Step(change.before, change.kind, change.way, partial(_switched, subject, arm, change.after))
    for hold, case in _space_cases():
        problem = None
        with _on(stage):
            carriers = _carriers(subject, arm, hold, prop)
            try:
                _switched(subject, arm, case)
            except ArmwrightError as caught:
                problem = caught
        for moved in changes.space_walk(case, hold, tuple(carriers)):
            made = partial(spaces.set_space, subject, arm, hold, carriers[moved.after], keyed=False)
            yield _Step(case, moved.kind, moved.way, made if problem is None else partial(_refuse, problem))


def _refuse(problem: ArmwrightError) -> Outcome:
    raise problem


def _space_cases() -> list[tuple[str, Case]]:
    return [(hold, Case(mode, *SPACE_DIALS)) for hold, modes in changes.OBEYED.items() for mode in modes]


def _switched(subject: Subject, arm: str, case: Case) -> Outcome:
    wanted = Target(case.ik, case.elbow, case.isolate, case.lift, case.stretch)
    return switched(subject, arm, wanted, keyed=False)


def _carriers(subject: Subject, arm: str, hold: str, prop: bpy.types.Object) -> dict[str, spaces.Space]:
    """What can carry the hold on the stage, by its name in checks; the world first."""
    others = {spaces.hand_key(other): name for other, name in _other_hands(subject, arm, hold).items()}
    spaces.ensure_space(subject, arm, hold, prop)
    names = {spaces.WORLD: "world", n.SPACE_TORSO: "torso", n.SPACE_HEAD: "head", prop.name: PROP_SPACE, **others}
    return {
        names[space.key]: spaces.space_named(subject, arm, hold, space.key)
        for space in spaces.spaces_of(subject, arm, hold)
        if space.key in names
    }


def _other_hands(subject: Subject, arm: str, hold: str) -> dict[str, str]:
    """Arms whose hands carry the hold on the stage, and the names of these spaces in checks.

    The partner's and, where there are more arms, a further one: to walk between all of them would take as many changes
    as the square of the arms. A hand that can itself be held in this one is left out.
    """
    at = subject.arms.index(arm)
    others = [*subject.arms[at + 1 :], *subject.arms[:at]]
    others.sort(key=lambda other: other != arm_words.partner(arm, subject.arms))
    held = Thing(subject.armature, spaces.space_bone(subject, arm, hold).name)
    free = (item for item in others if not needs(Thing(subject.armature, subject.record.bone(item, "hand")), held))
    return dict(zip(free, (OTHER_HAND, FURTHER_HAND), strict=False))


def _take(reader: host.PoseReader, step: _Step, gathered: _Gathered) -> None:
    """Make one change and keep the bones before and after it."""
    before = reader.read()
    try:
        outcome = step.make()
    except ArmwrightError as problem:
        gathered.refused = str(problem)
        gathered.after.append(np.full_like(before, np.nan))
        gathered.lost.append((0.0, 0.0))
    else:
        gathered.after.append(reader.read())
        gathered.lost.append((outcome.lost, outcome.lost_angle))
    gathered.before.append(before)


def _runs(subject: Subject, arm: str, motion: str, found: Found) -> Iterator[SwitchRun]:
    geometry = subject.geometries[arm]
    for (case, kind, way), gathered in found.items():
        lost = np.array(gathered.lost)
        yield SwitchRun(
            arm=arm,
            motion=f"{motion}+{way}",
            case=case,
            kind=kind,
            length=geometry.upper_length + geometry.forearm_length,
            before=np.array(gathered.before),
            after=np.array(gathered.after),
            lost=lost[:, 0],
            lost_turn=lost[:, 1],
            refused=gathered.refused,
        )


@contextmanager
def _on(stage: Stage) -> Iterator[None]:
    """The stage as the host's current scene, so that what the animator's buttons call works there."""
    with bpy.context.temp_override(scene=stage.scene, view_layer=stage.layer):
        yield


@contextmanager
def _prop(subject: Subject, stage: Stage, arm: str, rng: np.random.Generator) -> Iterator[bpy.types.Object]:
    """Something to hold on to, near the arm, turned and sized at random."""
    geometry = subject.geometries[arm]
    prop = bpy.data.objects.new(PROP, None)
    try:
        stage.scene.collection.objects.link(prop)
        away = rng.normal(size=3)
        size = PROP_AWAY * (geometry.upper_length + geometry.forearm_length)
        prop.location = (geometry.forearm[:3, 3] + size * away / np.linalg.norm(away)).tolist()
        prop.rotation_mode = "QUATERNION"
        quat = rng.normal(size=4)
        prop.rotation_quaternion = (quat / np.linalg.norm(quat)).tolist()
        prop.scale = (float(rng.uniform(*PROP_SIZE)),) * 3
        stage.layer.update()
        yield prop
    finally:
        bpy.data.objects.remove(prop)


@contextmanager
def _lent_spaces(subject: Subject, arm: str) -> Iterator[None]:
    """The arm's space bones without what the walk adds to them afterwards: constraints and their records."""
    carriers = [spaces.space_bone(subject, arm, hold) for hold in spaces.HOLDS]
    known = [
        ({item.name for item in carrier.constraints}, {key: _plain(value) for key, value in carrier.items()})
        for carrier in carriers
    ]
    try:
        yield
    finally:
        for carrier, (constraints, properties) in zip(carriers, known, strict=True):
            for item in list(carrier.constraints):
                if item.name in constraints:
                    item.influence = 0.0
                else:
                    grabbed.forget(carrier, item.name)
                    carrier.constraints.remove(item)
            for key in [key for key in carrier.keys() if key not in properties]:  # noqa: SIM118
                del carrier[key]
            for key, value in properties.items():
                if _plain(carrier[key]) != value:
                    carrier[key] = value


def _plain(value: Any) -> Any:
    return list(value) if hasattr(value, "__len__") and not isinstance(value, str) else value
