"""A character that is moved, parented, scaled, far away, hidden or in another scene: switches keep the pose, or say why
not.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest
from keepers import activate
from props import lantern, subject_of
from refusals import refused
from shots import LAST, both_arms, set_in_motion

MODES = {"none": (0.0, 0.0), "hand": (1.0, 0.0), "elbow": (0.0, 1.0), "both": (1.0, 1.0)}
TURN = (0.4, -0.7, 1.9)


def _moved(armature: Any) -> None:
    armature.location, armature.rotation_euler = (3.0, -2.0, 0.7), TURN


def _grown(armature: Any) -> None:
    _moved(armature)
    armature.scale = (2.5, 2.5, 2.5)


def _shrunk(armature: Any) -> None:
    _moved(armature)
    armature.scale = (0.01, 0.01, 0.01)


def _parented(armature: Any) -> None:
    """On a lift that goes up and turns while the character moves on it."""
    import bpy

    lift = bpy.data.objects.new("Lift", None)
    bpy.context.scene.collection.objects.link(lift)
    for frame, height in ((1, 0.0), (LAST, 3.0)):
        lift.location, lift.rotation_euler = (1.0, 2.0, height), (0.0, 0.0, 0.5 * height)
        lift.keyframe_insert("location", frame=frame)
        lift.keyframe_insert("rotation_euler", frame=frame)
    armature.parent = lift
    armature.location, armature.rotation_euler = (0.3, 0.1, 0.0), (0.0, 0.0, 0.4)


def _walking(armature: Any) -> None:
    """The object itself travels and turns."""
    for frame, way in ((1, 0.0), (LAST, 2.0)):
        armature.location, armature.rotation_euler = (way, 0.3 * way, 0.0), (0.0, 0.0, 0.4 * way)
        armature.keyframe_insert("location", frame=frame)
        armature.keyframe_insert("rotation_euler", frame=frame)


def _hidden(armature: Any) -> None:
    armature.hide_set(True)


def _in_a_hidden_collection(armature: Any) -> None:
    import bpy

    collection = bpy.data.collections.new("Backstage")
    bpy.context.scene.collection.children.link(collection)
    for owner in armature.users_collection:
        owner.objects.unlink(armature)
    collection.objects.link(armature)
    bpy.context.view_layer.layer_collection.children["Backstage"].hide_viewport = True


def _disabled_in_renders(armature: Any) -> None:
    armature.hide_render = True


def _far(armature: Any) -> None:
    """A hundred metres away from the world's origin."""
    armature.location = (100.0, 0.0, 0.0)


PLACES: dict[str, Callable[[Any], None]] = {
    "moved": _moved,
    "grown": _grown,
    "shrunk": _shrunk,
    "on a moving parent": _parented,
    "walking": _walking,
    "hidden": _hidden,
    "in a hidden collection": _in_a_hidden_collection,
    "not rendered": _disabled_in_renders,
    "far": _far,
}


@pytest.fixture
def placed(wren: Any, request: Any) -> Iterator[Any]:
    import bpy

    set_in_motion(wren)
    PLACES[request.param](wren)
    bpy.context.view_layer.update()
    yield wren


def beside(armature: Any) -> Any:
    """A prop that moves, before the character wherever that is."""
    import bpy
    from mathutils import Euler, Vector

    prop = lantern()
    for frame in (1, LAST // 2, LAST):
        bpy.context.scene.frame_set(frame)
        way = Vector((0.3, -0.3 + 0.004 * frame, 1.1 - 0.003 * frame))
        prop.location = armature.matrix_world @ way
        prop.rotation_quaternion = Euler((0.01 * frame, 0.2, -0.01 * frame)).to_quaternion()
        prop.keyframe_insert("location", frame=frame)
        prop.keyframe_insert("rotation_quaternion", frame=frame)
    bpy.context.scene.frame_set(1)
    return prop


def rounding(armature: Any, subject: Any) -> float:
    """Distance of two neighbouring numbers of the host's single precision where the character is, arm lengths.

    Constraints work in the world's space, so that nothing there is more exact than this.
    """
    import bpy

    away = 0.0
    for frame in (1, LAST):
        bpy.context.scene.frame_set(frame)
        away = max(away, float(np.abs(np.array(armature.matrix_world)[:3, 3]).max()))
    geometry = subject.geometries["L"]
    length = (geometry.upper_length + geometry.forearm_length) * armature.matrix_world.to_scale()[0]
    return float(np.spacing(np.float32(away))) / length


# How many such steps a place may be off: a hold's, its prop's and the character's own, there and back. Seen over a
# segment, half the arm, a step is twice as many radians.
STEPS = 4


@pytest.mark.parametrize("placed", list(PLACES), indirect=True)
def test_no_switch_pops_wherever_the_character_is(placed: Any) -> None:
    import bpy

    from armwright.addon import grab, spaces
    from armwright.addon.switch import POP_ANGLE, POP_LIMIT, switch
    from armwright.core.match.target import Target

    prop = beside(placed)
    subject = subject_of(placed)
    outcomes = {}
    for frame, (first, second) in enumerate(itertools.permutations(MODES, 2), start=4):
        bpy.context.scene.frame_set(frame)
        for mode in (first, second):
            ik, elbow = MODES[mode]
            flips = {"isolate": float(frame % 2), "lift": float(frame % 3 == 0), "stretch": float(frame % 4 == 0)}
            outcomes[frame, mode] = switch(subject, "L", Target(ik=ik, elbow=elbow, **flips), keyed=False)
    for parts, hold in (("hand", "hand"), ("elbow", "elbow"), ("both", "hand")):
        bpy.context.scene.frame_set(20)
        outcomes[parts, "grab"] = grab.grab(subject, "R", parts, grab.Thing(prop), keyed=False)
        for key in ("torso", "Lantern", "head", "hand.L", "world", "Lantern"):
            space = spaces.space_named(subject, "R", hold, key)
            outcomes[parts, key] = spaces.set_space(subject, "R", hold, space, keyed=False)
        outcomes[parts, "let go"] = grab.release(subject, "R", keyed=False)
    pop = max(outcome.pop for outcome in outcomes.values())
    angle = max(outcome.pop_angle for outcome in outcomes.values())
    worst = max(outcomes, key=lambda key: outcomes[key].pop)
    print(f"{len(outcomes)} changes: worst pop {pop:.1e} L ({worst}), {angle:.1e} degrees")
    step = rounding(placed, subject)
    assert pop < POP_LIMIT + STEPS * step
    assert angle < POP_ANGLE + np.degrees(2 * STEPS * step)


@pytest.mark.parametrize("placed", list(PLACES), indirect=True)
def test_a_range_is_held_and_converted_wherever_the_character_is(placed: Any) -> None:
    from swings import apart

    from armwright.addon import convert, grab
    from armwright.addon.switch import POP_ANGLE, POP_LIMIT

    prop = beside(placed)
    subject = subject_of(placed)
    geometry = subject.geometries["L"]
    length = geometry.upper_length + geometry.forearm_length
    step = rounding(placed, subject)
    outcome = grab.hold_range(subject, "L", "both", grab.Thing(prop), 6, 20)
    scale = placed.matrix_world.to_scale()[0]
    slides = {}
    for part, bone in (("hand", "skin.hand.L"), ("elbow", "skin.forearm.L")):
        places = world_offsets(placed, prop, range(6, 21), bone)
        slides[part] = float(np.linalg.norm(places - places[0], axis=1).max()) / length / scale
    before = both_arms(placed)
    done = convert.convert_whole(subject, convert.Request(("R",), "hand", 8, 30))
    gap, angle = apart(before, both_arms(placed))
    print(f"pop {outcome.pop:.1e} L; slides {slides}; converted {gap / length:.1e} L, {angle:.1e} degrees")
    pop, turn = POP_LIMIT + STEPS * step, POP_ANGLE + np.degrees(2 * STEPS * step)
    assert outcome.pop < pop and outcome.pop_angle < turn
    # Reading both places in the world rounds once more.
    assert max(slides.values()) < 2e-6 + 1.5 * STEPS * step
    assert done.keys and gap / length < pop and angle < turn


def world_offsets(armature: Any, prop: Any, frames: range, bone: str) -> np.ndarray:
    """A joint's place (N, 3) in the prop's axes, worked out in the world with double precision."""
    import bpy

    out = []
    for frame in frames:
        bpy.context.scene.frame_set(frame)
        joint = np.array(armature.matrix_world, float) @ np.array(armature.pose.bones[bone].matrix, float)
        turn = np.array(prop.matrix_world, float)[:3, :3]
        out.append(turn.T @ (joint[:3, 3] - np.array(prop.matrix_world, float)[:3, 3]))
    return np.array(out)


def test_a_grown_prop_and_a_grown_character_hold_each_other_in_any_order(wren: Any) -> None:
    import bpy

    from armwright.addon import grab, spaces
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    set_in_motion(wren)
    wren.scale = (1.6, 1.6, 1.6)
    bpy.context.view_layer.update()
    prop = beside(wren)
    subject = subject_of(wren)
    grab.grab(subject, "L", "both", grab.Thing(prop), keyed=False)
    # Made on the unmoved prop, the space does not move or scale what it carries.
    space = wren.pose.bones["aux.hand_space.L"]
    bpy.context.scene.frame_set(1)
    prop.scale = (3.0, 3.0, 3.0)
    bpy.context.view_layer.update()
    assert abs(space.matrix.to_scale()[0] - 3.0) < 1e-5
    for mode in ("none", "elbow", "hand", "both", "none", "both", "elbow"):
        ik, elbow = MODES[mode]
        outcome = switch(subject, "L", Target(ik=ik, elbow=elbow), keyed=False)
        assert outcome.kept, (mode, outcome)
    for key in ("world", "Lantern"):
        named = spaces.space_named(subject, "L", "elbow", key)
        assert spaces.set_space(subject, "L", "elbow", named, keyed=False).kept


def test_a_space_starts_where_the_hold_s_bone_is_however_the_character_stands(wren: Any) -> None:
    import bpy

    from armwright.addon import spaces

    _grown(wren)
    bpy.context.view_layer.update()
    prop, subject = beside(wren), subject_of(wren)
    bone = wren.pose.bones["aux.hand_space.L"]
    before = np.array(bone.matrix)
    bone.constraints[spaces.ensure_space(subject, "L", "hand", prop).constraint].influence = 1.0
    bpy.context.view_layer.update()
    assert np.abs(np.array(bone.matrix) - before).max() < 1e-5


@pytest.mark.parametrize(
    "case", ["another scene", "an excluded collection", "disabled in viewports", "a disabled collection"]
)
def test_a_character_that_is_not_evaluated_here_is_refused_with_a_sentence(wren: Any, case: str) -> None:
    import bpy

    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    if case == "another scene":
        bpy.context.scene.collection.objects.unlink(wren)
        bpy.data.scenes.new("Quay").collection.objects.link(wren)
        words = "not in the current view layer"
    elif case == "an excluded collection":
        _in_a_hidden_collection(wren)
        bpy.context.view_layer.layer_collection.children["Backstage"].exclude = True
        words = "not in the current view layer"
    elif case == "disabled in viewports":
        wren.hide_viewport = True
        words = "disabled in viewports"
    else:
        _in_a_hidden_collection(wren)
        bpy.data.collections["Backstage"].hide_viewport = True
        words = "disabled in viewports"
    bpy.context.view_layer.update()
    refused(lambda: switch(subject_of(wren), "L", Target(ik=1.0, elbow=0.0), keyed=False), words)


def test_a_prop_of_another_scene_is_refused_with_a_sentence(wren: Any) -> None:
    import bpy

    from armwright.addon import grab

    prop = bpy.data.objects.new("Buoy", None)
    bpy.data.scenes.new("Quay").collection.objects.link(prop)
    activate(wren)
    refused(lambda: grab.grab(subject_of(wren), "L", "hand", grab.Thing(prop), keyed=False), "not in this scene")


def test_a_prop_that_is_squashed_while_it_is_held_shears_nothing(wren: Any) -> None:
    import bpy
    from swings import apart

    from armwright.addon import convert, grab, spaces
    from armwright.addon.switch import POP_ANGLE, POP_LIMIT, switch
    from armwright.core.match.target import Target

    set_in_motion(wren)
    prop, subject = beside(wren), subject_of(wren)
    grab.hold_range(subject, "L", "both", grab.Thing(prop), 6, 30)
    prop.scale = (2.0, 0.5, 1.0)
    bpy.context.scene.frame_set(12)
    sheared = np.array(wren.pose.bones["aux.hand_space.L"].matrix)[:3, :3]
    sheared = sheared / np.linalg.norm(sheared, axis=0)
    assert np.abs(sheared.T @ sheared - np.eye(3)).max() > 0.1
    before = both_arms(wren)
    for mode in ("none", "hand", "both", "elbow"):
        done = convert.convert_whole(subject, convert.Request(("L",), mode, 8, 25))
        gap, angle = apart(before, both_arms(wren))
        assert gap < 1e-5 and angle < POP_ANGLE, (mode, gap, angle)
        assert done.angle < POP_ANGLE
    bpy.context.scene.frame_set(12)
    for mode, (ik, elbow) in MODES.items():
        outcome = switch(subject, "L", Target(ik=ik, elbow=elbow), keyed=False)
        assert outcome.kept, (mode, outcome)
    for hold in ("hand", "elbow"):
        for key in ("world", "Lantern", "torso", "Lantern"):
            named = spaces.space_named(subject, "L", hold, key)
            outcome = spaces.set_space(subject, "L", hold, named, keyed=False)
            assert outcome.pop < POP_LIMIT and outcome.pop_angle < POP_ANGLE, (hold, key, outcome)
