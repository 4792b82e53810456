"""Composes the building blocks into a plan for all arms of a guide."""

from __future__ import annotations

from dataclasses import dataclass

from .. import codec, guide_json
from ..errors import GuideError
from ..frames import arm_frames
from ..guide import Guide
from ..options import ArmOptions
from ..plan.draft import Draft
from ..plan.model import External, Plan, Role
from . import clavicle, dials, fingers, fk, holds, ik, limb, plant, twist
from .context import ArmContext
from .names import ArmNames
from .torso import add_torso


@dataclass(frozen=True)
class Attachment:
    """Where the arms go on an existing armature.

    Attributes:
        torso: bone that carries the shoulders.
        root: bone outside the torso, to which holds and isolation refer; None for the armature itself.
        head: bone that something can be held in besides the torso; None for none.
    """

    torso: External
    root: External | None = None
    head: External | None = None


def plan_arms(guide: Guide, options: ArmOptions, attachment: Attachment | None = None) -> Plan:
    """The plan for every arm of `guide`, on the `attachment` or, without one, on a torso of its own.

    Raises GuideError where the joints can not make an arm.
    """
    draft = Draft()
    if attachment is not None:
        draft.external.append(attachment.torso)
        torso = attachment.torso.name
        root, head = _optional(draft, attachment.root), _optional(draft, attachment.head)
    elif guide.torso is not None:
        torso, root, head = add_torso(draft, guide.torso, guide.up, guide.front)
    else:
        raise GuideError(
            "the guide has no torso and no torso bone was chosen: choose the bone that carries the shoulders, "
            "or add the torso's joints to the guide"
        )
    for arm in guide.arms:
        frames = arm_frames(arm, guide.up)
        _add_arm(draft, ArmContext(ArmNames(arm.id), frames, options, torso, root, head, guide.up))
    return draft.plan(guide.name, torso, root, guide_json.to_text(guide), codec.to_text(codec.encode(options)))


def _optional(draft: Draft, bone: External | None) -> str:
    """The name of an existing bone that the plan uses; "" for none."""
    if bone is None:
        return ""
    if bone not in draft.external:
        draft.external.append(bone)
    return bone.name


def _add_arm(draft: Draft, arm: ArmContext) -> None:
    """One arm, parents before children."""
    clavicle.add_clavicle(draft, arm)
    dials.add_dials(draft, arm)
    holds.add_holds(draft, arm)
    plant.add_plant(draft, arm)
    fk.add_isolation(draft, arm)
    fk.add_fk_upper_arm(draft, arm)
    clavicle.add_lift(draft, arm)
    ik.add_ik(draft, arm)
    limb.add_upper_arm(draft, arm)
    fk.add_fk_forearm(draft, arm)
    limb.place_elbow(draft, arm)
    limb.add_forearm(draft, arm)
    fk.add_fk_hand(draft, arm)
    limb.place_wrist(draft, arm)
    limb.add_hand(draft, arm)
    plant.add_finger_base(draft, arm)
    twist.add_skin(draft, arm)
    fingers.add_fingers(draft, arm)
    roles = (*_roles(arm.names), *arm.names.skin_roles(arm.options.twist_bones), *fingers.roles(arm))
    draft.roles.extend(Role(arm.names.side, role, bone) for role, bone in roles)


def _roles(names: ArmNames) -> tuple[tuple[str, str], ...]:
    """The parts that the sidebar, the switcher and the proof look for."""
    return (
        ("dials", names.fk_clavicle),
        ("fk_clavicle", names.fk_clavicle),
        ("fk_upper_arm", names.fk_upper_arm),
        ("fk_forearm", names.fk_forearm),
        ("fk_hand", names.fk_hand),
        ("hand_hold", names.hold_hand),
        ("elbow_hold", names.hold_elbow),
        ("elbow_aim", names.aim_elbow),
        ("hand_space", names.hand_space),
        ("elbow_space", names.elbow_space),
        ("clavicle", names.clavicle),
        ("upper_arm", names.upper_arm),
        ("elbow", names.forearm),
        ("forearm", names.forearm),
        ("wrist", names.hand),
        ("hand", names.hand),
        *plant.roles(names),
    )
