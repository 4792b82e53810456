"""What the sidebar's settings say the arms are to be built from, and whether that is news to a rig."""

from __future__ import annotations

from typing import Any

import bpy

from ..core.errors import ArmwrightError, HostError
from ..core.guide import Guide
from ..core.hand_proportions import with_hands
from ..core.stature import guide_from_stature
from . import build, marker_objects, rebuild_plan, rig

NEW_NAME = "Armwright"
AS_BUILT = "rig"


def guide_of(settings: Any) -> Guide:
    """The joints, in the space of the armature that is chosen. Raises HostError and GuideError."""
    armature = settings.armature
    has_arms = rig.has_arms(armature)
    if settings.source == AS_BUILT:
        if not has_arms:
            raise HostError("there are no arms yet whose joints could be taken: choose stature or markers")
        return rebuild_plan.last_guide(rig.read_record(armature))
    name = rig.read_record(armature).name if has_arms else armature.name if armature is not None else NEW_NAME
    guide = guide_from_stature(settings.stature, name)
    if settings.source == "markers":
        guide = marker_objects.read(name, armature, guide)
    elif armature is not None:
        guide = build.sized_for(armature, guide)
    return with_hands(guide) if settings.fingers else guide


def news_of(settings: Any) -> str:
    """What has changed since the chosen armature's arms were built, a sentence; "" if nothing has."""
    try:
        record = rig.read_record(settings.armature)
        return rebuild_plan.news(record, guide_of(settings))
    except ArmwrightError as problem:
        return str(problem)


def chosen(settings: Any, context: bpy.types.Context) -> None:
    """Another armature was chosen: arms that are there already keep their joints until something else is asked for."""
    if rig.has_arms(settings.armature):
        settings.source = AS_BUILT
    elif settings.source == AS_BUILT:
        settings.source = "stature"
