"""Fingers: one chain of controls each, carried by the hand, and the dials that close and open them (docs/arm.md, "The
hand").

Every finger bone is three: a working bone that the dials turn, its child, the control, which adds its own channels, and
the control's child, which carries the skin. The next working bone hangs on the control, so that channels and dials
of a bone carry the rest of the finger along.
"""

from __future__ import annotations

import math

import numpy as np

from ..anatomy import FINGER_ABDUCTION, FINGER_FLEXION, THUMB_FLEXION
from ..frames import ArmFrames
from ..hand_frames import FingerFrames
from ..plan.draft import Draft, rest_rows
from ..plan.model import LOCKED, Bone, Display, Property, Variable
from . import names as n
from .context import ArmContext, Array, keep_size, number, skin, working

# The hinge X is applied first, in a finger that Z has moved aside; the middle axis, at whose quarter turn the triple is
# singular, is the roll Y, which a finger does not have.
FINGER_ORDER = "XYZ"
LEAST_CURL, MOST_CURL = -0.5, 1.0
# Where the skin's hand bone ends: on the line of the knuckles, within these parts of the hand's length.
SHORTEST_PALM, LONGEST_PALM = 0.2, 1.0
# Roots nearer to each other across the palm than this, over the longest root bone, have no sides to spread to.
NARROWEST_PALM = 0.01
# An axis is turned over only where it plainly points the other way, not by a rounding.
OVER = -1e-4
# A control's band: its radius over the finger's mean bone and at least over the hand's depth, and along each bone its
# width and place over the bone's length.
RADIUS, LEAST_RADIUS, BAND, MIDDLE = 0.4, 0.6, 0.12, 0.45


def add_fingers(draft: Draft, arm: ArmContext) -> None:
    """Every finger of the arm with its controls, skin and dials; nothing for a hand without any."""
    if not arm.frames.fingers:
        return
    keep_size(draft, arm, arm.names.hand)
    _add_dials(draft, arm)
    shares = spread_shares(arm.frames)
    for finger, share in zip(arm.frames.fingers, shares, strict=True):
        _add_finger(draft, arm, finger, share)


def roles(arm: ArmContext) -> tuple[tuple[str, str], ...]:
    """Parts of the fingers that sidebar and proof look for."""
    names = arm.names
    if not arm.frames.fingers:
        return ()
    return (
        ("finger_dials", names.fk_fingers),
        *(
            (f"{layer}_{finger.name}_{place}", names.finger(layer, finger.name, place))
            for finger in arm.frames.fingers
            for place in range(1, len(finger.frames) + 1)
            for layer in ("fk", "skin")
        ),
    )


def palm_length(frames: ArmFrames) -> float:
    """Length of the bone that carries the hand's skin, metres: to the knuckles where fingers go on from there."""
    if all(finger.thumb for finger in frames.fingers):
        return frames.hand_length
    along = float(frames.pivots.knuckles[1]) / frames.hand_length
    return min(max(along, SHORTEST_PALM), LONGEST_PALM) * frames.hand_length


def flexion_limits(bones: int, thumb: bool) -> tuple[float, ...]:
    """Turn of each of a finger's bones at a curl of 1, root first, radians.

    A finger of fewer than three bones keeps the root's joints, a thumb the tip's: what a character leaves out of a
    thumb is the part within the palm. More than three share the same total evenly.
    """
    known = THUMB_FLEXION if thumb else FINGER_FLEXION
    if bones > len(known):
        return (math.radians(sum(known)) / bones,) * bones
    kept = known[len(known) - bones :] if thumb else known[:bones]
    return tuple(math.radians(angle) for angle in kept)


def spread_shares(frames: ArmFrames) -> tuple[float, ...]:
    """How far each finger turns about its root's Z at a spread of 1, as a part of FINGER_ABDUCTION, with its sign.

    A finger by its root's place across the palm, -1 and 1 at the outermost; a thumb all the way, away from the tips of
    the fingers, or without any from the hand's own line.
    """
    hand = frames.hand
    fingers = [finger for finger in frames.fingers if not finger.thumb]
    across = [float((finger.frames[0][:3, 3] - hand[:3, 3]) @ hand[:3, 0]) for finger in fingers]
    middle, half = 0.0, 0.0
    if across:
        middle, half = (max(across) + min(across)) / 2.0, (max(across) - min(across)) / 2.0
    width = max((finger.lengths[0] for finger in fingers), default=0.0)
    tips = np.mean([_tip(finger) for finger in fingers], axis=0) if fingers else None

    def share(finger: FingerFrames) -> float:
        root = finger.frames[0]
        if finger.thumb:
            towards = hand[:3, 1] if tips is None else tips - _tip(finger)
            # A positive turn about Z moves the tip to -X.
            return _side(float(root[:3, 0] @ towards / np.linalg.norm(towards)))
        if half <= NARROWEST_PALM * width:
            return 0.0
        place = (float((root[:3, 3] - hand[:3, 3]) @ hand[:3, 0]) - middle) / half
        return -place * _side(float(root[:3, 0] @ hand[:3, 0]))

    return tuple(share(finger) for finger in frames.fingers)


def _side(cosine: float) -> float:
    return -1.0 if cosine < OVER else 1.0


def _tip(finger: FingerFrames) -> Array:
    last = finger.frames[-1]
    return np.asarray(last[:3, 3] + last[:3, 1] * finger.lengths[-1])


def _add_dials(draft: Draft, arm: ArmContext) -> None:
    """The control over the back of the hand, which has the dials and does nothing else."""
    names, frames = arm.names, arm.frames
    palm = palm_length(frames)
    size, above = 0.4 * palm, arm.around(frames.girth.hand_depth)
    draft.bones.append(
        Bone(
            name=names.fk_fingers,
            parent=names.hand,
            rest=rest_rows(frames.hand),
            length=0.5 * palm,
            collection=n.COLLECTION_FINGERS,
            rotation_order=FINGER_ORDER,
            lock_location=LOCKED,
            lock_rotation=LOCKED,
            display=Display("fan", "body", (size, size, size), (0.0, 0.35 * palm, -above)),
        )
    )

    def dial(key: str, low: float, help: str) -> None:
        draft.properties.append(Property(names.fk_fingers, key, 0.0, low, 1.0, help))

    dial(n.CURL, LEAST_CURL, "Closes all fingers and the thumb: 1 is a fist, below 0 bends them back")
    dial(n.SPREAD, -1.0, "1 opens the fingers and the thumb sideways, -1 brings them together")
    for finger in frames.fingers:
        words = finger.name.replace("_", " ")
        dial(curl_dial(finger.name), LEAST_CURL, f"Closes the {words}, on top of the curl of all")


def curl_dial(finger: str) -> str:
    """The dial of one finger."""
    return f"{n.CURL}_{finger}"


def _add_finger(draft: Draft, arm: ArmContext, finger: FingerFrames, share: float) -> None:
    names = arm.names
    parent = names.hand if finger.thumb else names.fingers
    limits = flexion_limits(len(finger.frames), finger.thumb)
    mean = sum(finger.lengths) / len(finger.lengths)
    radius = max(RADIUS * mean, LEAST_RADIUS * arm.frames.girth.hand_depth)
    for place, (frame, length, limit) in enumerate(zip(finger.frames, finger.lengths, limits, strict=True), start=1):
        dialled, control = (names.finger(layer, finger.name, place) for layer in ("aux", "fk"))
        draft.bones.append(working(dialled, parent, frame, length, FINGER_ORDER))
        draft.drive(
            dialled,
            "rotation_euler",
            f"clamp(all+own,{number(LEAST_CURL)},{number(MOST_CURL)})*{number(limit)}",
            _dial(arm, "all", n.CURL),
            _dial(arm, "own", curl_dial(finger.name)),
            index=0,
        )
        draft.bones.append(
            Bone(
                name=control,
                parent=dialled,
                rest=rest_rows(frame),
                length=length,
                collection=n.COLLECTION_FINGERS,
                rotation_order=FINGER_ORDER,
                lock_location=LOCKED,
                display=Display("band", "body", (radius, BAND * length, radius), (0.0, MIDDLE * length, 0.0)),
            )
        )
        draft.bones.append(skin(names.finger("skin", finger.name, place), control, frame, length))
        parent = control
    if share:
        draft.drive(
            names.finger("aux", finger.name, 1),
            "rotation_euler",
            f"spread*{number(share * math.radians(FINGER_ABDUCTION))}",
            _dial(arm, "spread", n.SPREAD),
            index=2,
        )


def _dial(arm: ArmContext, variable: str, key: str) -> Variable:
    return Variable(variable, "property", bone=arm.names.fk_fingers, channel=key)
