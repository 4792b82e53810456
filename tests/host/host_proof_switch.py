"""The proof's changes of what is held: all of them are made, a rig that pops is found, the file is as before."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from deep_snapshot import deep_snapshot, differences
from props import lantern, subject_of

MOTION = Path(__file__).resolve().parents[1] / "data" / "cmu_01_01_upper.bvh"
SPACES = ("world", "torso", "head", "prop", "other-hand")
MODES = ("none", "hand", "elbow", "both")


def _checks(armature: Any, clip: Any = None, stop_after: int | None = None) -> list[Any]:
    """The checks of a proof's changes, without its other runs."""
    from armwright.addon import prove_switch, sample, subjects
    from armwright.core.motion.wiggle import torso_wiggle
    from armwright.core.proof import verdicts

    subject = subjects.subject_of(armature)
    found: list[Any] = []
    made = 0
    with sample.borrowed(armature) as stage:
        steps = prove_switch.switch_runs(subject, stage, clip or torso_wiggle(48, 1), 1)
        for step in steps:
            if step is None:
                made += 1
                if made == stop_after:
                    steps.close()
                    break
            else:
                found += verdicts.switch_checks(step)[0]
    if stop_after is None:
        assert made == prove_switch.most_changes(subject)
    return found


@pytest.fixture(scope="module")
def recorded_checks() -> list[Any]:
    import bpy
    from characters import wren_on_own_armature

    from armwright.addon.prove import recorded_clip_of

    bpy.ops.wm.read_factory_settings(use_empty=True)
    wren = wren_on_own_armature()
    # As an animator leaves it: the left hand is on a prop that is not part of the proof.
    subject, prop = subject_of(wren), lantern()
    from armwright.addon import grab

    grab.grab(subject, "L", "both", grab.Thing(prop), keyed=False)
    before = deep_snapshot()
    found = _checks(wren, recorded_clip_of(MOTION.read_bytes()))
    assert differences(before, deep_snapshot()) == []
    return found


def test_every_pair_of_modes_is_changed_at_rest_and_in_the_middle_of_a_recorded_motion(
    recorded_checks: list[Any],
) -> None:
    made = {(check.motion, check.arm, check.case.mode, check.measure) for check in recorded_checks}
    for motion, arm, (before, after), figure in itertools.product(
        ("rest", "recorded"), "LR", itertools.permutations(MODES, 2), ("pop", "turn")
    ):
        assert (f"{motion}+to-{after}", arm, before, f"mode-{figure}") in made


def test_every_pair_of_spaces_is_changed_for_both_holds(recorded_checks: list[Any]) -> None:
    made = {(check.motion, check.arm, check.case.mode, check.measure) for check in recorded_checks}
    for motion, arm, (before, after) in itertools.product(
        ("rest", "recorded"), "LR", itertools.permutations(SPACES, 2)
    ):
        for hold, modes in (("hand", ("hand", "both")), ("elbow", ("elbow", "both"))):
            for mode in modes:
                assert (f"{motion}+{before}-to-{after}", arm, mode, f"{hold}-space-pop") in made


def test_nothing_pops_anywhere(recorded_checks: list[Any]) -> None:
    worst = max(recorded_checks, key=lambda check: check.value / check.limit)
    print(f"{len(recorded_checks)} checks, nearest to its limit: {worst.id} {worst.value:.2e} of {worst.limit:g}")
    assert {check.verdict for check in recorded_checks} == {"pass"}
    assert {check.samples for check in recorded_checks if check.motion.startswith("recorded")} == {3}


def test_a_proof_that_is_stopped_in_the_middle_of_its_changes_gives_everything_back(wren: Any) -> None:
    from armwright.addon import spaces

    subject, prop = subject_of(wren), lantern()
    space = spaces.ensure_space(subject, "L", "hand", prop)
    spaces.set_space(subject, "L", "hand", space, keyed=False)
    before = deep_snapshot()
    # Far enough to be on a prop of the proof's own.
    _checks(wren, stop_after=215)
    assert differences(before, deep_snapshot()) == []


def test_a_rig_whose_held_hand_is_not_where_its_hold_is_pops(wren: Any) -> None:
    from armwright.core.proof.results import FAIL, PASS

    # Somebody's leftover: the hold is drawn towards the torso by a hundredth.
    drawn = wren.pose.bones["hold.hand.L"].constraints.new("COPY_LOCATION")
    drawn.target, drawn.subtarget, drawn.influence = wren, "torso.3", 0.01
    found = _checks(wren)
    failed = {
        (check.case.mode, check.motion): check.value for check in found if check.verdict == FAIL and check.unit == "L"
    }
    # A hundredth of the way to the torso, which is 0.4 L and more.
    assert failed["none", "rest+to-hand"] > 0.004
    assert failed["none", "rest+to-both"] > 0.004
    assert {check.arm for check in found if check.verdict == FAIL} == {"L"}
    assert {check.verdict for check in found if check.arm == "R"} == {PASS}


def test_a_driven_dial_fails_with_the_reason(wren: Any) -> None:
    from armwright.core.proof.results import FAIL

    wren.pose.bones["fk.clavicle.R"].driver_add('["isolate"]').driver.expression = "0.3"
    failed = [check for check in _checks(wren) if check.verdict == FAIL]
    assert {check.arm for check in failed} == {"R"}
    assert all("is driven" in check.note for check in failed if np.isnan(check.value))
    assert any(check.motion == "rest+isolate-on" for check in failed)
