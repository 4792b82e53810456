"""Arms that are straight or nearly so: what the host's single precision makes of them when they are held."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from props import subject_of
from swings import apart

# Elbow heights over the line from shoulder to wrist, arm lengths: next to 0 and from where the host can tell them.
LOW = (0.0, 3e-8, 1e-7, 1e-6)


def _straighten(armature: Any, height: float) -> Any:
    """The left arm stretched out with its elbow `height` (arm lengths) off; returns the elbow's own side."""
    import bpy

    from armwright.addon import arm_state
    from armwright.core.solve.arm import solve

    subject = subject_of(armature)
    geometry = subject.geometries["L"]
    length = geometry.upper_length + geometry.forearm_length
    rest = solve(geometry, arm_state.read(subject, "L"))
    bend = np.arccos(np.clip(rest.upper_arm[0, :, 1] @ rest.forearm[0, :, 1], -1.0, 1.0))
    more = height * length * length / (geometry.upper_length * geometry.forearm_length)
    armature.pose.bones["fk.upper_arm.L"].rotation_euler = (0.5, 0.3, -0.4)
    armature.pose.bones["fk.forearm.L"].rotation_euler = (float(-bend + more), 0.4, 0.0)
    bpy.context.view_layer.update()
    return subject, length


def _joints(armature: Any) -> np.ndarray:
    # Skin bones share the segments' roll; these are the segments.
    return np.array([armature.pose.bones[f"{part}.L"].matrix for part in ("aux.upper_arm", "aux.forearm", "skin.hand")])


@pytest.mark.parametrize("height", LOW)
def test_a_straight_arm_is_held_by_its_hand_without_a_pop(wren: Any, height: float) -> None:
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    subject, length = _straighten(wren, height)
    for mode in ((1.0, 0.0), (0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (1.0, 0.0), (0.0, 1.0), (1.0, 0.0)):
        before = _joints(wren)
        switch(subject, "L", Target(ik=mode[0], elbow=mode[1]), keyed=False)
        gap, turn = apart(before, _joints(wren))
        print(f"{height:g}: {mode}: {gap / length:.1e} L, {turn:.1e} degrees")
        assert gap / length < 1e-5
        assert turn < 1e-2


@pytest.mark.parametrize("height", LOW)
def test_a_straight_arm_that_is_held_bends_by_its_hinge_when_the_hand_comes_nearer(wren: Any, height: float) -> None:
    import bpy

    from armwright.addon import arm_state
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    subject, _ = _straighten(wren, height)
    before = _joints(wren)
    switch(subject, "L", Target(ik=1.0, elbow=0.0), keyed=False)
    hold = wren.pose.bones["hold.hand.L"]
    pose = np.array(hold.matrix)
    pose[:3, 3] += 0.1 * (before[0, :3, 3] - before[2, :3, 3])
    arm_state.set_basis(hold, arm_state.own_transform(subject, hold, pose))
    bpy.context.view_layer.update()
    # The elbow goes to where the arm points its elbow: against the Z axis of the upper arm as it was.
    went = _joints(wren)[1, :3, 3] - before[1, :3, 3]
    axes = before[0, :3, :3] / np.linalg.norm(before[0, :3, :3], axis=0)
    along = axes[:, 1]
    went -= along * (went @ along)
    assert float(went @ -axes[:, 2]) / float(np.linalg.norm(went)) > 0.999


@pytest.mark.parametrize("away", [0.02, 0.3])
def test_an_arm_that_points_at_a_hold_out_of_reach_keeps_its_pose_in_every_other_mode(wren: Any, away: float) -> None:
    import bpy

    from armwright.addon import arm_state
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    subject, length = _straighten(wren, 0.0)
    for mode in ((0.0, 0.0), (1.0, 1.0), (0.0, 1.0)):
        switch(subject, "L", Target(ik=1.0, elbow=0.0), keyed=False)
        hold = wren.pose.bones["hold.hand.L"]
        pose = np.array(hold.matrix)
        pose[:3, 3] += away * (pose[:3, 3] - _joints(wren)[0, :3, 3])
        arm_state.set_basis(hold, arm_state.own_transform(subject, hold, pose))
        bpy.context.view_layer.update()
        before = _joints(wren)
        switch(subject, "L", Target(ik=mode[0], elbow=mode[1]), keyed=False)
        gap, turn = apart(before, _joints(wren))
        print(f"{away:g}: {mode}: {gap / length:.1e} L, {turn:.1e} degrees")
        assert gap / length < 1e-5
        assert turn < 1e-2


@pytest.mark.parametrize("height", [3e-5, 1e-4, 1e-3, 1e-2])
def test_a_nearly_straight_held_arm_is_let_go_as_it_is_shown(wren: Any, height: float) -> None:
    # Taking hold there is what the host's single precision allows (docs/arm.md, "Where it is singular").
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    subject, length = _straighten(wren, height)
    for mode in ((0.0, 0.0), (1.0, 1.0), (0.0, 1.0)):
        before = _joints(wren)
        switch(subject, "L", Target(ik=1.0, elbow=0.0), keyed=False)
        taken = apart(before, _joints(wren))[0] / length
        before = _joints(wren)
        switch(subject, "L", Target(ik=mode[0], elbow=mode[1]), keyed=False)
        gap, turn = apart(before, _joints(wren))
        print(f"{height:g}: taken {taken:.1e} L; {mode}: {gap / length:.1e} L, {turn:.1e} degrees")
        assert taken < 1e-5 + 4e-7 * 0.25 / height
        assert gap / length < 1e-5
        assert turn < 1e-2
