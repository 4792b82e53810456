"""A planted hand in the host: the proof of it passes and finds a wrong rig; changes of what is held keep it planted."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

SEED = 20240811
POP, TURN = 1e-5, 1e-2  # design, requirement "switch": arm lengths, degrees
SLIDE = 2e-6  # arm lengths


def subject_of(armature: Any) -> Any:
    from armwright.addon import subjects

    return subjects.subject_of(armature)


def judged(armature: Any, motions: tuple[str, ...]) -> list[Any]:
    """Checks of the proof's runs of `motions` on both arms; the first corner of each mode that has them."""
    from armwright.addon import prove_runs, sample
    from armwright.core.proof import plant, verdicts
    from armwright.core.proof.run_plan import planned_runs, standard_motions

    subject, found, seen = subject_of(armature), [], set()
    with sample.borrowed(armature) as stage:
        for spec in planned_runs(standard_motions()):
            if spec.motion in motions and plant.applies(spec) and (spec.motion, spec.case.mode) not in seen:
                seen.add((spec.motion, spec.case.mode))
                for run in prove_runs.run(subject, spec, stage):
                    found += verdicts.checks(spec, run)[0]
    assert len(seen) == 2 * len(motions)
    return found


EVERY = ("plant-roll", "plant-roll-aside", "plant-side", "plant-spin")


def test_a_sound_rig_passes_the_proof_of_a_planted_hand(wren: Any) -> None:
    found = judged(wren, EVERY)
    assert len(found) == 4 * 2 * 2 * 3
    for check in found:
        assert check.verdict == "pass", check
    for measure in ("pivot-slide", "plant-turn", "plant-jump"):
        print(measure, f"{max(check.value for check in found if check.measure == measure):.2e}")


def _muted(bone: str) -> Callable[[Any], None]:
    def change(armature: Any) -> None:
        for curve in armature.animation_data.drivers:
            if curve.data_path == f'pose.bones["{bone}"].rotation_euler':
                curve.mute = True
                return
        raise AssertionError(f"{bone} has no driver")

    return change


@pytest.mark.parametrize(
    ("motion", "bone"),
    [
        ("plant-roll", "aux.heel.L"),
        ("plant-roll", "aux.knuckles.L"),
        ("plant-roll", "aux.fingertips.L"),
        ("plant-roll", "aux.fingers.L"),
        ("plant-side", "aux.outer_edge.L"),
        ("plant-side", "aux.thumb_edge.L"),
        ("plant-spin", "aux.palm.L"),
    ],
)
def test_a_muted_driver_fails_the_proof(wren: Any, motion: str, bone: str) -> None:
    _muted(bone)(wren)
    failed = {(check.arm, check.measure) for check in judged(wren, (motion,)) if check.verdict != "pass"}
    assert ("L", "plant-turn") in failed
    assert not [arm for arm, _ in failed if arm == "R"]


@pytest.mark.parametrize(
    ("motion", "one", "other"),
    [("plant-roll", "heel", "fingertips"), ("plant-side", "outer_edge", "thumb_edge"), ("plant-spin", "palm", "heel")],
)
def test_a_rig_whose_points_are_exchanged_behind_the_roles_back_fails_the_proof(
    wren: Any, motion: str, one: str, other: str
) -> None:
    """Roles say which bone stands for a point: after an exchange of two roles the rest does not fit them."""
    from dataclasses import replace

    from armwright.addon import rig

    record = rig.read_record(wren)
    names = {f"pivot_{one}": f"aux.{other}.L", f"pivot_{other}": f"aux.{one}.L"}
    roles = tuple(
        replace(role, bone=names.get(role.role, role.bone)) if role.arm == "L" else role for role in record.roles
    )
    rig.write_record(wren, replace(record, roles=roles))
    failed = [check for check in judged(wren, (motion,)) if check.verdict == "fail"]
    assert ("L", "pivot-slide") in {(check.arm, check.measure) for check in failed}
    assert {check.arm for check in failed} == {"L"}


def test_a_point_that_is_moved_in_edit_mode_is_the_point_that_the_hand_rolls_over(wren: Any) -> None:
    """Moved bones move both what the rig does and what the solver, a match and the proof take it to do."""
    from armwright.addon import host

    with host.mode(wren, "EDIT"):
        bones = wren.data.edit_bones
        for name, by in (("heel", (0.0, 0.01, -0.02)), ("knuckles", (0.01, 0.0, -0.01)), ("palm", (0.02, 0.01, 0.0))):
            for side in "LR":
                bone = bones[f"aux.{name}.{side}"]
                head, tail = np.array(bone.head) + by, np.array(bone.tail) + by
                bone.head, bone.tail = head.tolist(), tail.tolist()
            if name == "knuckles":
                for side in "LR":
                    bone = bones[f"aux.fingers.{side}"]
                    head, tail = np.array(bone.head) + by, np.array(bone.tail) + by
                    bone.head, bone.tail = head.tolist(), tail.tolist()
    for check in judged(wren, ("plant-roll", "plant-spin")):
        assert check.verdict == "pass", check


def _pose(armature: Any, rng: np.random.Generator, side: str) -> None:
    """A free arm anyhow, and the dials of a planted hand anyhow."""
    import bpy

    bones, dials, half = armature.pose.bones, armature.pose.bones[f"fk.clavicle.{side}"], np.pi / 2.0
    bones["torso.2"].rotation_euler = rng.uniform(-0.3, 0.3, 3).tolist()
    dials.rotation_euler = rng.uniform(-0.3, 0.3, 3).tolist()
    bones[f"fk.upper_arm.{side}"].rotation_euler = rng.uniform(-1.0, 1.0, 3).tolist()
    bones[f"fk.forearm.{side}"].rotation_euler = (rng.uniform(0.4, 1.8), rng.uniform(-1.0, 1.0), 0.0)
    bones[f"fk.hand.{side}"].rotation_euler = rng.uniform(-0.8, 0.8, 3).tolist()
    for name, low, high in (("roll", -half, np.pi), ("side", -half, half), ("spin", -np.pi, np.pi)):
        dials[f"hand_{name}"] = float(rng.uniform(low, high))
    dials["finger_bend"] = float(rng.uniform(0.0, half))
    armature.update_tag()
    bpy.context.view_layer.update()


def _hold(subject: Any, side: str, mode: str) -> None:
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    ik, elbow = {"none": (0.0, 0.0), "hand": (1.0, 0.0), "elbow": (0.0, 1.0), "both": (1.0, 1.0)}[mode]
    switch(subject, side, Target(ik, elbow), keyed=False)


def _seen(subject: Any, side: str) -> np.ndarray:
    import bpy

    from armwright.addon import host

    names = [subject.record.bone(side, role) for role in ("upper_arm", "forearm", "hand", "fingers")]
    return host.PoseReader(subject.armature, bpy.context.view_layer, names).read()


def _assert_kept(subject: Any, side: str, before: np.ndarray, what: str) -> tuple[float, float]:
    from armwright.core.posing import rigid_turns
    from armwright.core.rotations import angle_between

    after = _seen(subject, side)
    geometry = subject.geometries[side]
    pop = np.linalg.norm(after[:, :3, 3] - before[:, :3, 3], axis=1).max()
    pop /= geometry.upper_length + geometry.forearm_length
    turn = np.degrees(angle_between(rigid_turns(after[:, :3, :3]), rigid_turns(before[:, :3, :3])).max())
    assert pop <= POP, what
    assert turn <= TURN, what
    return float(pop), float(turn)


@pytest.mark.parametrize("side", ["L", "R"])
def test_every_change_of_mode_and_space_keeps_a_planted_hand_and_its_fingers_and_dials(wren: Any, side: str) -> None:
    from armwright.addon import spaces

    rng = np.random.default_rng(SEED)
    print("seed", SEED)
    subject = subject_of(wren)
    dials = wren.pose.bones[f"fk.clavicle.{side}"]
    worst = np.zeros(2)
    for _ in range(6):
        holds_walk = rng.permutation(["hand", "both", "elbow", "none", "both", "hand", "none", "elbow", "hand"])
        _pose(wren, rng, side)
        planted = [dials[name] for name in ("hand_roll", "hand_side", "hand_spin", "finger_bend")]
        for mode in holds_walk:
            before = _seen(subject, side)
            _hold(subject, side, str(mode))
            worst = np.maximum(worst, _assert_kept(subject, side, before, f"to {mode}"))
            if mode in ("hand", "both"):
                for key in ("torso", "head", "world"):
                    before = _seen(subject, side)
                    spaces.set_space(subject, side, "hand", spaces.space_named(subject, side, "hand", key), keyed=False)
                    worst = np.maximum(worst, _assert_kept(subject, side, before, f"{mode} in {key}"))
        assert planted == [dials[name] for name in ("hand_roll", "hand_side", "hand_spin", "finger_bend")]
    print(f"worst pop {worst[0]:.1e} L, {worst[1]:.1e} degrees")


def test_a_range_of_a_rolling_hand_goes_over_into_every_mode(wren: Any) -> None:
    """Keyed: the torso moves, the dials roll and spin, the arm swings; each mode gives the same poses."""
    import bpy

    from armwright.addon import convert

    rng = np.random.default_rng(SEED)
    subject, scene, last = subject_of(wren), bpy.context.scene, 24
    dials = wren.pose.bones["fk.clavicle.L"]
    for frame in (1, 8, 16, last):
        _pose(wren, rng, "L")
        for name in ("torso.2", "fk.clavicle.L", "fk.upper_arm.L", "fk.forearm.L", "fk.hand.L"):
            wren.pose.bones[name].keyframe_insert("rotation_euler", frame=frame)
        for key in ("hand_roll", "hand_side", "hand_spin"):
            dials.keyframe_insert(f'["{key}"]', frame=frame)

    def played() -> np.ndarray:
        out = []
        for frame in range(1, last + 1):
            scene.frame_set(frame)
            out.append(_seen(subject, "L"))
        return np.array(out)

    before = played()
    geometry = subject.geometries["L"]
    for mode in ("hand", "both", "elbow", "hand", "none"):
        done = convert.convert_whole(subject, convert.Request(("L",), mode, 1, last))
        off = np.linalg.norm(played()[..., :3, 3] - before[..., :3, 3], axis=-1).max()
        off /= geometry.upper_length + geometry.forearm_length
        print(f"{mode}: {off:.1e} L, {done.sentence()}")
        assert done.gap <= POP
        assert off <= POP


def test_the_hand_of_a_held_arm_rolls_over_its_heel_where_it_was_planted(wren: Any) -> None:
    """By hand, as an animator does it: hold the hand, turn the dial; the skin's heel stays."""
    import bpy

    rng = np.random.default_rng(SEED)
    subject = subject_of(wren)
    _pose(wren, rng, "L")
    dials = wren.pose.bones["fk.clavicle.L"]
    for name in ("hand_roll", "hand_side", "hand_spin"):
        dials[name] = 0.0
    wren.update_tag()
    bpy.context.view_layer.update()
    _hold(subject, "L", "hand")
    heel = subject.geometries["L"].pivots.heel
    flat = _seen(subject, "L")[2]
    for roll in (-0.2, -0.4, -0.7):
        dials["hand_roll"] = roll
        wren.update_tag()
        bpy.context.view_layer.update()
        hand = _seen(subject, "L")[2]
        slide = np.linalg.norm((hand[:3, :3] @ heel + hand[:3, 3]) - (flat[:3, :3] @ heel + flat[:3, 3]))
        assert slide / 0.5644 <= SLIDE
        assert np.degrees(np.arccos(np.clip(flat[:3, 1] @ hand[:3, 1], -1.0, 1.0))) == pytest.approx(
            np.degrees(-roll), abs=1e-2
        )


@pytest.mark.parametrize("height", [0.0, 3e-8, 1e-7, 1e-6])
def test_a_straight_arm_is_held_by_its_planted_hand_without_a_pop(wren: Any, height: float) -> None:
    """The chain from the hold to the hand rounds as well, and a nearly straight elbow magnifies that."""
    import bpy
    from host_straight_arms import _straighten

    rng = np.random.default_rng(SEED)
    print("seed", SEED)
    worst = np.zeros(2)
    for _ in range(10):
        _pose(wren, rng, "L")
        subject, _ = _straighten(wren, height)
        bpy.context.view_layer.update()
        for mode in ("hand", "none", "hand", "both", "hand", "elbow", "hand", "none"):
            before = _seen(subject, "L")
            _hold(subject, "L", mode)
            worst = np.maximum(worst, _assert_kept(subject, "L", before, f"{height:g}: to {mode}"))
    print(f"{height:g}: worst pop {worst[0]:.1e} L, {worst[1]:.1e} degrees")
