"""Motion made by formula, to study without a rig."""

from __future__ import annotations

from typing import Any

import numpy as np


def two_hands_together(frames: int = 90, rate: float = 30.0) -> Any:
    """Both hands carry the same thing along, a hand's breadth apart."""
    from armwright.core.study.motion import ArmMotion, StudyMotion

    time = np.arange(frames) / rate
    way = np.stack([0.2 * np.sin(2.0 * time), -0.35 + 0.0 * time, 1.1 + 0.1 * np.cos(2.0 * time)], axis=1)
    arms = []
    for arm, side in (("L", 1.0), ("R", -1.0)):
        shoulder = np.broadcast_to([side * 0.2, 0.0, 1.4], way.shape)
        wrist = way + np.array([side * 0.08, 0.0, 0.0])
        middle, line = (shoulder + wrist) / 2.0, wrist - shoulder
        far = np.linalg.norm(line, axis=1, keepdims=True)
        out = np.cross(line, [side, 0.0, 0.0])
        out /= np.linalg.norm(out, axis=1, keepdims=True)
        elbow = middle + out * np.sqrt(np.maximum(0.3**2 - far**2 / 4.0, 0.0))
        arms.append(ArmMotion(arm, shoulder.copy(), elbow, wrist))
    return StudyMotion("carried", rate, tuple(arms), np.tile(np.eye(4), (frames, 1, 1)))
