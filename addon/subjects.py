"""What switching and the proof work on: an armature with arms, read once."""

from __future__ import annotations

from dataclasses import dataclass

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core import codec, guide_json
from ..core.arm import names as n
from ..core.errors import HostError
from ..core.guide import Guide
from ..core.options import ArmOptions
from ..core.rig_record import RigRecord
from ..core.solve.settings import ArmGeometry
from . import host, rig, sample

Array = NDArray[np.float64]

# Dials of the rig and the fields of ArmSettings that they are set from.
DIAL_FIELDS = {
    n.IK: "ik",
    n.ELBOW: "elbow",
    n.ISOLATE: "isolate",
    n.LIFT: "lift",
    n.STRETCH: "stretch",
    n.SOFT: "soft",
    n.VOLUME: "volume",
    n.UPPER_LENGTH: "upper_length",
    n.FOREARM_LENGTH: "forearm_length",
    n.UPPER_ROLL: "upper_roll",
    n.HAND_ROLL: "hand_roll",
    n.HAND_SIDE: "hand_side",
    n.HAND_SPIN: "hand_spin",
    n.FINGER_BEND: "finger_bend",
}
FK_ROLES = {"fk_clavicle": "clavicle", "fk_upper_arm": "upper_arm", "fk_forearm": "forearm", "fk_hand": "hand"}


@dataclass(frozen=True)
class Subject:
    """An armature with arms.

    Attributes:
        armature: the object.
        record: its parts by role.
        arms: their ids.
        geometries: each arm at rest.
        chain: bones that carry the arms, lowest first, the torso bone last.
        facing: (3, 3), the character's left, back and up, armature space.
    """

    armature: bpy.types.Object
    record: RigRecord
    arms: tuple[str, ...]
    geometries: dict[str, ArmGeometry]
    chain: tuple[str, ...]
    facing: Array


def subject_of(armature: bpy.types.Object) -> Subject:
    """Read an armature with arms; raises HostError if it has none or can not be evaluated here."""
    record = rig.read_record(armature)
    check_whole(armature, record)
    check_shown(armature)
    guide = guide_json.from_text(record.guide)
    options = codec.decode(ArmOptions, codec.parse(record.options, "options", HostError), "", HostError, may_omit=True)
    return Subject(
        armature=armature,
        record=record,
        arms=record.arms,
        geometries={arm: sample.geometry(armature, record, arm, options, np.array(guide.up)) for arm in record.arms},
        chain=_chain(armature, record),
        facing=_facing(guide),
    )


def check_whole(armature: bpy.types.Object, record: RigRecord) -> None:
    """Raise HostError where a bone or a dial of the arms is gone."""
    missing = [name for name in record.bones if name not in armature.pose.bones]
    if missing:
        raise HostError(
            f"{armature.name!r} has lost the bone {missing[0]!r} of its arms, removed or renamed: undo that, or build "
            "the arms again"
        )
    dials = [armature.pose.bones[record.bone(arm, "dials")] for arm in record.arms]
    lost = [(bone.name, key) for bone in dials for key in DIAL_FIELDS if key not in bone]
    if lost:
        raise HostError(f"{lost[0][0]!r} of {armature.name!r} has no dial {lost[0][1]!r}: build the arms again")


def check_shown(armature: bpy.types.Object) -> None:
    """Raise HostError for an armature that the current view layer does not evaluate."""
    if armature.name not in bpy.context.view_layer.objects:
        raise HostError(f"{armature.name!r} is not in the current view layer: enable the collection that it is in")
    if not host.is_evaluated(armature):
        raise HostError(
            f"{armature.name!r} or its collection is disabled in viewports, so its pose is not evaluated: enable it "
            "(the screen icon in the outliner)"
        )


def check_posed(armature: bpy.types.Object) -> None:
    """Raise HostError for an armature that shows its rest position, whatever its channels say."""
    if armature.data.pose_position == "REST":
        raise HostError(f"{armature.name!r} shows its rest position: switch it to pose position (Properties > Data)")


def _chain(armature: bpy.types.Object, record: RigRecord) -> tuple[str, ...]:
    """The torso bone and its ancestors below the root, lowest first."""
    bone, names = armature.data.bones[record.torso], []
    while bone is not None and bone.name != record.root:
        names.append(bone.name)
        bone = bone.parent
    return tuple(reversed(names))


def _facing(guide: Guide) -> Array:
    up, front = np.array(guide.up), np.array(guide.front)
    # With Z up and -Y in front, the left is +X.
    return np.stack([np.cross(up, front), -front, up], axis=1)
