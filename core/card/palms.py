"""Which way a hand points and its palm faces at rest, told by the bones of its fingers; a bone's own roll says nothing.

Along the hand is from the wrist to the knuckle of the middle finger (the third metacarpal, by which a wrist's angles
are measured: Norkin & White). The palm is at right angles to that and to the row of knuckles; on which side of them is
told by the thumb, by fingers that are bent at rest, and by their names, which may not contradict each other.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from .model import CardArm
from .name_pairs import parts
from .sketch import RigSketch, SketchBone

Array = NDArray[np.float64]

# Finger words, from the thumb's side; plain dictionary words in a few languages.
FINGER_WORDS = (
    ("thumb", "daumen", "pouce", "pulgar", "pollice"),
    ("index", "pointer", "zeigefinger", "indice"),
    ("middle", "mittelfinger", "majeur", "medio"),
    ("ring", "ringfinger", "annulaire", "anular", "anulare"),
    ("little", "pinky", "pinkie", "kleinfinger", "auriculaire", "menique", "mignolo"),
)
THUMB, MIDDLE = 0, 2
# Parts of the forearm's length (Winter, fig. 4.1: the hand is 0.74 of it; its knuckles are about half-way, common
# practice): where a finger's tip is, the shortest finger, where its knuckle is at least, and a row of knuckles.
TIP_FROM, TIP_TO, SHORTEST, KNUCKLE_FROM, ROW = 0.25, 1.0, 0.08, 0.2, 0.1
# A thumb leaves the hand earlier than every finger by this part of the forearm, or points aside by this, and by more
# than the next (common practice).
EARLIER, ASIDE, MORE = 0.12, math.radians(30.0), 1.6
# How far beside the knuckles a thumb ends at least, over the forearm.
BESIDE = 0.1
# Fingers fan out by no more than this; of two without names one may be a thumb.
FAN, PAIR = math.radians(60.0), math.radians(20.0)
# Fingers that are bent by this tell the palm; one alone by this.
BENT, BENT_ALONE = math.radians(5.0), math.radians(10.0)
# A hand's bone that is this far off the forearm's line points along something else.
OFF_LINE = math.radians(45.0)

NO_FINGERS = "no bones of fingers tell where the palm faces"
NO_SIDE = "neither a thumb nor bent fingers tell on which side of it the palm is"
CONTRADICTION = "its thumb, its bent fingers or their names contradict each other on where the palm faces"
NO_LINE = "no bone points along the hand"


@dataclass(frozen=True, eq=False)
class HandRest:
    """Attributes:
    axes: (3, 3) at rest, armature space: Y along the hand, Z out of its palm; None where that can not be known.
    why: what tells, or why it can not be known.
    """

    axes: Array | None
    why: str


@dataclass(frozen=True, eq=False)
class _Finger:
    """Joints (K, 3) from root to tip, the first of them that is a knuckle, and what the name says, an index or -1."""

    joints: Array
    knuckle: int
    said: int

    @property
    def at(self) -> Array:
        return np.asarray(self.joints[self.knuckle])

    @property
    def way(self) -> Array:
        return _unit(self.joints[-1] - self.joints[0])

    @property
    def bend(self) -> Array:
        """Turns of its bones beyond the knuckle, each against the one before, as a vector of radians towards where
        they turn.
        """
        ways = [_unit(way) for way in np.diff(self.joints[self.knuckle :], axis=0)]
        total = np.zeros(3)
        for one, other in pairwise(ways):
            aside = other - one * float(one @ other)
            total += _unit(aside) * math.atan2(float(np.linalg.norm(aside)), float(one @ other))
        return total


def hand_rest(sketch: RigSketch, arm: CardArm) -> HandRest:
    """The axes of the hand of `arm` at rest: its palm by the card where that says it, otherwise by its fingers."""
    bones = {bone.name: bone for bone in sketch.bones}
    hand, forearm = bones[arm.hand], bones[arm.forearm]
    wrist = np.array(hand.head)
    fore = wrist - np.array(forearm.head)
    size = float(np.linalg.norm(fore))
    own = np.array(hand.tail) - wrist
    straight = _unit(own) if float(_unit(own) @ _unit(fore)) > math.cos(OFF_LINE) else None
    found = _fingers(bones, arm.hand, wrist, size)
    thumb, fingers = _thumb_and_fingers(found, wrist, size)
    if arm.palm is not None:
        palm = np.array(arm.palm)
        middle = _middle(fingers, np.cross(palm, fore) * _hand_sign(arm))
        along = middle.at - wrist if middle is not None else straight
        return HandRest(None, NO_LINE) if along is None else _axes(along, palm, "the card says where the palm faces")
    if len(fingers) > 1:
        return _by_knuckles(arm, wrist, size, thumb, fingers)
    if fingers and float(np.linalg.norm(fingers[0].bend)) >= BENT_ALONE:
        along = straight if straight is not None else fingers[0].way
        palm = fingers[0].bend
        if thumb is not None and _thumb_side(thumb.joints[-1] - wrist, along, palm) * _hand_sign(arm) < 0.0:
            return HandRest(None, CONTRADICTION)
        return _axes(along, palm, "its bent finger tells where the palm faces")
    return HandRest(None, NO_FINGERS)


def _by_knuckles(
    arm: CardArm, wrist: Array, size: float, thumb: _Finger | None, fingers: Sequence[_Finger]
) -> HandRest:
    knuckles = np.array([finger.at for finger in fingers])
    along = np.mean(knuckles, axis=0) - wrist
    across = _row(knuckles, _unit(along))
    apart = max(_angle(one.way, other.way) for one in fingers for other in fingers)
    unnamed_pair = len(fingers) == 2 and min(finger.said for finger in fingers) < 0
    if float(np.ptp(knuckles @ across)) < ROW * size or apart > (PAIR if unnamed_pair else FAN):
        return HandRest(None, NO_FINGERS)
    palm = np.cross(_unit(along), across)
    votes: dict[str, float] = {}
    if thumb is not None:
        aside = thumb.joints[-1] - knuckles.mean(axis=0)
        if abs(float(aside @ across)) > BESIDE * size:
            votes["thumb"] = _thumb_side(aside, along, palm) * _hand_sign(arm)
    bend = float(np.median([finger.bend @ palm for finger in fingers]))
    if abs(bend) >= BENT:
        votes["bent fingers"] = bend
    named = sorted((finger for finger in fingers if finger.said > THUMB), key=lambda finger: finger.said)
    if len(named) > 1 and named[0].said < named[-1].said:
        votes["fingers' names"] = _thumb_side(named[0].at - named[-1].at, along, palm) * _hand_sign(arm)
    if not votes:
        return HandRest(None, NO_SIDE)
    if min(votes.values()) < 0.0 < max(votes.values()):
        return HandRest(None, CONTRADICTION)
    palm = palm * math.copysign(1.0, next(iter(votes.values())))
    middle = _middle(fingers, np.cross(palm, along) * _hand_sign(arm))
    assert middle is not None
    return _axes(middle.at - wrist, palm, f"its knuckles and its {' and '.join(votes)} tell where the palm faces")


def _hand_sign(arm: CardArm) -> float:
    """1 for a left hand, -1 for a right one (study.joints.is_left)."""
    return 1.0 if arm.arm.endswith("L") else -1.0


def _thumb_side(aside: Array, along: Array, palm: Array) -> float:
    """More than 0 where `aside` is on the thumb's side of a left hand: along × thumb points out of its palm."""
    return float(np.cross(along, aside) @ palm)


def _axes(along: Array, palm: Array, why: str) -> HandRest:
    y = _unit(along)
    z = palm - y * float(palm @ y)
    if float(np.linalg.norm(z)) < 1e-3 * max(float(np.linalg.norm(palm)), 1e-12):
        return HandRest(None, "the palm would face along the hand")
    z = _unit(z)
    return HandRest(np.stack([np.cross(y, z), y, z], axis=1), why)


def _middle(fingers: Sequence[_Finger], to_thumb: Array) -> _Finger | None:
    """The middle finger: by its name, or by its place in the row from the thumb's side; None for fewer than two."""
    if len(fingers) < 2:
        return None
    named = [finger for finger in fingers if finger.said == MIDDLE]
    if len(named) == 1:
        return named[0]
    row = sorted(fingers, key=lambda finger: -float(finger.at @ to_thumb))
    if len(row) == 2:
        # Nobody knows which two: the line between them.
        return _Finger(np.mean([[finger.at] for finger in row], axis=0), 0, -1)
    return row[1] if len(row) == 4 else row[len(row) // 2]


def _fingers(bones: Mapping[str, SketchBone], hand: str, wrist: Array, size: float) -> list[_Finger]:
    """Chains below the hand that may be fingers."""
    below: dict[str, list[str]] = {}
    for bone in bones.values():
        below.setdefault(bone.parent, []).append(bone.name)
    under = _under(below, hand)
    deform = {name for name in under if bones[name].deform}
    kept = deform or set(under)

    def carried(name: str) -> list[str]:
        out = []
        for child in below.get(name, ()):
            out += [child] if child in kept else carried(child)
        return out

    found: list[_Finger] = []
    waiting = [[name] for name in carried(hand)]
    while waiting:
        chain = waiting.pop()
        children = carried(chain[-1])
        if len(children) == 1:
            waiting.append([*chain, children[0]])
        elif children:
            # It carries several fingers and is none.
            waiting += [[child] for child in children]
        else:
            joints = np.array([*(bones[name].head for name in chain), bones[chain[-1]].tail])
            away = np.linalg.norm(joints - wrist, axis=1)
            long_enough = float(np.linalg.norm(joints[-1] - joints[0])) >= SHORTEST * size
            if TIP_FROM * size <= away[-1] <= TIP_TO * size and long_enough:
                found.append(_Finger(joints, int(np.argmax(away >= KNUCKLE_FROM * size)), _said(chain)))
    named = [finger for finger in found if finger.said >= 0]
    # Where fingers have their names the rest is held in the hand.
    return named if sum(finger.said > THUMB for finger in named) > 1 else found


def _under(below: Mapping[str, Sequence[str]], name: str) -> list[str]:
    return [item for child in below.get(name, ()) for item in (child, *_under(below, child))]


def _said(chain: Sequence[str]) -> int:
    """Which finger the names of a chain's bones mean; -1 where they say none, or several."""
    words = {word for name in chain for word in parts(name)}
    said = [place for place, known in enumerate(FINGER_WORDS) if words & set(known)]
    return said[0] if len(said) == 1 else -1


def _thumb_and_fingers(found: Sequence[_Finger], wrist: Array, size: float) -> tuple[_Finger | None, list[_Finger]]:
    """The thumb by its name, or by its place: beside the others, from nearer to the wrist or well aside of them."""
    named = [finger for finger in found if finger.said == THUMB]
    if named:
        return (named[0] if len(named) == 1 else None), [finger for finger in found if finger.said != THUMB]
    candidates = [finger for finger in found if _is_thumb(finger, found, wrist, size)] if len(found) > 2 else []
    thumb = candidates[0] if len(candidates) == 1 else None
    return thumb, [finger for finger in found if finger is not thumb]


def _is_thumb(finger: _Finger, found: Sequence[_Finger], wrist: Array, size: float) -> bool:
    others = [other for other in found if other is not finger]
    if finger.said >= 0:
        return False
    knuckles = np.array([other.at for other in others])
    along = _unit(np.mean(knuckles, axis=0) - wrist)
    across = _row(knuckles, along)
    sides, side = knuckles @ across, float(finger.joints[-1] @ across)
    if sides.min() <= side <= sides.max():
        return False
    starts = [float((other.joints[0] - wrist) @ along) for other in others]
    early = min(starts) - float((finger.joints[0] - wrist) @ along) > EARLIER * size
    mean = _unit(np.sum([other.way for other in others], axis=0))
    aside = _angle(finger.way, mean)
    return early or (aside > ASIDE and aside > MORE * max(_angle(other.way, mean) for other in others))


def _row(knuckles: Array, along: Array) -> Array:
    """The direction in which knuckles (K, 3) lie side by side, at a right angle to `along`, unit."""
    flat = knuckles - knuckles.mean(axis=0)
    flat = flat - np.outer(flat @ along, along)
    return np.asarray(np.linalg.svd(flat, full_matrices=False)[2][0])


def _angle(one: Array, other: Array) -> float:
    return math.atan2(float(np.linalg.norm(np.cross(one, other))), float(one @ other))


def _unit(vector: Array) -> Array:
    size = float(np.linalg.norm(vector))
    return vector / size if size > 0.0 else vector
