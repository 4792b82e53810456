"""What can be wrong in a rig card itself, whatever armature it is of."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator

from ..arm_words import LONGEST_ID, is_id
from ..guide import Vec3
from .model import (
    DIALS,
    FK_CONTROLS,
    JOINTS,
    NEEDED,
    PLACED_CONTROLS,
    ROLL_LEFT_OUT,
    CardArm,
    Dial,
    Mode,
    RigCard,
    Setting,
)
from .places import Path
from .problems import Problem
from .units import LARGEST_UNIT, SMALLEST_UNIT, UNITS, nearest_unit

MODES = ("none", "hand", "elbow", "both")
# Bones that a mode can not do without.
MODE_NEEDS = {"none": (), "hand": ("hand_hold",), "elbow": ("elbow_hold",), "both": ("hand_hold", "elbow_hold")}
# Up and front: a length further from 1, or a cosine between them further from 0, is no rounding.
DIRECTION_TOLERANCE = 1e-3


def problems_of(card: RigCard) -> tuple[Problem, ...]:
    """Everything that is wrong in `card`; empty where nothing is."""
    return tuple(_all(card))


def quoted(text: str) -> str:
    """A name as it is written in the file."""
    return json.dumps(text)


def settings_of(arm: CardArm) -> Iterator[tuple[Path, Setting | Dial]]:
    """The settings of the arm's modes and its dials, each with its path from the arm."""
    for number, mode in enumerate(arm.modes):
        for place, setting in enumerate(mode.settings):
            yield ("modes", number, "settings", place), setting
    for name in DIALS:
        dial = getattr(arm, name)
        if dial is not None:
            yield (name,), dial


def _all(card: RigCard) -> Iterator[Problem]:
    if not card.rig:
        yield Problem(("rig",), "the name of the armature that the card is of is missing")
    if not card.arms:
        yield Problem(("arms",), "the card has no arms: it needs one at least")
    seen: dict[str, int] = {}
    for number, arm in enumerate(card.arms):
        if not is_id(arm.arm):
            yield Problem(
                ("arms", number, "arm"),
                f"{quoted(arm.arm)} can not be an arm's id: it takes one line of 1 to {LONGEST_ID} bytes, such as "
                '"L", "R" or "lower.L"',
            )
        elif arm.arm in seen:
            yield Problem(
                ("arms", number, "arm"), f"the arm {quoted(arm.arm)} is there already, as arms[{seen[arm.arm]}]"
            )
        seen.setdefault(arm.arm, number)
        for problem in _arm_problems(arm):
            yield Problem(("arms", number, *problem.path), problem.what)
    yield from _shared_joints(card)
    yield from _torso(card)
    yield from _unit(card.unit_m)
    yield from _directions(card.up, card.front)
    for number, guess in enumerate(card.guesses):
        if not 0.0 <= guess.confidence <= 1.0:
            yield Problem(("guesses", number, "confidence"), f"{guess.confidence:g} is not between 0 and 1")


def _arm_problems(arm: CardArm) -> Iterator[Problem]:
    for role in NEEDED:
        if not getattr(arm, role):
            yield Problem((role,), "an arm needs this bone: name it")
    yield from _twice(arm, JOINTS, "joints")
    yield from _twice(arm, FK_CONTROLS, "FK controls")
    yield from _twice(arm, PLACED_CONTROLS, "controls that are placed")
    turned = {getattr(arm, role): role for role in (*FK_CONTROLS, *JOINTS) if getattr(arm, role)}
    for role in PLACED_CONTROLS:
        bone = getattr(arm, role)
        if bone and bone in turned:
            yield Problem(
                (role,),
                f"the bone {quoted(bone)} is the {turned[bone]} too: what is held can not hold itself (cyclic roles)",
            )
    own = dict(zip(FK_CONTROLS, JOINTS, strict=True))
    joints = {getattr(arm, role): role for role in JOINTS if getattr(arm, role)}
    for role, joint in own.items():
        bone = getattr(arm, role)
        if bone in joints and joints[bone] != joint:
            yield Problem((role,), f"{quoted(bone)} is the {joints[bone]}: it can not turn the {joint} as well")
    yield from _no_roll(arm)
    if arm.palm is not None:
        yield from _direction("palm", arm.palm)
    yield from _modes(arm)
    for path, setting in settings_of(arm):
        yield from _setting(path, setting)


def _no_roll(arm: CardArm) -> Iterator[Problem]:
    for number, role in enumerate(arm.no_roll):
        path: Path = ("no_roll", number)
        if role not in ROLL_LEFT_OUT:
            yield Problem(path, f"{quoted(role)} is no joint that leaves out its roll: {', '.join(ROLL_LEFT_OUT)} can")
        elif getattr(arm, f"fk_{role}") in ("", getattr(arm, role)):
            yield Problem(
                path, f"the {role} can leave its roll out only if another bone, fk_{role}, turns it: name that"
            )


def _twice(arm: CardArm, roles: tuple[str, ...], what: str) -> Iterator[Problem]:
    found: dict[str, str] = {}
    for role in roles:
        bone = getattr(arm, role)
        if bone and bone in found:
            yield Problem((role,), f"the bone {quoted(bone)} is the {found[bone]} too: two {what} are two bones")
        found.setdefault(bone, role)


def _modes(arm: CardArm) -> Iterator[Problem]:
    seen: set[str] = set()
    for number, mode in enumerate(arm.modes):
        path: Path = ("modes", number, "mode")
        if mode.mode not in MODES:
            yield Problem(path, f"there is no mode {quoted(mode.mode)}; the modes are {', '.join(MODES)}")
        elif mode.mode in seen:
            yield Problem(path, f"the mode {quoted(mode.mode)} is there twice: keep one of them")
        seen.add(mode.mode)
        for role in MODE_NEEDS.get(mode.mode, ()):
            if not getattr(arm, role):
                yield Problem(path, f"the mode {quoted(mode.mode)} needs a bone {role}: name it, or leave the mode out")
        yield from _set_twice(mode, number)


def _set_twice(mode: Mode, number: int) -> Iterator[Problem]:
    seen: set[tuple[str, str, str]] = set()
    for place, setting in enumerate(mode.settings):
        what = (setting.bone, setting.property, setting.constraint)
        if what in seen:
            yield Problem(("modes", number, "settings", place), "the mode has set the same before: keep one of them")
        seen.add(what)


def _setting(path: Path, setting: Setting | Dial) -> Iterator[Problem]:
    if bool(setting.property) == bool(setting.constraint):
        which = "both a property and a constraint" if setting.property else "neither a property nor a constraint"
        yield Problem(path, f"it names {which}: name one")
    if setting.constraint and not setting.bone:
        yield Problem((*path, "bone"), f"the constraint {quoted(setting.constraint)} is on a bone: name the bone")
    values = ("off", "on") if isinstance(setting, Dial) else ("value",)
    for name in values:
        value = getattr(setting, name)
        if not math.isfinite(value):
            yield Problem((*path, name), f"{value} is not a finite number")
        elif setting.constraint and not setting.property and not 0.0 <= value <= 1.0:
            yield Problem((*path, name), f"{value:g} is not between 0 and 1, as a constraint's influence is")
    if isinstance(setting, Dial) and setting.off == setting.on:
        yield Problem((*path, "on"), f"off and on are both {setting.on:g}: a dial that does not turn says nothing")


def _shared_joints(card: RigCard) -> Iterator[Problem]:
    owner: dict[str, str] = {}
    for number, arm in enumerate(card.arms):
        # A clavicle may carry several arms; the joints below it are one arm's.
        for role in NEEDED:
            bone = getattr(arm, role)
            if bone and owner.get(bone, arm.arm) != arm.arm:
                yield Problem(
                    ("arms", number, role),
                    f"the bone {quoted(bone)} is a joint of the arm {quoted(owner[bone])} already: each has its own",
                )
            owner.setdefault(bone, arm.arm)


def _torso(card: RigCard) -> Iterator[Problem]:
    if not card.torso:
        yield Problem(("torso",), "the torso is empty: name the bones that carry the arms, the lowest first")
    joints = {getattr(arm, role): arm.arm for arm in card.arms for role in JOINTS if getattr(arm, role)}
    seen: set[str] = set()
    for number, bone in enumerate(card.torso):
        path: Path = ("torso", number)
        if not bone:
            yield Problem(path, "a bone's name is missing")
        elif bone in seen:
            yield Problem(path, f"the bone {quoted(bone)} is in the torso twice: keep one of them")
        elif bone in joints:
            yield Problem(path, f"{quoted(bone)} is a joint of the arm {quoted(joints[bone])}: it is not torso")
        seen.add(bone)
    if card.root and card.root in seen:
        yield Problem(("root",), f"the bone {quoted(card.root)} is in the torso: the root is outside it")


def _unit(unit: float) -> Iterator[Problem]:
    if not (math.isfinite(unit) and unit > 0.0):
        yield Problem(("unit_m",), f"{unit:g} is not more than 0: it is the metres of one unit, 1 for metres")
    elif not SMALLEST_UNIT <= unit <= LARGEST_UNIT:
        likely, word = nearest_unit(unit)
        known = ", ".join(f"{metres:g} for {name}" for metres, name in UNITS)
        yield Problem(
            ("unit_m",),
            f"one unit of {unit:g} metres is no unit of a character ({SMALLEST_UNIT:g} to {LARGEST_UNIT:g}): "
            f"{known}; likely {likely:g} ({word})",
        )


def _direction(name: str, direction: Vec3) -> Iterator[Problem]:
    length = math.hypot(*direction)
    if not abs(length - 1.0) <= DIRECTION_TOLERANCE:
        yield Problem((name,), f"its length is {length:g}: a direction has length 1, such as [0, 0, 1]")


def _directions(up: Vec3, front: Vec3) -> Iterator[Problem]:
    wrong = [*_direction("up", up), *_direction("front", front)]
    yield from wrong
    if not wrong:
        cosine = sum(a * b for a, b in zip(up, front, strict=True))
        if not abs(cosine) <= DIRECTION_TOLERANCE:
            angle = math.degrees(math.acos(max(-1.0, min(1.0, cosine))))
            yield Problem(("front",), f"it is {angle:.1f} degrees from up: they are at right angles")
