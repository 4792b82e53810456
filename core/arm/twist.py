"""Bones that carry the skin of upper arm and forearm: they stretch, keep their volume by a dial, and share the roll
(docs/arm.md, 13 and 19).

A segment's first bone reaches from joint to joint and does not roll; the others hang on it, at even steps of its
length, take over its stretch and its width, and roll by their share about its axis.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..errors import PlanError
from ..options import MOST_TWIST_BONES
from ..plan.draft import Draft
from . import names as n
from .context import ArmContext, Array, dial, place_at, placed, skin, working


@dataclass(frozen=True)
class _Segment:
    """Upper arm or forearm.

    Attributes:
        bones: names of its skin bones, from the end that does not roll.
        carrier: bone that carries the first one, with the roll of that end.
        joint: bone whose head is the far joint.
        frame: rest frame, head at the near joint.
        length: at rest, metres.
    """

    bones: tuple[str, ...]
    carrier: str
    joint: str
    frame: Array
    length: float


def add_skin(draft: Draft, arm: ArmContext) -> None:
    """The skin bones of upper arm and forearm. Raises PlanError for a number of bones that can not be had."""
    names, frames = arm.names, arm.frames
    count = bones_asked(arm.options.twist_bones)
    upper = _Segment(names.skin_upper_arms(count), names.clavicle, names.elbow, frames.upper_arm, frames.upper_length)
    fore = _Segment(names.skin_forearms(count), names.elbow, names.wrist, frames.forearm, frames.forearm_length)
    if count == 1:
        # One bone has all of the roll: what rolls carries it, and its end is pulled to the joint.
        _add_stretched(draft, arm, replace(upper, carrier=names.upper_arm))
        _add_stretched(draft, arm, replace(fore, carrier=names.hand), at=names.elbow)
        return
    _add_stretched(draft, arm, upper)
    _add_shares(draft, upper, names.upper_arm)
    _add_stretched(draft, arm, fore)
    # The forearm as the hand would carry it, swung back onto the forearm's axis: what is left is the roll.
    draft.bones.append(
        working(names.hand_roll, names.hand, placed(frames.forearm, frames.hand[:3, 3]), 0.2 * frames.hand_length)
    )
    draft.constrain(names.hand_roll, "axis", "damped_track", names.elbow, axis="-Y")
    _add_shares(draft, fore, names.hand_roll)


def bones_asked(count: int) -> int:
    """The number of skin bones of a segment, if it can be had; raises PlanError otherwise."""
    if isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= MOST_TWIST_BONES:
        raise PlanError(
            f"twist_bones is {count}: an upper arm and a forearm have from 1 to {MOST_TWIST_BONES} skin bones each"
        )
    return count


def _add_stretched(draft: Draft, arm: ArmContext, segment: _Segment, at: str = "") -> None:
    """The first bone, from joint to joint: by the smallest swing from its rest direction as its carrier has it.

    `at` is the bone that has the near joint, where the carrier does not.
    """
    bone = segment.bones[0]
    draft.bones.append(skin(bone, segment.carrier, segment.frame, segment.length / len(segment.bones)))
    if at:
        place_at(draft, bone, at)
    # Over a large turn the host's aim is off by up to 1.7e-6 radians, over a small one by a tenth of that: twice.
    draft.constrain(bone, "aim", "damped_track", segment.joint, axis="Y")
    draft.constrain(
        bone,
        "joint",
        "stretch_to",
        segment.joint,
        rest_length=segment.length,
        volume="XZ",
        bulge=1.0,
        keep_axis="SWING_Y",
    )
    draft.drive_constraint(bone, "joint", "bulge", "volume", dial(arm, "volume", n.VOLUME))


def _add_shares(draft: Draft, segment: _Segment, rolled: str) -> None:
    """The other bones roll by their share of the roll that `rolled`, whose Y axis is the segment's, has on the first.

    By constraints: a driver can read a roll in a bone's own space only, so that it would need one more bone to read.
    """
    first, count = segment.bones[0], len(segment.bones)
    for index, bone in enumerate(segment.bones[1:], start=1):
        head = segment.frame[:3, 3] + segment.frame[:3, 1] * (segment.length * index / count)
        made = skin(bone, first, placed(segment.frame, np.asarray(head)), segment.length / count)
        draft.bones.append(replace(made, inherit_scale=True))
        draft.constrain(bone, "roll", "share_roll", rolled, space=first, share=index / (count - 1))
