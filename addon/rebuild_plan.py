"""The plan for building arms again: from new joints or options, or from those that the rig remembers."""

from __future__ import annotations

from dataclasses import replace

import bpy

from ..core import codec, guide_json
from ..core.arm import names as n
from ..core.arm.build import plan_arms
from ..core.errors import HostError, PlanError
from ..core.guide import Guide
from ..core.options import ArmOptions
from ..core.plan.made import Made, made_by, made_by_version_1, unpacked
from ..core.plan.model import VERSION, Plan
from ..core.rig_record import RigRecord
from . import build, rig


def plan_again(
    armature: bpy.types.Object,
    guide: Guide | None = None,
    options: ArmOptions | None = None,
    torso: str = "",
    root: str = "",
) -> Plan:
    """The plan for the arms of `armature`, in its space; what is not given is as at the last build.

    Arms that came with a torso of their own keep it; its joints are the guide's, or without these the last ones.
    Raises HostError and GuideError.
    """
    record = rig.read_record(armature)
    last = last_guide(record)
    guide = last if guide is None else _as_thick(guide, last)
    options = options_of(record) if options is None else options
    if record.torso in record.bones and not torso:
        return plan_arms(guide if guide.torso is not None else replace(guide, torso=last.torso), options)
    return plan_arms(
        guide,
        options,
        build.attachment_to(armature, torso or _torso(armature, record), root or record.root, _head(armature, record)),
    )


def last_guide(record: RigRecord) -> Guide:
    """The joints of the last build."""
    return guide_json.from_text(record.guide)


def options_of(record: RigRecord) -> ArmOptions:
    """The options of the last build; those that came later have their defaults."""
    return codec.decode(ArmOptions, codec.parse(record.options, "options", HostError), "", HostError, may_omit=True)


def news(record: RigRecord, guide: Guide) -> str:
    """What has changed since the rig was built, for people; "" if nothing has."""
    if record.plan_version < VERSION:
        return f"Built by version {record.plan_version} of the plan; this is version {VERSION}"
    guide = _as_thick(guide, last_guide(record))
    return "" if guide_json.to_text(guide) == record.guide else "The joints have changed since the arms were built"


def _as_thick(guide: Guide, last: Guide) -> Guide:
    """`guide` with the girths of `last` where it tells none: they were measured when the arms were built."""
    known = {arm.id: arm.girth for arm in last.arms}
    return replace(guide, arms=tuple(replace(arm, girth=arm.girth or known.get(arm.id)) for arm in guide.arms))


def last_made(armature: bpy.types.Object, record: RigRecord) -> Made:
    """What the last build made. Raises HostError for a record that is damaged."""
    if record.made:
        try:
            return made_by(unpacked(record.made))
        except PlanError as problem:
            raise HostError(f"{armature.name!r}: {problem}") from problem
    return made_by_version_1(record.bones, record.arms, plan_again(armature))


def _torso(armature: bpy.types.Object, record: RigRecord) -> str:
    """The bone that carries the arms; where the user has renamed it, the one that they hang on."""
    if record.torso in armature.data.bones:
        return record.torso
    for arm in record.arms:
        clavicle = armature.data.bones.get(record.bone(arm, "dials"))
        if clavicle is not None and clavicle.parent is not None:
            return clavicle.parent.name
    return record.torso


def _head(armature: bpy.types.Object, record: RigRecord) -> str:
    """The bone of the space "head", if the arms have one."""
    for arm in record.arms:
        carrier = armature.pose.bones.get(record.bone(arm, "hand_space"))
        space = carrier.constraints.get(n.SPACE_HEAD) if carrier is not None else None
        if space is None or space.type != "ARMATURE" or not len(space.targets):
            continue
        entry = space.targets[0]
        if entry.target == armature and entry.subtarget in armature.data.bones:
            return str(entry.subtarget)
    return ""
