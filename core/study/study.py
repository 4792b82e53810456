"""A study of a recording: what its arms do, frame by frame, and what that asks of a rig."""

from __future__ import annotations

from dataclasses import dataclass

from .measures import ArmStudy, TorsoStudy, arm_study, torso_study
from .motion import StudyMotion
from .phases import Phase, phases_of


@dataclass(frozen=True, eq=False)
class Study:
    """Attributes:
    motion: what was studied.
    phases: of every arm, in order of time.
    arms: figures of each arm, in the order of the motion's arms.
    torso: how the torso moves.
    """

    motion: StudyMotion
    phases: tuple[Phase, ...]
    arms: tuple[ArmStudy, ...]
    torso: TorsoStudy


def study(motion: StudyMotion) -> Study:
    """Study `motion`, which `checked` has let through."""
    return Study(motion, phases_of(motion), tuple(arm_study(motion, arm) for arm in motion.arms), torso_study(motion))
