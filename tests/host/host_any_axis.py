"""The proof's rounds of hand and aim about the shoulder in the host: no sound elbow flips, a broken one is found."""

from __future__ import annotations

from typing import Any


def _checks(armature: Any) -> list[Any]:
    """The checks of a proof's rounds alone."""
    from armwright.addon import prove_runs, sample, subjects
    from armwright.core.proof import any_axis, verdicts
    from armwright.core.proof.run_plan import planned_runs, standard_motions

    subject = subjects.subject_of(armature)
    runs = [spec for spec in planned_runs(standard_motions()) if any_axis.applies(spec)]
    assert runs
    with sample.borrowed(armature) as stage:
        return [
            check
            for spec in runs
            for run in prove_runs.run(subject, spec, stage)
            for check in verdicts.checks(spec, run)[0]
        ]


def test_no_elbow_flips_whichever_way_hand_and_aim_go(wren: Any) -> None:
    from armwright.core.proof.cases import CORNERS

    found = _checks(wren)
    assert {(check.case, check.arm) for check in found} == {
        (case, arm) for case in CORNERS if case.mode == "hand" for arm in "LR"
    }
    for measure in ("elbow-speed", "elbow-place", "left-out"):
        worst = max((check for check in found if check.measure == measure), key=lambda check: check.value)
        print(f"{worst.id}: {worst.value:.4g} of {worst.limit:g}, frame {worst.worst_frame} {worst.note}")
    assert {check.verdict for check in found} == {"pass"}
    # The host's elbow goes by the reference solver's figure, which is between 7 and 8 at the margin of the aim's line.
    fastest = [check.value for check in found if (check.motion, check.measure) == ("hand-round", "elbow-speed")]
    assert 7.0 < min(fastest) <= max(fastest) < 8.5


def _failed(wren: Any) -> list[Any]:
    import bpy

    bpy.context.view_layer.update()
    failed = [check for check in _checks(wren) if check.verdict == "fail"]
    for check in failed:
        print(f"{check.id}: {check.value:.4g}, frame {check.worst_frame}")
    return failed


def test_an_elbow_that_turns_to_the_other_side_of_its_aim_where_the_hand_is_high_fails_by_its_speed(wren: Any) -> None:
    from armwright.core.proof.cases import CORNERS

    span = wren.pose.bones["ik.span.L"]
    aim, other = span.constraints["aim"], span.constraints.new("LOCKED_TRACK")
    other.target, other.subtarget, other.lock_axis, other.track_axis = aim.target, aim.subtarget, "LOCK_Y", "TRACK_Z"
    driver = other.driver_add("influence").driver
    variable = driver.variables.new()
    variable.name, variable.type = "height", "TRANSFORMS"
    target = variable.targets[0]
    target.id, target.bone_target, target.transform_type = wren, "hold.hand.L", "LOC_Z"
    target.transform_space = "LOCAL_SPACE"
    driver.expression = "height > 0.1"
    failed = _failed(wren)
    assert {check.arm for check in failed} == {"L"}
    flips = [check for check in failed if check.measure == "elbow-speed"]
    assert {check.case for check in flips} == {case for case in CORNERS if case.mode == "hand"}
    assert {check.motion for check in flips} == {"hand-round", "both-round"}


def test_an_elbow_that_has_lost_its_aim_fails_by_its_place_in_every_corner(wren: Any) -> None:
    from armwright.core.proof.cases import CORNERS

    wren.pose.bones["ik.span.R"].constraints["aim"].mute = True
    failed = _failed(wren)
    assert {check.arm for check in failed} == {"R"}
    lost = {check.case for check in failed if check.measure == "elbow-place" and check.value > 0.1}
    assert lost == {case for case in CORNERS if case.mode == "hand"}
