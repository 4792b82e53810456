"""Fingers and hand poses from the command line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from host_cli import refused, worked


@pytest.fixture(scope="module")
def coat(tmp_path_factory: Any) -> Path:
    """A mesh file of a person's height."""
    path: Path = tmp_path_factory.mktemp("coat") / "wren.obj"
    corners = [(x, y, z) for x in (-0.3, 0.3) for z in (-0.1, 0.1) for y in (0.0, 1.7)]
    lines = [f"v {x} {y} {z}" for x, y, z in corners] + ["f 1 2 4 3", "f 5 6 8 7", "f 1 3 7 5", "f 2 4 8 6"]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def guide(tmp_path_factory: Any) -> Path:
    """A joint guide without fingers."""
    from armwright.core import guide_json
    from armwright.core.stature import guide_from_stature

    path: Path = tmp_path_factory.mktemp("guide") / "guide.json"
    path.write_text(guide_json.to_text(guide_from_stature(1.7, "Wren")), encoding="utf-8")
    return path


def test_a_plan_from_stature_has_five_fingers_a_hand_where_they_are_asked_for(tmp_path: Path) -> None:
    worked("plan", "--stature", "1.7", "--fingers", "--out", tmp_path / "with.json")
    worked("plan", "--stature", "1.7", "--out", tmp_path / "without.json")
    with_fingers, without = (json.loads((tmp_path / name).read_text()) for name in ("with.json", "without.json"))
    names, plain = ({bone["name"] for bone in plan["bones"]} for plan in (with_fingers, without))
    assert plain < names
    # Three bones for each of 15 finger bones, the fingers' base and their control.
    assert len(names) - len(plain) == 2 * (3 * 15 + 1)


def test_a_build_with_fingers_and_hand_poses_is_saved_with_both(coat: Path, tmp_path: Path) -> None:
    import bpy

    out = tmp_path / "armed.blend"
    said = worked("build", coat, "--stature", "1.7", "--out", out, "--fingers", "--hand-poses")
    assert "wren relaxed hand" in said
    bpy.ops.wm.open_mainfile(filepath=str(out))
    armature = next(item for item in bpy.data.objects if item.type == "ARMATURE")
    assert "fk.little.3.R" in armature.pose.bones
    fist = bpy.data.actions["wren fist"]
    assert fist.asset_data is not None
    armature.pose.apply_pose_from_action(fist, evaluation_time=1.0)
    assert armature.pose.bones["fk.fingers.R"]["curl"] == 1.0


def test_fingers_beside_a_guide_and_poses_without_fingers_are_refused(coat: Path, guide: Path, tmp_path: Path) -> None:
    out = tmp_path / "armed.blend"
    assert "--guide has its own fingers" in refused(
        "plan", "--guide", guide, "--fingers", "--out", tmp_path / "plan.json"
    )
    assert "--guide has its own fingers" in refused("build", coat, "--guide", guide, "--fingers", "--out", out)
    assert "needs fingers" in refused("build", coat, "--stature", "1.7", "--hand-poses", "--out", out)
    assert not list(tmp_path.iterdir())
