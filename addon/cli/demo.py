"""`demo`: the lighthouse scene, its arms, their proof and pictures."""

from __future__ import annotations

import argparse
from pathlib import Path

from ..text_files import write_text

# Somebody's motion for the proof, with its source beside it; a checkout has it, as it has the demo.
RECORDED = Path(__file__).resolve().parents[2] / "tests" / "data" / "cmu_01_01_upper.bvh"


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    command = commands.add_parser("demo", help="build the demo character, prove it, draw it")
    command.add_argument("--out", type=Path, default=Path("out/demo"), metavar="DIR", help="default: %(default)s")
    command.add_argument("--no-pictures", action="store_true", help="leave the rendering out")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Make the scene, save, prove, render, report."""
    import bpy

    from ...core.plan import json as plan_json
    from ...core.proof.report.table import table
    from ...demo_blend_scripts import recording, scene
    from .. import prove, subjects
    from ..results_files import write_results
    from . import files
    from .proof import ProgressLine, shots_of

    out = options.out
    print("making the lighthouse, Wren and the action")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    made = scene.build_scene(staged=lambda: files.save_blend(out / "keeper.blend"))
    files.save_blend(out / "demo.blend")
    write_text(out / "plan.json", plan_json.to_text(made.character.plan))
    write_text(out / "recording.bvh", recording.recording())
    paths: list[Path] = []
    if not options.no_pictures:
        print("rendering pictures (about a minute)")
        paths = scene.make_pictures(made, out)
    print("proving the arms (about a minute)")
    bar = ProgressLine()
    recorded, made_with = None, prove.made_with()
    if RECORDED.is_file():
        data = RECORDED.read_bytes()
        recorded, made_with = prove.recorded_clip_of(data), prove.made_with(RECORDED.name, data)
    subject = subjects.subject_of(made.character.armature)
    results = prove.prove_whole(subject, recorded, 1, bar.show, made_with)
    shots = () if options.no_pictures else shots_of(subject, results, recorded, bar)
    bar.end()
    shown = [(path.stem.replace("_", " "), path.read_bytes()) for path in paths]
    write_results(results, out / "results.json", out / "junit.xml", out / "report.html", shown, shots)
    print(table(results))
    names = ", ".join(path.name for path in paths) or "no pictures"
    made_files = "demo.blend, keeper.blend, plan.json, recording.bvh, results.json, junit.xml, report.html"
    print(f"\nin {out}: {made_files}, {names}")
    return 1 if any(check.verdict == "fail" for check in results.checks) else 0
