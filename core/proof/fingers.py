"""`fingers`: each finger bone turns by what its channels and dials say, and follows the hand, in every mode."""

from __future__ import annotations

import numpy as np

from ..solve.fingers import solve_fingers
from .finger_samples import FingerRun
from .measures import DEGREES, LENGTHS, SLIDE_LIMIT, TURN_LIMIT, Array, Measured, arm_length, at, turn, turn_error
from .run_plan import RunSpec
from .samples import ArmRun

ID = "fingers"
MODES: tuple[str, ...] = ("none", "hand", "elbow", "both")
LIMITS = {"finger-turn": TURN_LIMIT, "finger-place": SLIDE_LIMIT}
NO_FINGERS = "the hand has no fingers"


def applies(spec: RunSpec) -> bool:
    """Whether `measure` has something to say about a run."""
    return ID in spec.requirements


def measure(run: ArmRun) -> tuple[Measured, ...]:
    """The worst bone of each frame against docs/arm.md on the hand as the host showed it: rotation (degrees), and
    joints and tips (L)."""
    if run.fingers is None:
        none = np.zeros(len(run.samples.hand))
        return (
            Measured("finger-turn", DEGREES, none, TURN_LIMIT, note=NO_FINGERS, not_applicable=True),
            Measured("finger-place", LENGTHS, none, SLIDE_LIMIT, note=NO_FINGERS, not_applicable=True),
        )
    fingers = run.fingers
    solved = solve_fingers(fingers.geometry, run.samples.hand, fingers.base_turn, fingers.settings)
    found = np.concatenate([fingers.poses[name] for name in solved], axis=1)
    wanted = np.concatenate(list(solved.values()), axis=1)
    turns = turn_error(turn(found), turn(wanted))
    found_points, wanted_points = (
        np.concatenate([at(poses), _tips(fingers, poses)], axis=1) for poses in (found, wanted)
    )
    gaps = np.linalg.norm(found_points - wanted_points, axis=-1) / arm_length(run.geometry)
    names = [f"{name} {place + 1}" for name, poses in solved.items() for place in range(poses.shape[1])]
    worst = np.argmax(np.nan_to_num(gaps, nan=np.inf), axis=1)
    frames = np.arange(len(gaps))
    return (
        Measured("finger-turn", DEGREES, turns.max(axis=1), TURN_LIMIT, note=_worst(names, turns, TURN_LIMIT)),
        Measured(
            "finger-place",
            LENGTHS,
            gaps.max(axis=1),
            SLIDE_LIMIT,
            wanted_points[frames, worst],
            found_points[frames, worst],
            note=_worst([*names, *(f"{name}'s tip" for name in solved)], gaps, SLIDE_LIMIT),
        ),
    )


def _tips(fingers: FingerRun, poses: Array) -> Array:
    """Tips (N, F, 3) of fingers whose bones are `poses` (N, B, 4, 4), finger by finger."""
    last, out = -1, []
    for finger in fingers.geometry.fingers:
        last += len(finger.frames)
        length = float(np.linalg.norm(finger.tip - finger.frames[-1][:3, 3]))
        out.append(at(poses[:, last]) + turn(poses[:, last])[..., 1] * length)
    return np.stack(out, axis=1)


def _worst(names: list[str], errors: Array, limit: float) -> str:
    """Which bone is worst, where one is past the limit; errors (N, B)."""
    if not np.isfinite(errors).all() or not (errors > limit).any():
        return ""
    return f"worst: {names[int(np.argmax(errors.max(axis=0)))]}"
