"""What a build made, as far as it is known, so that a later one can tell it from what a user has changed or added."""

from __future__ import annotations

import base64
import binascii
import zlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from .. import codec
from ..errors import PlanError
from . import json as plan_json
from .model import FORMAT, VERSION, Bone, Constraint, Driver, Plan, Property
from .upgrade import look_of_version_1, split, version_1_items

_WHAT = "record of what was built"
_DAMAGED = "this record of what was built is damaged: remove the arms and build them again"


@dataclass(frozen=True)
class Made:
    """The parts of ours on a rig; None where it is known that a part is ours, but not what was set.

    Attributes:
        bones: by name.
        constraints: by bone and name.
        drivers: by data path from the armature object on, and component.
        properties: by bone and name.
    """

    bones: Mapping[str, Bone]
    constraints: Mapping[tuple[str, str], Constraint | None]
    drivers: Mapping[tuple[str, int], Driver | None]
    properties: Mapping[tuple[str, str], Property | None]


def bone_path(bone: str) -> str:
    """A pose bone's data path from the armature object on; a quote in its name is escaped, as the host does it."""
    return f'pose.bones["{in_quotes(bone)}"]'


def in_quotes(name: str) -> str:
    """A name as it stands between the quotes of a data path."""
    return name.replace("\\", "\\\\").replace('"', '\\"')


def driven_path(driver: Driver) -> tuple[str, int]:
    """The data path that a driver writes, from the armature object on, and its component."""
    start = bone_path(driver.bone)
    if driver.channel == "property":
        return f'{start}["{in_quotes(driver.key)}"]', 0
    if driver.constraint:
        return f'{start}.constraints["{in_quotes(driver.constraint)}"].{driver.channel}', 0
    return f"{start}.{driver.channel}", driver.index


def made_by(plan: Plan) -> Made:
    """What a build of `plan` makes."""
    return Made(
        {bone.name: bone for bone in plan.bones},
        {(item.bone, item.name): item for item in plan.constraints},
        {driven_path(driver): driver for driver in plan.drivers},
        {(item.bone, item.name): item for item in plan.properties},
    )


def made_by_version_1(bones: Sequence[str], arms: Collection[str], again: Plan) -> Made:
    """What version 1 made, given its bones and arms; `again`: the plan of its inputs by today's version.

    Where a part has the same name and place today, what today's plan says of it is taken for what version 1 set, except
    for its look; what was set otherwise passes for a user's and stays.
    """
    now = made_by(again)
    parts = {name: split(name, arms) for name in now.bones}
    found: dict[str, set[tuple[str, str, int]]] = {"constraint": set(), "driver": set(), "property": set()}
    for kind, bone, name, index in version_1_items(bones, arms):
        found[kind].add((bone, name, index))
    return Made(
        {name: _as_in_version_1(bone, *parts[name], now.bones) for name, bone in now.bones.items()},
        {(bone, name): None for bone, name, _ in found["constraint"]},
        {(bone_path(bone) + path, index): None for bone, path, index in found["driver"]},
        {(bone, name): now.properties.get((bone, name)) for bone, name, _ in found["property"]},
    )


def _as_in_version_1(bone: Bone, part: str, arm: str, bones: Mapping[str, Bone]) -> Bone:
    length = sum(bones[name].length for name in (f"fk.upper_arm.{arm}", f"fk.forearm.{arm}") if name in bones)
    look = look_of_version_1(part, arm, bone.length, length) if arm else None
    return bone if look is None else replace(bone, display=look)


def renamed(made: Made, names: Mapping[str, str]) -> Made:
    """The same after the host has renamed bones."""
    if not names:
        return made
    paths = {bone_path(old): bone_path(new) for old, new in names.items()}

    def path(of: str) -> str:
        old = next((start for start in paths if of.startswith(start)), "")
        return paths[old] + of[len(old) :] if old else of

    return Made(
        {names.get(name, name): bone for name, bone in made.bones.items()},
        {(names.get(bone, bone), name): item for (bone, name), item in made.constraints.items()},
        {(path(of), index): driver for (of, index), driver in made.drivers.items()},
        {(names.get(bone, bone), name): item for (bone, name), item in made.properties.items()},
    )


def packed(plan: Plan) -> str:
    """`plan` as a short text that a rig can keep."""
    return base64.b85encode(zlib.compress(plan_json.to_text(plan).encode("ascii"), 9)).decode("ascii")


def unpacked(text: str) -> Plan:
    """The plan that `packed` made a text of, also by an older version; it is not validated.

    Raises PlanError for a text that is damaged, too large, or of a newer version.
    """
    inflate = zlib.decompressobj()
    try:
        data = inflate.decompress(base64.b85decode(text), codec.MOST_BYTES)
    except (ValueError, binascii.Error, zlib.error):
        raise PlanError(_DAMAGED) from None
    if not inflate.eof:
        raise PlanError(_DAMAGED)
    parsed = codec.parse(data, _WHAT, PlanError)
    codec.check_header(parsed, FORMAT, VERSION, _WHAT, PlanError)
    # Fields that a later version added have their default in a plan of before.
    return codec.decode(Plan, parsed, "", PlanError, may_omit=True)
