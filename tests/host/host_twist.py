"""The roll that the skin bones share, in the host: the proof's own runs, planted defects, what stays of old figures."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from host_twist_agreement import asymmetric


def _verdicts(
    armature: Any, modes: tuple[str, ...] = ("none", "hand", "elbow", "both")
) -> dict[str, tuple[str, float]]:
    """Worst verdict and value of each measure over the rolls of some modes."""
    from armwright.addon import prove_runs, sample, subjects
    from armwright.core.proof import verdicts
    from armwright.core.proof.run_plan import ROLL, planned_runs, standard_motions

    subject = subjects.subject_of(armature)
    runs = [spec for spec in planned_runs(standard_motions()) if spec.motion == ROLL and spec.case.mode in modes]
    out: dict[str, tuple[str, float]] = {}
    with sample.borrowed(armature) as stage:
        for spec in runs:
            for run in prove_runs.run(subject, spec, stage):
                for check in verdicts.checks(spec, run)[0]:
                    known = out.get(check.measure, ("pass", 0.0))
                    verdict = check.verdict if known[0] == "pass" else known[0]
                    out[check.measure] = (verdict, max(known[1], check.value))
    print(out)
    return out


@pytest.mark.parametrize("count", [1, 2, 3, 6])
def test_the_proofs_rolls_pass_in_every_corner_on_arms_that_differ(empty_file: Any, count: int) -> None:
    from armwright.core.proof.twist import LIMITS

    found = _verdicts(asymmetric(count))
    assert set(found) == set(LIMITS)
    assert {verdict for verdict, _ in found.values()} == {"pass"}


@pytest.mark.parametrize("bone", ["skin.upper_arm.1.L", "skin.forearm.2.R"])
def test_a_muted_share_fails(empty_file: Any, bone: str) -> None:
    armature = asymmetric(3)
    armature.pose.bones[bone].constraints["roll"].mute = True
    found = _verdicts(armature, ("none",))
    assert found["twist-share"][0] == "fail"
    assert found["twist-share"][1] > 0.49


def test_exchanged_shares_fail(empty_file: Any) -> None:
    armature = asymmetric(4)
    first, second = (armature.pose.bones[f"skin.forearm.{index}.L"].constraints["roll"] for index in (1, 2))
    for name in ("to_min_y_rot", "to_max_y_rot"):
        one, other = getattr(first, name), getattr(second, name)
        setattr(first, name, other)
        setattr(second, name, one)
    found = _verdicts(armature, ("hand",))
    for measure in ("twist-share", "twist-backwards"):
        assert found[measure][0] == "fail"
        assert found[measure][1] == pytest.approx(1.0 / 3.0, abs=1e-3)


def test_a_first_bone_that_rolls_with_the_arm_fails(empty_file: Any) -> None:
    from armwright.addon import host

    armature = asymmetric(3)
    with host.mode(armature, "EDIT"):
        edit = armature.data.edit_bones
        edit["skin.upper_arm.L"].parent = edit["aux.upper_arm.L"]
    found = _verdicts(armature, ("none",))
    assert found["twist-end"][0] == "fail"
    assert found["twist-end"][1] > 100.0


def test_at_rest_every_skin_bone_is_where_it_was_built(empty_file: Any) -> None:
    import bpy

    from armwright.addon import host

    armature = asymmetric(5)
    bpy.context.view_layer.update()
    names = [bone.name for bone in armature.data.bones if bone.name.startswith("skin.")]
    assert len(names) == 2 * (2 + 2 * 5)
    rests = np.array([host.rest_matrix(armature.data.bones[name]) for name in names])
    poses = host.PoseReader(armature, bpy.context.view_layer, names).read()
    assert np.abs(poses - rests).max() < 2e-6
