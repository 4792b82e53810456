"""Arms on an armature object that is scaled, turned and moved: they hold, measured in their own lengths."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from armwright.core.proof import verdicts
from armwright.core.proof.measures import SLIDE_LIMIT
from armwright.core.proof.run_plan import HELD, planned_runs, standard_motions

TURN = (0.4, -0.9, 2.1)
SCALES = (0.01, 1.0, 37.0)


def wren_at(location: tuple[float, float, float], scale: float) -> Any:
    """Arms built onto a torso whose armature object is placed first."""
    import bpy
    from characters import torso_armature
    from mathutils import Euler, Matrix

    from armwright.addon.build import attachment_to, build
    from armwright.core.arm.build import plan_arms
    from armwright.core.options import ArmOptions
    from armwright.core.stature import guide_from_stature

    armature = torso_armature()
    armature.matrix_world = Matrix.LocRotScale(location, Euler(TURN), (scale, scale, scale))
    bpy.context.view_layer.update()
    build(armature, plan_arms(guide_from_stature(1.7, "Wren"), ArmOptions(), attachment_to(armature, "chest")))
    return armature


def proved(armature: Any, motions: tuple[str, ...]) -> list[Any]:
    """Checks of all runs of some motions, isolate and lift both off and both on."""
    from armwright.addon import prove_runs, sample, subjects

    subject = subjects.subject_of(armature)
    runs = [run for run in planned_runs(standard_motions(1)) if run.motion in motions]
    found = []
    with sample.borrowed(armature) as stage:
        for spec in (run for run in runs if run.case.isolate == run.case.lift):
            for arm_run in prove_runs.run(subject, spec, stage):
                found += verdicts.checks(spec, arm_run)[0]
    return found


@pytest.mark.parametrize("scale", SCALES)
def test_no_check_fails_on_a_scaled_and_turned_armature_at_the_origin(empty_file: Any, scale: float) -> None:
    found = proved(wren_at((0.0, 0.0, 0.0), scale), ("torso-wiggle", "hand-sweep", "raise"))
    assert {check.requirement for check in found} >= {*HELD, "swing", "isolate", "lift", "stretch"}
    failed = [check for check in found if check.verdict == "fail"]
    for check in failed[:20]:
        print(f"{check.id}: {check.value:.3g} over {check.limit:.3g} {check.unit} {check.note}")
    slides = [check.value for check in found if check.measure.endswith("-slide") and check.verdict == "pass"]
    print(f"scale {scale:g}: slides of {max(slides):.1e} L at most, {len(found)} checks")
    assert failed == []


@pytest.mark.parametrize("scale", SCALES)
def test_past_its_reach_a_turned_arm_points_at_its_hold(empty_file: Any, scale: float) -> None:
    armature = wren_at((0.0, 0.0, 0.0), scale)
    errors = [check for check in proved(armature, ("torso-wiggle+far",)) if check.measure == "wrist-error"]
    worst = max(check.value for check in errors)
    print(f"scale {scale:g}, past reach: wrist off by {worst:.2e} L")
    assert len(errors) > 10
    assert worst < SLIDE_LIMIT


@pytest.mark.parametrize("location", [(1.0, 2.0, 3.0), (60.0, -80.0, 3.0)], ids=["4 m away", "100 m away"])
@pytest.mark.parametrize("scale", SCALES)
def test_where_a_character_stands_does_not_matter_to_its_proof(
    empty_file: Any, scale: float, location: tuple[float, float, float]
) -> None:
    # The proof measures at the world's origin: elsewhere the host's world space rounds (docs/measured.md).
    armature = wren_at(location, scale)
    checks = [check for check in proved(armature, ("torso-wiggle", "hand-sweep")) if check.requirement in HELD]
    slides = [check.value for check in checks if check.measure.endswith("-slide")]
    print(f"scale {scale:g}, {np.linalg.norm(location):.0f} m away: slides of {max(slides):.1e} L")
    assert len(slides) > 20
    assert max(slides) < SLIDE_LIMIT
    assert tuple(armature.location) == pytest.approx(location)
