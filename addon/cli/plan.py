"""`plan`: from a joint guide or a stature to a plan, without the host."""

from __future__ import annotations

import argparse
from pathlib import Path

from ...core import guide_json
from ...core.arm.build import plan_arms
from ...core.errors import GuideError
from ...core.guide import Guide
from ...core.guide_check import check_guide
from ...core.hand_proportions import with_hands
from ...core.options import ArmOptions
from ...core.plan import json as plan_json
from ...core.plan.validate import validate
from ...core.stature import guide_from_stature


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    command = commands.add_parser("plan", help="write a plan from a joint guide or a stature (needs no host)")
    source = command.add_mutually_exclusive_group(required=True)
    source.add_argument("--guide", type=Path, metavar="GUIDE.json", help="joint guide")
    source.add_argument("--stature", type=float, metavar="METRES", help="body height; joints by handbook proportions")
    add_fingers_option(command)
    command.add_argument("--name", default="Wren", help="the character's name, with --stature (default: %(default)s)")
    command.add_argument("--out", type=Path, required=True, metavar="PLAN.json", help="where to write the plan")
    command.set_defaults(run=run)


def add_fingers_option(command: argparse.ArgumentParser) -> None:
    """Let the command take fingers where the joints come by proportion."""
    command.add_argument(
        "--fingers", action="store_true", help="five fingers a hand by proportion; a --guide has its own fingers"
    )


def guide_of(options: argparse.Namespace) -> Guide:
    """The guide that the arguments name; prints the guide's warnings."""
    if options.guide is not None:
        refuse_fingers(options)
        guide = guide_json.read(options.guide)
    else:
        guide = guide_from_stature(options.stature, options.name)
        if options.fingers:
            guide = with_hands(guide)
    for warning in check_guide(guide):
        print(f"note: {warning}")
    return guide


def refuse_fingers(options: argparse.Namespace) -> None:
    """Raise GuideError for --fingers beside a guide, which says itself what fingers there are."""
    if options.fingers:
        raise GuideError("--fingers goes with a body height: a --guide has its own fingers; leave one of the two out")


def run(options: argparse.Namespace) -> int:
    """Plan and write."""
    from ..text_files import write_text

    plan = plan_arms(guide_of(options), ArmOptions())
    validate(plan)
    write_text(options.out, plan_json.to_text(plan))
    print(f"{options.out}: {len(plan.bones)} bones, {len(plan.drivers)} drivers, digest {plan_json.digest(plan)[:12]}")
    return 0
