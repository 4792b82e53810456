"""`proof --case`: one pose that a sweep found, in the host."""

from __future__ import annotations

import argparse

import bpy

from ...core.sweep import case
from .. import replay, subjects

FAILED = 1


def run(armature: bpy.types.Object, options: argparse.Namespace) -> int:
    """Read, pose, measure, print."""
    found = case.read(options.case)
    outcome = replay.replay(subjects.subject_of(armature), found)
    measure = outcome.measure
    print(f"{measure.name} of arm {found.arm} of {found.rig}: pose {found.pose} of {found.poses}, seed {found.seed}")
    print(f"host            {outcome.host:.9g} {measure.unit}")
    print(f"solver          {outcome.solver:.9g} {measure.unit}")
    print(f"case            {outcome.in_case:.9g} {measure.unit}")
    print(f"difference      {outcome.difference:.3g} {measure.unit}, tolerance {measure.tolerance:.3g}")
    print(f"limit           {'none: it is told' if measure.limit is None else f'{measure.limit:.9g} {measure.unit}'}")
    if not outcome.within:
        print("verdict         fail: over the limit")
    elif not outcome.same:
        print("verdict         fail: host, solver and case do not give the same number")
    else:
        print("verdict         pass")
    return 0 if outcome.within and outcome.same else FAILED
