"""`build`: arms onto the character of a file."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from ...core.errors import FitError, HostError
from ...core.guide import Guide
from ...core.options import ArmOptions
from ...core.sheet import sheet_toml
from ...core.sheet.model import Sheet
from ...core.sheet.turn_on import TurnedOn, turned_on
from ..text_files import write_text
from . import plan as plan_command


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    command = commands.add_parser("build", help="build arms on the character of a .blend or mesh file")
    command.add_argument("input", type=Path, metavar="IN", help=".blend, .obj, .ply, .stl, .glb or .gltf")
    command.add_argument(
        "--out", type=Path, required=True, metavar="OUT.blend", help="file to write; plan.json goes beside it"
    )
    joints = command.add_mutually_exclusive_group()
    joints.add_argument("--guide", type=Path, metavar="GUIDE.json", help="joint guide, in the armature's space")
    joints.add_argument(
        "--stature",
        type=float,
        metavar="METRES",
        help="body height; without it or --guide, joints are read from the meshes",
    )
    plan_command.add_fingers_option(command)
    command.add_argument(
        "--hand-poses", action="store_true", help="add relaxed hand, fist and flat hand as pose assets"
    )
    command.add_argument(
        "--unit", type=float, default=None, metavar="METRES",
        help="metres of one unit of a mesh file (default: by the body's size)",
    )  # fmt: skip
    command.add_argument("--name", default=None, help="the character's name (default: the input file's)")
    command.add_argument("--armature", default=None, metavar="NAME", help="existing armature to build on")
    command.add_argument("--torso", default="", metavar="BONE", help="its bone that carries the shoulders")
    command.epilog = (
        "Arms that the file has already are built again in place, keeping keys, dials, weights and additions: without "
        "--guide or --stature from the joints that they were built from, which brings them to this version."
    )
    command.add_argument("--root", default="", metavar="BONE", help="its bone outside the torso; holds refer to it")
    command.add_argument(
        "--sheet", type=Path, default=None, metavar="SHEET.toml", help="turn on what this requirement sheet needs"
    )
    skin = command.add_mutually_exclusive_group()
    skin.add_argument("--bind", action="store_true", help="bind the visible meshes by the host's automatic weights")
    skin.add_argument(
        "--keep-weights",
        nargs="?",
        const="",
        metavar="MAP.json",
        help="bind them by the weights they have; MAP.json says which vertex group goes where (default: guessed)",
    )
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Open, build, save."""
    _check(options)
    import bpy

    from ...core.arm.build import plan_arms
    from ...core.bind.mapping import read_mapping
    from ...core.guide_check import check_guide
    from ...core.plan import json as plan_json
    from .. import build as building
    from .. import girths
    from . import files, sheet_build

    sheet = None if options.sheet is None else sheet_toml.read(options.sheet).sheet
    mapping = read_mapping(Path(options.keep_weights)) if options.keep_weights else None
    files.open_input(options.input)
    armed = _with_arms(options)
    if armed is not None:
        return _again(options, armed, sheet)
    files.in_metres(options.input, options.unit)
    name = options.name or options.input.stem
    armature = _own_armature(options)
    guide = _guide(options, sheet, name, armature)
    for warning in check_guide(guide):
        print(f"note: {warning}")
    guide = girths.measured(guide, armature, bpy.data.objects)
    turned = None if sheet is None else _turned_on(sheet, guide, ArmOptions(), again=False)
    arm_options = ArmOptions() if turned is None else turned.options
    if armature is None:
        plan = plan_arms(guide, arm_options)
        armature = building.build_new(plan, name)
    else:
        files.show_scene_of(armature)
        plan = plan_arms(guide, arm_options, building.attachment_to(armature, options.torso, options.root))
        building.build(armature, plan)
    _dress(options, armature, mapping)
    done = True
    if sheet is not None and turned is not None:
        sheet_build.set_dials(armature, turned)
        done = sheet_build.answer(options.sheet.name, [*turned.said, *sheet_build.add_things(armature, sheet)])
    files.save_blend(options.out)
    write_text(options.out.with_name("plan.json"), plan_json.to_text(plan))
    print(f"{options.out}: {armature.name!r} has {len(guide.arms)} arms; plan.json is beside it")
    return 0 if done else 1


def _check(options: argparse.Namespace) -> None:
    """Raise HostError, before anything is opened, for options that do not go together."""
    if options.out.suffix.lower() != ".blend":
        raise HostError(f"--out {str(options.out)!r} is not a .blend file: give it that ending")
    if options.out.exists() and options.input.exists() and options.out.samefile(options.input):
        raise HostError("--out names the input file: choose another name, so that the input stays as it is")
    if options.root and not (options.torso or options.armature):
        raise HostError("--root names a bone of an armature: give --torso as well")
    if options.guide is not None:
        plan_command.refuse_fingers(options)


def _own_armature(options: argparse.Namespace) -> Any:
    """The character's armature that the arms go onto; None for a new one. Raises HostError."""
    from . import files

    if options.armature is None and not options.torso:
        return None
    armature = files.choose_armature(options.armature, with_arms=False)
    if armature is None:
        raise HostError(f"{options.input.name!r} has no armature: leave out --torso")
    return armature


def _guide(options: argparse.Namespace, sheet: Sheet | None, name: str, armature: Any) -> Guide:
    """The joints: as given, by the stature, or read from the meshes; with hands where they are asked for."""
    from ...core import guide_json
    from ...core.hand_proportions import with_hands
    from ...core.stature import guide_from_stature
    from .. import build as building

    if options.guide is not None:
        guide = guide_json.read(options.guide)
    elif options.stature is not None:
        guide = guide_from_stature(options.stature, name)
        guide = guide if armature is None else building.sized_for(armature, guide)
    else:
        guide = _from_meshes(name, armature)
    asks_fingers = sheet is not None and any(arm.need("fingers") for arm in sheet.arms)
    if options.guide is None and (options.fingers or asks_fingers):
        guide = with_hands(guide)
    if options.hand_poses and not any(arm.fingers for arm in guide.arms):
        raise HostError("--hand-poses needs fingers: give --fingers, or a --guide that has them")
    return guide


def _dress(options: argparse.Namespace, armature: Any, mapping: Any) -> None:
    """Bind the skin and make hand poses, as asked for; say what was done."""
    import bpy

    from .. import bind, hand_poses

    meshes = [item for item in bpy.context.view_layer.objects if item.type == "MESH" and item.visible_get()]
    if options.bind:
        print(bind.bind_automatically(armature, meshes))
    elif options.keep_weights is not None:
        print(bind.bind_by_names(armature, meshes, mapping))
    if options.hand_poses:
        made = hand_poses.make_hand_poses(armature)
        print(f"pose assets: {', '.join(action.name for action in made)}")


def _turned_on(sheet: Sheet, guide: Guide, options: ArmOptions, *, again: bool) -> TurnedOn:
    arms = [arm.id for arm in guide.arms]
    return turned_on(sheet, arms, [arm.id for arm in guide.arms if arm.fingers], options, again)


def _with_arms(options: argparse.Namespace) -> Any:
    """The armature with arms that the command is about; None if it is to make new ones. Raises HostError."""
    import bpy

    from .. import rig
    from . import files

    if options.armature is not None or options.torso:
        armature = files.choose_armature(options.armature, with_arms=False)
        return armature if rig.has_arms(armature) else None
    if not any(rig.has_arms(item) for item in bpy.data.objects):
        return None
    return files.choose_armature(None, with_arms=True)


def _again(options: argparse.Namespace, armature: Any, sheet: Sheet | None) -> int:
    """Build arms that are there again, save."""
    from ...core import guide_json
    from ...core.guide_check import check_guide
    from ...core.plan import json as plan_json
    from ...core.stature import guide_from_stature
    from .. import build as building
    from .. import rebuild_plan, rig
    from ..rebuild import rebuild
    from . import files, sheet_build

    files.show_scene_of(armature)
    record = rig.read_record(armature)
    guide = rebuild_plan.last_guide(record)
    if options.guide is not None:
        guide = guide_json.read(options.guide)
    elif options.stature is not None:
        guide = building.sized_for(armature, guide_from_stature(options.stature, options.name or record.name))
    for warning in check_guide(guide):
        print(f"note: {warning}")
    turned = None if sheet is None else _turned_on(sheet, guide, rebuild_plan.options_of(record), again=True)
    arm_options = None if turned is None else turned.options
    plan = rebuild_plan.plan_again(armature, guide, arm_options, options.torso, options.root)
    done = rebuild(armature, plan)
    for note in done.notes:
        print(f"note: {note}")
    whole = True
    if sheet is not None and turned is not None:
        whole = sheet_build.answer(options.sheet.name, [*turned.said, *sheet_build.add_things(armature, sheet)])
    files.save_blend(options.out)
    write_text(options.out.with_name("plan.json"), plan_json.to_text(plan))
    said = "were built again" if done.changed else "are up to date"
    print(f"{options.out}: the arms of {armature.name!r} {said}; plan.json is beside it")
    return 0 if whole else 1


def _from_meshes(name: str, armature: Any) -> Guide:
    """The joints of the open file's character, in the space of `armature`, the world without one.

    Raises FitError, with what to give instead, for meshes without arms. On an existing armature the arms may then have
    the proportions of a person of the meshes' height: it says where the shoulders are carried.
    """
    import bpy
    import numpy as np

    from ...core.guide_space import in_space
    from ...core.stature import guide_from_stature
    from .. import build as building
    from ..host import matrix_to_numpy
    from ..measure_mesh import character_height
    from . import files

    height = character_height(bpy.data.objects)
    try:
        found = files.joints_of(name)
    except (FitError, HostError) as problem:
        if armature is None:
            raise type(problem)(f"{problem}; or give --guide or --stature") from problem
        print(f"note: {problem}")
        print(f"note: so the arms are those of a person of the meshes' height, {height:.3g} m")
        return building.sized_for(armature, guide_from_stature(height, name))
    for warning in found.warnings:
        print(f"note: {warning}")
    guessed = sorted({reading.part for reading in found.readings if reading.guessed})
    print(f"joints read from the meshes; guessed: {', '.join(guessed) or 'none'}")
    if armature is None:
        return found.guide
    return in_space(found.guide, np.linalg.inv(matrix_to_numpy(armature.matrix_world)))
