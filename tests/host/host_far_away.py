"""Arms far from the world's origin, tiny and huge: what they hold stays to the limit that single precision leaves."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest
from props import subject_of
from shots import arm_length

from armwright.core.proof.measures import SLIDE_LIMIT
from armwright.core.proof.precision import STEPS, limit_at, off_by

SEED = 7703
TURN = (0.4, -0.9, 2.1)
AWAY = (0.0, 10.0, 100.0, 1000.0)
SCALES = (0.01, 1.0, 100.0)
# Constraints in a row that a bone may depend on: what the limit is derived from (core/proof/precision.py).
MOST_CONSTRAINTS = 17
HELD = (("hand", "skin.hand", (1.0, 0.0)), ("elbow", "skin.forearm", (0.0, 1.0)))


def wren_at(away: float, scale: float, way: np.ndarray) -> Any:
    """Wren there, turned, with bent arms."""
    import bpy
    from characters import wren_on_own_armature
    from mathutils import Euler, Matrix

    bpy.ops.wm.read_factory_settings(use_empty=True)
    wren = wren_on_own_armature()
    wren.matrix_world = Matrix.LocRotScale((away * way).tolist(), Euler(TURN), (scale,) * 3)
    for arm in "LR":
        wren.pose.bones[f"fk.forearm.{arm}"].rotation_euler = (1.9, 0.2, 0.0)
        wren.pose.bones[f"fk.upper_arm.{arm}"].rotation_euler = (0.3, 0.2, 0.1)
    bpy.context.view_layer.update()
    return wren


def hold(armature: Any, modes: tuple[float, float]) -> list[Any]:
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    subject = subject_of(armature)
    return [switch(subject, arm, Target(ik=modes[0], elbow=modes[1]), keyed=False) for arm in "LR"]


def slide(armature: Any, rng: np.random.Generator, poses: int = 25, creep: float = 0.0) -> float:
    """How far what is held is from where its hold is set, at the most, arm lengths; the torso moves.

    Where it is set is worked out in double precision. `creep`: the holds are moved by so much along X in half of the
    poses, arm lengths, as those of a rig that does not hold would.
    """
    import bpy

    bones, worst, length = armature.pose.bones, 0.0, arm_length(armature)
    for part, bone, modes in HELD:
        hold(armature, modes)
        bpy.context.view_layer.update()
        holds = [bones[f"hold.{part}.{arm}"] for arm in "LR"]
        set_at = [
            (np.array(item.bone.matrix_local, float) @ np.array(item.matrix_basis, float))[:3, 3] for item in holds
        ]
        kept = [tuple(item.location) for item in holds]
        for number in range(poses):
            for name in ("torso.1", "torso.2"):
                bones[name].rotation_mode = "XYZ"
                bones[name].rotation_euler = rng.uniform(-0.06, 0.06, 3).tolist()
            for item, location in zip(holds, kept, strict=True):
                item.location = location
                if number % 2:
                    item.location[0] += creep * length
            armature.update_tag()
            bpy.context.view_layer.update()
            for arm, place in zip("LR", set_at, strict=True):
                worst = max(worst, float(np.linalg.norm(np.array(bones[f"{bone}.{arm}"].head, float) - place)))
        for name in ("torso.1", "torso.2"):
            bones[name].rotation_euler = (0.0, 0.0, 0.0)
        for item, location in zip(holds, kept, strict=True):
            item.location = location
        armature.update_tag()
        bpy.context.view_layer.update()
    return worst / length


@pytest.mark.parametrize("scale", SCALES)
@pytest.mark.parametrize("away", AWAY)
def test_what_is_held_stays_where_the_character_is_and_no_switch_pops(away: float, scale: float) -> None:
    rng = np.random.default_rng([SEED, int(away), int(100 * scale)])
    worst = pop = 0.0
    for _ in range(3 if away else 1):
        way = rng.normal(size=3)
        wren = wren_at(away, scale, way / np.linalg.norm(way))
        worst = max(worst, slide(wren, rng))
        outcomes = [item for modes in ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0)) for item in hold(wren, modes)]
        pop = max(pop, *(item.pop for item in outcomes))
        assert all(item.kept for item in outcomes), outcomes
    size = scale * arm_length(wren)
    limit = limit_at(SLIDE_LIMIT, away, size)
    steps = worst * size / float(np.spacing(np.float32(away))) if away else 0.0
    print(f"seed {SEED}, {away:g} m, scale {scale:g}: {worst:.2e} L of {limit:.2e} ({steps:.1f} steps), pop {pop:.1e}")
    assert worst <= limit
    # Near the origin the limit is the design's, and further away it is not ten times what is measured.
    assert limit == SLIDE_LIMIT if away == 0.0 else limit <= max(10.0 * worst, SLIDE_LIMIT)
    assert outcomes[0].limit == pytest.approx(limit_at(1e-5, away, size), rel=1e-5)


@pytest.mark.parametrize(("away", "creep"), [(0.0, 1e-5), (10.0, 2e-4), (100.0, 2e-3), (1000.0, 1e-2)])
def test_a_hold_that_really_slides_is_over_the_limit_where_it_is(away: float, creep: float) -> None:
    rng = np.random.default_rng(SEED)
    wren = wren_at(away, 1.0, np.array([0.6, -0.8, 0.0]))
    found, limit = slide(wren, rng, creep=creep), limit_at(SLIDE_LIMIT, away, arm_length(wren))
    print(f"{away:g} m: a slide of {creep:g} L is seen as {found:.2e} L, limit {limit:.2e} L")
    assert found > limit


def test_a_proof_of_a_character_a_thousand_metres_away_finds_a_slide_of_a_thousandth(empty_file: Any) -> None:
    """There, rounding in place is as large; a proof measures at the origin, by the limits that hold there."""
    wren = wren_at(1000.0, 1.0, np.array([0.6, -0.8, 0.0]))
    whole = held_checks(wren)
    assert {check.verdict for check in whole} == {"pass"}
    assert {check.limit for check in whole if check.measure.endswith("-slide")} == {SLIDE_LIMIT}
    _let_slide(wren)
    broken = held_checks(wren)
    failed = [check for check in broken if check.verdict == "fail"]
    print([(check.id, check.value) for check in failed][:3])
    assert any(check.measure == "wrist-slide" and 2e-4 < check.value < 5e-3 for check in failed)


def _let_slide(armature: Any) -> None:
    """The left hold goes a thousandth of the way with the torso."""
    bone = armature.pose.bones["hold.hand.L"]
    copy = bone.constraints.new("COPY_LOCATION")
    copy.target, copy.subtarget, copy.influence = armature, "torso.3", 1e-3


def held_checks(armature: Any) -> list[Any]:
    from armwright.addon import prove_runs, sample
    from armwright.core.proof import verdicts
    from armwright.core.proof.run_plan import HELD as REQUIRED
    from armwright.core.proof.run_plan import planned_runs, standard_motions

    subject, found = subject_of(armature), []
    with sample.borrowed(armature) as stage:
        for spec in planned_runs(standard_motions(1)):
            case = spec.case
            if (
                spec.motion == "torso-wiggle"
                and case.mode == "hand"
                and case.isolate == case.lift == case.stretch == 0.0
            ):
                for arm_run in prove_runs.run(subject, spec, stage):
                    found += [check for check in verdicts.checks(spec, arm_run)[0] if check.requirement in REQUIRED]
    return found


def test_no_bone_of_an_arm_waits_for_more_constraints_in_a_row_than_the_limit_counts(wren: Any) -> None:
    bones = wren.pose.bones

    @cache
    def depth(name: str) -> int:
        bone, above = bones[name], [0]
        if bone.parent is not None:
            above.append(depth(bone.parent.name))
        for entry in bone.constraints:
            for target in getattr(entry, "targets", (entry,)):
                if target.target == wren and target.subtarget not in ("", name):
                    above.append(depth(target.subtarget))
        return max(above) + sum(not entry.mute for entry in bone.constraints)

    most = max(depth(f"skin.{part}.{arm}") for part in ("hand", "forearm", "upper_arm") for arm in "LR")
    print(f"{most} constraints in a row")
    assert most == MOST_CONSTRAINTS
    # Seven standard deviations of so many roundings there and back, each even over a step.
    assert pytest.approx(7.0 * np.sqrt(2 * MOST_CONSTRAINTS / 12.0), rel=0.05) == STEPS
    assert off_by(0.0, 1.0) == 0.0
