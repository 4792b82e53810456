"""What switching costs: a range conversion, and a single switch, over the host stepping the same animation."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import bpy
import numpy as np

from ..core.match.target import Target
from . import convert, subjects
from .holds import MODES
from .switch import switch

FRAMES = 1000
# Frames between the keys of the animation that is converted.
KEYED_EVERY = 25
SINGLES = 40
SEED = 12


def rows(armature: bpy.types.Object, row: Callable[..., Any]) -> list[Any]:
    """Both arms over FRAMES frames, with keys on every frame and the fewest; and one click; `armature` is Wren's."""
    subject = subjects.subject_of(armature)
    out = []
    for keys in convert.KEYS:
        _animate(armature)
        stepping = _seconds(_step)
        start = time.perf_counter()
        done = convert.convert_whole(subject, convert.Request(subject.arms, "hand", 1, FRAMES, keys))
        seconds = time.perf_counter() - start
        note = f"{done.keyed_frames} frames keyed, {done.gap:.1e} L off"
        what = f"converting {FRAMES} frames, both arms, {keys} key: over stepping them"
        out.append(row(what, seconds / stepping, "<=", 3.0, note))
    _animate(armature)
    frame = _seconds(_step) / FRAMES
    start = time.perf_counter()
    for index in range(SINGLES):
        mode = list(MODES.values())[index % len(MODES)]
        switch(subject, "L", Target(ik=mode.ik, elbow=mode.elbow), keyed=False)
    single = (time.perf_counter() - start) / SINGLES
    out.append(row("one switch of one arm, over the host stepping a frame", single / frame))
    return out


def _animate(armature: bpy.types.Object) -> None:
    """Swinging arms on a leaning torso, in a new action."""
    rng = np.random.default_rng(SEED)
    armature.animation_data.action = None
    bones = armature.pose.bones
    for frame in range(1, FRAMES + KEYED_EVERY, KEYED_EVERY):
        turns = {"torso.2": rng.uniform(-0.3, 0.3, 3)}
        for arm in "LR":
            for dial in ("ik", "elbow_hold"):
                bones[f"fk.clavicle.{arm}"][dial] = 0.0
            turns[f"fk.upper_arm.{arm}"] = rng.uniform(-0.6, 0.6, 3)
            turns[f"fk.forearm.{arm}"] = np.array([rng.uniform(0.4, 1.3), rng.uniform(-0.6, 0.6), 0.0])
            turns[f"fk.hand.{arm}"] = rng.uniform(-0.4, 0.4, 3)
        for name, turn in turns.items():
            bones[name].rotation_euler = turn.tolist()
            bones[name].keyframe_insert("rotation_euler", frame=frame)


def _step() -> None:
    for frame in range(1, FRAMES + 1):
        bpy.context.scene.frame_set(frame)


def _seconds(job: Callable[[], object]) -> float:
    start = time.perf_counter()
    job()
    return time.perf_counter() - start
