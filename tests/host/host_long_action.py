"""An action of ten thousand frames: whole or not at all, with progress, its first hundred as they alone would be."""

from __future__ import annotations

import resource
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from swings import ANGLE, GAP, animated, apart, curve_values, every_key, poses, request

FRAMES, SHORT, EVERY = 10_000, 100, 25
# What the arrays of one frame may take: both arms' bones, carriers and settings in doubles are some 10 kilobytes.
MOST_BYTES_A_FRAME = 40_000


@pytest.fixture
def shot(wren: Any) -> Any:
    """Wren swings for ten thousand frames."""
    animated(wren, tuple(range(1, FRAMES + EVERY, EVERY)))
    return wren


def converting(armature: Any, last: int, keys: str = "every") -> Iterator[Any]:
    from armwright.addon import convert, subjects

    return convert.convert(subjects.subject_of(armature), request("hand", first=1, last=last, keys=keys))


def peak() -> int:
    """Bytes that the process has held at most."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def ended(steps: Iterator[Any], frames: int) -> Any:
    """The last step; those before it go on from frame to frame, and name their whole."""
    from armwright.addon.prove import Progress

    shown: list[float] = []
    for step in steps:
        if not isinstance(step, Progress):
            assert len(shown) >= frames and shown == sorted(shown) and shown[-1] <= 1.0
            return step
        shown.append(step.done / step.total)
    raise AssertionError("it ended without a result")


@pytest.mark.parametrize("keys", ["every", "fewest"])
def test_a_range_is_converted_as_its_beginning_alone_would_be(shot: Any, keys: str) -> None:
    import bpy
    from characters import wren_on_own_armature

    beginning = range(1, SHORT + 1)
    at_first = poses(shot, beginning)
    ended(converting(shot, SHORT, keys), SHORT)
    alone, short = poses(shot, beginning), curve_values(shot, beginning)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    shot = wren_on_own_armature()
    animated(shot, tuple(range(1, FRAMES + EVERY, EVERY)))
    before = peak()
    done = ended(converting(shot, FRAMES, keys), FRAMES)
    a_frame = (peak() - before) / FRAMES
    print(f"{keys}: {done.sentence()}; {a_frame:.0f} bytes a frame")
    assert done.frames == FRAMES and a_frame < MOST_BYTES_A_FRAME
    far, turned = apart(poses(shot, beginning), alone)
    if keys == "every":
        assert done.gap <= GAP and done.angle <= ANGLE
        assert max(apart(alone, at_first)) <= ANGLE and far <= 1e-6 and turned <= 1e-3
        long = curve_values(shot, beginning)
        assert long.keys() == short.keys()
        worst = {name: float(np.abs(long[name] - short[name]).max()) for name in short}
        assert max(worst.values()) < 1e-5, max(worst, key=lambda name: worst[name])
    else:
        # Both keep within the tolerance of the same poses; their keys may be others.
        limit = 2.0 * request("hand").tolerance
        assert far <= limit and done.keys < FRAMES * len(short)


@pytest.mark.parametrize("share", [0.3, 0.999])
def test_a_long_range_that_is_stopped_leaves_every_key(shot: Any, share: float) -> None:
    before = every_key(shot)
    steps = converting(shot, FRAMES)
    for step in steps:
        if step.done >= share * step.total:
            break
    steps.close()  # type: ignore[attr-defined]
    assert every_key(shot) == before


def test_a_long_action_is_studied_and_put_onto_a_rig(shot: Any) -> None:
    from armwright.addon import subjects, transfer
    from armwright.addon.study_action import motion_of_action
    from armwright.core.study.study import study

    before = peak()
    motion = motion_of_action(shot)
    assert motion.frames >= FRAMES
    found = study(motion)
    done = ended(transfer.transferring(subjects.subject_of(shot), found), FRAMES)
    a_frame = (peak() - before) / FRAMES
    print(f"{done.sentence()}; {a_frame:.0f} bytes a frame")
    assert done.last - done.first + 1 == motion.frames
    assert done.slide <= 2e-6 and a_frame < MOST_BYTES_A_FRAME


def test_a_long_range_is_handed_over(shot: Any, tmp_path: Path) -> None:
    import bpy
    from handed import handed

    before = peak()
    found = handed(shot, tmp_path / "wren.glb", first=1, last=FRAMES, arms_only=True)
    a_frame = (peak() - before) / FRAMES
    size = (tmp_path / "wren.glb").stat().st_size
    print(f"{size} bytes of file; {a_frame:.0f} bytes a frame")
    joints = found.joints
    assert all(len(found.world[name]) == FRAMES for name in joints)
    for frame in (1, 2, SHORT, FRAMES // 2, FRAMES):
        bpy.context.scene.frame_set(frame)
        wanted = np.array([shot.matrix_world @ shot.pose.bones[name].matrix for name in joints])
        got = np.array([found.world[name][frame - 1] for name in joints])
        assert np.linalg.norm(got[:, :3, 3] - wanted[:, :3, 3], axis=-1).max() < 1e-5
