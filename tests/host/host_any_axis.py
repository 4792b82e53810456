"""The proof's rounds of hand and aim about the shoulder in the host: a sound elbow never flips, a broken one is found."""

from __future__ import annotations

from typing import Any

import pytest


def _checks(armature: Any, motions: tuple[str, ...] | None = None, dials: tuple[float, ...] | None = None) -> list[Any]:
    """The checks of a proof's rounds alone; of some motions, or with isolate, lift and stretch as `dials`, if given."""
    from armwright.addon import prove, sample
    from armwright.core.proof import any_axis, verdicts
    from armwright.core.proof.run_plan import planned_runs, standard_motions

    subject = prove.subject_of(armature)
    runs = [
        spec
        for spec in planned_runs(standard_motions())
        if any_axis.applies(spec)
        and (motions is None or spec.motion in motions)
        and (dials is None or (spec.case.isolate, spec.case.lift, spec.case.stretch) == dials)
    ]
    assert runs
    with sample.borrowed(armature) as stage:
        return [
            check for spec in runs for run in prove.run(subject, spec, stage) for check in verdicts.checks(spec, run)[0]
        ]


def test_no_elbow_flips_whichever_way_hand_and_aim_go(wren: Any) -> None:
    from armwright.core.proof.cases import CORNERS

    found = _checks(wren)
    assert {(check.case, check.arm) for check in found} == {
        (case, arm) for case in CORNERS if case.mode == "hand" for arm in "LR"
    }
    for measure in ("elbow-speed", "left-out"):
        worst = max((check for check in found if check.measure == measure), key=lambda check: check.value)
        print(f"{worst.id}: {worst.value:.4g} of {worst.limit:g}, frame {worst.worst_frame} {worst.note}")
    assert {check.verdict for check in found} == {"pass"}
    # The host's elbow goes by the reference solver's figure, which is between 7 and 8 at the margin of the aim's line.
    fastest = [check.value for check in found if (check.motion, check.measure) == ("hand-round", "elbow-speed")]
    assert 7.0 < min(fastest) <= max(fastest) < 8.5


def _mute_the_aim(wren: Any) -> None:
    wren.pose.bones["ik.span.L"].constraints["aim"].mute = True


def _turn_over_behind(wren: Any) -> None:
    """A pole that somebody switches over where the hand goes behind the shoulder, for the other side's bend."""
    constraint = wren.pose.bones["ik.span.L"].constraints["aim"]
    driver = constraint.driver_add("influence").driver
    variable = driver.variables.new()
    variable.name, variable.type = "behind", "TRANSFORMS"
    target = variable.targets[0]
    target.id, target.bone_target = wren, "hold.hand.L"
    target.transform_type, target.transform_space = "LOC_Y", "WORLD_SPACE"
    driver.expression = "behind < 0"


@pytest.mark.parametrize(
    ("broken", "motions"), [(_mute_the_aim, ("hand-round", "both-round")), (_turn_over_behind, ("hand-round",))]
)
def test_an_arm_whose_aim_is_lost_fails_on_its_own_side(wren: Any, broken: Any, motions: tuple[str, ...]) -> None:
    import bpy

    broken(wren)
    bpy.context.view_layer.update()
    found = _checks(wren, motions)
    failed = [check for check in found if check.verdict == "fail"]
    for check in failed:
        print(f"{broken.__name__}: {check.id}: {check.value:.4g}, frame {check.worst_frame}")
    assert {(check.arm, check.measure) for check in failed} == {("L", "elbow-speed")}
