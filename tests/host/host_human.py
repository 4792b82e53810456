"""A human mesh by another maker, arm joints placed by hand, under a torso motion recorded from a person."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from armwright.core.guide import ArmGuide, Guide, mirrored
from armwright.core.guide_check import check_guide
from armwright.core.proof.cases import CORNERS
from armwright.core.proof.results import VERDICTS
from armwright.core.proof.run_plan import HELD
from armwright.core.proof.verdicts import uncovered
from armwright.core.rotations import angle_between

DATA = Path(__file__).parent.parent / "data"
MESH = DATA / "human_a_pose.blend"
MOTION = DATA / "cmu_01_01_upper.bvh"

# Placed by eye in the mesh's own units (it is 10.7 tall), inside the limb: the elbow in the middle of the ring of
# vertices where the arm bends forward. The mesh has no hands, its arms end in stubs: the wrist sits where the forearm
# is about 0.75 of the upper arm (Winter, Biomechanics and Motor Control of Human Movement, fig. 4.1: 0.146 / 0.186 of
# the stature), and what is left of the stub is the hand.
LEFT = ArmGuide(
    side="L",
    clavicle=(0.15, -0.20, 3.52),
    shoulder=(1.02, 0.25, 3.27),
    elbow=(1.58, 0.31, 1.70),
    wrist=(2.07, 0.02, 0.62),
    hand_end=(2.23, -0.12, 0.26),
    palm=(-0.8, 0.2, -0.4),
)
GUIDE = Guide("Human", (LEFT, mirrored(LEFT)))
# Name, head, tail; each the child of the one before it. The root is on the floor, outside the torso.
TORSO = (
    ("root", (0.0, 0.0, -5.2), (0.0, 1.0, -5.2)),
    ("hips", (0.0, 0.05, 0.35), (0.0, 0.05, 1.2)),
    ("lower_back", (0.0, 0.05, 1.2), (0.0, 0.05, 2.2)),
    ("spine", (0.0, 0.05, 2.2), (0.0, 0.1, 3.6)),
    ("head", (0.0, 0.1, 3.9), (0.0, 0.0, 5.3)),
)
TORSO_BONE = "spine"
# Of skin that one held bone carries, arm lengths: the rig's own limit of 2e-6, and as much again for what rounds a
# vertex, whose matrix and position are single precision.
SKIN_SLIDE = 4e-6


@dataclass(frozen=True)
class Human:
    """The mesh, bound to the armature that carries its arms."""

    armature: Any
    mesh: Any


def make_human() -> Human:
    """The character of `human_a_pose.blend` with a torso, both arms and the host's automatic weights."""
    import bpy

    from armwright.addon import bind
    from armwright.addon.build import attachment_to, build
    from armwright.core.arm.build import plan_arms
    from armwright.core.options import ArmOptions

    bpy.ops.wm.open_mainfile(filepath=str(MESH), load_ui=False)
    half = bpy.data.objects["Cube"]
    # The file holds half a body: the other half and the smooth surface are made by its modifiers.
    whole = bpy.data.meshes.new_from_object(half.evaluated_get(bpy.context.evaluated_depsgraph_get()))
    mesh = bpy.data.objects.new("Human skin", whole)
    bpy.context.scene.collection.objects.link(mesh)
    mesh.matrix_world = half.matrix_world
    bpy.data.objects.remove(half)
    armature = _torso_armature()
    build(armature, plan_arms(GUIDE, ArmOptions(), attachment_to(armature, TORSO_BONE, "root")))
    bind.bind_automatically(armature, [mesh])
    return Human(armature, mesh)


def _torso_armature() -> Any:
    import bpy

    from armwright.addon import host

    data = bpy.data.armatures.new("Human")
    armature = bpy.data.objects.new("Human", data)
    bpy.context.scene.collection.objects.link(armature)
    bpy.context.view_layer.update()
    with host.mode(armature, "EDIT"):
        parent = None
        for name, head, tail in TORSO:
            bone = data.edit_bones.new(name)
            bone.head, bone.tail, bone.parent = head, tail, parent
            bone.use_deform = name != "root"
            parent = bone
    return armature


def points_of(mesh: Any) -> np.ndarray:
    """Where the vertices are now, posed, world space, (V, 3)."""
    import bpy

    bpy.context.view_layer.update()
    posed = mesh.evaluated_get(bpy.context.evaluated_depsgraph_get())
    values = np.zeros(3 * len(posed.data.vertices), np.float32)
    posed.data.vertices.foreach_get("co", values)
    world = np.array([list(row) for row in mesh.matrix_world])
    return values.reshape(-1, 3) @ world[:3, :3].T + world[:3, 3]


def weights_of(mesh: Any) -> np.ndarray:
    """Weight of each vertex in each group, (V, groups)."""
    weights = np.zeros((len(mesh.data.vertices), len(mesh.vertex_groups)))
    for vertex in mesh.data.vertices:
        for entry in vertex.groups:
            weights[vertex.index, entry.group] = entry.weight
    return weights


def arm_mask(points: np.ndarray, side: str) -> np.ndarray:
    """Vertices of an arm from below the armpit to its end, at rest, (V,)."""
    outward = points * ([1.0, 1.0, 1.0] if side == "L" else [-1.0, 1.0, 1.0])
    joints = [np.array(joint) for joint in (LEFT.shoulder, LEFT.elbow, LEFT.wrist, LEFT.hand_end)]
    near = np.min([_from_segment(outward, *ends) for ends in pairwise(joints)], axis=0)
    upper = joints[1] - joints[0]
    # The arm is 0.3 thick at most there, the trunk twice as far; the armpit is at 0.6 of the upper arm's length.
    return ((outward - joints[0]) @ upper > 0.6 * upper @ upper) & (near < 0.45)


def _from_segment(points: np.ndarray, head: np.ndarray, tail: np.ndarray) -> np.ndarray:
    share = np.clip((points - head) @ (tail - head) / float((tail - head) @ (tail - head)), 0.0, 1.0)
    return np.linalg.norm(points - head - share[:, None] * (tail - head), axis=1)


def at_rest(human: Human) -> None:
    """Every channel and dial as built."""
    for bone in human.armature.pose.bones:
        bone.matrix_basis.identity()
    for side in "LR":
        dials = human.armature.pose.bones[f"fk.clavicle.{side}"]
        dials["ik"], dials["elbow_hold"] = 0.0, 0.0
    human.armature.update_tag()


def joint_now(human: Human, bone: str) -> np.ndarray:
    """Where the head of a bone is, armature space, (3,)."""
    return np.array(human.armature.pose.bones[bone].head)


@pytest.fixture(scope="module")
def built() -> Human:
    """The human, built once for all tests of this file."""
    return make_human()


@pytest.fixture
def human(built: Human) -> Any:
    """The human in its rest pose, before and after."""
    at_rest(built)
    yield built
    at_rest(built)


@pytest.fixture(scope="module")
def motion() -> Any:
    """The recorded motion as a clip."""
    from armwright.addon.prove import recorded_clip_of

    return recorded_clip_of(MOTION.read_bytes())


@pytest.fixture(scope="module")
def results(built: Human, motion: Any) -> Any:
    """The whole proof of both arms, with the recorded motion among the motions."""
    from armwright.addon.prove import prove_whole
    from armwright.addon.subjects import subject_of

    at_rest(built)
    return prove_whole(subject_of(built.armature), motion)


def test_the_joints_are_inside_the_body(human: Human) -> None:
    import bpy
    from mathutils import Vector
    from mathutils.bvhtree import BVHTree

    tree = BVHTree.FromObject(human.mesh, bpy.context.evaluated_depsgraph_get())
    joints = [
        (f"{part} {arm.side}", getattr(arm, part))
        for arm in GUIDE.arms
        for part in ("clavicle", "shoulder", "elbow", "wrist", "hand_end")
    ]
    joints += [
        (f"{name} {end}", point) for name, *ends in TORSO[1:] for end, point in zip(("head", "tail"), ends, strict=True)
    ]
    for name, point in joints:
        nearest, normal, _, distance = tree.find_nearest(Vector(point))
        assert (Vector(point) - nearest).dot(normal) < 0.0, f"{name} is outside"
        # The end of the hand is the tip of the stub.
        assert distance > (0.05 if "hand_end" in name else 0.15), (name, distance)


def test_the_guide_raises_no_warning() -> None:
    assert check_guide(GUIDE) == ()


@pytest.mark.parametrize("side", ["L", "R"])
def test_the_skin_of_an_arm_is_carried_by_its_own_skin_bones(human: Human, side: str) -> None:
    groups = [group.name for group in human.mesh.vertex_groups]
    # The host's automatic weights use the bones that deform: of the arms those named skin, and no working bone.
    assert {name.split(".")[0] for name in groups} == {"skin", "hips", "lower_back", "spine", "head"}
    own = [index for index, name in enumerate(groups) if name.startswith("skin.") and name.endswith(side)]
    weights = weights_of(human.mesh)
    assert np.abs(weights.sum(axis=1) - 1.0).max() < 1e-5
    arm = arm_mask(points_of(human.mesh), side)
    assert arm.sum() >= 30
    assert (weights[arm][:, own].sum(axis=1) / weights[arm].sum(axis=1)).min() > 0.99


@pytest.mark.parametrize("side", ["L", "R"])
def test_the_skin_at_the_wrist_goes_where_the_wrist_goes(human: Human, side: str) -> None:
    rest = points_of(human.mesh)
    wrist = joint_now(human, f"skin.hand.{side}")
    ring = np.argsort(np.linalg.norm(rest - wrist, axis=1))[:10]
    radius = np.linalg.norm(rest[ring] - wrist, axis=1).max()
    other = arm_mask(rest, "R" if side == "L" else "L")
    sideways = 0.4 if side == "L" else -0.4
    for upper_arm, forearm in ((0.8, 0.0), (0.0, 1.2), (-0.6, 0.9), (1.4, 0.5)):
        human.armature.pose.bones[f"fk.upper_arm.{side}"].rotation_euler = (upper_arm, 0.0, sideways)
        human.armature.pose.bones[f"fk.forearm.{side}"].rotation_euler = (forearm, 0.0, 0.0)
        posed = points_of(human.mesh)
        moved = joint_now(human, f"skin.hand.{side}")
        travel = np.linalg.norm(moved - wrist)
        away = np.linalg.norm(posed[ring] - moved, axis=1).max()
        print(
            f"{side} {upper_arm:4.1f} {forearm:4.1f}: wrist moved {travel:.2f}, skin within {away:.2f} ({radius:.2f})"
        )
        assert travel > 0.5
        # Skin is blended between hand and forearm, so it keeps its distance but for a fold.
        assert away < 1.1 * radius
        assert np.abs(posed[other] - rest[other]).max() < 1e-5


def test_the_recorded_motion_turns_hips_lower_back_and_spine(built: Human, motion: Any) -> None:
    from armwright.addon.prove_runs import torso_motion
    from armwright.addon.subjects import subject_of

    subject = subject_of(built.armature)
    assert subject.chain == ("hips", "lower_back", "spine")
    tracks, torso, _ = torso_motion(subject, motion)
    assert [track.bone for track in tracks] == list(subject.chain)
    parents = [np.broadcast_to(np.eye(4), torso.shape), tracks[0].poses, tracks[1].poses]
    for track, parent in zip(tracks, parents, strict=True):
        turn = np.swapaxes(parent[:, :3, :3], 1, 2) @ track.poses[:, :3, :3]
        angles = np.degrees(angle_between(turn[:1], turn))
        print(f"{track.bone}: up to {angles.max():.1f} degrees from the first frame")
        assert angles.max() > 2.0
    arm = np.mean([geometry.upper_length + geometry.forearm_length for geometry in subject.geometries.values()])
    assert np.linalg.norm(torso[:, :3, 3] - torso[0, :3, 3], axis=1).max() > 0.05 * arm


@pytest.mark.parametrize(
    ("dial", "still"), [("ik", ("skin.hand",)), ("elbow_hold", ("skin.hand", "skin.forearm"))], ids=["hand", "elbow"]
)
def test_the_skin_of_what_is_held_stays_while_the_recorded_torso_moves(
    human: Human, motion: Any, dial: str, still: tuple[str, ...]
) -> None:
    import bpy
    from mathutils import Vector

    from armwright.addon.host import numpy_to_matrix
    from armwright.addon.prove_runs import torso_motion
    from armwright.addon.subjects import subject_of

    pose = human.armature.pose.bones
    subject = subject_of(human.armature)
    for side in "LR":
        pose[f"fk.clavicle.{side}"][dial] = 1.0
        # A hand that hangs at arm's length could not be kept: it is held where the arm is bent.
        held = pose[f"hold.hand.{side}"].matrix.copy()
        held.translation += Vector((0.0, -0.9, 0.9))
        pose[f"hold.hand.{side}"].matrix = held
    groups = [group.name for group in human.mesh.vertex_groups]
    weights = weights_of(human.mesh)
    shares = weights / weights.sum(axis=1, keepdims=True)
    held_skin = shares[:, [i for i, name in enumerate(groups) if name[:-2] in still]].sum(axis=1) > 0.9999
    assert held_skin.sum() >= 4
    trunk = shares[:, groups.index("spine")] > 0.8
    tracks, _, _ = torso_motion(subject, motion)
    seen = []
    for frame in range(0, motion.frames, 10):
        for track in tracks:
            pose[track.bone].matrix = numpy_to_matrix(track.poses[frame])
            bpy.context.view_layer.update()
        human.armature.update_tag()
        seen.append(points_of(human.mesh))
    length = subject.geometries["L"].upper_length + subject.geometries["L"].forearm_length
    moved = np.linalg.norm(np.array(seen) - seen[0], axis=2) / length
    slide, swayed = moved[:, held_skin].max(), moved[:, trunk].max()
    print(f"{dial}: {held_skin.sum()} vertices of held skin slide {slide:.1e} L, the trunk's move {swayed:.2f} L")
    assert swayed > 0.05
    assert slide < SKIN_SLIDE


def test_no_check_of_the_whole_proof_fails(results: Any) -> None:
    failed = [check for check in results.checks if check.verdict == "fail"]
    for check in failed[:40]:
        print(f"{check.id}: {check.value:.3g} over {check.limit:.3g} {check.unit}, at {check.worst_frame} {check.note}")
    worst: dict[tuple[str, str], Any] = {}
    for check in results.checks:
        key = check.requirement, check.measure
        if check.verdict == "pass" and (key not in worst or check.value > worst[key].value):
            worst[key] = check
    for (requirement, measure), check in worst.items():
        of = f"{check.value:.2e} of {check.limit:.2e} {check.unit}"
        print(f"{requirement:10s} {measure:22s} {of:30s} {check.motion}, {check.case.mode}, {check.arm}")
    print(f"{len(results.checks)} checks, {results.frames_per_second:.0f} frames a second")
    print({verdict: sum(check.verdict == verdict for check in results.checks) for verdict in VERDICTS})
    # Only the runs that are made to leave the reach may say so.
    assert {check.motion for check in results.checks if check.verdict == "out_of_reach"} <= {"torso-wiggle+far"}
    assert failed == []


def test_the_proof_covers_every_corner_of_both_arms(results: Any) -> None:
    assert len(CORNERS) == 32
    assert uncovered(results.checks, ("L", "R")) == ()
    assert [arm for arm, _ in results.arm_lengths] == ["L", "R"]


def test_the_recorded_motion_was_proved_in_every_corner(results: Any) -> None:
    recorded = [check for check in results.checks if check.motion == "recorded" and check.verdict == "pass"]
    held = {(check.case, check.arm) for check in recorded if check.requirement in HELD}
    wanted = {(case, arm) for case in CORNERS if case.mode != "none" for arm in "LR"}
    assert held == wanted
    assert {check.samples for check in recorded if check.requirement != "switch"} == {240}
