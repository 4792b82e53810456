"""`isolate`: the FK arm turns with the clavicle (0), with the root (1), or by a slerp; it travels with the shoulder."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..rotations import euler_to_matrix, matrix_to_quat, quat_to_matrix, slerp
from .measures import SLIDE_LIMIT, TURN_LIMIT, Measured, at, carried, clavicle_control, drift, slide, turn
from .run_plan import RunSpec
from .samples import ArmRun

ID = "isolate"
MODES: tuple[str, ...] = ("none",)
LIMITS = {"follow-error": TURN_LIMIT, "slerp-error": TURN_LIMIT, "drift": TURN_LIMIT, "travel": SLIDE_LIMIT}


def applies(spec: RunSpec) -> bool:
    """Whether `measure` has something to say about a run."""
    return ID in spec.requirements and spec.case.mode in MODES


def measure(run: ArmRun) -> tuple[Measured, ...]:
    """Rotation of the upper arm against what it should inherit (degrees), shoulder against the clavicle's end (L)."""
    values = run.settings.isolate
    name = "follow-error" if (values == 0.0).all() else "drift" if (values == 1.0).all() else "slerp-error"
    clavicle = run.samples.clavicle
    tip = at(clavicle) + turn(clavicle)[..., 1] * run.geometry.clavicle_length
    return (
        drift(name, turn(run.samples.upper_arm), wanted_upper_arm(run)),
        slide(run, "travel", at(run.samples.upper_arm), tip),
    )


def wanted_upper_arm(run: ArmRun) -> NDArray[np.float64]:
    """Orientation of the FK upper arm by docs/arm.md, 2, from what was set alone: (N, 3, 3)."""
    geometry, settings = run.geometry, run.settings
    follows = clavicle_control(run) @ (turn(geometry.clavicle).T @ turn(geometry.upper_arm))
    alone = carried(settings.root, geometry.root, geometry.upper_arm)
    between = quat_to_matrix(slerp(matrix_to_quat(follows), matrix_to_quat(alone), settings.isolate))
    return np.asarray(between @ euler_to_matrix(settings.upper_arm, geometry.rotation_orders[1]))
