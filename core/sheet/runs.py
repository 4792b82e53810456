"""Which of a proof's runs a requirement sheet asks for, by requirement, arm and mode."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ..motion.clip import Clip, make_clip
from ..motion.rounds import hand_round
from ..motion.sweeps import SHORTEST_SWEEP, fk_sweep, shrug
from ..proof import verdicts
from ..proof.cases import MODES, Case
from ..proof.results import Check
from ..proof.run_plan import FAR, HAND_BEYOND_FRAMES, PLANTED, RunSpec, planned_runs
from .model import ArmSheet, Sheet

# The hand goes as far as the sheet says, on a round about the shoulder.
REACH_MOST = "reach-most"
# Whether the hand gets there is what its hold says.
REACHES = "hold-hand"
# The recorded torso while a sweep moves the arm's own channels: the clavicle's, which must not disturb what is held,
# and those of the free arm; by the requirement that looks at it.
MEANWHILE = {"shoulder": "shrug", "swing": "fk-sweep"}
_MODES_OF = {"hold-hand": ("hand",), "hold-elbow": ("elbow",), "hold-both": ("both",), "plant": PLANTED[:1]}
_LOOKED_AT = {requirement.ID: requirement.MODES for requirement in verdicts.EVERY}


def modes_of(arm: ArmSheet, requirement: str) -> tuple[str, ...]:
    """The modes in which a requirement of the arm is proved: those that the arm is used in, else all that have it.

    An arm swings free, and holds what it has to hold; a reach by stretch is the held hand's.
    """
    used = {"none", *(mode for need in arm.needs for mode in _MODES_OF.get(need.requirement, ()))}
    if arm.need("stretch"):
        used.add("hand")
    has = _LOOKED_AT[requirement]
    return tuple(mode for mode in MODES if mode in has and mode in used) or tuple(has)


def wanted(sheet: Sheet) -> frozenset[tuple[str, str, str]]:
    """(requirement, arm, mode) of everything that is to be proved; a space is proved by changes to and from it."""
    found = set()
    for arm in sheet.arms:
        names = {need.requirement for need in arm.needs} | ({"switch"} if arm.spaces else set())
        found |= {(name, arm.arm, mode) for name in names for mode in modes_of(arm, name)}
        # What a space carries has to be held for the change to show.
        holding = {
            mode for space in arm.spaces for mode in (("hand", "both") if space.hold == "hand" else ("elbow", "both"))
        }
        found |= {("switch", arm.arm, mode) for mode in holding}
    return frozenset(found)


def runs_for(sheet: Sheet, clip: Clip) -> tuple[RunSpec, ...]:
    """The runs that the sheet asks for, with `clip` as the torso's motion; each looks at what is asked of some arm."""
    asked = wanted(sheet)
    names = {name for name, _, _ in asked}
    modes = {(name, mode) for name, _, mode in asked}
    sweeping = {name: swept(clip, name) for name in MEANWHILE if name in names}
    only = {other.name: name for name, other in sweeping.items()}
    runs = []
    for spec in planned_runs([clip, *sweeping.values()]):
        looks = {name for name in spec.requirements if (name, spec.case.mode) in modes}
        if spec.motion in only:
            looks &= {only[spec.motion]}
        if looks:
            kept = tuple(name for name in spec.requirements if name in looks)
            runs.append(replace(spec, requirements=kept))
    most = max((need.most for arm in sheet.arms for need in arm.needs), default=0.0)
    return (*runs, reach_most(most)) if most else tuple(runs)


def swept(clip: Clip, requirement: str) -> Clip:
    """`clip` while the channels that `requirement` is about go through their ranges."""
    sweep = (shrug if requirement == "shoulder" else fk_sweep)(max(clip.frames, SHORTEST_SWEEP))
    channels = {
        name: getattr(sweep, name)[: clip.frames] for name in ("clavicle", "upper_arm", "forearm", "hand_channels")
    }
    return replace(clip, name=swept_name(clip.name, requirement), **channels)


def swept_name(clip: str, requirement: str) -> str:
    """What the checks call the motion that `swept` makes of `clip`."""
    return f"{clip}+{MEANWHILE[requirement]}"


def reach_most(most: float) -> RunSpec:
    """The hand held as far from the shoulder as the sheet says, stretch on: lengths, and whether it gets there."""
    around = hand_round(HAND_BEYOND_FRAMES, 0.0, most)
    case = Case("hand", 0.0, 0.0, 1.0)
    still = make_clip("still", len(around.hand))
    return RunSpec(REACH_MOST, still, case, FAR, requirements=("stretch", REACHES), around=around)


def is_asked(asked: frozenset[tuple[str, str, str]], check: Check) -> bool:
    """Whether a check is of something that the sheet asks; `asked` is what `wanted` gave."""
    name = "stretch" if reaches_most(check) else check.requirement
    return (name, check.arm, check.case.mode) in asked


def reaches_most(check: Check) -> bool:
    """Whether a check says if the hand gets as far as the sheet asks."""
    return check.motion == REACH_MOST and check.requirement == REACHES


def needs_switching(asked: frozenset[tuple[str, str, str]]) -> bool:
    """Whether changes of what is held are to be proved."""
    return any(name == "switch" for name, _, _ in asked)


def arms_of(sheet: Sheet, known: Sequence[str]) -> tuple[str, ...]:
    """The arms that something is asked of, among those of a rig, in the rig's order."""
    named = {arm.arm for arm in sheet.arms if arm.needs or arm.spaces}
    return tuple(arm for arm in known if arm in named)
