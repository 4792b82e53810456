"""Settings of the sidebar that live in the file (how to build) and in the session (what the last proof said)."""

from __future__ import annotations

from typing import Any

import bpy

from .build_inputs import AS_BUILT, chosen

SOURCES = (
    ("stature", "Stature", "Place the joints by handbook proportions from the body's height", "BODY_HEIGHT", 0),
    ("markers", "Markers", "Take the joints from the markers in the scene", "EMPTY_AXIS", 1),
    (AS_BUILT, "As built", "Keep the joints that the arms were built from", "ARMATURE_DATA", 2),
)


def _is_armature(self: bpy.types.PropertyGroup, item: bpy.types.Object) -> bool:
    return item.type == "ARMATURE"


class ArmwrightBuildSettings(bpy.types.PropertyGroup):
    """How the next build places and attaches the arms."""

    source: bpy.props.EnumProperty(
        name="Joints from", items=[(key, label, help, 0, number) for key, label, help, _, number in SOURCES]
    )  # type: ignore[valid-type]
    mirror_markers: bpy.props.BoolProperty(  # type: ignore[valid-type]
        name="Mirror",
        description="A marker that is moved on one side moves on the other side as well",
        default=True,
    )
    stature: bpy.props.FloatProperty(  # type: ignore[valid-type]
        name="Body height",
        description="Height of the character, floor to top of the head",
        default=1.7,
        min=0.2,
        max=20.0,
        unit="LENGTH",
    )
    fingers: bpy.props.BoolProperty(  # type: ignore[valid-type]
        name="Five fingers", description="Give each hand a thumb and four fingers, placed by proportion"
    )
    foot: bpy.props.FloatVectorProperty(  # type: ignore[valid-type]
        name="Foot point", description="Where a new armature stands", size=3, subtype="TRANSLATION", unit="LENGTH"
    )
    armature: bpy.props.PointerProperty(  # type: ignore[valid-type]
        name="Armature",
        description="Armature that gets the arms; empty for a new one with root, torso and head",
        type=bpy.types.Object,
        poll=_is_armature,
        update=chosen,
    )
    torso: bpy.props.StringProperty(name="Torso bone", description="Bone that carries the shoulders")  # type: ignore[valid-type]
    root: bpy.props.StringProperty(  # type: ignore[valid-type]
        name="Root bone", description="Bone outside the torso to which holds refer; empty for the armature itself"
    )


class ArmwrightVerdict(bpy.types.PropertyGroup):
    """One line of the verdict list: the worst check of a requirement."""

    requirement: bpy.props.StringProperty()  # type: ignore[valid-type]
    verdict: bpy.props.StringProperty()  # type: ignore[valid-type]
    figure: bpy.props.StringProperty()  # type: ignore[valid-type]
    limit: bpy.props.StringProperty()  # type: ignore[valid-type]
    share: bpy.props.StringProperty()  # type: ignore[valid-type]


class ArmwrightCheckLine(bpy.types.PropertyGroup):
    """One check of the requirement that is chosen in the verdict list."""

    check: bpy.props.StringProperty()  # type: ignore[valid-type]
    verdict: bpy.props.StringProperty()  # type: ignore[valid-type]
    share: bpy.props.StringProperty()  # type: ignore[valid-type]
    row: bpy.props.StringProperty()  # type: ignore[valid-type]
    words: bpy.props.StringProperty()  # type: ignore[valid-type]
    figure: bpy.props.StringProperty()  # type: ignore[valid-type]
    where: bpy.props.StringProperty()  # type: ignore[valid-type]
    dials: bpy.props.StringProperty()  # type: ignore[valid-type]


def _chosen(self: bpy.types.PropertyGroup, context: bpy.types.Context) -> None:
    from .operators.verdict_lists import list_checks

    list_checks(self)


class ArmwrightProofState(bpy.types.PropertyGroup):
    """What the last proof said, and how far a running one is."""

    running: bpy.props.BoolProperty()  # type: ignore[valid-type]
    done: bpy.props.FloatProperty(min=0.0, max=1.0)  # type: ignore[valid-type]
    headline: bpy.props.StringProperty()  # type: ignore[valid-type]
    rig: bpy.props.StringProperty()  # type: ignore[valid-type]
    verdicts: bpy.props.CollectionProperty(type=ArmwrightVerdict)  # type: ignore[valid-type]
    active: bpy.props.IntProperty(update=_chosen)  # type: ignore[valid-type]
    checks: bpy.props.CollectionProperty(type=ArmwrightCheckLine)  # type: ignore[valid-type]
    active_check: bpy.props.IntProperty()  # type: ignore[valid-type]
    older: bpy.props.BoolProperty()  # type: ignore[valid-type]


class ArmwrightGuessLine(bpy.types.PropertyGroup):
    """One guess of a drafted rig card."""

    part: bpy.props.StringProperty()  # type: ignore[valid-type]
    found: bpy.props.StringProperty()  # type: ignore[valid-type]
    sure: bpy.props.StringProperty()  # type: ignore[valid-type]
    why: bpy.props.StringProperty()  # type: ignore[valid-type]
    is_low: bpy.props.BoolProperty()  # type: ignore[valid-type]


def _other_card(self: Any, context: bpy.types.Context) -> None:
    self.problems = self.note = ""
    self.guesses.clear()


class ArmwrightCardState(bpy.types.PropertyGroup):
    """The rig card that arms of other making are proved by, what is wrong with it, and the guesses of a draft."""

    path: bpy.props.StringProperty(  # type: ignore[valid-type]
        name="Card",
        description="Rig card that says what plays which part in the arms, and how their modes are set",
        subtype="FILE_PATH",
        update=_other_card,
    )
    # Whose guesses and problems.
    rig: bpy.props.StringProperty()  # type: ignore[valid-type]
    # Sentences, a line each: why there was no proof. And what to know although there was one.
    problems: bpy.props.StringProperty()  # type: ignore[valid-type]
    note: bpy.props.StringProperty()  # type: ignore[valid-type]
    guesses: bpy.props.CollectionProperty(type=ArmwrightGuessLine)  # type: ignore[valid-type]
    active: bpy.props.IntProperty()  # type: ignore[valid-type]


class ArmwrightPhaseLine(bpy.types.PropertyGroup):
    """One phase of the last study."""

    arm: bpy.props.StringProperty()  # type: ignore[valid-type]
    kind: bpy.props.StringProperty()  # type: ignore[valid-type]
    on: bpy.props.StringProperty()  # type: ignore[valid-type]
    first: bpy.props.IntProperty()  # type: ignore[valid-type]
    last: bpy.props.IntProperty()  # type: ignore[valid-type]
    words: bpy.props.StringProperty()  # type: ignore[valid-type]
    holdable: bpy.props.BoolProperty()  # type: ignore[valid-type]
    ticked: bpy.props.BoolProperty(name="Hold this phase", description="Hold it with the button below")  # type: ignore[valid-type]


def _jump(self: bpy.types.PropertyGroup, context: bpy.types.Context) -> None:
    from .study_list import jump

    jump(self, context)


class ArmwrightStudyState(bpy.types.PropertyGroup):
    """What the last study found, and the rig card that it is to read arms of other making by."""

    rig: bpy.props.StringProperty()  # type: ignore[valid-type]
    action: bpy.props.StringProperty()  # type: ignore[valid-type]
    phases: bpy.props.CollectionProperty(type=ArmwrightPhaseLine)  # type: ignore[valid-type]
    active: bpy.props.IntProperty(default=-1, update=_jump)  # type: ignore[valid-type]
    reach: bpy.props.StringProperty()  # type: ignore[valid-type]
    torso: bpy.props.StringProperty()  # type: ignore[valid-type]
    # Sentences, a line each.
    notes: bpy.props.StringProperty()  # type: ignore[valid-type]
    card: bpy.props.StringProperty(  # type: ignore[valid-type]
        name="Card",
        description="Rig card that says which bones are the arms; empty: they are found by their shape",
        subtype="FILE_PATH",
    )


CLASSES = (
    ArmwrightBuildSettings,
    ArmwrightVerdict,
    ArmwrightCheckLine,
    ArmwrightProofState,
    ArmwrightGuessLine,
    ArmwrightCardState,
    ArmwrightPhaseLine,
    ArmwrightStudyState,
)
HANGERS = (
    (bpy.types.Scene, "armwright_build", ArmwrightBuildSettings),
    (bpy.types.WindowManager, "armwright_proof", ArmwrightProofState),
    (bpy.types.WindowManager, "armwright_card", ArmwrightCardState),
    (bpy.types.WindowManager, "armwright_study", ArmwrightStudyState),
)


def attach() -> None:
    """Hang the settings on the scene and on the session."""
    for owner, name, kind in HANGERS:
        setattr(owner, name, bpy.props.PointerProperty(type=kind))


def detach() -> None:
    """Take them off again."""
    for owner, name, _ in reversed(HANGERS):
        delattr(owner, name)
