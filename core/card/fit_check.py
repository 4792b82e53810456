"""Whether a rig card fits an armature: its bones are there, stand as their roles say, and its settings can be set."""

from __future__ import annotations

import difflib
import itertools
import math
from collections.abc import Collection, Iterator, Mapping

from .card_json import CardFile
from .check import problems_of, quoted, settings_of
from .model import BONE_ROLES, FK_CONTROLS, JOINTS, NEEDED, PLACED_CONTROLS, CardArm, Dial, RigCard, Setting
from .places import Path
from .problems import Problem, refuse
from .sketch import RigSketch, SketchBone, SketchProperty
from .units import LONGEST_ARM, SHORTEST_ARM, is_plausible, unit_for, words

# A bone is named instead of one that is not there if so much of the two names is the same.
LIKENESS = 0.5
# A property in the host is a double, its limits are too; a value on the limit is allowed.
ROUNDING = 1e-9


def check_fit(file: CardFile, sketch: RigSketch) -> None:
    """Raise CardError with a line for each thing that is wrong in the card or does not fit the armature."""
    refuse((*problems_of(file.card), *misfits(file.card, sketch)), file.places, file.name)


def of_another(card: RigCard, rig: str) -> tuple[str, ...]:
    """A sentence where the card was made of another armature than `rig`, which it may fit all the same."""
    if card.rig == rig:
        return ()
    return (f"the card is of the armature {card.rig!r}, and {rig!r} is looked at by it: what it says may not be meant",)


def misfits(card: RigCard, sketch: RigSketch) -> tuple[Problem, ...]:
    """Everything in `card` that does not fit the armature; what is wrong in itself is `check.problems_of`'s."""
    bones = {bone.name: bone for bone in sketch.bones}
    return tuple(_all(card, sketch, bones))


def above(bone: str, bones: Mapping[str, SketchBone]) -> tuple[str, ...]:
    """The bones that carry `bone`, its parent first."""
    found: list[str] = []
    parent = bones[bone].parent if bone in bones else ""
    while parent in bones and parent not in found:
        found.append(parent)
        parent = bones[parent].parent
    return tuple(found)


def _all(card: RigCard, sketch: RigSketch, bones: Mapping[str, SketchBone]) -> Iterator[Problem]:
    for number, arm in enumerate(card.arms):
        at: Path = ("arms", number)
        for role in BONE_ROLES:
            yield from _there((*at, role), getattr(arm, role), bones)
        for problem in (*_hierarchy(arm, bones), *_size(card, arm, bones)):
            yield Problem((*at, *problem.path) if problem.path != ("unit_m",) else problem.path, problem.what)
        for path, setting in settings_of(arm):
            yield from _setting((*at, *path), setting, sketch, bones)
    for number, bone in enumerate(card.torso):
        yield from _there(("torso", number), bone, bones)
    yield from _there(("root",), card.root, bones)
    yield from _torso(card, bones)


def _there(path: Path, bone: str, bones: Collection[str]) -> Iterator[Problem]:
    if bone and bone not in bones:
        yield Problem(path, f"there is no bone {quoted(bone)} in the armature{_instead(bone, bones)}")


def _instead(name: str, there: Collection[str]) -> str:
    """What was likely meant, or what there is, as the end of a sentence."""
    near = difflib.get_close_matches(name, there, 1, LIKENESS)
    if near:
        return f"; the nearest name is {quoted(near[0])}"
    few = sorted(there)[:5]
    return f"; there is {', '.join(map(quoted, few))}{' and more' if len(there) > len(few) else ''}" if few else ""


def _hierarchy(arm: CardArm, bones: Mapping[str, SketchBone]) -> Iterator[Problem]:
    for roles in (JOINTS, FK_CONTROLS):
        for low in range(1, len(roles)):
            for high in range(low):
                upper, lower = getattr(arm, roles[high]), getattr(arm, roles[low])
                if upper and lower and lower in above(upper, bones):
                    yield Problem(
                        (roles[low],),
                        f"the bone {quoted(lower)} carries the {roles[high]} {quoted(upper)}: upside down, the "
                        f"{roles[high]} comes first",
                    )
    # What holds an arm can not be carried by it. The hand's hold may not hang from any of it; the elbow's may hang
    # from nothing below the elbow.
    for role in PLACED_CONTROLS:
        placed = getattr(arm, role)
        if placed not in bones:
            continue
        carriers = above(placed, bones)
        held = [getattr(arm, name) for name in ("upper_arm", "forearm", "hand")]
        for joint in held:
            if joint and joint in carriers:
                yield Problem(
                    (role,),
                    f"the bone {quoted(placed)} is carried by {quoted(joint)}, which it is to hold: cyclic",
                )
                break


def _torso(card: RigCard, bones: Mapping[str, SketchBone]) -> Iterator[Problem]:
    joints = {getattr(arm, role): arm.arm for arm in card.arms for role in JOINTS if getattr(arm, role)}
    known = [(number, bone) for number, bone in enumerate(card.torso) if bone in bones]
    for number, bone in known:
        carrier = next((name for name in above(bone, bones) if name in joints), "")
        if carrier:
            yield Problem(
                ("torso", number),
                f"the bone {quoted(bone)} is carried by {quoted(carrier)} of the arm {quoted(joints[carrier])}: cyclic",
            )
    for (_, low), (number, high) in itertools.pairwise(known):
        if low not in above(high, bones) and high != low:
            turned = " (it is the other way round)" if high in above(low, bones) else ""
            yield Problem(
                ("torso", number),
                f"the bone {quoted(high)} is not carried by {quoted(low)}{turned}: the torso is a chain, lowest first",
            )
    if card.root in bones:
        torso = next((bone for _, bone in known if bone in above(card.root, bones)), "")
        if torso:
            yield Problem(("root",), f"the bone {quoted(card.root)} is carried by {quoted(torso)} of the torso")


def _size(card: RigCard, arm: CardArm, bones: Mapping[str, SketchBone]) -> Iterator[Problem]:
    if any(getattr(arm, role) not in bones for role in NEEDED):
        return
    upper, forearm, hand = (bones[getattr(arm, role)].head for role in NEEDED)
    units = math.dist(upper, forearm) + math.dist(forearm, hand)
    for role, one, other in (("forearm", upper, forearm), ("hand", forearm, hand)):
        if math.dist(one, other) <= 1e-4 * max(units, 1e-12):
            yield Problem((role,), "it starts where the joint before it starts: this part of the arm has no length")
            return
    if not is_plausible(units * card.unit_m):
        fitting = unit_for(units)
        advice = f"; {words(fitting[0])} would make it {units * fitting[0]:.3g} m" if fitting else ""
        yield Problem(
            ("unit_m",),
            f"the arm {quoted(arm.arm)} is {units:.4g} units long, which at {words(card.unit_m)} is "
            f"{units * card.unit_m:.3g} m: a character's arm is {SHORTEST_ARM:g} to {LONGEST_ARM:g} m long{advice}",
        )


def _setting(
    path: Path, setting: Setting | Dial, sketch: RigSketch, bones: Mapping[str, SketchBone]
) -> Iterator[Problem]:
    owner = "the armature object"
    properties: tuple[SketchProperty, ...] = sketch.properties
    if setting.bone:
        if setting.bone not in bones:
            yield from _there((*path, "bone"), setting.bone, bones)
            return
        owner = f"the bone {quoted(setting.bone)}"
        properties = bones[setting.bone].properties
    if setting.constraint:
        names = [item.name for item in bones[setting.bone].constraints] if setting.bone else []
        if setting.constraint not in names:
            yield Problem(
                (*path, "constraint"),
                f"{owner} has no constraint {quoted(setting.constraint)}{_instead(setting.constraint, names)}",
            )
        elif any(item.name == setting.constraint and item.driver for item in bones[setting.bone].constraints):
            yield Problem(
                (*path, "constraint"),
                f"the influence of {quoted(setting.constraint)} is driven: set what drives it instead",
            )
        return
    found = next((item for item in properties if item.name == setting.property), None)
    if found is None:
        names = [item.name for item in properties]
        yield Problem(
            (*path, "property"),
            f"{owner} has no property {quoted(setting.property)}{_instead(setting.property, names)}",
        )
        return
    for name in ("off", "on") if isinstance(setting, Dial) else ("value",):
        value = getattr(setting, name)
        if (found.low is not None and value < found.low - ROUNDING) or (
            found.high is not None and value > found.high + ROUNDING
        ):
            low = "-" if found.low is None else f"{found.low:g}"
            high = "-" if found.high is None else f"{found.high:g}"
            yield Problem((*path, name), f"{value:g} is outside the limits of {quoted(found.name)}, {low} to {high}")
