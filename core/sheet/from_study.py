"""From a study to a requirement sheet: what the recording asks of each arm, with the frames that show it."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .. import arm_words
from ..motion.wiggle import TRAVEL
from ..proof.lift import ELEVATIONS, RISES
from ..study.measures import RHYTHM_FROM, ArmStudy
from ..study.orders import JointOrder
from ..study.phases import ELBOW, HAND, HELD, ROLL, SWING, Phase, planted_frames
from ..study.still import SHORTEST, runs
from ..study.study import Study
from .model import HAND as HAND_SPACE
from .model import THING, ArmSheet, Frames, Need, Orders, Recording, Sheet, Space
from .torso_file import clip_of, part_to_play, range_of, torso_text

Mask = NDArray[np.bool_]

TORSO_FILE = "torso.bvh"
# A hold asks something of a rig once the shoulder moves by this much meanwhile, arm lengths: 1 cm of an adult's. Of
# somebody who stands still every joint stands still.
MOVED = 0.02
# An arm is longer than itself by this part where markers slip (common practice); more is meant.
SLIPS = 0.02
# A shoulder that goes further than the rhythm has it, over the upper arm: the published rise at 30 degrees.
OFF_RHYTHM = float(RISES[0])
# Spans that stand for a need; more of them show nothing new.
MOST_SPANS = 12
_JOINTS = {"clavicle": "clavicle", "upper arm": "upper_arm", "forearm": "forearm", "hand": "hand"}


@dataclass(frozen=True)
class Drawn:
    """A sheet, and the text of the torso's motion that it names."""

    sheet: Sheet
    torso: str


def draw_up(study: Study, source: str, data: bytes) -> Drawn:
    """The sheet of a study of the file called `source`, whose bytes are `data`."""
    motion = study.motion
    first, last = part_to_play(motion, study.phases)
    torso = torso_text(motion, first, last)
    recording = Recording(
        source=source,
        source_sha256=hashlib.sha256(data).hexdigest(),
        rate=round(float(motion.rate), 3),
        frames=motion.frames + motion.left_out,
        torso=TORSO_FILE,
        torso_sha256=hashlib.sha256(torso.encode("ascii")).hexdigest(),
        torso_first=first + motion.left_out,
    )
    ids = tuple(arm.arm for arm in motion.arms)
    arms = tuple(_arm(study, arm, ids) for arm in study.arms)
    return Drawn(Sheet(motion.name, arms, recording, range_of(clip_of(torso, TRAVEL))), torso)


def _arm(study: Study, arm: ArmStudy, ids: Sequence[str]) -> ArmSheet:
    phases = [phase for phase in study.phases if phase.arm == arm.arm]
    needs = [*_swings(study, phases), *_holds(study, arm.arm, phases), *_rolls(study, phases)]
    needs += [*_stretch(study, arm), *_lift(study, arm), *_shoulder(study, arm), *_changes(study, arm.arm, phases)]
    return ArmSheet(
        arm.arm, round(arm.length, 4), tuple(needs), tuple(_spaces(study, phases, ids)), orders_of(arm.orders)
    )


def orders_of(found: Sequence[JointOrder]) -> Orders:
    """For each joint the order that is better than the rig's, whatever pose the rig rests in."""
    better: dict[str, set[str]] = {}
    for item in found:
        better.setdefault(_JOINTS[item.joint], set()).add(item.best if item.best != item.order else "")
    return Orders(**{joint: wishes.pop() for joint, wishes in better.items() if len(wishes) == 1})


def asks(phase: Phase) -> bool:
    """Whether a hold asks something of a rig: the body moves meanwhile."""
    return phase.kind != SWING and phase.shoulder_moved >= MOVED


def _swings(study: Study, phases: Sequence[Phase]) -> list[Need]:
    swings = [phase for phase in phases if phase.kind == SWING]
    return [Need("swing", _often(study, swings), _frames(study, swings))] if swings else []


def _holds(study: Study, arm: str, phases: Sequence[Phase]) -> list[Need]:
    """Hand, elbow, or both at once for as long as something has to stand still to count."""
    count, rate = study.motion.frames, study.motion.rate
    asking = tuple(phase for phase in phases if asks(phase))
    hand = planted_frames(asking, arm, count, (HAND, ROLL, HELD))
    elbow = planted_frames(asking, arm, count, (ELBOW,))
    both = np.zeros(count, bool)
    for span in runs(hand & elbow):
        both[span.first : span.last + 1] = span.frames >= SHORTEST * rate
    found = []
    for name, mask in (("hold-hand", hand & ~both), ("hold-elbow", elbow & ~both), ("hold-both", both)):
        spans = [span for span in runs(mask) if span.frames >= SHORTEST * rate]
        if spans:
            places = [(span.first, span.last) for span in spans]
            most = max(phase.shoulder_moved for phase in asking)
            why = f"{_times(study, places)}; the shoulder moves by up to {most:.2g} L during a hold"
            found.append(Need(name, why, _longest(study, places)))
    return found


def _rolls(study: Study, phases: Sequence[Phase]) -> list[Need]:
    rolls = [phase for phase in phases if phase.kind == ROLL]
    if not rolls:
        return []
    over = sorted({phase.over for phase in rolls} - {""})
    turned = max(phase.turned for phase in rolls)
    why = f"{_often(study, rolls)}; it turns by up to {turned:.0f} degrees{' over ' if over else ''}{', '.join(over)}"
    return [Need("plant", why, _frames(study, rolls))]


def _stretch(study: Study, arm: ArmStudy) -> list[Need]:
    if arm.stretch <= SLIPS:
        return []
    most = math.ceil((1.0 + arm.stretch) * 1000.0) / 1000.0
    return [Need("stretch", _times(study, arm.stretched), _longest(study, arm.stretched), most)]


def _lift(study: Study, arm: ArmStudy) -> list[Need]:
    if arm.elevation.most <= RHYTHM_FROM:
        return []
    why = f"the upper arm goes to {arm.elevation.most:.0f} degrees; a shoulder rises from {RHYTHM_FROM:.0f} on"
    return [Need("lift", why, _one(study, arm.elevation.most_frame))]


def _shoulder(study: Study, arm: ArmStudy) -> list[Need]:
    by_itself = float(np.interp(arm.elevation.most, [0.0, *ELEVATIONS], [0.0, *RISES]))
    more, less = arm.rise.most - by_itself, -arm.rise.least
    if max(more, less) <= OFF_RHYTHM:
        return []
    frame = arm.rise.most_frame if more >= less else arm.rise.least_frame
    why = (
        f"the shoulder goes from {arm.rise.least:.2g} to {arm.rise.most:.2g} upper arm lengths up in the torso; "
        f"the raised arm accounts for {by_itself:.2g}"
    )
    return [Need("shoulder", why, _one(study, frame))]


def _changes(study: Study, arm: str, phases: Sequence[Phase]) -> list[Need]:
    """Frames in which a hold that asks something begins: what is held has to change there without a pop."""
    begins = [(first, first) for first in sorted(set(_begins(study, arm, phases)))]
    if not begins:
        return []
    return [Need("switch", f"a hold begins {_count(len(begins))}", _longest(study, begins))]


def _begins(study: Study, arm: str, phases: Sequence[Phase]) -> Iterator[int]:
    asking = tuple(phase for phase in phases if asks(phase))
    for kinds in ((HAND, ROLL, HELD), (ELBOW,)):
        mask = planted_frames(asking, arm, study.motion.frames, kinds)
        yield from (span.first for span in runs(mask) if span.first > 0)


def _spaces(study: Study, phases: Sequence[Phase], ids: Sequence[str]) -> list[Space]:
    held: dict[str, list[Phase]] = {}
    for phase in phases:
        if phase.kind == HELD and asks(phase):
            held.setdefault(phase.on, []).append(phase)
    return [
        Space("hand", HAND_SPACE if on in ids else THING, on, _often(study, some), _frames(study, some))
        for on, some in held.items()
    ]


def _often(study: Study, phases: Sequence[Phase]) -> str:
    return _times(study, [(phase.first, phase.last) for phase in phases])


def _times(study: Study, spans: Sequence[tuple[int, int]]) -> str:
    """ "3 times, 4.2 s in all"."""
    seconds = sum(last - first + 1 for first, last in spans) / study.motion.rate
    return (
        f"{_count(len(spans))}, {seconds:.2g} s in all" if seconds < 10.0 else f"{_count(len(spans))}, {seconds:.0f} s"
    )


def _count(number: int) -> str:
    return "once" if number == 1 else f"{number} times"


def _frames(study: Study, phases: Sequence[Phase]) -> Frames:
    return _longest(study, [(phase.first, phase.last) for phase in phases])


def _longest(study: Study, spans: Sequence[tuple[int, int]]) -> Frames:
    """The longest of the spans in order of time, counted in the recording's own frames."""
    kept = sorted(sorted(spans, key=lambda span: span[0] - span[1])[:MOST_SPANS])
    return tuple((first + study.motion.left_out, last + study.motion.left_out) for first, last in kept)


def _one(study: Study, frame: int) -> Frames:
    return _longest(study, [(frame, frame)])


def sentence(sheet: Sheet) -> str:
    """What a sheet asks for, on a line an arm."""
    if sheet.empty:
        return "the sheet asks for nothing: no arm has to do anything"
    return "\n".join(
        f"{arm_words.name(arm.arm)}: {', '.join(_word(need) for need in arm.needs) or 'nothing'}"
        + "".join(f"; {space.hold} on {space.on!r}" for space in arm.spaces)
        for arm in sheet.arms
    )


def _word(need: Need) -> str:
    return f"{need.requirement} to {need.most:g} L" if need.most else need.requirement
