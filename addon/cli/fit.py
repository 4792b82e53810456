"""`fit`: a joint guide read from a character's mesh."""

from __future__ import annotations

import argparse
from pathlib import Path

from ...core.errors import HostError
from ..text_files import write_text

PARTS = {"hand_end": "hand's end", "palm": "palm", "bend": "bend side"}


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    command = commands.add_parser("fit", help="read the arms' joints from a character's mesh into a joint guide")
    command.add_argument("input", type=Path, metavar="MESH", help=".blend, .obj, .ply, .stl, .glb or .gltf")
    command.add_argument("--out", type=Path, required=True, metavar="GUIDE.json", help="where to write the guide")
    command.add_argument("--name", default=None, help="the character's name (default: the input file's)")
    command.add_argument(
        "--object", action="append", default=None, metavar="NAME", help="mesh to read, again for more (default: all)"
    )
    command.add_argument(
        "--up", type=float, nargs=3, default=(0.0, 0.0, 1.0), metavar=("X", "Y", "Z"), help="up (default: 0 0 1)"
    )
    command.add_argument(
        "--front", type=float, nargs=3, default=(0.0, -1.0, 0.0), metavar=("X", "Y", "Z"),
        help="where the character looks (default: 0 -1 0)",
    )  # fmt: skip
    command.add_argument(
        "--unit", type=float, default=None, metavar="METRES", help="metres of one unit (default: by the body's size)"
    )
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Open, read, write."""
    if options.out.exists() and options.input.exists() and options.out.samefile(options.input):
        raise HostError("--out names the input file: choose another name, so that the input stays as it is")
    from ...core import arm_words, guide_json
    from ...core.fit.mesh import place_of
    from ...core.guide_check import check_guide
    from . import files

    files.open_input(options.input)
    files.in_metres(options.input, options.unit)
    is_blend = options.input.suffix.lower() == files.BLEND_SUFFIX
    unit = options.unit if is_blend and options.unit is not None else 1.0
    name = options.name or options.input.stem
    found = files.joints_of(name, options.object, tuple(options.up), tuple(options.front), unit)
    warnings = (*found.warnings, *check_guide(found.guide))
    arms = {arm.side: arm for arm in found.guide.arms}
    for reading in found.readings:
        place = place_of(arms[reading.side], reading.part)
        where = "" if place is None else f"  ({', '.join(f'{value:.3f}' for value in place)})"
        how = "guessed" if reading.guessed else "read"
        part = PARTS.get(reading.part, reading.part)
        print(f"{arm_words.words(reading.side):5s} {part:10s} {how:7s} confidence {reading.confidence:.2f}{where}")
    for warning in warnings:
        print(f"note: {warning}")
    write_text(options.out, guide_json.to_text(found.guide))
    guessed = sum(reading.guessed for reading in found.readings)
    fingers = sum(len(arm.fingers) for arm in found.guide.arms)
    print(
        f"{options.out}: {len(arms)} arms, {fingers} fingers, "
        f"{guessed} of {len(found.readings)} joints and directions guessed"
    )
    return 0
