"""Controls that are held in a space: hand hold and elbow hold; and the elbow's aim, which travels with the torso."""

from __future__ import annotations

from ..plan.draft import Draft, rest_rows
from ..plan.model import LOCKED, Bone, Display
from . import names as n
from .context import ArmContext, Array, placed, working

# How far behind the elbow the aim sits at rest, in arm lengths: far enough to stay off the arm's own line.
AIM_DISTANCE = 0.75


def add_holds(draft: Draft, arm: ArmContext) -> None:
    """Hand hold, elbow hold and elbow aim."""
    names, frames = arm.names, arm.frames
    size = frames.length
    elbow = frames.forearm[:3, 3]
    _add_space(draft, arm, names.hand_space, frames.hand)
    _add_space(draft, arm, names.elbow_space, placed(frames.upper_arm, elbow))
    draft.bones.append(
        Bone(
            name=names.hold_hand,
            parent=names.hand_space,
            rest=rest_rows(frames.hand),
            length=frames.hand_length,
            collection=n.COLLECTION_HOLDS,
            display=Display(
                "slab",
                "held",
                (
                    2.3 * arm.around(frames.girth.hand_width),
                    1.1 * frames.hand_length,
                    2.3 * arm.around(frames.girth.hand_depth),
                ),
                (0.0, 0.5 * frames.hand_length, 0.0),
            ),
        )
    )
    draft.bones.append(
        Bone(
            name=names.hold_elbow,
            parent=names.elbow_space,
            rest=rest_rows(placed(frames.upper_arm, elbow)),
            length=0.2 * frames.upper_length,
            collection=n.COLLECTION_HOLDS,
            display=Display("cube", "held", (1.5 * arm.around(frames.girth.forearm),) * 3),
        )
    )
    aim = placed(frames.upper_arm, elbow - AIM_DISTANCE * size * frames.upper_arm[:3, 2])
    draft.bones.append(
        Bone(
            name=names.aim_elbow,
            parent=arm.torso,
            rest=rest_rows(aim),
            length=0.1 * frames.upper_length,
            collection=n.COLLECTION_HOLDS,
            lock_rotation=LOCKED,
            display=Display("star", "body", (0.07 * size, 0.07 * size, 0.07 * size)),
        )
    )


def _add_space(draft: Draft, arm: ArmContext, name: str, frame: Array) -> None:
    """A hold's parent: in the world; its constraints, without influence yet, carry it with torso or head.

    It has no parent of its own: a constraint adds its motion to that of a parent, so that a root that moves would carry
    a hold on a prop along, and a hold on the torso twice as far.
    """
    draft.bones.append(working(name, "", frame, 0.1 * arm.frames.length))
    draft.constrain(name, n.SPACE_TORSO, "armature", arm.torso, influence=0.0)
    if arm.head:
        draft.constrain(name, n.SPACE_HEAD, "armature", arm.head, influence=0.0)
