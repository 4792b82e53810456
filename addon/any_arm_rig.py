"""An armature as its rig card describes it: frames at rest, and the settings that a proof touches, kept."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.any_arm.model import AnyArm
from ..core.card.check import problems_of
from ..core.card.fit_check import misfits
from ..core.card.model import BONE_ROLES, DIALS, FK_CONTROLS, CardArm, Dial, RigCard, Setting
from ..core.card.problems import refuse
from ..core.errors import CardError, HostError
from . import host
from .card_sketch import sketch_of

Array = NDArray[np.float64]


@dataclass(frozen=True)
class AnySubject:
    """Attributes:
    armature: the object.
    card: what is what in it.
    rigs: its arms at rest.
    facing: (3, 3), the character's left, back and up, armature space.
    """

    armature: bpy.types.Object
    card: RigCard
    rigs: tuple[AnyArm, ...]
    facing: Array

    def rig(self, arm: str) -> AnyArm:
        """The arm with this id."""
        return next(rig for rig in self.rigs if rig.card.arm == arm)

    @property
    def length(self) -> float:
        """The mean L of the arms, the armature's unit."""
        return float(np.mean([rig.length for rig in self.rigs]))


def subject_of_card(armature: bpy.types.Object, card: RigCard) -> AnySubject:
    """Read an armature by its card. Raises CardError for what the card names and the armature does not have."""
    # Whoever has the card's file checks it before, with its lines; this is for everybody.
    refuse((*problems_of(card), *misfits(card, sketch_of(armature))))
    bones = armature.data.bones
    up, front = np.array(card.up, float), np.array(card.front, float)
    facing = np.stack([np.cross(up, front), -front, up], axis=1)
    torso = host.rest_matrix(bones[card.torso[-1]])
    rigs = tuple(_arm(armature, arm, torso, facing) for arm in card.arms)
    _check_own(card)
    return AnySubject(armature, card, rigs, facing)


def check_there(subject: AnySubject) -> None:
    """Raise HostError where the armature or a bone that the card names is gone: after somebody else had a turn."""
    if not host.is_there(subject.armature):
        raise HostError("the armature was removed while it was measured: undo that, and measure it again")
    names = [*subject.card.torso, *(getattr(arm, role) for arm in subject.card.arms for role in BONE_ROLES)]
    there = {bone.name for bone in subject.armature.pose.bones}
    lost = next((name for name in names if name and name not in there), None)
    if lost is not None:
        raise HostError(
            f"{subject.armature.name!r} has lost the bone {lost!r}, removed or renamed, while it was measured: undo "
            "that, or correct the card"
        )


def every_setting(arm: CardArm) -> list[Setting | Dial]:
    """What the modes and dials of an arm set."""
    dials = [getattr(arm, name) for name in DIALS]
    return [setting for mode in arm.modes for setting in mode.settings] + [dial for dial in dials if dial is not None]


def read_setting(armature: bpy.types.Object, setting: Setting | Dial) -> Any:
    """What a setting is now. Raises CardError where there is no such property or constraint."""
    owner, key = owner_of(armature, setting)
    return owner.influence if setting.constraint else owner[key]


def write_setting(armature: bpy.types.Object, setting: Setting | Dial, value: float) -> None:
    """Set a setting; a whole number or a switch stays one."""
    owner, key = owner_of(armature, setting)
    if setting.constraint:
        owner.influence = value
        return
    kind = type(owner[key])
    owner[key] = kind(round(value)) if kind in (int, bool) else float(value)


def owner_of(armature: bpy.types.Object, setting: Setting | Dial) -> tuple[Any, str]:
    """The constraint, or the bone or object with the property, and the property's name."""
    where = repr(setting.bone) if setting.bone else f"the armature {armature.name!r}"
    if setting.bone and setting.bone not in armature.pose.bones:
        raise CardError(f"the card sets something on the bone {setting.bone!r}, which {armature.name!r} does not have")
    owner: Any = armature.pose.bones[setting.bone] if setting.bone else armature
    if setting.constraint:
        if setting.constraint not in owner.constraints:
            raise CardError(f"{where} has no constraint {setting.constraint!r}, whose influence the card sets")
        return owner.constraints[setting.constraint], ""
    if setting.property not in owner:
        raise CardError(f"{where} has no property {setting.property!r}, which the card sets")
    if not isinstance(owner[setting.property], (bool, int, float)):
        raise CardError(f"the property {setting.property!r} of {where} is no number, so the card can not set it")
    return owner, setting.property


def path_of(setting: Setting | Dial) -> str:
    """Data path of a setting from the armature object."""
    start = f'pose.bones["{bpy.utils.escape_identifier(setting.bone)}"]' if setting.bone else ""
    if setting.constraint:
        dot = "." if start else ""
        return f'{start}{dot}constraints["{bpy.utils.escape_identifier(setting.constraint)}"].influence'
    return f'{start}["{bpy.utils.escape_identifier(setting.property)}"]'


@contextmanager
def kept_settings(armature: bpy.types.Object, card: RigCard) -> Iterator[None]:
    """Everything that the card's modes and dials set is as before afterwards; what is gone meanwhile stays gone."""
    settings = [setting for arm in card.arms for setting in every_setting(arm)]
    kept = [(setting, read_setting(armature, setting)) for setting in settings]
    try:
        yield
    finally:
        if host.is_there(armature):
            # Backwards: of a setting that is there twice the first was read before anything was set.
            for setting, value in reversed(kept):
                with suppress(CardError):
                    owner, key = owner_of(armature, setting)
                    if setting.constraint:
                        owner.influence = value
                    else:
                        owner[key] = value
            armature.update_tag()
            bpy.context.view_layer.update()


def _arm(armature: bpy.types.Object, arm: CardArm, torso: Array, facing: Array) -> AnyArm:
    bones = armature.data.bones
    rests = {role: host.rest_matrix(bones[name]) for role in BONE_ROLES if (name := getattr(arm, role))}
    rests["torso"] = torso

    def apart(first: str, second: str) -> float:
        return float(np.linalg.norm(rests[second][:3, 3] - rests[first][:3, 3]))

    upper, fore = apart("upper_arm", "forearm"), apart("forearm", "hand")
    for length, segment in ((upper, "upper arm"), (fore, "forearm")):
        if not length > 0.0:
            raise CardError(f"arm {arm.arm}: the {segment} has no length at rest: its ends are in one place")
    clavicle = apart("clavicle", "upper_arm") if arm.clavicle else 0.0
    modes = {role: armature.pose.bones[name].rotation_mode for role in FK_CONTROLS if (name := getattr(arm, role))}
    # A control that is turned by a quaternion gets Euler channels for the proof.
    orders = {role: mode if len(mode) == 3 else "XYZ" for role, mode in modes.items()}
    return AnyArm(arm, rests, clavicle, upper, fore, facing, orders)


def _check_own(card: RigCard) -> None:
    """Refuse what two arms would fight over: all arms are in one mode at a time, and each turns its own controls."""
    seen: dict[str, str] = {}
    values: dict[tuple[str, str], tuple[float, str]] = {}
    for arm in card.arms:
        owned = [(f"bone {name!r}", name) for role in FK_CONTROLS[1:] if (name := getattr(arm, role))]
        owned += [(f"dial at {path_of(arm.blend)}", path_of(arm.blend))] if arm.blend is not None else []
        for words, key in owned:
            if seen.setdefault(key, arm.arm) != arm.arm:
                raise CardError(f"the card gives the {words} to two arms, {seen[key]} and {arm.arm}: each has its own")
        for mode in arm.modes:
            for setting in mode.settings:
                value, other = values.setdefault((mode.mode, path_of(setting)), (setting.value, arm.arm))
                if value != setting.value:
                    raise CardError(
                        f"in mode {mode.mode} the arms {other} and {arm.arm} set {path_of(setting)} to {value:g} and "
                        f"{setting.value:g}: it can be only one of them"
                    )
