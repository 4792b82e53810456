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
# The host solves constraints in world space, in single precision, and back: a joint at distance `d` from the world's
# origin is rounded by parts of 2^-23 d, several times over. What is measured below stays under 6 such steps.
SINGLE = 2.0**-23
ROUNDINGS = 6.0
# The farthest that a joint of Wren is from the armature's own origin, metres before scale: a hand over the head.
TALLEST = 2.2


def rounded_limit(armature: Any, location: tuple[float, float, float], scale: float) -> float:
    """The limit of a slide, arm lengths, with what world space rounds added to it."""
    from armwright.addon.prove import subject_of

    length = np.mean([each.upper_length + each.forearm_length for each in subject_of(armature).geometries.values()])
    away = float(np.linalg.norm(location)) + scale * TALLEST
    return float(SLIDE_LIMIT + ROUNDINGS * SINGLE * away / (scale * length))


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
    from armwright.addon import prove, sample

    subject = prove.subject_of(armature)
    runs = [run for run in planned_runs(standard_motions(1)) if run.motion in motions]
    found = []
    with sample.borrowed(armature) as stage:
        for spec in (run for run in runs if run.case.isolate == run.case.lift):
            for arm_run in prove.run(subject, spec, stage):
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
def test_past_its_reach_a_turned_arm_misses_by_rounding_and_no_more(empty_file: Any, scale: float) -> None:
    # On a turned armature the proof's own limit is exceeded here by an eighth: see docs/measured.md.
    armature = wren_at((0.0, 0.0, 0.0), scale)
    errors = [check for check in proved(armature, ("torso-wiggle+far",)) if check.measure == "wrist-error"]
    worst, limit = max(check.value for check in errors), rounded_limit(armature, (0.0, 0.0, 0.0), scale)
    print(
        f"scale {scale:g}, past reach: wrist off by {worst:.2e} L, limit {limit:.1e} L; the proof's is {SLIDE_LIMIT:g}"
    )
    assert len(errors) > 10
    assert worst < limit


@pytest.mark.parametrize("location", [(1.0, 2.0, 3.0), (60.0, -80.0, 3.0)], ids=["4 m away", "100 m away"])
@pytest.mark.parametrize("scale", SCALES)
def test_away_from_the_origin_a_hold_slides_by_the_rounding_of_world_space_and_no_more(
    empty_file: Any, scale: float, location: tuple[float, float, float]
) -> None:
    armature = wren_at(location, scale)
    checks = [check for check in proved(armature, ("torso-wiggle", "hand-sweep")) if check.requirement in HELD]
    slides = [check.value for check in checks if check.measure.endswith("-slide")]
    worst, limit = max(slides), rounded_limit(armature, location, scale)
    print(f"scale {scale:g}, {np.linalg.norm(location):.0f} m away: slides of {worst:.1e} L, limit {limit:.1e} L")
    assert len(slides) > 20
    assert worst < limit
