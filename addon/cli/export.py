"""`export`: the bones that carry skin, baked over a range of frames, as a glTF file."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from ...core.errors import HostError

FORMS = ("tree", "flat")


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    command = commands.add_parser("export", help="hand the skin's skeleton over as a .glb, baked on every frame")
    command.add_argument("file", type=Path, metavar="FILE.blend")
    command.add_argument("--out", type=Path, required=True, metavar="OUT.glb", help="file to write")
    command.add_argument("--replace", action="store_true", help="replace the file if it is there already")
    command.add_argument("--armature", default=None, metavar="NAME", help="armature to export, if there are several")
    command.add_argument("--from", dest="first", type=float, metavar="A", help="first frame (default: the scene's)")
    command.add_argument("--to", dest="last", type=float, metavar="B", help="last frame (default: the scene's)")
    command.add_argument(
        "--joints", choices=FORMS, default=FORMS[0],
        help="tree: joints below joints, without scale; flat: no joint below another, with the stretch's scale "
        "(default: %(default)s)",
    )  # fmt: skip
    command.add_argument("--arms-only", action="store_true", help="leave the character's other bones out")
    command.add_argument("--with-mesh", action="store_true", help="the meshes that the armature moves come along")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Open, bake, write."""
    import bpy

    from .. import hand_over, subjects
    from . import files

    if options.file.suffix.lower() != files.BLEND_SUFFIX:
        raise HostError(f"{options.file.name!r} is not a .blend file: build arms into one first")
    files.open_input(options.file)
    armature = files.choose_armature(options.armature, with_arms=True)
    if armature is None:
        raise HostError(f"{options.file.name!r} has no armature with arms built by Armwright: build them first")
    files.show_scene_of(armature)
    scene = bpy.context.scene
    request = hand_over.Request(
        path=options.out,
        first=options.first if options.first is not None else scene.frame_start,
        last=options.last if options.last is not None else scene.frame_end,
        form=options.joints,
        arms_only=options.arms_only,
        with_mesh=options.with_mesh,
        overwrite=options.replace,
    )
    written = hand_over.hand_over_whole(subjects.subject_of(armature), request, _show)
    print(f"{options.out}: {written.sentence()}")
    return 0


def _show(progress) -> None:  # type: ignore[no-untyped-def]
    """A line for every tenth of the way."""
    tenths = 10 * progress.done // progress.total
    if tenths > 10 * (progress.done - 1) // progress.total:
        print(f"export: {10 * tenths:3d} %  {progress.what}", file=sys.stderr, flush=True)
