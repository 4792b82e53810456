"""Grab and let go: one operation, all of it or nothing, one undo step; and holding over a range of frames."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from keepers import activate
from props import joints_along, lantern, offsets, pose_freely, subject_of, swing

SEED = 815
ROUNDS = 25
FIRST, LAST = 10, 30
JOINT = {"hand": 2, "elbow": 1}


@pytest.fixture
def registered(wren: Any) -> Iterator[Any]:
    import armwright

    armwright.register()
    activate(wren, "POSE")
    yield wren
    armwright.unregister()


def test_grabbing_and_letting_go_pops_nowhere(wren: Any) -> None:
    import bpy

    from armwright.addon import grab, spaces
    from armwright.addon.switch import POP_ANGLE, POP_LIMIT

    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    subject, prop = subject_of(wren), lantern()
    worst, worst_angle = 0.0, 0.0
    for _ in range(ROUNDS):
        pose_freely(rng, wren)
        prop.location = rng.uniform(-1.0, 1.0, 3).tolist()
        prop.rotation_quaternion = rng.normal(size=4).tolist()
        bpy.context.view_layer.update()
        for parts in grab.PARTS:
            for target in (grab.Thing(prop), None, grab.Thing(wren, "torso.1")):
                outcome = grab.grab(subject, "L", parts, target, keyed=False)
                for hold in grab.PARTS[parts]:
                    assert (spaces.active_space(subject, "L", hold).key == "world") == (target is None)
                worst, worst_angle = max(worst, outcome.pop), max(worst_angle, outcome.pop_angle)
            outcome = grab.release(subject, "L", keyed=False)
            worst, worst_angle = max(worst, outcome.pop), max(worst_angle, outcome.pop_angle)
    print(f"worst pop {worst:.1e} L, {worst_angle:.1e} degrees")
    assert worst < POP_LIMIT
    assert worst_angle < POP_ANGLE


@pytest.mark.parametrize("parts", ["hand", "elbow", "both"])
def test_a_moving_prop_carries_what_grabbed_it(wren: Any, parts: str) -> None:
    import bpy

    from armwright.addon import grab

    subject, prop = subject_of(wren), lantern()
    swing(prop)
    wren.pose.bones["fk.forearm.L"].rotation_euler = (1.0, 0.2, 0.0)
    before = joints_along(wren, range(1, FIRST))
    bpy.context.scene.frame_set(FIRST)
    assert grab.grab(subject, "L", parts, grab.Thing(prop), keyed=True).kept
    assert np.abs(joints_along(wren, range(1, FIRST)) - before).max() < 2e-6
    drift = 0.0
    for hold in grab.PARTS[parts]:
        bone = {"hand": "skin.hand.L", "elbow": "skin.forearm.L"}[hold]
        places = offsets(wren, prop, range(FIRST, 41), bone)[:, :3, 3]
        drift = max(drift, float(np.abs(places - places[0]).max()))
    geometry = subject.geometries["L"]
    drift /= geometry.upper_length + geometry.forearm_length
    print(f"{parts}: drift against the moving prop {drift:.1e} L")
    assert drift < 2e-6


@pytest.mark.parametrize("parts", ["hand", "elbow", "both"])
def test_holding_over_a_range_of_an_animated_torso(wren: Any, parts: str) -> None:
    import bpy

    from armwright.addon import grab

    subject = subject_of(wren)
    swing(wren)
    swing_later(wren)
    before = joints_along(wren, range(1, 81))
    bpy.context.scene.frame_set(3)
    outcome = grab.hold_range(subject, "L", parts, None, FIRST, LAST)
    assert bpy.context.scene.frame_current == 3
    assert outcome.keyed
    after = joints_along(wren, range(1, 81))
    geometry = subject.geometries["L"]
    length = geometry.upper_length + geometry.forearm_length
    for hold in grab.PARTS[parts]:
        path = after[FIRST - 1 : LAST, JOINT[hold], :3, 3]
        slide = float(np.linalg.norm(path - path[0], axis=1).max()) / length
        print(f"{parts}: slide of the {hold} {slide:.1e} L; pop {outcome.pop:.1e} L, {outcome.pop_angle:.1e} degrees")
        assert slide < 2e-6
        assert np.linalg.norm(np.ptp(before[FIRST - 1 : LAST, JOINT[hold], :3, 3], axis=0)) > 0.01
    assert outcome.pop < 1e-5
    outside = np.abs(after - before).max(axis=(1, 2, 3))
    print("before", outside[: FIRST - 1].max(), "after the next key", outside[39:].max())
    assert outside[: FIRST - 1].max() < 2e-6
    # The arm's next keys after the range are at 40.
    assert outside[39:].max() < 2e-6


def swing_later(armature: Any) -> None:
    """Keys of the arm and the torso at 60 and 80."""
    rng = np.random.default_rng(11)
    for frame in (60, 80):
        for name in ("torso.2", "fk.upper_arm.L", "fk.hand.L"):
            bone = armature.pose.bones[name]
            bone.rotation_euler = rng.uniform(-0.2, 0.2, 3).tolist()
            bone.keyframe_insert("rotation_euler", frame=frame)


def test_a_range_on_a_moving_prop_under_an_animated_torso(wren: Any) -> None:
    from armwright.addon import grab

    subject, prop = subject_of(wren), lantern()
    swing(wren)
    swing(prop)
    grab.hold_range(subject, "L", "hand", grab.Thing(prop), FIRST, LAST)
    places = offsets(wren, prop, range(FIRST, LAST + 1), "skin.hand.L")[:, :3, 3]
    drift = float(np.linalg.norm(places - places[0], axis=1).max())
    print(f"drift against the prop {drift:.1e} m")
    assert drift < 1e-6
    # A second range of the same prop, later.
    grab.hold_range(subject, "L", "hand", grab.Thing(prop), LAST + 3, LAST + 8)
    places = offsets(wren, prop, range(LAST + 3, LAST + 9), "skin.hand.L")[:, :3, 3]
    assert np.abs(places - places[0]).max() < 1e-6
    places = offsets(wren, prop, range(FIRST, LAST + 1), "skin.hand.L")[:, :3, 3]
    assert np.abs(places - places[0]).max() < 1e-6


def test_keys_after_the_range_do_not_pull_at_the_hold(wren: Any) -> None:
    import bpy

    from armwright.addon import grab

    subject = subject_of(wren)
    swing(wren)
    hold = wren.pose.bones["hold.hand.L"]
    hold.location = (0.3, 0.1, 0.2)
    hold.keyframe_insert("location", frame=60)
    hold.keyframe_insert("rotation_quaternion", frame=60)
    grab.hold_range(subject, "L", "hand", None, FIRST, LAST)
    path = joints_along(wren, range(FIRST, LAST + 1))[:, 2, :3, 3]
    assert np.abs(path - path[0]).max() < 1e-6
    bpy.context.scene.frame_set(60)
    assert np.abs(np.array(hold.location) - (0.3, 0.1, 0.2)).max() < 1e-6


def test_bad_ranges_and_parts_are_refused_with_a_sentence(wren: Any) -> None:
    import bpy
    from refusals import refused

    from armwright.addon import grab

    subject, prop = subject_of(wren), lantern()
    swing(wren)
    # What the host has to evaluate anyway is no change of a refusal's.
    bpy.context.view_layer.update()
    refused(lambda: grab.hold_range(subject, "L", "hand", None, 30, 10), "nothing to hold")
    refused(lambda: grab.hold_range(subject, "L", "hand", None, 10, 10), "nothing to hold")
    refused(lambda: grab.hold_range(subject, "L", "foot", None, 1, 10), "no part 'foot'")
    refused(lambda: grab.grab(subject, "Q", "hand", None), "no arm 'Q'")
    refused(
        lambda: grab.grab(subject, "L", "hand", grab.Thing(wren, "skin.hand.L"), keyed=True), "carried by this hand"
    )
    prop.parent, prop.parent_type, prop.parent_bone = wren, "BONE", "skin.forearm.L"
    bpy.context.view_layer.update()
    # The elbow hold could be refused last: nothing of the hand's may have happened by then.
    refused(lambda: grab.grab(subject, "L", "both", grab.Thing(prop), keyed=True), "'Lantern' is carried by this")
    wren.pose.bones["hold.hand.L"].keyframe_insert("location", frame=20)
    refused(lambda: grab.hold_range(subject, "L", "hand", None, 10, 30), "has a key at frame 20")


def test_a_locked_curve_of_the_arm_refuses_the_grab_as_a_whole(wren: Any) -> None:
    import bpy
    from refusals import refused

    from armwright.addon import grab
    from armwright.addon.curves import curves_of

    subject, prop = subject_of(wren), lantern()
    swing(wren)
    wren.pose.bones["fk.clavicle.L"].keyframe_insert('["ik"]', frame=1)
    for curve in curves_of(wren.animation_data.action):
        curve.lock = '["ik"]' in curve.data_path
    bpy.context.scene.frame_set(5)
    refused(lambda: grab.grab(subject, "L", "hand", grab.Thing(prop), keyed=True), "ik.* is locked")
    refused(lambda: grab.hold_range(subject, "L", "hand", grab.Thing(prop), 5, 9), "ik.* is locked")


@pytest.mark.parametrize("auto", [False, True])
def test_one_undo_takes_back_a_whole_grab(registered: Any, auto: bool) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences

    from armwright.addon import spaces

    prop = lantern()
    prop.select_set(True)
    bpy.context.scene.tool_settings.use_keyframe_insert_auto = auto
    bpy.ops.ed.undo_push(message="before")
    before = deep_snapshot()
    assert bpy.ops.armwright.grab("EXEC_DEFAULT", True, arm="L", parts="both") == {"FINISHED"}
    subject = subject_of(bpy.data.objects["Wren"])
    for hold in spaces.HOLDS:
        assert spaces.active_space(subject, "L", hold).key == "Lantern"
    grabbed = deep_snapshot()
    assert bpy.ops.ed.undo() == {"FINISHED"}
    assert differences(before, deep_snapshot()) == []
    assert bpy.ops.ed.redo() == {"FINISHED"}
    assert differences(grabbed, deep_snapshot()) == []


def test_the_buttons_do_what_they_say(registered: Any) -> None:
    import bpy

    from armwright.addon import spaces
    from armwright.addon.holds import mode_of

    wren = registered
    subject = subject_of(wren)
    assert bpy.ops.armwright.set_space(arm="L", hold="hand", space="torso") == {"FINISHED"}
    assert spaces.active_space(subject, "L", "hand").key == "torso"
    assert bpy.ops.armwright.set_space(arm="R", hold="elbow", space="hand.L") == {"FINISHED"}
    assert spaces.active_space(subject, "R", "elbow").label == "Left hand"
    # A control of the arm is active, not a thing to hold on to: the world.
    wren.data.bones.active = wren.data.bones["hold.hand.L"]
    assert bpy.ops.armwright.grab(arm="L", parts="hand") == {"FINISHED"}
    assert spaces.active_space(subject, "L", "hand").key == "world"
    wren.data.bones.active = wren.data.bones["head"]
    assert bpy.ops.armwright.grab(arm="L", parts="elbow") == {"FINISHED"}
    assert spaces.active_space(subject, "L", "elbow").key == "head"
    assert bpy.ops.armwright.release(arm="L") == {"FINISHED"}
    assert mode_of(wren, subject.record, "L") == "none"
    assert bpy.ops.armwright.hold_range(arm="L", parts="hand", into="WORLD", first=5, last=9) == {"FINISHED"}
    prop = lantern()
    prop.select_set(True)
    assert bpy.ops.armwright.grab(arm="R", parts="hand") == {"FINISHED"}
    bpy.data.objects.remove(prop)
    assert bpy.ops.armwright.mend_spaces() == {"FINISHED"}
    assert spaces.active_space(subject, "R", "hand").key == "world"
    for name in ("One", "Two"):
        lantern(name).select_set(True)
    with pytest.raises(RuntimeError, match="2 objects are selected"):
        bpy.ops.armwright.grab(arm="R", parts="hand")
    with pytest.raises(RuntimeError, match="nothing to hold"):
        bpy.ops.armwright.hold_range(arm="L", parts="hand", into="WORLD", first=9, last=5)


def test_a_character_linked_into_a_shot_grabs_a_prop_of_the_shot(wren: Any, tmp_path: Any) -> None:
    import bpy

    from armwright.addon import grab, mend, spaces

    library, shot = str(tmp_path / "keeper.blend"), str(tmp_path / "shot.blend")
    wren.pose.bones["fk.forearm.L"].rotation_euler = (1.0, 0.3, 0.0)
    bpy.ops.wm.save_as_mainfile(filepath=library)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    with bpy.data.libraries.load(library, link=True) as (_, wanted):
        wanted.objects = ["Wren"]
    linked = wanted.objects[0]
    bpy.context.scene.collection.objects.link(linked)
    over = linked.override_create(remap_local_usages=True)
    bpy.context.view_layer.update()
    subject, prop = subject_of(over), lantern()
    swing(prop)
    bpy.context.scene.frame_set(12)
    was = np.array(over.pose.bones["skin.hand.L"].matrix)
    assert grab.grab(subject, "L", "hand", grab.Thing(prop), keyed=True).kept
    places = offsets(over, prop, range(12, 40), "skin.hand.L")
    assert np.abs(places - places[0]).max() < 2e-6
    bpy.ops.wm.save_as_mainfile(filepath=shot)
    bpy.ops.wm.open_mainfile(filepath=shot)
    over, prop = (next(item for item in bpy.data.objects if item.name == name and not item.library) for name in NAMES)
    assert np.abs(offsets(over, prop, range(12, 40), "skin.hand.L") - places).max() < 2e-6
    bpy.data.objects.remove(prop)
    bpy.context.view_layer.update()
    said = mend.mend_spaces(subject_of(over))
    assert len(said) == 1 and said[0].endswith("where it was grabbed"), said
    for frame in (12, 30):
        bpy.context.scene.frame_set(frame)
        assert np.abs(np.array(over.pose.bones["skin.hand.L"].matrix) - was).max() < 4e-6
    assert spaces.active_space(subject_of(over), "L", "hand").key == "world"


NAMES = ("Wren", "Lantern")
