"""Rigs that may or may not have dependency cycles, and the host's own word on them.

Run as a script it is the process that hears the host: `cycle_rigs.py FOUND.json random SEED COUNT` or `... named`. What
the host prints is kept from the process's own output, so that it may make as many cycles as it likes.
"""

from __future__ import annotations

import contextlib
import ctypes
import json
import os
import random
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

HEARD = "ependency cycle"
ONE_BONE = (
    *("COPY_ROTATION", "COPY_LOCATION", "COPY_SCALE", "COPY_TRANSFORMS", "CHILD_OF", "STRETCH_TO", "DAMPED_TRACK"),
    *("LOCKED_TRACK", "TRANSFORM", "PIVOT", "LIMIT_DISTANCE", "TRACK_TO", "ACTION", "FLOOR"),
)
CHANNELS = ("location", "rotation_euler", "scale", "rotation_quaternion")


def armature(parents: dict[str, str]) -> Any:
    """An armature with a bone for each key, in a line, under the bone that is its value ("" for none)."""
    import bpy

    item = bpy.data.objects.new("Rail", bpy.data.armatures.new("Rail"))
    bpy.context.scene.collection.objects.link(item)
    bpy.context.view_layer.objects.active = item
    bpy.ops.object.mode_set(mode="EDIT")
    for place, name in enumerate(parents):
        bone = item.data.edit_bones.new(name)
        bone.head, bone.tail = (0.0, 0.01 * place, float(place)), (0.0, 0.0, place + 0.9)
    for name, above in parents.items():
        if above:
            item.data.edit_bones[name].parent = item.data.edit_bones[above]
    bpy.ops.object.mode_set(mode="OBJECT")
    return item


def thing(name: str, data: Any = None) -> Any:
    """An object in the scene."""
    import bpy

    item = bpy.data.objects.new(name, data)
    bpy.context.scene.collection.objects.link(item)
    return item


def chain(count: int = 4) -> Any:
    """Bones a, b, c, ... each under the one before, and x, y and z by themselves."""
    names = "abcdefghij"[:count]
    above = dict(zip(names, ("", *names[:-1]), strict=True))
    return armature({**above, "x": "", "y": "", "z": ""})


def hold(item: Any, bone: str, kind: str, target: str, **values: Any) -> Any:
    """A constraint to a bone of the same armature."""
    made = item.pose.bones[bone].constraints.new(kind)
    if kind == "ARMATURE":
        made.targets.new()
        made.targets[0].target, made.targets[0].subtarget = item, target
    else:
        made.target, made.subtarget = item, target
    for name, value in values.items():
        setattr(made, name, value)
    return made


def solver(item: Any, bone: str, count: int, target: str, pole: str = "", use_tail: bool = True) -> Any:
    """An IK constraint."""
    made = item.pose.bones[bone].constraints.new("IK")
    made.chain_count, made.use_tail = count, use_tail
    if target:
        made.target, made.subtarget = item, target
    if pole:
        made.pole_target, made.pole_subtarget = item, pole
    return made


def drive(owner: Any, path: str, read: tuple[Any, str, str], index: int = -1) -> None:
    """Drive a value by `read`: an id, a bone ("" for none), and a data path, or "" for the transform."""
    curve = owner.driver_add(path, index) if index >= 0 else owner.driver_add(path)
    for one in curve if isinstance(curve, list) else [curve]:
        variable = one.driver.variables.new()
        variable.name = "v"
        item, bone, where = read
        if where:
            variable.targets[0].id = item
            variable.targets[0].data_path = f'pose.bones["{bone}"].{where}'.replace(".[", "[") if bone else where
        else:
            variable.type = "TRANSFORMS"
            variable.targets[0].id, variable.targets[0].bone_target = item, bone
        one.driver.expression = "v"


def random_rig(seed: int) -> Any:
    """Some 9 bones, up to two other objects, and a handful of what ties them."""
    dice = random.Random(seed)
    # From rigs with hardly a tie, which are seldom cyclic, to such that nearly always are.
    busy = dice.choice([0.3, 0.6, 1.0])
    names = [f"bone.{number}" for number in range(9)]
    parents = {name: dice.choice(["", *names[max(0, place - 2) : place]]) for place, name in enumerate(names)}
    item = armature(parents)
    others = [thing(name) for name in ("Post", "Lamp")]
    for other in others:
        if dice.random() < 0.5:
            other.parent, other.parent_type, other.parent_bone = item, "BONE", dice.choice(names)
        elif dice.random() < 0.3:
            other.parent = item
    if dice.random() < 0.2 and others[0].parent is None:
        item.parent = others[0]
    for _ in range(dice.choice([0, 1, 1, 2])):
        made = solver(
            item,
            dice.choice(names),
            dice.choice([0, 0, 1, 2, 2, 3]),
            dice.choice([*names, *names, ""]),
            dice.choice([*names, ""]),
            dice.random() < 0.8,
        )
        if dice.random() < 0.15:
            made.target, made.subtarget = dice.choice(others), ""
        if dice.random() < 0.15:
            made.pole_target, made.pole_subtarget = dice.choice(others), ""
        if dice.random() < 0.25:
            drive(made, "influence", _something(dice, item, names, others))
    for _ in range(round(busy * dice.randint(0, 3))):
        made = hold(item, dice.choice(names), dice.choice([*ONE_BONE, "ARMATURE"]), dice.choice(names))
        if made.type == "ARMATURE" and dice.random() < 0.5:
            made.targets.new()
            made.targets[1].target, made.targets[1].subtarget = item, dice.choice(names)
        elif made.type != "ARMATURE" and dice.random() < 0.2:
            made.target, made.subtarget = dice.choice([*others, item]), ""
        if made.type.startswith("COPY") and dice.random() < 0.2:
            made.target_space = "CUSTOM"
            made.space_object, made.space_subtarget = item, dice.choice(names)
        if dice.random() < 0.3:
            made.influence = dice.choice([0.0, 0.5])
        made.mute = dice.random() < 0.15
        if dice.random() < 0.3:
            drive(made, "influence", _something(dice, item, names, others))
    for _ in range(round(busy * dice.randint(0, 3))):
        bone = item.pose.bones[dice.choice(names)]
        if dice.random() < 0.3:
            bone["dial"] = 0.0
            drive(bone, '["dial"]', _something(dice, item, names, others))
        else:
            drive(bone, dice.choice(CHANNELS), _something(dice, item, names, others), dice.randint(0, 2))
    for _ in range(round(busy * dice.randint(0, 1))):
        other = dice.choice([*others, item])
        # A circle of other objects alone is none of the armature's.
        read = _something(dice, item, names, others if other == item else [item])
        drive(other, dice.choice(CHANNELS[:3]), read, dice.randint(0, 2))
    for other in others:
        if dice.random() < 0.2:
            made = other.constraints.new("COPY_LOCATION")
            made.target, made.subtarget = item, dice.choice([*names, ""])
    return item


def _something(dice: random.Random, item: Any, names: list[str], others: list[Any]) -> tuple[Any, str, str]:
    """What a driver may read."""
    bone = item.pose.bones[dice.choice(names)]
    kind = dice.random()
    if kind < 0.3:
        return item, bone.name, ""
    if kind < 0.5:
        return item, bone.name, f"{dice.choice(CHANNELS[:3])}[{dice.randint(0, 2)}]"
    if kind < 0.65:
        return item, bone.name, dice.choice(["matrix[0][3]", "head[0]", "tail[2]", "length"])
    if kind < 0.8:
        bone["dial"] = 0.0
        return item, bone.name, '["dial"]'
    if kind < 0.9:
        return dice.choice([*others, item]), "", ""
    return dice.choice([*others, item]), "", "location[1]"


@contextlib.contextmanager
def heard() -> Iterator[Callable[[], str]]:
    """What this process, the host in it included, writes to its two outputs; ask for it within."""
    libc = ctypes.CDLL(None)
    with tempfile.TemporaryFile() as file:
        kept = [os.dup(number) for number in (1, 2)]
        for stream in (sys.stdout, sys.stderr):
            stream.flush()
        for number in (1, 2):
            os.dup2(file.fileno(), number)

        def ask() -> str:
            sys.stdout.flush()
            libc.fflush(None)
            file.seek(0)
            return file.read().decode(errors="replace")

        try:
            yield ask
        finally:
            sys.stdout.flush()
            libc.fflush(None)
            for number, copy in zip((1, 2), kept, strict=True):
                os.dup2(copy, number)
                os.close(copy)


def compared(make: Callable[[], Any]) -> dict[str, Any]:
    """What the host says of a rig, and what is found of it."""
    import bpy

    from armwright.addon.findings import findings_of

    bpy.ops.wm.read_factory_settings(use_empty=True)
    with heard() as ask:
        item = make()
        bpy.context.view_layer.update()
        said = ask()
        found = [one.what for one in findings_of(item) if one.kind == "dependency-cycle"]
    return {"host": HEARD in said, "found": found, "said": said}


def main() -> None:
    """Compare and write down."""
    out, what, *numbers = sys.argv[1:]
    if what == "random":
        first, count = map(int, numbers)
        seeds = range(first, first + count)
        result = {str(seed): compared(lambda seed=seed: random_rig(seed)) for seed in seeds}
    else:
        import cycle_cases

        result = {name: compared(make) for name, make in cycle_cases.EVERY.items()}
    Path(out).write_text(json.dumps(result))
    sys.stdout.flush()
    os._exit(0)


if __name__ == "__main__":
    main()
