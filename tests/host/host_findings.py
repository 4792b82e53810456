"""What is wrong with a file is found where it is, once; a clean rig has nothing; and it makes a proof fail."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path
from typing import Any

import foreign_arms
import numpy as np
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


def _parent(armature: Any, scale: tuple[float, float, float]) -> Any:
    import bpy

    parent = bpy.data.objects.new("Gallery", None)
    bpy.context.scene.collection.objects.link(parent)
    armature.parent, parent.scale = parent, scale
    return parent


def test_a_turned_armature_under_a_parent_scaled_along_one_axis_is_sheared_by_the_angle_said(empty_file: Any) -> None:
    from armwright.addon.findings import findings_of

    armature = foreign_arms.bare_fk()
    _parent(armature, (1.0, 2.0, 1.0))
    assert [kind for kind, _ in _found(armature)] == ["scaled-object"]
    armature.rotation_euler = (0.0, 0.0, math.radians(45.0))
    scaled, sheared = findings_of(armature)
    assert (scaled.kind, sheared.kind, sheared.where) == ("scaled-object", "sheared", armature.name)
    # (1, 2) and (-1, 2): a cosine of 3 / 5, 36.87 degrees off a right angle.
    assert "36.9 degrees" in sheared.what
    armature.parent.scale = (2.0, 2.0, 2.0)
    assert [kind for kind, _ in _found(armature)] == ["scaled-object"]


def test_a_bone_that_a_scaled_bone_shears_is_found_and_one_that_is_scaled_with_it_is_not(empty_file: Any) -> None:
    armature = foreign_arms.bare_fk()
    upper, fore = armature.pose.bones["humerus.L"], armature.pose.bones["ulna.L"]
    upper.scale = (2.0, 2.0, 2.0)
    fore.rotation_mode, fore.rotation_euler = "XYZ", (0.6, 0.0, 0.0)
    assert _found(armature) == []
    upper.scale = (1.0, 2.0, 1.0)
    ((kind, where),) = _found(armature)
    assert kind == "sheared" and "ulna.L" in where and "ulna.R" not in where and "humerus.L" not in where


@pytest.mark.parametrize("place", [15.0, 5000.0])
def test_a_far_armature_is_found_with_the_steps_that_single_precision_has_there(empty_file: Any, place: float) -> None:
    from armwright.addon.findings import findings_of

    armature = foreign_arms.bare_fk()
    armature.location.x = -place
    found = findings_of(armature, 0.5)
    if place < 16.0:
        # 2 ** -20 m between 8 and 16 m: 1.9e-6 of half a metre, less than a held joint may slide.
        assert found == ()
        return
    assert [item.kind for item in found] == ["far-from-origin"]
    # Steps of 2 ** -11 m between 4,096 and 8,192 m.
    assert "5000 from the origin" in found[0].what
    assert f"{2.0**-11 / 0.5:.1e} L" in found[0].what


def test_what_a_far_armature_takes_from_other_objects_is_as_coarse_as_the_finding_says(empty_file: Any) -> None:
    import bpy

    place, seed = 5000.0, 20
    step = 2.0**-11
    armature = foreign_arms.bare_fk()
    lamp = bpy.data.objects.new("Lamp", None)
    bpy.context.scene.collection.objects.link(lamp)
    taken = armature.pose.bones["ground"].constraints.new("COPY_LOCATION")
    taken.target = lamp
    errors = {}
    for far in (0.0, place):
        armature.location.x = far
        worst = 0.0
        for wanted in np.random.default_rng(seed).uniform(-0.5, 0.5, 40):
            lamp.location.x = far + wanted
            bpy.context.view_layer.update()
            worst = max(worst, abs(armature.pose.bones["ground"].head.x - wanted))
        errors[far] = worst
    assert errors[0.0] < 1e-6
    assert step / 8.0 < errors[place] <= step


def test_a_scale_says_whether_it_does_harm(empty_file: Any) -> None:
    from armwright.addon.findings import findings_of

    armature = foreign_arms.bare_fk()
    for scale, is_harmless in (((100.0,) * 3, True), ((1.0, 2.0, 1.0), False), ((-1.0, -1.0, -1.0), False)):
        armature.scale = scale
        (found,) = findings_of(armature)
        assert ("harmless" in found.what) is is_harmless


def test_a_child_of_whose_inverse_was_not_set_is_found_with_the_jump_that_the_host_makes(empty_file: Any) -> None:
    import bpy
    from mathutils import Matrix

    from armwright.addon.findings import findings_of

    armature = foreign_arms.bare_fk()
    armature.location, armature.rotation_euler = (1.0, 2.0, 0.5), (0.3, 0.2, 0.4)
    bone = armature.pose.bones["palm.L"]
    carrier = bone.constraints.new("CHILD_OF")
    carrier.name = "rope"
    carrier.target, carrier.subtarget = armature, "chest"
    carrier.inverse_matrix.identity()
    carrier.influence = 0.0
    bpy.context.view_layer.update()
    rest = np.array(bone.matrix, float)
    (found,) = findings_of(armature)
    carrier.influence = 1.0
    bpy.context.view_layer.update()
    moved = np.array(bone.matrix, float)
    jump = np.linalg.norm(moved[:3, 3] - rest[:3, 3])
    turned = np.degrees(np.arccos((np.trace(rest[:3, :3].T @ moved[:3, :3]) - 1.0) / 2.0))
    assert (found.kind, found.where) == ("child-of-without-inverse", "palm.L, rope")
    assert f"jumps by {jump:.3g} and turns by {turned:.3g} degrees" in found.what
    world = np.array(armature.matrix_world, float)
    chest = np.array(armature.data.bones["chest"].matrix_local, float)
    carrier.inverse_matrix = Matrix((np.linalg.inv(world @ chest) @ world).tolist())
    assert _found(armature) == []


def test_a_bone_that_is_no_number_and_one_without_a_length_are_found(empty_file: Any) -> None:
    from armwright.addon import host

    armature = foreign_arms.bare_fk()
    armature.pose.bones["ulna.L"].location.x = float("nan")
    found = dict(_found(armature))
    assert set(found) == {"not-finite"}
    assert "ulna.L" in found["not-finite"] and "ulna.R" not in found["not-finite"]
    armature.pose.bones["ulna.L"].location.x = 0.0
    assert _found(armature) == []
    with host.mode(armature, "EDIT"):
        bone = armature.data.edit_bones["ground"]
        bone.tail = (bone.head.x, bone.head.y + 2e-6, bone.head.z)
    assert armature.data.bones["ground"].length == pytest.approx(2e-6)
    assert _found(armature) == [("bone-without-length", "ground")]


# In a process of its own, whose words are kept apart: the host prints every cycle, and no other test may make one.
MAKE_A_CYCLE = """
import json, os, sys
sys.path.insert(0, sys.argv[1])
import bpy, foreign_arms
from armwright.addon.findings import findings_of
from armwright.core.card import card_json
bpy.ops.wm.read_factory_settings(use_empty=True)
armature = foreign_arms.bare_fk()
copy = armature.pose.bones["humerus.L"].constraints.new("COPY_ROTATION")
copy.target, copy.subtarget, copy.influence = armature, "palm.L", 0.001
with open(sys.argv[2], "w") as file:
    json.dump([(item.kind, item.what) for item in findings_of(armature)], file)
with open(sys.argv[3], "w") as file:
    file.write(card_json.to_text(foreign_arms.bare_fk_card(armature)))
bpy.ops.wm.save_as_mainfile(filepath=sys.argv[4])
sys.stdout.flush()
os._exit(0)
"""


def test_a_cycle_is_found_once_with_its_names_and_no_proof_of_it_succeeds(tmp_path: Path) -> None:
    found, card, blend, results = (tmp_path / name for name in ("found.json", "card.json", "round.blend", "r.json"))
    made = [sys.executable, "-c", MAKE_A_CYCLE, str(Path(__file__).parent), *map(str, (found, card, blend))]
    subprocess.run(made, capture_output=True, timeout=200, check=True)
    ((kind, what),) = json.loads(found.read_text())
    assert kind == "dependency-cycle"
    assert "palm.L" in what and "humerus.L" in what
    proof = [sys.executable, "-m", "armwright", "proof", str(blend), "--card", str(card), "--json", str(results)]
    done = subprocess.run(proof, capture_output=True, text=True, timeout=200, check=False)
    assert done.returncode == 1, done.stderr[-2000:]
    written = json.loads(results.read_text())
    assert [item["kind"] for item in written["findings"]] == ["dependency-cycle"]
    assert "needs" in done.stdout
