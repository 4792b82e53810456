"""Many characters in one file behind `bench`: time over their number, over cores, memory and building each more."""

from __future__ import annotations

import functools
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.arm.build import plan_arms
from ..core.guide import Guide
from ..core.options import ArmOptions
from ..core.plan.model import Plan
from ..core.stature import guide_from_stature
from . import build
from .bench_stage import create_bare, play
from .curves import new_action, write_curve

Array = NDArray[np.float64]

STATURE = 1.7
SEED = 3
FRAMES, TURN = 40, 0.3
COUNTS = (1, 3, 10, 30, 100)
# What one character takes is at hand in a core's cache, what a hundred take is not: beyond that the step is behind.
BEYOND = (100, 300)
# In the processes of their own: characters played on one core and on all, and those built for memory and time.
PLAYED, BUILT = 30, 101
# How many at the beginning and at the end of the building are compared.
TENTH = 10


def rows(
    guide: Guide, alternate: Callable[[Sequence[Callable[[], None]], int], list[float]], repeats: int, row: Any
) -> list[Any]:
    """Played frames of 1 to 100 characters with both arms, each on its own bones; then what other processes measure."""
    every = (*COUNTS, *BEYOND[1:])
    characters = _copies(guide, max(every))
    scenes = [_scene(count, characters) for count in every]
    jobs = [functools.partial(play, scene, FRAMES) for scene in scenes]
    for job in jobs:
        job()
    seconds = alternate(jobs, repeats)
    of = dict(zip(every, seconds, strict=True))
    each = ", ".join(f"{count}: {1e3 * value / FRAMES:.2f} ms" for count, value in of.items())
    found = [
        row("exponent of a frame's time over 1 to 100 characters", _exponent(of, COUNTS), "<=", 1.1, note=each),
        row("the same over 100 to 300 characters", _exponent(of, BEYOND), "<=", 1.1),
        row("playing 50 characters over one, between 30 and 100", _between(of, 50) / of[1], "<=", 50.0),
    ]
    return found + _in_processes(max(2, repeats // 3), row)


def _exponent(seconds: dict[int, float], counts: Sequence[int]) -> float:
    """The slope of a line through the times' logarithms over those of the numbers; 1 is linear."""
    times = [seconds[count] for count in counts]
    return float(np.polyfit(np.log(counts), np.log(times), 1)[0])


def _between(seconds: dict[int, float], count: int) -> float:
    """The time of a number between two that were measured, on the line through their logarithms."""
    return float(np.exp(np.interp(np.log(count), np.log(list(seconds)), np.log(list(seconds.values())))))


def _in_processes(repeats: int, row: Any) -> list[Any]:
    """What needs a process of its own: cores, whose number the host takes when it starts, and memory."""
    found = []
    cores = os.cpu_count() or 1
    if cores > 1 and hasattr(os, "sched_setaffinity"):
        one, every = [], []
        for _ in range(repeats):
            one.append(_child("play", PLAYED, 1)["seconds"])
            every.append(_child("play", PLAYED, cores)["seconds"])
        ratio = float(np.median(one) / np.median(every))
        found.append(row(f"playing {PLAYED} characters on one core over on {cores}", ratio, ">=", 1.0))
        busy = float(np.median([_child("play", PLAYED, cores)["busy"] for _ in range(repeats)]))
        found.append(row(f"cores at work on {PLAYED} characters, of {cores}", busy))
    crowd, single = _child("build", BUILT, cores), _child("build", 1, cores)
    if crowd["peak_mb"] is not None:
        each = (crowd["peak_mb"] - single["peak_mb"]) / (BUILT - 1)
        found.append(row(f"memory of a character with both arms, MB (of {BUILT - 1} more, at the peak)", each))
    times = crowd["times"]
    found.append(
        row(
            f"building the last {TENTH} of {BUILT} characters over the first {TENTH}",
            sum(times[-TENTH:]) / sum(times[:TENTH]),
            note=f"{1e3 * float(np.median(times)):.0f} ms each",
        )
    )
    over = float(np.median(times[-TENTH:])) / crowd["bare"]
    found.append(row(f"building the last of {BUILT} over creating its bare bones beside {BUILT}", over, "<=", 3.0))
    return found


def _child(what: str, count: int, cores: int) -> dict[str, Any]:
    """What a process of the host's own on so many cores measures."""
    package = __package__ or ""
    program = (
        "import os, sys\n"
        f"cores = sorted(os.sched_getaffinity(0))[:{cores}] if hasattr(os, 'sched_getaffinity') else []\n"
        "if cores: os.sched_setaffinity(0, cores)\n"
        f"from {package} import bench_many\n"
        f"bench_many.child({what!r}, {count})\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    lines = [line for line in done.stdout.splitlines() if line.startswith("{")]
    if not lines:
        raise RuntimeError(f"the process that measures {what} of {count} characters ended early: {done.stderr[-500:]}")
    answer: dict[str, Any] = json.loads(lines[-1])
    return answer


def child(what: str, count: int) -> None:
    """The other end of `_child`: measure, print, and leave the host at once."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    guide, most = guide_from_stature(STATURE, "Wren"), peak_mb()
    times, seconds, busy, bare = [], 0.0, 0.0, 0.0
    if what == "play":
        scene = _scene(count, _copies(guide, count))
        play(scene, FRAMES)
        start, worked = time.perf_counter(), time.process_time()
        play(scene, FRAMES)
        seconds = time.perf_counter() - start
        busy = (time.process_time() - worked) / seconds
    else:
        plan = plan_arms(guide, ArmOptions())
        for number in range(count):
            start = time.perf_counter()
            build.build_new(plan, f"Wren {number}")
            times.append(time.perf_counter() - start)
        most = peak_mb()
        bare = float(np.median([_bare(plan) for _ in range(3)]))
    answer = {"seconds": seconds, "busy": busy, "times": times, "bare": bare, "peak_mb": most}
    print(json.dumps(answer), flush=True)
    os._exit(0)


def _bare(plan: Plan) -> float:
    """Seconds that the host takes to make an armature with the plan's bones and nothing on them."""
    start = time.perf_counter()
    create_bare(plan)
    return time.perf_counter() - start


def peak_mb() -> float | None:
    """The most memory that this process has had since its program began, MB; None where the system does not tell."""
    # What the system counts for a process otherwise begins with what the one that started it has had.
    status = Path("/proc/self/status")
    if not status.exists():
        return None
    line = next((line for line in status.read_text().splitlines() if line.startswith("VmHWM:")), "")
    return float(line.split()[1]) / 2.0**10 if line else None


def _copies(guide: Guide, count: int) -> list[bpy.types.Object]:
    """So many characters on their own bones, their torso keyed, in no scene of those that are played."""
    plan = plan_arms(guide, ArmOptions())
    first = build.build_new(plan, "one")
    _, curves = new_action(first, "turns")
    for index, column in enumerate(np.random.default_rng(SEED).uniform(-TURN, TURN, (FRAMES, 3)).T):
        write_curve(curves, f'pose.bones["{plan.torso}"].rotation_euler', index, np.arange(FRAMES) + 1.0, column)
    return [first, *(_copy(first) for _ in range(count - 1))]


def _copy(first: bpy.types.Object) -> bpy.types.Object:
    """A character that points to itself wherever the first one does."""
    copy = first.copy()
    copy.data = first.data.copy()
    copy.animation_data.action = first.animation_data.action
    for curve in copy.animation_data.drivers:
        for variable in curve.driver.variables:
            for target in variable.targets:
                if target.id == first:
                    target.id = copy
    for bone in copy.pose.bones:
        for constraint in bone.constraints:
            for holder in getattr(constraint, "targets", (constraint,)):
                holder.target = copy
    return copy


def _scene(count: int, characters: Sequence[bpy.types.Object]) -> bpy.types.Scene:
    scene = bpy.data.scenes.new(f"{count} characters")
    for item in characters[:count]:
        scene.collection.objects.link(item)
    return scene
