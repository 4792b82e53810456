"""What is wrong with a file is found where it is, once; a clean rig has nothing; and it makes a proof fail."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import foreign_arms
import pytest


def _found(armature: Any) -> list[tuple[str, str]]:
    from armwright.addon.findings import findings_of

    return [(item.kind, item.where) for item in findings_of(armature)]


def test_clean_rigs_have_no_findings(wren: Any) -> None:
    assert _found(wren) == []
    for make in (
        foreign_arms.bare_fk,
        foreign_arms.native_ik,
        foreign_arms.blended_chains,
        foreign_arms.elbow_child_of,
    ):
        assert _found(make()) == []


@pytest.mark.parametrize("scale", [(0.01, 0.01, 0.01), (1.0, 2.0, 1.0), (-1.0, 1.0, 1.0)])
def test_a_scaled_armature_is_found_and_so_is_a_scaled_parent(empty_file: Any, scale: Any) -> None:
    import bpy

    armature = foreign_arms.bare_fk()
    armature.scale = scale
    assert _found(armature) == [("scaled-object", armature.name)]
    armature.scale = (1.0, 1.0, 1.0)
    parent = bpy.data.objects.new("Gallery", None)
    bpy.context.scene.collection.objects.link(parent)
    armature.parent, parent.scale = parent, scale
    assert _found(armature) == [("scaled-object", "Gallery")]


def test_drivers_that_fail_are_found(empty_file: Any) -> None:
    armature = foreign_arms.bare_fk()
    armature.pose.bones["ulna.L"].driver_add("location", 0).driver.expression = "lamp / 0 +"
    lost = armature.pose.bones["ulna.R"].driver_add("location", 1).driver
    lost.variables.new().name = "rope"
    lost.expression = "rope"
    found = _found(armature)
    assert [kind for kind, _ in found] == ["broken-driver", "broken-driver"]
    assert 'pose.bones["ulna.L"].location' in found[0][1]
    assert 'pose.bones["ulna.R"].location' in found[1][1]


def test_a_dependency_cycle_is_found_once_with_its_names(empty_file: Any) -> None:
    from armwright.addon.findings import findings_of

    armature = foreign_arms.bare_fk()
    copy = armature.pose.bones["humerus.L"].constraints.new("COPY_ROTATION")
    copy.target, copy.subtarget = armature, "palm.L"
    found = findings_of(armature)
    assert [item.kind for item in found] == ["dependency-cycle"]
    assert "palm.L" in found[0].what and "humerus.L" in found[0].what


def test_a_proof_of_a_rig_with_a_cycle_does_not_succeed_and_says_why(empty_file: Any, tmp_path: Path) -> None:
    from armwright.addon import any_arm, findings

    armature = foreign_arms.bare_fk()
    copy = armature.pose.bones["humerus.L"].constraints.new("COPY_ROTATION")
    copy.target, copy.subtarget, copy.influence = armature, "palm.L", 0.001
    results = any_arm.prove_card_whole(armature, foreign_arms.bare_fk_card(armature))
    assert [item.kind for item in results.findings] == ["dependency-cycle"]
    assert findings.makes_fail(results.findings)
