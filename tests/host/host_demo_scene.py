"""The demo scene: what Wren holds stays held, nothing pops, nothing passes through the rail, the pictures are made."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

# What a held joint may slide, over the arm's length (design, section 2, hold-hand and hold-elbow).
SLIDE = 2e-6
# A sleeve gives way where an elbow rests on a bar; metres.
DENT = 0.012

BONES = ("aux.elbow.L", "hold.elbow.L", "skin.hand.R", "hold.hand.R", "skin.hand.L", "aux.elbow.R", "aux.upper_arm.L")


@pytest.fixture(scope="module")
def demo() -> Any:
    import bpy

    bpy.ops.wm.read_factory_settings(use_empty=True)
    from armwright.demo_blend_scripts.scene import build_scene

    return build_scene()


@pytest.fixture(scope="module")
def played(demo: Any) -> np.ndarray:
    """Heads of BONES at every frame, (F, B, 3)."""
    import bpy

    from armwright.demo_blend_scripts import action

    bones = demo.character.armature.pose.bones
    out = []
    for frame in range(action.FIRST, action.LAST + 1):
        bpy.context.scene.frame_set(frame)
        out.append([bones[name].head[:] for name in BONES])
    return np.array(out)


def arm_length(demo: Any) -> float:
    bones = demo.character.armature.data.bones
    return float(bones["fk.upper_arm.L"].length + bones["fk.forearm.L"].length)


def column(played: np.ndarray, bone: str) -> np.ndarray:
    return played[:, BONES.index(bone)]


def test_the_elbow_stays_on_the_rail_while_the_body_moves(demo: Any, played: np.ndarray) -> None:
    from armwright.demo_blend_scripts import action_gallery as action

    held = slice(0, action.ELBOW_LAST)
    elbow, hold = column(played, "aux.elbow.L")[held], column(played, "hold.elbow.L")[held]
    assert np.linalg.norm(elbow - hold, axis=1).max() < SLIDE * arm_length(demo)
    shoulder = column(played, "aux.upper_arm.L")[held]
    assert np.ptp(shoulder, axis=0).max() > 0.03, "the body hardly moves: the test would prove nothing"


def test_the_right_hand_stays_on_the_rail_while_the_body_moves(demo: Any, played: np.ndarray) -> None:
    from armwright.demo_blend_scripts import action_gallery as action

    held = slice(action.AT_RAIL - action.FIRST, action.RAIL_LAST + 1 - action.FIRST)
    wrist, hold = column(played, "skin.hand.R")[held], column(played, "hold.hand.R")[held]
    assert np.ptp(hold, axis=0).max() < SLIDE * arm_length(demo)
    assert np.linalg.norm(wrist - hold[0], axis=1).max() < SLIDE * arm_length(demo)
    assert np.ptp(column(played, "aux.elbow.R")[held], axis=0).max() > 0.03


@pytest.mark.parametrize("bone", ["aux.elbow.L", "skin.hand.L"])
def test_letting_go_of_the_elbow_does_not_pop(played: np.ndarray, bone: str) -> None:
    from armwright.demo_blend_scripts import action_gallery as action

    last = action.ELBOW_LAST - action.FIRST
    path = column(played, bone)
    steps = np.linalg.norm(np.diff(path, axis=0), axis=1)
    around = np.concatenate([steps[last - 6 : last], steps[last + 1 : last + 7]])
    # A pop is a step that neither the frames before nor those after explain.
    assert steps[last] < 1.5 * around.max()


@pytest.mark.parametrize("bone", ["aux.elbow.L", "skin.hand.R", "skin.hand.L", "aux.elbow.R"])
def test_no_joint_jumps_anywhere(played: np.ndarray, bone: str) -> None:
    speed = np.diff(column(played, bone), axis=0)
    change = np.linalg.norm(np.diff(speed, axis=0), axis=1)
    # 0.045 m a frame more or less from one frame to the next is 26 m/s^2: a brisk start, not a jump.
    assert change.max() < 0.045, (int(change.argmax()) + 2, change.max())


def test_nothing_passes_through_the_rail(demo: Any) -> None:
    import bpy

    from armwright.demo_blend_scripts import action, lighthouse

    deepest = {}
    for frame in range(action.FIRST, action.LAST + 1, 3):
        bpy.context.scene.frame_set(frame)
        graph = bpy.context.evaluated_depsgraph_get()
        for item in demo.character.meshes:
            evaluated = item.evaluated_get(graph)
            mesh = evaluated.to_mesh()
            points = np.zeros(3 * len(mesh.vertices))
            mesh.vertices.foreach_get("co", points)
            evaluated.to_mesh_clear()
            from_axis = points.reshape(-1, 3) - lighthouse.CENTRE
            aside = np.hypot(from_axis[:, 0], from_axis[:, 1]) - lighthouse.RAIL_RADIUS_AROUND
            depth = lighthouse.RAIL_THICKNESS - np.hypot(aside, from_axis[:, 2] - lighthouse.RAIL_HEIGHT)
            deepest[item.name, frame] = float(depth.max())
    worst = max(deepest, key=lambda key: deepest[key])
    assert deepest[worst] < DENT, (worst, deepest[worst])


@pytest.mark.parametrize(("side", "first", "last", "mesh"), [("elbow", 1, 104, "coat"), ("palm", 141, 245, "hands")])
def test_what_is_held_touches_the_rail(demo: Any, side: str, first: int, last: int, mesh: str) -> None:
    import bpy

    from armwright.demo_blend_scripts import lighthouse

    for frame in range(first, last + 1, 9):
        bpy.context.scene.frame_set(frame)
        evaluated = getattr(demo.character, mesh).evaluated_get(bpy.context.evaluated_depsgraph_get())
        built = evaluated.to_mesh()
        points = np.zeros(3 * len(built.vertices))
        built.vertices.foreach_get("co", points)
        evaluated.to_mesh_clear()
        points = points.reshape(-1, 3)
        points = points[points[:, 0] > 0.1] if side == "elbow" else points[points[:, 0] < -0.1]
        from_axis = points - lighthouse.CENTRE
        aside = np.hypot(from_axis[:, 0], from_axis[:, 1]) - lighthouse.RAIL_RADIUS_AROUND
        gap = np.hypot(aside, from_axis[:, 2] - lighthouse.RAIL_HEIGHT) - lighthouse.RAIL_THICKNESS
        assert gap.min() < 0.006, (frame, gap.min())


def test_every_vertex_of_the_character_is_carried_by_bones_of_the_rig(demo: Any) -> None:
    bones = demo.character.armature.data.bones
    for item in demo.character.meshes:
        assert {group.name for group in item.vertex_groups} <= {bone.name for bone in bones if bone.use_deform}
        sums = np.array([sum(group.weight for group in vertex.groups) for vertex in item.data.vertices])
        assert np.abs(sums - 1.0).max() < 1e-5, item.name


def test_the_lantern_hangs_from_the_hand_and_then_from_the_hook(demo: Any) -> None:
    import bpy

    from armwright.demo_blend_scripts import action, lighthouse
    from armwright.demo_blend_scripts.action_gallery import AT_HOOK

    lantern = demo.lighthouse.lantern
    hand = demo.character.armature.pose.bones["skin.hand.R"]
    apart = []
    for frame in range(action.FIRST, AT_HOOK + 1, 5):
        bpy.context.scene.frame_set(frame)
        apart.append((hand.matrix.inverted() @ lantern.matrix_world.translation)[:])
    assert np.ptp(np.array(apart), axis=0).max() < 1e-4
    bpy.context.scene.frame_set(action.LAST)
    assert np.allclose(lantern.matrix_world.translation, lighthouse.hook_point(), atol=1e-5)


def test_a_picture_and_a_rig_view_are_made_and_leave_the_materials_alone(demo: Any, tmp_path: Path) -> None:
    import bpy

    from armwright.demo_blend_scripts.pictures import SHOTS, render_pictures

    before = {
        (item.name, slot.slot_index): slot.material.name
        for item in demo.character.meshes
        for slot in item.material_slots
    }
    counts = (len(bpy.data.curves), len(bpy.data.materials), len(bpy.data.worlds))
    shots = (SHOTS[0], next(shot for shot in SHOTS if shot.rig))
    written = render_pictures(demo.character, demo.lighthouse.set_pieces, tmp_path, shots, (48, 36), 1)
    assert [path.name for path in written] == [f"{shot.name}.png" for shot in shots]
    for path in written:
        picture = bpy.data.images.load(str(path))
        pixels = np.array(picture.pixels[:]).reshape(-1, 4)[:, :3]
        assert tuple(picture.size) == (48, 36)
        assert pixels.std() > 0.02, f"{path.name} is a single colour"
        bpy.data.images.remove(picture)
    after = {
        (item.name, slot.slot_index): slot.material.name
        for item in demo.character.meshes
        for slot in item.material_slots
    }
    assert after == before
    assert (len(bpy.data.curves), len(bpy.data.materials), len(bpy.data.worlds)) == counts


def test_a_file_with_objects_is_refused_and_left_alone(demo: Any) -> None:
    import bpy

    from armwright.core.errors import HostError
    from armwright.demo_blend_scripts.scene import build_scene

    names = sorted(item.name for item in bpy.data.objects)
    with pytest.raises(HostError, match="empty file"):
        build_scene()
    assert sorted(item.name for item in bpy.data.objects) == names
