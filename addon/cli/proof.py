"""`proof`: measure a rig's arms and write down the verdicts."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from ...core.card import card_json
from ...core.card.fit_check import check_fit, of_another
from ...core.errors import ArmwrightError, MotionError, ProofError
from ...core.proof import history
from ..results_files import write_results
from . import baseline, farm


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    command = commands.add_parser("proof", help="prove the arms of a .blend; exit code 0 only if nothing failed")
    command.add_argument("file", type=Path, nargs="+", metavar="FILE.blend")
    command.add_argument("--armature", default=None, metavar="NAME", help="armature to prove, if there are several")
    command.add_argument("--motion", type=Path, default=None, metavar="FILE.bvh", help="recorded motion to add")
    command.add_argument(
        "--card", type=Path, default=None, metavar="F", help="rig card of arms that were built elsewhere"
    )
    command.add_argument(
        "--sheet",
        type=Path,
        default=None,
        metavar="SHEET.toml",
        help="prove what this requirement sheet asks, under its recorded motion; a line that nothing proves fails",
    )
    command.add_argument("--seed", type=int, default=1, help="of the random motions (default: %(default)s)")
    command.add_argument("--json", type=Path, default=None, metavar="F", help="write results.json")
    command.add_argument("--junit", type=Path, default=None, metavar="F", help="write JUnit XML")
    command.add_argument("--html", type=Path, default=None, metavar="F", help="write the report page")
    command.add_argument("--no-pictures", action="store_true", help="leave rendered poses out of the page")
    command.add_argument("--baseline", type=Path, default=None, metavar="F", help="compare with this results.json")
    command.add_argument(
        "--growth",
        type=float,
        default=history.GROWTH,
        metavar="TIMES",
        help="with --baseline: how many times its earlier value a figure may be (default: %(default)g)",
    )
    command.add_argument(
        "--case",
        type=Path,
        default=None,
        metavar="F",
        help="instead, look at the one pose of a case that a sweep found",
    )
    farm.add_to(command)
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Prove one file here, or several in processes of their own."""
    named = farm.expanded(options.file)
    if farm.is_wanted(options, named):
        return farm.run(options, named)
    options.file = Path(named[0])
    return run_one(options)


def run_one(options: argparse.Namespace) -> int:
    """Open, prove, write, print."""
    from ...core.proof.report import history as history_words
    from ...core.proof.report.table import table
    from .. import any_arm, any_arm_rig, card_sketch, prove, subjects
    from . import files, sheet_proof

    asked = sheet_proof.read(options)
    earlier = baseline.read(options)
    given = None if options.card is None else card_json.read_file(options.card)
    card = None if given is None else given.card
    if card is None:
        armature = files.open_arms(options.file, options.armature)
    elif options.case is not None:
        raise ProofError("a case is of arms that Armwright built, and --card is for others: give one of the two")
    else:
        armature = files.open_armature(options.file, options.armature or card.rig, with_arms=False)
        check_fit(given, card_sketch.sketch_of(armature))
        for said in of_another(card, armature.name):
            print(f"note: {said}", file=sys.stderr)
    if options.case is not None:
        from . import case

        return case.run(armature, options)
    recorded, made = None, prove.made_with()
    if options.motion is not None:
        if not options.motion.is_file():
            raise MotionError(f"there is no file {str(options.motion)!r}: check the path")
        recording = options.motion.read_bytes()
        recorded, made = prove.recorded_clip_of(recording), prove.made_with(options.motion.name, recording)
    bar, scope = ProgressLine(), None
    if card is None:
        subject = subjects.subject_of(armature)
        if asked is not None:
            recorded, made = asked.clip, asked.made
            scope = sheet_proof.scope_of(asked, subject)
        if earlier is not None:
            # Before the work, which takes a minute.
            history.check_same_rig(earlier, armature.name, subject.arms)
        results = prove.prove_whole(subject, recorded, options.seed, bar.show, made, scope)
    else:
        subject = any_arm_rig.subject_of_card(armature, card)
        if earlier is not None:
            history.check_same_rig(earlier, armature.name, tuple(arm.arm for arm in card.arms))
        results = any_arm.prove_card_whole(armature, card, recorded, options.seed, bar.show, made)
    shots = () if options.html is None or options.no_pictures else shots_of(subject, results, recorded, bar, scope)
    bar.end()
    compared = None if earlier is None else history.compare(earlier, results, options.growth)
    write_results(results, options.json, options.junit, options.html, shots=shots, compared=compared)
    print(table(results))
    if compared is not None:
        print(history_words.text(compared))
    held = asked is None or sheet_proof.answer(asked, results, subject.arms)
    worse = compared is not None and bool(compared.regressions)
    failed = any(check.verdict == "fail" for check in results.checks)
    return 1 if worse or failed or not held or any(item.makes_fail for item in results.findings) else 0


def shots_of(subject, results, recorded, bar: ProgressLine, scope=None):  # type: ignore[no-untyped-def]
    """Pictures of the worst poses; a picture that can not be made costs no proof, and is said."""
    from .. import prove, worst_picture

    def show(done: int, total: int) -> None:
        bar.show(prove.Progress(done, total, "pictures of the worst poses"))

    try:
        runs = None if scope is None else scope.runs
        return worst_picture.worst_pictures(subject, results, recorded, show, runs)
    except ArmwrightError as problem:
        bar.end()
        print(f"note: the page has no pictures of poses: {problem}", file=sys.stderr)
        return ()


class ProgressLine:
    """One line on a terminal, a line now and then elsewhere. It guards when it last spoke."""

    def __init__(self) -> None:
        self._last = 0.0
        self._terminal = sys.stderr.isatty()

    def show(self, progress) -> None:  # type: ignore[no-untyped-def]
        """Say how far the proof is."""
        now = time.monotonic()
        if now - self._last < (0.1 if self._terminal else 5.0):
            return
        self._last = now
        text = f"proof: {100 * progress.done // progress.total:3d} %  {progress.what}"
        print(
            f"\r{text:<60}" if self._terminal else text, end="" if self._terminal else "\n", file=sys.stderr, flush=True
        )

    def end(self) -> None:
        """Clear the line."""
        if self._terminal:
            print("\r" + " " * 60 + "\r", end="", file=sys.stderr, flush=True)
