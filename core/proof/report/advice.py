"""What to do about a verdict: one or two plain sentences a rigger can act on."""

from __future__ import annotations

import math

from ..results import FAIL, NOT_APPLICABLE, OUT_OF_REACH, Check

_HAND_SPACE = (
    "Look at the hand hold first: it must be carried by the space it is held in and by nothing of the torso. "
    "Then look for a second constraint or a parent that still moves the forearm."
)
_ELBOW_SPACE = (
    "The elbow hold must be carried by the space it is held in, not by the torso or the clavicle; "
    "check its parent, and that the elbow dial is all the way on."
)
# What goes wrong in a rig by requirement and measure; "" is for the requirement's other measures.
_FAILS = {
    (
        "swing",
        "",
    ): "Something besides its channels turns a joint: look for a constraint, a driver or an animation layer "
    "on the FK controls, and for a rotation order that differs from the plan's.",
    ("hold-hand", ""): _HAND_SPACE,
    ("hold-hand", "hand-drift"): "The hand stays but turns: let its rotation come from the hand hold, in the hold's "
    "space, and not from the forearm.",
    ("hold-elbow", ""): _ELBOW_SPACE,
    ("hold-elbow", "wrist-slide"): "The hand swings when the torso moves: while the elbow is planted, the forearm's FK "
    "control must turn in the elbow hold's space, not in the upper arm's.",
    ("hold-elbow", "hand-drift"): "The hand turns when the torso moves: while the elbow is planted, forearm and hand "
    "must inherit the elbow hold's rotation, not the upper arm's.",
    ("hold-both", ""): "Check elbow hold and hand hold one at a time: the elbow must be placed first, and the forearm "
    "must start from the held elbow and not from where the free arm would have put it.",
    ("shoulder", ""): "The clavicle drags along what is held: the holds must not have clavicle or torso among their "
    "parents, and the arm must be solved after the clavicle has moved.",
    (
        "lift",
        "",
    ): "The shoulder does not follow its rhythm: read the raise of the arm from the FK control's own channels "
    "or from the unlifted shoulder, never from the finished arm, and check the driver of the clavicle.",
    ("isolate", ""): "Rotation leaks in from the torso or the clavicle: the isolating constraint must read the root's "
    "rotation, and nothing after it on the upper arm may bring the parent's back.",
    ("stretch", ""): "A segment is not as long as its dial says: check the drivers of its length, and that no scale on "
    "the armature or on a parent bone reaches the arm.",
    (
        "blend",
        "",
    ): "FK and IK do not meet on the way: blend the rotations and place elbow and wrist from them; blending "
    "the finished transforms of two chains opens a gap.",
    ("switch", ""): "The pose pops: match the controls on the frame of the change itself, and key both sides of it.",
    (
        "plant",
        "",
    ): "The point of contact slides: each roll needs its pivot on that point, and the rolls in their order, "
    "with no scale between them.",
    (
        "any-axis",
        "",
    ): "The elbow flips: move its aim away from the line from shoulder to hand, or bend the arm a little at rest.",
    ("any-axis", "elbow-place"): "The elbow is not on the side of its aim: look at the constraint that turns the arm's "
    "plane to the aim, and whether it is muted.",
    (
        "any-axis",
        "left-out",
    ): "Too few steps were looked at, for the arm's shoulder is far from where its torso carries "
    "it: look at the clavicle's rest, its length and its lift.",
    (
        "twist",
        "",
    ): "The skin bones do not share the roll evenly: check the weight on each of them, from 0 at one end to "
    "all of it at the other.",
    (
        "fingers",
        "",
    ): "A finger does more than its channels say: look for a constraint on it, or a parent that is not the hand.",
}
_NO_NUMBER = (
    "A bone's transform holds no number: look for a driver that divides by zero, a bone of no length or a scale of 0 "
    "on the frame that is marked, and mend that first."
)
_UNKNOWN_FAILS = "Set the rig to the case and frame that are named here and look at which bone moves first."
_OUT_OF_REACH = (
    "The arm is too short for where it is held, and points straight at it. Move the hold nearer, bring the torso "
    "along, or turn the stretch dial up."
)
_ELBOW_OUT_OF_REACH = (
    "The upper arm would have to be longer or shorter than the rig allows. Move the elbow hold nearer to the "
    "shoulder's reach, bring the torso along, or widen the limits of the segment's length and build again."
)
_NOT_APPLICABLE = "Nothing to do: the rig or the mode has nothing that this could measure."
_HOLDS = "Nothing to do."


def advice(check: Check) -> str:
    """What to do about the verdict of `check`."""
    if check.verdict == FAIL:
        if not math.isfinite(check.value):
            return _NO_NUMBER
        known = _FAILS.get((check.requirement, check.measure)) or _FAILS.get((check.requirement, ""))
        return known or _UNKNOWN_FAILS
    if check.verdict == OUT_OF_REACH:
        return _ELBOW_OUT_OF_REACH if check.requirement == "hold-elbow" else _OUT_OF_REACH
    return _NOT_APPLICABLE if check.verdict == NOT_APPLICABLE else _HOLDS
