"""What an arm holds: reading it from the dials, and changing it so that the hold starts where the arm is."""

from __future__ import annotations

from dataclasses import dataclass

import bpy

from ..core.arm.names import ELBOW, IK
from ..core.rig_record import RigRecord


@dataclass(frozen=True)
class Mode:
    """One thing that an arm can hold.

    Attributes:
        label: on the button.
        sentence: of the state.
        help: tooltip.
        ik, elbow: dials.
    """

    label: str
    sentence: str
    help: str
    ik: float
    elbow: float


MODES: dict[str, Mode] = {
    "none": Mode("Nothing", "Swings free", "Let go: the arm swings free from the shoulder (FK)", 0.0, 0.0),
    "hand": Mode("Hand", "Hand held", "Hold the hand where it is; the elbow follows its aim (IK)", 1.0, 0.0),
    "elbow": Mode("Elbow", "Elbow held", "Hold the elbow where it is; forearm and hand swing from it (FK)", 0.0, 1.0),
    "both": Mode("Both", "Elbow and hand held", "Hold the elbow and the hand where they are", 1.0, 1.0),
}
CLOSE = 1e-6


def mode_of(armature: bpy.types.Object, record: RigRecord, arm: str) -> str | None:
    """What the arm holds: a key of MODES, or None while a dial is between two of them."""
    dials = armature.pose.bones[record.bone(arm, "dials")]
    for key, mode in MODES.items():
        if abs(dials[IK] - mode.ik) < CLOSE and abs(dials[ELBOW] - mode.elbow) < CLOSE:
            return key
    return None
