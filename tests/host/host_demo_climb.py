"""The demo's ladder and sill: what Wren holds there stays held, nothing pops, and the file plays without the add-on."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

# What a held joint may slide, over the arm's length, and turn, degrees (design, section 2, hold-hand and hold-elbow).
SLIDE, DRIFT = 2e-6, 1e-3
# A sleeve gives way where it rests; a thick glove where it grips; metres. As on the gallery's rail.
DENT, TOUCH = 0.012, 0.006
BONES = ("upper_arm", "elbow", "hand", "finger")
RECORDED = {"upper_arm": "aux.upper_arm", "elbow": "aux.elbow", "hand": "skin.hand", "finger": "skin.middle.1"}


@dataclass(frozen=True)
class Held:
    """What holds what, from frame to frame."""

    side: str
    joint: str
    first: int
    last: int

    def __str__(self) -> str:
        return f"{self.joint}.{self.side} {self.first}-{self.last}"


# Written out, not read from the action's own module: the action has to do at least this.
ON_RUNGS = (
    Held("L", "hand", 300, 314),
    Held("L", "hand", 331, 416),
    Held("L", "hand", 433, 455),
    Held("R", "hand", 308, 338),
    Held("R", "hand", 355, 358),
    Held("R", "hand", 414, 453),
    Held("L", "elbow", 357, 414),
)
ON_SILL = (Held("L", "hand", 508, 548), Held("R", "hand", 508, 548))
# The frames from which something else is held, or nothing, or isolation is another.
SWITCHES = {
    "L": (282, 300, 315, 331, 357, 415, 417, 433, 456, 463, 494, 567),
    "R": (253, 255, 288, 308, 339, 355, 359, 365, 366, 384, 394, 396, 414, 454, 461, 494, 567),
}


@dataclass(frozen=True)
class Played:
    """The whole action: poses (F, 4, 4) of joints and ladder, world; the hips' place (F, 3); dials, influences."""

    first: int
    joints: dict[tuple[str, str], np.ndarray]
    ladder: np.ndarray
    hips: np.ndarray
    values: dict[str, np.ndarray]
    length: float

    def part(self, item: np.ndarray, first: int, last: int) -> np.ndarray:
        return item[first - self.first : last + 1 - self.first]


@pytest.fixture(scope="module")
def demo() -> Any:
    import bpy

    bpy.ops.wm.read_factory_settings(use_empty=True)
    from armwright.demo_blend_scripts.scene import build_scene

    return build_scene()


@pytest.fixture(scope="module")
def played(demo: Any) -> Played:
    import bpy

    from armwright.demo_blend_scripts import action

    armature, ladder = demo.character.armature, demo.lighthouse.ladder
    poses: dict[tuple[str, str], list[Any]] = {(part, side): [] for part in RECORDED for side in "LR"}
    carried: list[Any] = []
    hips: list[Any] = []
    values: dict[str, list[float]] = {}
    for frame in range(action.FIRST, action.LAST + 1):
        bpy.context.scene.frame_set(frame)
        carried.append(np.array(ladder.matrix_world, float))
        hips.append(armature.pose.bones["torso.1"].head[:])
        for (part, side), out in poses.items():
            out.append(np.array(armature.pose.bones[f"{RECORDED[part]}.{side}"].matrix, float))
        for key, value in dials(armature):
            values.setdefault(key, []).append(value)
    data = armature.data.bones
    return Played(
        action.FIRST,
        {key: np.array(out) for key, out in poses.items()},
        np.array(carried),
        np.array(hips),
        {key: np.array(out) for key, out in values.items()},
        float(data["fk.upper_arm.L"].length + data["fk.forearm.L"].length),
    )


def dials(armature: Any) -> Iterator[tuple[str, float]]:
    for side in "LR":
        for dial in ("ik", "elbow_hold", "isolate"):
            yield f"{dial}.{side}", float(armature.pose.bones[f"fk.clavicle.{side}"][dial])
        for hold in ("hand", "elbow"):
            for item in armature.pose.bones[f"aux.{hold}_space.{side}"].constraints:
                if item.type == "CHILD_OF":
                    yield f"{hold}.{item.name}.{side}", float(item.influence)


def slide_and_turn(poses: np.ndarray) -> tuple[float, float]:
    """Largest distance from and turn against the first of some poses, metres and degrees."""
    turns = np.einsum("ji,njk->nik", poses[0, :3, :3], poses[:, :3, :3])
    # The antisymmetric part keeps its digits where the angle is small.
    axis = 0.5 * np.stack(
        [turns[:, 2, 1] - turns[:, 1, 2], turns[:, 0, 2] - turns[:, 2, 0], turns[:, 1, 0] - turns[:, 0, 1]]
    )
    angle = np.degrees(np.arctan2(np.linalg.norm(axis, axis=0), 0.5 * (np.trace(turns, axis1=1, axis2=2) - 1.0)))
    return float(np.linalg.norm(poses[:, :3, 3] - poses[0, :3, 3], axis=1).max()), float(angle.max())


@pytest.mark.parametrize("held", ON_RUNGS, ids=str)
def test_what_is_held_on_the_ladder_stays_on_it_while_ladder_and_body_move(played: Played, held: Held) -> None:
    ladder = played.part(played.ladder, held.first, held.last)
    joint = played.part(played.joints[held.joint, held.side], held.first, held.last)
    slide, turn = slide_and_turn(np.linalg.inv(ladder) @ joint)
    print(f"{held}: slide {slide / played.length:.1e} L, turn {turn:.1e} degrees")
    assert slide < SLIDE * played.length
    if held.joint == "hand":
        assert turn < DRIFT
    influence = played.part(played.values[f"{held.joint}.ladder.{held.side}"], held.first, held.last)
    assert influence.min() == 1.0, "it is not the ladder that holds it"
    shoulder = np.linalg.inv(ladder) @ played.part(played.joints["upper_arm", held.side], held.first, held.last)
    # The shortest of them lasts six frames.
    share = min(1.0, (held.last - held.first) / 20.0)
    assert np.linalg.norm(np.ptp(shoulder[:, :3, 3], axis=0)) > 0.03 * share, "the body hardly moves"
    assert np.linalg.norm(np.ptp(joint[:, :3, 3], axis=0)) > 0.003 * share, "the ladder hardly moves"


def test_wren_climbs_two_rungs_hand_over_hand(played: Played) -> None:
    from armwright.demo_blend_scripts import ladder

    height = {side: played.joints["hand", side][:, 2, 3] for side in "LR"}
    at = {
        side: [height[side][frame - played.first] for frame in frames]
        for side, frames in (("L", (300, 331)), ("R", (308, 355)))
    }
    for side in "LR":
        assert at[side][1] - at[side][0] == pytest.approx(2.0 * ladder.SPACING, abs=0.01)
    # While one hand travels the other one is held.
    for first, last, other in ((315, 331, "R"), (339, 355, "L")):
        assert played.part(played.values[f"hand.ladder.{other}"], first, last).min() == 1.0
        assert played.part(played.values[f"ik.{other}"], first, last).min() == 1.0
    hips = played.hips[:, 2]
    assert hips[355 - played.first] - hips[308 - played.first] == pytest.approx(2.0 * ladder.SPACING, abs=0.03)


@pytest.mark.parametrize("held", ON_SILL, ids=str)
def test_braced_palms_stay_on_the_sill_while_the_body_leans_and_shifts(played: Played, held: Held) -> None:
    slide, turn = slide_and_turn(played.part(played.joints["hand", held.side], held.first, held.last))
    print(f"{held}: slide {slide / played.length:.1e} L, turn {turn:.1e} degrees")
    assert slide < SLIDE * played.length
    assert turn < DRIFT
    shoulder = played.part(played.joints["upper_arm", held.side], held.first, held.last)[:, :3, 3]
    assert np.ptp(shoulder, axis=0).max() > 0.06, "the body hardly moves"


@pytest.mark.parametrize("side", ["L", "R"])
def test_the_fingers_stay_put_while_the_hand_rolls_over_its_knuckles_and_then_over_their_tips(
    played: Played, demo: Any, side: str
) -> None:
    from armwright.demo_blend_scripts import sill
    from armwright.demo_blend_scripts.hands import BUILT_LENGTH, FINGERTIPS

    hand = played.part(played.joints["hand", side], 548, 566)
    finger = played.part(played.joints["finger", side], 548, 566)
    size = demo.character.armature.data.bones[f"hold.hand.{side}"].length / BUILT_LENGTH
    tips = hand[0] @ np.array([*(size * np.array(FINGERTIPS)), 1.0])
    # What the fingers carry along of the point under their tips.
    carried = (finger @ np.linalg.inv(finger[0]) @ tips)[:, :3]
    slide = float(np.linalg.norm(carried - tips[:3], axis=1).max())
    angles = np.degrees([Rotation.from_matrix(hand[0, :3, :3].T @ pose[:3, :3]).magnitude() for pose in hand])
    bent = np.degrees([Rotation.from_matrix(finger[0, :3, :3].T @ pose[:3, :3]).magnitude() for pose in finger])
    flat = angles < 41.0
    print(f"{side}: tips {slide / played.length:.1e} L over {angles[-1]:.1f} degrees; fingers {bent[flat].max():.1e}")
    assert slide < SLIDE * played.length
    assert 60.0 < angles[-1] < 75.0
    assert flat.sum() > 5
    assert bent[flat].max() < DRIFT, "the fingers turn while the hand rolls over its knuckles"
    assert abs(angles[-1] - bent[-1] - 42.0) < 0.1, "the fingers are not bent by what the hand rolled over its knuckles"
    assert hand[-1, 2, 3] - hand[0, 2, 3] > 0.1, "the heel does not rise"
    assert abs(tips[2] - sill.TOP) < 1e-5


@pytest.mark.parametrize("side", ["L", "R"])
def test_no_switch_pops(played: Played, side: str) -> None:
    for frame in SWITCHES[side]:
        at = frame - 1 - played.first
        for joint in ("elbow", "hand"):
            path = played.joints[joint, side][:, :3, 3]
            steps = np.linalg.norm(np.diff(path, axis=0), axis=1)
            around = np.concatenate([steps[at - 6 : at], steps[at + 1 : at + 7]])
            # A pop is a step that neither the frames before nor those after explain.
            assert steps[at] < 1.5 * around.max(), (frame, joint, steps[at], around.max())


@pytest.mark.parametrize("side", ["L", "R"])
def test_every_switch_is_in_the_action_and_no_other(played: Played, side: str) -> None:
    changed: set[int] = set()
    for key, values in played.values.items():
        if key.endswith(f".{side}") and key != "ik.R":
            changed |= {int(step) + 1 + played.first for step in np.flatnonzero(np.diff(values))}
    # The right hand's way to the hook is a blend; its changes of 0 to 1 are the rest.
    if side == "R":
        whole = np.flatnonzero(np.abs(np.diff(played.values["ik.R"])) == 1.0)
        changed |= {int(step) + 1 + played.first for step in whole}
    gallery = {105} if side == "L" else set()
    assert changed == set(SWITCHES[side]) | gallery


def test_every_mode_occurs_and_both_arms_have_keys_of_modes_and_spaces(played: Played, demo: Any) -> None:
    from armwright.addon.curves import curves_of

    modes = {
        (float(ik), float(elbow))
        for side in "LR"
        for ik, elbow in zip(played.values[f"ik.{side}"], played.values[f"elbow_hold.{side}"], strict=True)
    }
    assert {(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)} <= modes
    assert set(played.values["isolate.R"]) == {0.0, 1.0}
    keyed = {curve.data_path for curve in curves_of(demo.character.armature.animation_data.action)}
    for side in "LR":
        assert f'pose.bones["fk.clavicle.{side}"]["ik"]' in keyed
        assert f'pose.bones["aux.hand_space.{side}"].constraints["ladder"].influence' in keyed
    assert 'pose.bones["fk.clavicle.L"]["elbow_hold"]' in keyed
    assert 'pose.bones["aux.elbow_space.L"].constraints["ladder"].influence' in keyed


def world_points(item: Any) -> np.ndarray:
    import bpy

    evaluated = item.evaluated_get(bpy.context.evaluated_depsgraph_get())
    mesh = evaluated.to_mesh()
    points = np.zeros(3 * len(mesh.vertices))
    mesh.vertices.foreach_get("co", points)
    evaluated.to_mesh_clear()
    return points.reshape(-1, 3)


def glove(demo: Any, side: str) -> np.ndarray:
    """Points of one evaluated glove: those nearer to its own hand's bone."""
    bones = demo.character.armature.pose.bones
    points = world_points(demo.character.hands)
    own, other = (
        np.linalg.norm(
            points - np.array(0.5 * (bones[f"skin.hand.{name}"].head + bones[f"skin.hand.{name}"].tail)), axis=1
        )
        for name in (side, "R" if side == "L" else "L")
    )
    return points[own < other]


@pytest.mark.parametrize("held", [held for held in ON_RUNGS if held.joint == "hand"], ids=str)
def test_a_glove_on_a_rung_touches_it_and_does_not_pass_through_it(demo: Any, held: Held) -> None:
    import bpy

    from armwright.demo_blend_scripts import ladder

    for frame in sorted({*range(held.first, held.last + 1, 7), held.last}):
        bpy.context.scene.frame_set(frame)
        inverse = np.linalg.inv(np.array(demo.lighthouse.ladder.matrix_world, float))
        points = glove(demo, held.side) @ inverse[:3, :3].T + inverse[:3, 3]
        gaps = ladder.distance_to_rungs(points, range(ladder.RUNGS))
        assert -DENT < gaps.min() < TOUCH, (frame, gaps.min())


def test_nothing_passes_through_the_ladder(demo: Any) -> None:
    import bpy

    from armwright.demo_blend_scripts import ladder

    deepest = {}
    for frame in range(250, 480, 4):
        bpy.context.scene.frame_set(frame)
        inverse = np.linalg.inv(np.array(demo.lighthouse.ladder.matrix_world, float))
        for item in demo.character.meshes:
            points = world_points(item) @ inverse[:3, :3].T + inverse[:3, 3]
            rungs = -ladder.distance_to_rungs(points, range(ladder.RUNGS)).min()
            deepest[item.name, frame] = float(max(rungs, -ladder.distance_to_uprights(points).min()))
    worst = max(deepest, key=lambda key: deepest[key])
    print("deepest", worst, deepest[worst])
    assert deepest[worst] < DENT, (worst, deepest[worst])


def depth_in_sill(points: np.ndarray) -> np.ndarray:
    """How deep points (N, 3) lie in the slab, (N,), metres; negative outside."""
    from armwright.demo_blend_scripts import sill

    middle = np.array([0.0, 0.5 * (sill.FRONT + sill.BACK), sill.TOP - 0.5 * sill.THICKNESS])
    half = 0.5 * np.array([2.0 * sill.HALF_WIDTH, sill.BACK - sill.FRONT, sill.THICKNESS])
    return np.asarray((half - np.abs(points - middle)).min(axis=1))


@pytest.mark.parametrize("side", ["L", "R"])
def test_a_glove_on_the_sill_touches_it_until_it_lets_go(demo: Any, side: str) -> None:
    import bpy

    from armwright.demo_blend_scripts import sill

    for frame in range(508, 567, 2):
        bpy.context.scene.frame_set(frame)
        points = glove(demo, side)
        gap = float(points[:, 2].min()) - sill.TOP
        assert -DENT < gap < TOUCH, (frame, gap)
        lowest = points[points[:, 2].argmin()]
        assert abs(lowest[0]) < sill.HALF_WIDTH and sill.FRONT < lowest[1] < sill.BACK, (frame, lowest)


def test_nothing_passes_through_the_sill(demo: Any) -> None:
    import bpy

    from armwright.demo_blend_scripts import action

    deepest = {}
    for frame in range(456, action.LAST + 1, 3):
        bpy.context.scene.frame_set(frame)
        for item in demo.character.meshes:
            deepest[item.name, frame] = float(depth_in_sill(world_points(item)).max())
    worst = max(deepest, key=lambda key: deepest[key])
    print("deepest", worst, deepest[worst])
    assert deepest[worst] < DENT, (worst, deepest[worst])


def test_boots_stand_on_rungs_between_the_steps(demo: Any) -> None:
    import bpy

    from armwright.demo_blend_scripts import ladder

    for frame, rung in ((314, 0), (338, 1), (357, 1), (380, 1), (410, 1), (434, 0)):
        bpy.context.scene.frame_set(frame)
        inverse = np.linalg.inv(np.array(demo.lighthouse.ladder.matrix_world, float))
        points = world_points(demo.character.body) @ inverse[:3, :3].T + inverse[:3, 3]
        gap = ladder.distance_to_rungs(points, [rung]).min()
        assert -DENT < gap < TOUCH, (frame, gap)


REPLAY = """
import json, os, sys
import bpy
path, out = sys.argv[1:]
bpy.ops.wm.open_mainfile(filepath=path, use_scripts=False)
lists = [getattr(bpy.app.handlers, name) for name in ("frame_change_pre", "frame_change_post", "depsgraph_update_post")]
found = {"handlers": [len(item) for item in lists], "heads": []}
found["armwright"] = sorted(name for name in sys.modules if name.split(".")[0] == "armwright")
rig = next(item for item in bpy.data.objects if item.type == "ARMATURE")
drivers = [curve.driver for curve in rig.animation_data.drivers]
found["scripted"] = sum(item.type == "SCRIPTED" and not item.is_simple_expression for item in drivers)
bones = [f"{bone}.{side}" for side in "LR" for bone in ("skin.hand", "aux.elbow")]
for frame in range(1, 600, 9):
    bpy.context.scene.frame_set(frame)
    found["heads"].append([[*rig.pose.bones[name].head] for name in bones])
with open(out, "w") as file:
    json.dump(found, file)
sys.stdout.flush()
os._exit(0)
"""


def test_the_action_plays_the_same_in_a_host_without_the_add_on(demo: Any, played: Played, tmp_path: Path) -> None:
    import bpy

    blend, script, out = (tmp_path / name for name in ("demo.blend", "replay.py", "heads.json"))
    bpy.ops.wm.save_as_mainfile(filepath=str(blend), copy=True)
    script.write_text(REPLAY, encoding="utf-8")
    subprocess.run(
        [sys.executable, "-I", str(script), str(blend), str(out)], check=True, timeout=120, stdout=subprocess.DEVNULL
    )
    found = json.loads(out.read_text(encoding="utf-8"))
    assert found["armwright"] == []
    assert found["handlers"] == [0, 0, 0]
    assert found["scripted"] == 0
    expected = np.stack([played.joints[part, side][:, :3, 3] for side in "LR" for part in ("hand", "elbow")], axis=1)
    frames = np.arange(1, 600, 9)
    frames = frames[frames - played.first < len(expected)]
    apart = np.abs(np.array(found["heads"])[: len(frames)] - expected[frames - played.first])
    print(f"largest difference {apart.max():.1e} m over {len(frames)} frames")
    assert len(frames) > 60
    assert apart.max() < SLIDE * played.length
