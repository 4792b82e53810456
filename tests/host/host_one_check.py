"""A check of a proof can be measured again by itself, and its worst frame posed."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

SEED = 3


@pytest.mark.parametrize(
    ("motion", "mode", "requirement"),
    [("torso-wiggle", "hand", "hold-hand"), ("shrug", "elbow", "hold-elbow"), ("blend-ramp", "none", "blend")],
)
def test_a_check_measured_again_gives_the_same_figure_and_its_worst_frame_can_be_posed(
    wren: Any, motion: str, mode: str, requirement: str
) -> None:
    from armwright.addon import host, one_check, sample
    from armwright.addon.prove_runs import run
    from armwright.addon.subjects import subject_of
    from armwright.core.proof import verdicts
    from armwright.core.proof.run_plan import planned_runs, standard_motions

    subject = subject_of(wren)
    spec = next(
        spec
        for spec in planned_runs(standard_motions(SEED))
        if (spec.motion, spec.case.mode) == (motion, mode) and requirement in spec.requirements
    )
    with sample.borrowed(wren) as stage:
        played = {arm.arm: arm for arm in run(subject, spec, stage)}
        checks = [check for check in verdicts.checks(spec, played["R"])[0] if check.requirement == requirement]
        assert checks
        for check in checks:
            found = one_check.again(subject, check, stage, SEED)
            assert found.check == check
            assert found.trace.values[check.worst_frame] == check.value
        sample.pose(stage, found.tracks, check.worst_frame)
        wrist = host.PoseReader(wren, stage.layer, [subject.record.bone("R", "wrist")]).read()[0, :3, 3]
        assert np.abs(wrist - played["R"].samples.wrist[check.worst_frame, :3, 3]).max() < 1e-5


def test_a_check_of_a_recording_that_is_not_given_says_so(wren: Any) -> None:
    from dataclasses import replace

    from armwright.addon import one_check, sample
    from armwright.addon.subjects import subject_of
    from armwright.core.errors import ProofError
    from armwright.core.proof import verdicts

    check = replace(verdicts.not_applicable("L")[0], motion="a walk")
    with sample.borrowed(wren) as stage, pytest.raises(ProofError, match="give the proof's recording as well"):
        one_check.again(subject_of(wren), check, stage, SEED)
