"""Props that are sized, unevenly or while they carry: nothing pops, nothing is deformed, and their loss is mended."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from props import joints_along, lantern, pose_freely, subject_of
from swings import apart

from armwright.addon.holds import MODES

SEED = 3107
SIZES = ((1.0, 1.0, 1.0), (2.5, 2.5, 2.5), (0.2, 0.2, 0.2), (1.6, 0.7, 1.0), (0.4, 2.0, 1.1))
CHANGES = ("hand", "both", "elbow", "none")


def _sized(prop: Any, rng: np.random.Generator, size: tuple[float, float, float]) -> None:
    import bpy

    prop.scale = size
    prop.rotation_quaternion = rng.normal(size=4).tolist()
    prop.location = (np.array([0.3, -0.3, 1.1]) + rng.uniform(-0.1, 0.1, 3)).tolist()
    bpy.context.view_layer.update()


def _joints(armature: Any, arm: str = "L") -> Any:
    return np.array([armature.pose.bones[f"skin.{part}.{arm}"].matrix for part in ("upper_arm", "forearm", "hand")])


def _length(subject: Any, arm: str = "L") -> float:
    return float(subject.geometries[arm].upper_length + subject.geometries[arm].forearm_length)


@pytest.mark.parametrize("size", SIZES)
def test_no_switch_pops_on_a_prop_that_was_sized_while_it_carries(wren: Any, size: tuple[float, float, float]) -> None:
    import bpy

    from armwright.addon import grab
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    subject, prop = subject_of(wren), lantern()
    worst = np.zeros(2)
    for _ in range(6):
        grab.release(subject, "L", keyed=False)
        _sized(prop, rng, (1.0, 1.0, 1.0))
        pose_freely(rng, wren)
        bpy.context.view_layer.update()
        grab.grab(subject, "L", "both", grab.Thing(prop), keyed=False)
        _sized(prop, rng, size)
        for first in CHANGES:
            for second in CHANGES:
                for mode in (first, second):
                    before = _joints(wren)
                    outcome = switch(subject, "L", Target(ik=MODES[mode].ik, elbow=MODES[mode].elbow), keyed=False)
                    gap, turn = apart(before, _joints(wren))
                    assert outcome.kept, (mode, outcome)
                    worst = np.maximum(worst, (gap / _length(subject), turn))
    print(f"{size}: worst pop {worst[0]:.1e} L, {worst[1]:.1e} degrees")
    assert worst[0] < 1e-5
    assert worst[1] < 1e-2


@pytest.mark.parametrize("size", SIZES[1:])
def test_no_grab_release_or_change_of_space_pops_on_a_sized_prop(wren: Any, size: tuple[float, float, float]) -> None:
    import bpy

    from armwright.addon import grab, spaces

    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    subject, prop = subject_of(wren), lantern()
    worst = np.zeros(2)
    for _ in range(6):
        pose_freely(rng, wren)
        _sized(prop, rng, (1.0, 1.0, 1.0))
        steps = [
            lambda: grab.grab(subject, "L", "both", grab.Thing(prop), keyed=False),
            lambda: spaces.set_space(subject, "L", "hand", spaces.space_named(subject, "L", "hand", "world"), False),
            lambda: spaces.set_space(subject, "L", "hand", spaces.space_named(subject, "L", "hand", "Lantern"), False),
            lambda: spaces.set_space(subject, "L", "elbow", spaces.space_named(subject, "L", "elbow", "torso"), False),
            lambda: grab.grab(subject, "L", "elbow", grab.Thing(prop), keyed=False),
            lambda: grab.release(subject, "L", keyed=False),
        ]
        for step in steps:
            before = _joints(wren)
            assert step().kept
            gap, turn = apart(before, _joints(wren))
            worst = np.maximum(worst, (gap / _length(subject), turn))
            _sized(prop, rng, size)
        bpy.context.view_layer.update()
    print(f"{size}: worst pop {worst[0]:.1e} L, {worst[1]:.1e} degrees")
    assert worst[0] < 1e-5
    assert worst[1] < 1e-2


@pytest.mark.parametrize("size", SIZES[1:])
def test_a_sized_prop_does_not_deform_the_hand_that_it_carries(wren: Any, size: tuple[float, float, float]) -> None:
    from armwright.addon import grab

    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    subject, prop = subject_of(wren), lantern()
    wren.pose.bones["fk.forearm.L"].rotation_euler = (1.0, 0.3, 0.0)
    assert grab.grab(subject, "L", "both", grab.Thing(prop), keyed=False).kept
    worst = 0.0
    for _ in range(20):
        _sized(prop, rng, size)
        for name in ("hold.hand.L", "hold.elbow.L", "skin.hand.L"):
            turn = np.array(wren.pose.bones[name].matrix)[:3, :3]
            worst = max(worst, float(np.abs(turn.T @ turn - np.eye(3)).max()))
    print(f"{size}: {worst:.1e} from orthonormal")
    # Axes that are less than 1e-4 from a right angle the host leaves there.
    assert worst < 1.1e-4


def test_a_range_on_a_prop_that_grows_is_converted_without_a_pop(wren: Any) -> None:
    import bpy
    from swings import animated

    from armwright.addon import convert, grab
    from armwright.addon.convert import Request

    animated(wren)
    subject, prop = subject_of(wren), lantern()
    for frame, size in ((1, (1.0, 1.0, 1.0)), (60, (1.5, 0.8, 1.1))):
        prop.scale = size
        prop.keyframe_insert("scale", frame=frame)
        prop.rotation_quaternion = (0.9, 0.1 * frame / 60, -0.2, 0.1)
        prop.keyframe_insert("rotation_quaternion", frame=frame)
    bpy.context.scene.frame_set(5)
    assert grab.grab(subject, "L", "both", grab.Thing(prop), keyed=True).kept
    for mode, keys in (("none", "every"), ("both", "every"), ("hand", "every"), ("elbow", "fewest")):
        before = joints_along(wren, range(20, 41))
        request = Request(("L",), mode, 20, 40, keys, 0.0005)
        outcome = convert.convert_whole(subject, request)
        gap, turn = apart(before, joints_along(wren, range(20, 41)))
        print(mode, keys, outcome.sentence(), gap, turn)
        assert gap < (1e-5 * _length(subject) if keys == "every" else 0.0005 + 1e-5)
        assert turn < (1e-2 if keys == "every" else 0.2)


@pytest.mark.parametrize("keyed", [False, True])
def test_a_hold_on_a_sized_prop_stays_where_it_was_grabbed_when_the_prop_is_deleted(wren: Any, keyed: bool) -> None:
    import bpy

    from armwright.addon import grab, mend

    subject, prop = subject_of(wren), lantern()
    wren.pose.bones["fk.forearm.L"].rotation_euler = (1.0, 0.3, 0.0)
    prop.scale = (1.6, 0.7, 1.0)
    bpy.context.view_layer.update()
    # First carried before it turns, so that its size stays askew against its axes.
    grab.grab(subject, "L", "hand", grab.Thing(prop), keyed=False)
    grab.release(subject, "L", keyed=False)
    prop.scale, prop.rotation_quaternion = (0.8, 2.0, 1.3), (0.8, 0.3, 0.4, -0.2)
    bpy.context.view_layer.update()
    bpy.context.scene.frame_set(12)
    grab.grab(subject, "L", "hand", None, keyed=False)
    grab.grab(subject, "L", "hand", grab.Thing(prop), keyed=keyed)
    was = _joints(wren)[2]
    bpy.data.objects.remove(prop)
    bpy.context.view_layer.update()
    assert "where it was grabbed" in mend.mend_spaces(subject)[0]
    bpy.context.view_layer.update()
    gap, turn = apart(was, _joints(wren)[2])
    assert gap < 4e-6
    assert turn < 1e-2


@pytest.mark.parametrize(("size", "said"), [((-1.0, 1.0, 1.0), "mirrored"), ((1.0, 0.0, 1.0), "scaled to nothing")])
def test_a_prop_that_is_mirrored_or_scaled_to_nothing_is_named(wren: Any, size: Any, said: str) -> None:
    import bpy
    from refusals import refused

    from armwright.addon import convert, grab, spaces
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    subject, prop = subject_of(wren), lantern()
    wren.pose.bones["fk.forearm.L"].rotation_euler = (1.0, 0.3, 0.0)
    wren.pose.bones["fk.forearm.L"].keyframe_insert("rotation_euler", frame=1)
    grab.grab(subject, "L", "hand", grab.Thing(prop), keyed=False)
    prop.scale = size
    bpy.context.view_layer.update()
    refused(lambda: switch(subject, "L", Target(ik=0.0, elbow=0.0), keyed=False), f"hand.*{said}")
    refused(lambda: switch(subject, "L", Target(ik=1.0, elbow=1.0), keyed=True), f"hand.*{said}")
    refused(lambda: grab.grab(subject, "L", "hand", None, keyed=False), f"hand.*{said}")
    world = spaces.space_named(subject, "L", "hand", "world")
    refused(lambda: spaces.set_space(subject, "L", "hand", world, keyed=False), f"hand.*{said}")
    refused(lambda: convert.convert_whole(subject, convert.Request(("L",), "none", 1, 9)), f"hand.*{said}")
    other = lantern("Bucket")
    other.scale = (0.0, 0.0, 0.0)
    bpy.context.view_layer.update()
    refused(lambda: grab.grab(subject, "R", "hand", grab.Thing(other), keyed=False), "scaled to nothing")
