"""The proof of arms of other making: each verdict and figure against what these tests work out by themselves.

Torso motion, carrying and distances are computed here anew with numpy and scipy; of the proof's own only what it set on
the controls is taken.
"""

from __future__ import annotations

from typing import Any

import foreign_arms as made
import numpy as np
import pytest
from scipy.spatial.transform import Rotation, Slerp

SEED = 1
EVERY = (
    (made.bare_fk, made.bare_fk_card),
    (made.native_ik, made.native_ik_card),
    (made.blended_chains, made.blended_chains_card),
    (made.elbow_child_of, made.elbow_child_of_card),
)
ALWAYS_NOT = {"switch", "plant", "twist", "fingers"}
REQUIREMENTS = {
    *("swing", "hold-hand", "hold-elbow", "hold-both", "shoulder", "lift", "isolate", "stretch", "blend", "any-axis"),
    *ALWAYS_NOT,
}
L = sum(
    float(np.linalg.norm(b - a)) for a, b in ((made.SHOULDER, made.ELBOW), (made.ELBOW, made.WRIST))
)  # of every armature of this file, metres


def proved(armature: Any, card: Any) -> Any:
    from armwright.addon import any_arm

    return any_arm.prove_card_whole(armature, card, seed=SEED)


def verdicts_of(results: Any) -> dict[str, set[str]]:
    out: dict[str, set[str]] = {}
    for check in results.checks:
        out.setdefault(check.requirement, set()).add(check.verdict)
    return out


def the_check(results: Any, requirement: str, motion: str, measure: str, arm: str, mode: str) -> Any:
    found = [
        check
        for check in results.checks
        if (check.requirement, check.motion, check.measure, check.arm, check.case.mode)
        == (requirement, motion, measure, arm, mode)
    ]
    assert len(found) == 1
    return found[0]


def set_by_proof(armature: Any, card: Any, check: Any) -> tuple[Any, dict[str, np.ndarray]]:
    """The check measured again, and the own transforms that its run sets, by bone."""
    from armwright.addon import any_arm, sample
    from armwright.addon.any_arm_rig import kept_settings

    with sample.borrowed(armature) as stage, kept_settings(armature, card):
        again = any_arm.again_card(armature, card, check, stage, SEED)
        bases = {
            bone.name: np.array(bone.matrix_basis, float)[None]
            for bone in armature.pose.bones
            if bone.name not in made.TORSO
        }
    return again, bases


def rest(armature: Any, bone: str) -> np.ndarray:
    return np.array(armature.data.bones[bone].matrix_local, float)


def torso_turns(clip: Any) -> np.ndarray:
    """A third of the clip's whole turn for each of the three bones, after a frame at rest: (N + 1, 3, 3)."""
    total = Rotation.from_matrix(clip.torso[:, 0]).as_rotvec() / len(made.TORSO)
    assert clip.torso.shape[1] == 1
    return np.concatenate([np.eye(3)[None], Rotation.from_rotvec(total).as_matrix()])


def carried(clip: Any, point: np.ndarray) -> np.ndarray:
    """Where the torso takes a point (3,) or points (N + 1, 3) through the clip, after a frame at rest: (N + 1, 3)."""
    turns = torso_turns(clip)
    out = np.broadcast_to(point, (len(turns), 3))
    for head in reversed(made.SPINE[: len(made.TORSO)]):
        out = np.einsum("nij,nj->ni", turns, out - head) + head
    return out + np.concatenate([np.zeros((1, 3)), clip.travel]) * L


def wiggle() -> Any:
    from armwright.core.motion.wiggle import torso_wiggle

    return torso_wiggle(240, SEED)


def test_every_armature_gets_a_verdict_or_a_reason_in_every_place_of_the_matrix(empty_file: Any) -> None:
    from armwright.core.card import card_json
    from armwright.core.proof.verdicts import uncovered

    for make, card_of in EVERY:
        armature = make()
        card = card_of(armature)
        results = proved(armature, card)
        assert uncovered(results.checks, made.SIDES) == ()
        assert len({check.id for check in results.checks}) == len(results.checks)
        assert set(verdicts_of(results)) == REQUIREMENTS
        nothing = [check for check in results.checks if check.verdict == "not_applicable"]
        assert all(check.note for check in nothing)
        assert (results.plan_digest, results.made_with.card_digest) == ("", card_json.digest(card))
        assert dict(results.arm_lengths) == pytest.approx({"L": L, "R": L}, rel=1e-6)


def test_bare_fk_bones_swing_and_nothing_else_applies(empty_file: Any) -> None:
    armature = made.bare_fk()
    results = proved(armature, made.bare_fk_card(armature))
    found = verdicts_of(results)
    assert {name for name, verdicts in found.items() if verdicts != {"not_applicable"}} == {"swing"}
    swung = [check for check in results.checks if check.requirement == "swing" and check.verdict != "not_applicable"]
    assert {(check.arm, check.measure, check.verdict) for check in swung} == {
        (side, joint, "pass") for side in made.SIDES for joint in ("clavicle", "upper-arm", "forearm", "hand")
    }
    reasons = {check.requirement: check.note for check in results.checks if check.case.mode == "hand"}
    assert reasons["hold-hand"] == "the card names no mode hand"
    assert "tools" in reasons["switch"]


def test_a_joint_that_turns_by_half_of_its_control_fails_with_the_other_half(empty_file: Any) -> None:
    armature = made.bare_fk()
    for side in made.SIDES:
        # The hand counters its own turn: it copies the forearm's by half.
        half = armature.pose.bones[f"palm.{side}"].constraints.new("COPY_ROTATION")
        half.target, half.subtarget, half.influence = armature, f"collarbone.{side}", 0.5
    failed = [check for check in proved(armature, made.bare_fk_card(armature)).checks if check.verdict == "fail"]
    assert {(check.requirement, check.measure) for check in failed} == {("swing", "hand")}


def test_a_bone_that_leaves_out_its_roll_is_measured_without_it_where_the_card_says_so(empty_file: Any) -> None:
    from armwright.core.motion.sweeps import fk_sweep
    from armwright.core.proof.run_plan import SWEEP_FRAMES

    armature = made.sleeved()
    said = proved(armature, made.sleeved_card(armature))
    swung = [check for check in said.checks if check.requirement == "swing" and check.verdict != "not_applicable"]
    assert {(check.measure, check.verdict) for check in swung} == {
        (joint, "pass") for joint in ("clavicle", "upper-arm", "forearm", "hand")
    }
    unsaid = proved(armature, made.sleeved_card(armature, no_roll=()))
    check = the_check(unsaid, "swing", "fk-sweep", "upper-arm", "L", "none")
    # The host's XYZ order turns about X first, about the axes that stay; the roll is the turn's part about its own Y.
    turns = Rotation.from_euler("xyz", fk_sweep(SWEEP_FRAMES).upper_arm).as_quat()
    roll = 2.0 * np.degrees(np.abs(np.arctan2(turns[:, 1], turns[:, 3])))
    roll = np.minimum(roll, 360.0 - roll)
    assert check.verdict == "fail" and check.value == pytest.approx(roll.max(), abs=1e-2)
    assert "name upper_arm in the card's no_roll" in check.note
    assert roll.max() > 10.0


def test_a_bone_that_should_leave_out_its_roll_and_does_not_fails_by_the_roll(empty_file: Any) -> None:
    from armwright.core.motion.sweeps import fk_sweep
    from armwright.core.proof.run_plan import SWEEP_FRAMES

    armature = made.sleeved()
    for side in made.SIDES:
        bone = armature.pose.bones[f"sleeve.{side}"]
        bone.constraints.remove(bone.constraints[0])
        copy = bone.constraints.new("COPY_ROTATION")
        copy.target, copy.subtarget = armature, f"humerus.{side}"
    check = the_check(proved(armature, made.sleeved_card(armature)), "swing", "fk-sweep", "upper-arm", "L", "none")
    turns = Rotation.from_euler("xyz", fk_sweep(SWEEP_FRAMES).upper_arm).as_quat()
    roll = 2.0 * np.degrees(np.abs(np.arctan2(turns[:, 1], turns[:, 3])))
    assert check.verdict == "fail"
    assert check.value == pytest.approx(np.minimum(roll, 360.0 - roll).max(), abs=1e-2)


def test_the_slide_of_native_ik_is_what_stepping_the_host_shows(empty_file: Any) -> None:
    import bpy

    armature = made.native_ik()
    card = made.native_ik_card(armature)
    results = proved(armature, card)
    check = the_check(results, "hold-hand", "torso-wiggle", "wrist-slide", "L", "hand")
    bases = set_by_proof(armature, card, check)[1]
    clip = wiggle()
    turns = torso_turns(clip)
    travel = np.concatenate([np.zeros((1, 3)), clip.travel]) * L
    for bone, basis in bases.items():
        armature.pose.bones[bone].matrix_basis = _host(basis[0])
    wrists = []
    for turn, moved in zip(turns, travel, strict=True):
        for name in made.TORSO:
            own, axes = np.eye(4), rest(armature, name)[:3, :3]
            own[:3, :3] = axes.T @ turn @ axes
            own[:3, 3] = axes.T @ moved if name == made.TORSO[0] else 0.0
            armature.pose.bones[name].matrix_basis = _host(own)
        bpy.context.view_layer.update()
        wrists.append(np.array(armature.pose.bones["palm.L"].head))
    slides = np.linalg.norm(np.array(wrists) - wrists[0], axis=1) / L
    # Two single precision paths to the same pose, through an iterative solver.
    assert check.value == pytest.approx(slides.max(), abs=1e-6)
    assert check.verdict == ("pass" if slides.max() <= 2e-6 else "fail")
    assert {item.verdict for item in results.checks if item.requirement == "hold-elbow"} == {"not_applicable"}


def test_a_hand_whose_control_hangs_on_the_chest_slides_by_what_the_torso_takes_it_along(empty_file: Any) -> None:
    armature = made.native_ik(hand_on_chest=True)
    card = made.native_ik_card(armature)
    results = proved(armature, card)
    for side in made.SIDES:
        check = the_check(results, "hold-hand", "torso-wiggle", "wrist-slide", side, "hand")
        bases = set_by_proof(armature, card, check)[1]
        grip = f"grip.{side}"
        planted = (rest(armature, grip) @ bases[grip][0])[:3, 3]
        path = carried(wiggle(), planted)
        assert check.verdict == "fail"
        # The control goes along exactly; the host's solver keeps the wrist within 1.1e-4 L of it (see above).
        assert check.value == pytest.approx(np.linalg.norm(path - planted, axis=1).max() / L, abs=2e-4)


def test_the_gap_of_blended_chains_is_that_of_a_slerped_bone_against_a_lerped_elbow(empty_file: Any) -> None:
    import bpy

    armature = made.blended_chains()
    card = made.blended_chains_card(armature)
    results = proved(armature, card)
    check = the_check(results, "blend", "blend-ramp", "elbow-gap", "L", "none")
    again, bases = set_by_proof(armature, card, check)
    for bone, basis in bases.items():
        armature.pose.bones[bone].matrix_basis = _host(basis[0])
    bpy.context.view_layer.update()
    shown = {
        chain: [np.array(armature.pose.bones[f"{chain}_{part}.L"].matrix, float) for part in ("humerus", "ulna")]
        for chain in ("swing", "reach")
    }
    (first, elbow_first), (last, elbow_last) = shown["swing"], shown["reach"]
    assert np.abs(first[:3, 3] - last[:3, 3]).max() < 1e-6  # the shoulder is common
    length = float(np.linalg.norm(made.ELBOW - made.SHOULDER))
    share = np.linspace(0.0, 1.0, 65)[:, None]
    slerp = Slerp([0.0, 1.0], Rotation.from_matrix([first[:3, :3], last[:3, :3]]))
    tail = first[:3, 3] + slerp(share[:, 0]).as_matrix()[..., 1] * length
    elbow = (1.0 - share) * elbow_first[:3, 3] + share * elbow_last[:3, 3]
    gap = np.linalg.norm(tail - elbow, axis=1) / L
    assert check.verdict == "fail"
    assert check.value == pytest.approx(gap.max(), rel=1e-4)
    # The run has one frame more at its beginning.
    assert again.trace.values[1 + 32] == pytest.approx(gap[32], rel=1e-4)
    # In the middle the lerped elbow is the middle of the chord: nearer to the shoulder by l (1 - cos(W / 2)).
    along = float(np.arccos(np.clip(first[:3, 1] @ last[:3, 1], -1.0, 1.0)))
    chord = np.linalg.norm(elbow[32] - first[:3, 3])
    assert length - chord == pytest.approx(length * (1.0 - np.cos(along / 2.0)), rel=1e-4)
    short = the_check(results, "blend", "blend-ramp", "upper-length", "L", "none")
    assert short.value == pytest.approx(1.0 - np.cos(along / 2.0), rel=1e-4)
    assert {item.verdict for item in results.checks if item.measure == "jump"} == {"pass"}


def test_a_planted_elbow_holds_while_the_upper_arm_misses_it_by_its_length(empty_file: Any) -> None:
    armature = made.elbow_child_of()
    card = made.elbow_child_of_card(armature)
    results = proved(armature, card)
    length = float(np.linalg.norm(made.ELBOW - made.SHOULDER))
    for side in made.SIDES:
        slide, gap = (
            the_check(results, "hold-elbow", "torso-wiggle", measure, side, "elbow")
            for measure in ("elbow-slide", "elbow-gap")
        )
        bases = set_by_proof(armature, card, gap)[1]
        elbow = (rest(armature, f"rest.{side}") @ bases[f"rest.{side}"][0])[:3, 3]
        collar = rest(armature, f"collarbone.{side}") @ bases[f"collarbone.{side}"][0]
        bone_length = np.linalg.norm(made.SHOULDER - made.INNER)
        shoulder = carried(wiggle(), collar[:3, 3] + collar[:3, 1] * bone_length)
        missed = np.abs(np.linalg.norm(shoulder - elbow, axis=1) - length)
        assert slide.verdict == "pass"
        assert gap.verdict == "fail"
        assert gap.value == pytest.approx(missed.max() / L, abs=2e-6)
    found = verdicts_of(results)
    assert "pass" in found["swing"]
    assert found["hold-both"] == {"not_applicable"}
    drift = the_check(results, "hold-elbow", "torso-wiggle", "hand-drift", "L", "elbow")
    assert drift.verdict == "pass"


def test_a_card_of_armwrights_own_rig_holds_everywhere(wren: Any) -> None:
    # Every dial and mode that a card can name, on arms whose own proof passes.
    from armwright.addon import rig
    from armwright.core.arm import names as n
    from armwright.core.card.model import BONE_ROLES, CardArm, Dial, Mode, RigCard, Setting

    record = rig.read_record(wren)

    def arm(side: str) -> CardArm:
        dials = record.bone(side, "dials")

        def mode(name: str, ik: float, elbow: float) -> Mode:
            return Mode(name, (Setting(dials, ik, property=n.IK), Setting(dials, elbow, property=n.ELBOW)))

        return CardArm(
            side,
            **{role: record.bone(side, role) for role in BONE_ROLES},
            modes=(mode("none", 0, 0), mode("hand", 1, 0), mode("elbow", 0, 1), mode("both", 1, 1)),
            blend=Dial(dials, property=n.IK),
            isolate=Dial(dials, property=n.ISOLATE),
            lift=Dial(dials, property=n.LIFT),
            stretch=Dial(dials, property=n.STRETCH),
        )

    torso = tuple(f"torso.{number}" for number in (1, 2, 3) if f"torso.{number}" in wren.pose.bones)
    card = RigCard(wren.name, tuple(arm(side) for side in record.arms), torso, root=record.root)
    results = proved(wren, card)
    bad = [
        (check.id, check.value, check.limit, check.note)
        for check in results.checks
        # The bones named here keep their length: with a stretch it is the skin's bones that reach the next joint.
        if check.verdict == "fail" and check.measure not in ("elbow-gap", "wrist-gap")
    ]
    assert bad == []
    passed = {(check.requirement, check.measure) for check in results.checks if check.verdict == "pass"}
    assert {"swing", "hold-hand", "hold-elbow", "hold-both", "shoulder", "lift", "isolate", "stretch", "blend"} <= {
        name for name, _ in passed
    }
    assert {
        ("isolate", "drift"),
        ("isolate", "follow-error"),
        ("lift", "rise-band"),
        ("lift", "lift-error"),
    } <= passed


def test_a_torso_that_something_else_poses_is_refused_and_nothing_is_proved(empty_file: Any) -> None:
    import bpy

    from armwright.core.errors import CardError

    armature = made.bare_fk()
    post = bpy.data.objects.new("Post", None)
    bpy.context.scene.collection.objects.link(post)
    stuck = armature.pose.bones["chest"].constraints.new("COPY_TRANSFORMS")
    stuck.target = post
    with pytest.raises(CardError, match=r"does not move as it is set: 'chest'"):
        proved(armature, made.bare_fk_card(armature))


def test_what_two_arms_would_fight_over_is_refused(empty_file: Any) -> None:
    from dataclasses import replace

    from armwright.core.card.model import Mode, Setting
    from armwright.core.errors import CardError

    armature = made.native_ik()
    card = made.native_ik_card(armature)
    left, right = card.arms
    shared = replace(right, fk_hand=left.fk_hand)
    with pytest.raises(CardError, match="to two arms, L and R"):
        proved(armature, replace(card, arms=(left, shared)))
    other = Setting("ulna.L", 0.0, constraint="reach")
    modes = tuple(Mode(mode.mode, (*mode.settings, other)) for mode in right.modes)
    with pytest.raises(CardError, match="in mode hand the arms L and R set"):
        proved(armature, replace(card, arms=(left, replace(right, modes=modes))))
    with pytest.raises(CardError, match=r'the arm "L" is there already'):
        proved(armature, replace(card, arms=(left, left)))


def _host(basis: np.ndarray) -> Any:
    from mathutils import Matrix

    return Matrix([[float(value) for value in row] for row in basis])
