"""Recorded motion that a command is given: a BVH, a table of joints, or an action in a .blend."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from ...core import codec
from ...core.card.model import RigCard
from ...core.errors import HostError, MotionError
from ...core.study.motion import StudyMotion

BVH, CSV, NPZ, BLEND = ".bvh", ".csv", ".npz", ".blend"
KINDS = "a .bvh, a table of joints (.csv or .npz), or a .blend with an armature's action"
# Which kinds of file an option is for, and what to say of others.
_FOR = {
    "unit": ((BVH,), "--unit is for a .bvh; a table says it in its head or with --layout, a .blend in its scene"),
    "joints": (
        (BVH,),
        "--joints is for a .bvh; a table says it in its head or by --layout, a .blend by --actor-card",
    ),
    "layout": ((CSV, NPZ), "--layout is for a table, .csv or .npz"),
    "actor": ((BLEND,), "--actor is for a .blend"),
    "action": ((BLEND,), "--action is for a .blend"),
    "actor_card": ((BLEND,), "--actor-card is for a .blend"),
    "thing": ((BLEND,), "--thing is for a .blend; a table names its things in its head"),
}


@dataclass(frozen=True, eq=False)
class MotionFile:
    """A motion, the name of its file, and the file's content."""

    motion: StudyMotion
    name: str
    data: bytes


def add_to(command: argparse.ArgumentParser) -> None:
    """Add the file and what says how it is read."""
    command.add_argument("motion", type=Path, metavar="MOTION", help=KINDS)
    command.add_argument("--name", default=None, help="the motion's name (default: the file's)")
    command.add_argument(
        "--unit", type=float, default=None, metavar="METRES", help="metres of one unit of a .bvh (default: by the arms)"
    )
    command.add_argument(
        "--joints", action="append", default=[], metavar="ARM=SHOULDER,ELBOW,WRIST",
        help="joints of a .bvh that are an arm, such as L=LeftArm,LeftForeArm,LeftHand; once an arm",
    )  # fmt: skip
    command.add_argument(
        "--layout", type=Path, default=None, metavar="LAYOUT.toml", help="what the columns of a table mean"
    )
    command.add_argument("--actor", default=None, metavar="NAME", help="armature of a .blend (default: the only one)")
    command.add_argument("--action", default=None, metavar="NAME", help="its action (default: the one that it plays)")
    command.add_argument("--actor-card", type=Path, default=None, metavar="CARD.json", help="which bones are its arms")
    command.add_argument(
        "--thing", action="append", default=[], metavar="OBJECT",
        help="object of the .blend that hands may hold on to; once a thing",
    )  # fmt: skip


def read(options: argparse.Namespace, report: Callable[[str], None]) -> MotionFile:
    """The motion that the arguments name.

    Raises MotionError, HostError or CardError with what is wrong.
    """
    path: Path = options.motion
    joints = joints_of(options.joints)
    suffix = path.suffix.lower()
    if suffix not in (BVH, CSV, NPZ, BLEND):
        raise MotionError(f"{path.name!r} is of a kind that can not be studied; give {KINDS}")
    for option, (kinds, said) in _FOR.items():
        if getattr(options, option) not in (None, []) and suffix not in kinds:
            raise MotionError(said)
    if not path.is_file():
        raise MotionError(f"there is no file {str(path)!r}: check the path")
    report(f"reading {path.name}")
    data = path.read_bytes()
    name = options.name or path.stem
    return MotionFile(_motion(options, suffix, data, name, joints), path.name, data)


def joints_of(given: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """`L=LeftArm,LeftForeArm,LeftHand` by the arm. Raises MotionError for another form."""
    found: dict[str, tuple[str, ...]] = {}
    for text in given:
        arm, equals, names = text.partition("=")
        joints = tuple(name.strip() for name in names.split(","))
        if not equals or not arm.strip() or len(joints) != 3 or not all(joints):
            raise MotionError(f"--joints {text!r}: expected ARM=SHOULDER,ELBOW,WRIST")
        if arm.strip() in found:
            raise MotionError(f"--joints: the arm {arm.strip()!r} is named twice; keep one")
        found[arm.strip()] = joints
    return found


def _motion(
    options: argparse.Namespace, suffix: str, data: bytes, name: str, joints: dict[str, tuple[str, ...]]
) -> StudyMotion:
    from ...core.motion.bvh import read_bvh
    from ...core.study.from_bvh import motion_of_bvh
    from ...core.study.from_table import motion_of_csv, motion_of_npz

    if suffix == BVH:
        return motion_of_bvh(read_bvh(data), name, joints or None, options.unit)
    if suffix == BLEND:
        return _of_blend(options)
    layout = None if options.layout is None else _layout(options.layout)
    return (motion_of_csv if suffix == CSV else motion_of_npz)(data, name, layout)


def _layout(path: Path) -> str:
    """The text of a layout; raises MotionError where the file can not be read, or is no text."""
    data = codec.read_bytes(path, "layout", MotionError)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        raise MotionError(f"{path.name}: byte {problem.start} is no text; save the layout as UTF-8") from None


def _of_blend(options: argparse.Namespace) -> StudyMotion:
    from dataclasses import replace

    from ...core.card import card_json

    card = None if options.actor_card is None else card_json.read(options.actor_card)
    motion = motion_of_blend(options.motion, options.actor, options.action, card, options.thing)
    return motion if options.name is None else replace(motion, name=options.name)


def motion_of_blend(
    path: Path,
    armature: str | None = None,
    action: str | None = None,
    card: RigCard | None = None,
    things: Sequence[str] = (),
) -> StudyMotion:
    """Open a .blend and read an action of an armature in it, each by its name; None for the only one, the active one.

    Raises HostError, CardError or MotionError with what is wrong.
    """
    import bpy

    from ..study_action import motion_of_action
    from .files import open_armature

    found = open_armature(path, armature, with_arms=False)
    chosen = bpy.data.actions.get(action) if action is not None else None
    if action is not None and chosen is None:
        names = ", ".join(map(repr, bpy.data.actions.keys())) or "none"
        raise HostError(f"{path.name!r} has no action {action!r}; there is: {names}")
    objects = bpy.context.scene.objects
    for name in things:
        if name not in objects:
            raise HostError(f"the scene {bpy.context.scene.name!r} has no object {name!r} to hold on to")
    return motion_of_action(found, chosen, card, [objects[name] for name in things])
