"""A hold goes where its space goes, once, whatever the character's root does."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from props import lantern, subject_of

TRAVEL = np.array([0.10, -0.04, 0.02])


@pytest.mark.parametrize("hold", ["hand", "elbow"])
@pytest.mark.parametrize(
    ("space", "travels"), [("world", 0.0), ("prop", 0.0), ("torso.1", 1.0), ("head", 1.0), ("root", 1.0)]
)
def test_a_hold_travels_with_its_space_and_not_with_the_root_as_well(
    wren: Any, hold: str, space: str, travels: float
) -> None:
    import bpy

    from armwright.addon import grab

    subject, prop = subject_of(wren), lantern()
    target = {"world": None, "prop": grab.Thing(prop)}.get(space, grab.Thing(wren, space))
    wren.pose.bones["fk.forearm.L"].rotation_euler = (1.0, 0.2, 0.0)
    bpy.context.view_layer.update()
    grab.grab(subject, "L", hold, target, keyed=False)
    held = wren.pose.bones[f"hold.{hold}.L"]
    before = np.array(held.head)
    wren.pose.bones["root"].location = TRAVEL.tolist()
    bpy.context.view_layer.update()
    assert np.abs(np.array(held.head) - before - travels * TRAVEL).max() < 1e-6
