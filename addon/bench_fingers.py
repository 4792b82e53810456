"""Cost of fingers behind `bench`: a hand's dials and controls over the same joints as a plain FK chain."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import bpy
import numpy as np

from ..core.arm.build import plan_arms
from ..core.arm.names import CURL
from ..core.frames import arm_frames
from ..core.guide import Guide
from ..core.hand_proportions import with_hands
from ..core.options import ArmOptions
from . import build, host
from .bench_stage import alone, play
from .curves import new_action, write_curve

SEED = 4
FRAMES = 200
TURN = 0.5


def rows(
    guide: Guide, alternate: Callable[[Sequence[Callable[[], None]], int], list[float]], repeats: int, row: Any
) -> list[Any]:
    """Playing one arm of `guide` with five fingers, whose controls and dial are keyed, over the arm without any, and
    what the fingers add over what keyed FK chains of the same joints add."""
    single = replace(guide, arms=guide.arms[:1])
    hands = with_hands(single)
    bare, fingers, plain = (
        build.build_new(plan_arms(item, ArmOptions()), name)
        for item, name in ((single, "bare"), (hands, "fingers"), (single, "plain"))
    )
    chain = _add_chain(plain, hands)
    controls = [bone.name for bone in fingers.pose.bones if _is_control(fingers, bone.name)]
    jobs = []
    for item, bones, dials in ((bare, [], []), (fingers, controls, ["fk.fingers.L"]), (plain, chain, [])):
        _key(item, bones, dials)
        jobs.append(functools.partial(play, alone(item), FRAMES))
    for job in jobs:
        job()
    without, ours, theirs = alternate(jobs, repeats)
    return [
        row("playing an arm with five fingers over the arm without", ours / without, note=f"{len(controls)} joints"),
        row("the arm with plain FK chains of the same joints over the arm without", theirs / without),
        row("what fingers add over what plain FK chains of the same joints add", (ours - without) / (theirs - without)),
    ]


def _is_control(armature: bpy.types.Object, name: str) -> bool:
    return name.startswith("fk.") and name.replace("fk.", "aux.", 1) in armature.pose.bones and name.count(".") == 3


def _add_chain(armature: bpy.types.Object, guide: Guide) -> list[str]:
    """Plain chains under the hand, one bone a joint."""
    names = []
    with host.mode(armature, "EDIT"):
        edit = armature.data.edit_bones
        for finger in arm_frames(guide.arms[0], guide.up).fingers:
            parent = "skin.hand.L"
            for place, (frame, length) in enumerate(zip(finger.frames, finger.lengths, strict=True), start=1):
                bone = edit.new(f"n.{finger.name}.{place}")
                bone.head, bone.tail = (0.0, 0.0, 0.0), (0.0, length, 0.0)
                bone.matrix = host.numpy_to_matrix(frame)
                bone.length = length
                bone.parent = edit[parent]
                parent = bone.name
                names.append(bone.name)
    for name in names:
        armature.pose.bones[name].rotation_mode = "XYZ"
    return names


def _key(item: bpy.types.Object, bones: Sequence[str], dials: Sequence[str]) -> None:
    rng = np.random.default_rng(SEED)
    _, curves = new_action(item, "turns")
    frames = np.arange(FRAMES) + 1.0
    for bone in ("torso.2", *bones):
        for index in range(3):
            write_curve(curves, f'pose.bones["{bone}"].rotation_euler', index, frames, rng.uniform(-TURN, TURN, FRAMES))
    for bone in dials:
        write_curve(curves, f'pose.bones["{bone}"]["{CURL}"]', 0, frames, rng.uniform(0.0, 1.0, FRAMES))
