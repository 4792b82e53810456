"""What is wrong with a file is found where it is, once; a clean rig has nothing; and it makes a proof fail."""

from __future__ import annotations

import json
import subprocess
import sys
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
