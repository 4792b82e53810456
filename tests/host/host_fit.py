"""Joints read from a mesh in the host: a human mesh by another maker, and the command `fit`."""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from host_cli import refused, worked
from host_human import LEFT, MESH

sys.path.insert(0, str(Path(__file__).parent.parent / "core"))

# The hand-placed joints are by eye; the mesh's arms end in stubs without hands, so the wrist can only be guessed.
PLACED_LIMIT = 0.06
JOINTS = ("shoulder", "elbow", "wrist", "hand_end")


@pytest.fixture(scope="module")
def files(tmp_path_factory: Any) -> Path:
    """A folder with Wren's body: whole, in two turned and scaled objects, as half with a mirror, and a crate."""
    import bpy
    from fit_bodies import Shape, skin

    folder = tmp_path_factory.mktemp("bodies")
    made = skin(Shape(flexion=30.0), 6000)
    np.save(folder / "truth.npy", [made.arms["L"].shoulder, made.arms["L"].elbow, made.arms["L"].wrist])

    def save(name: str, *parts: tuple[Any, Any]) -> list[Any]:
        bpy.ops.wm.read_factory_settings(use_empty=True)
        items = []
        for number, (points, faces) in enumerate(parts):
            mesh = bpy.data.meshes.new(f"Coat {number}")
            mesh.from_pydata([tuple(map(float, point)) for point in points], [], [tuple(map(int, f)) for f in faces])
            items.append(bpy.data.objects.new(f"Coat {number}", mesh))
            bpy.context.scene.collection.objects.link(items[-1])
        bpy.ops.wm.save_as_mainfile(filepath=str(folder / name))
        return items

    save("wren.blend", (made.vertices, made.faces))
    bpy.ops.wm.obj_export(filepath=str(folder / "wren.obj"))
    left = (made.vertices[:, 0] > 0.0)[made.faces].any(axis=1)
    # One of the two parts lies in its object's own space: ten times as large, turned by 90 degrees, aside.
    turned = (made.vertices - [0.0, 0.0, 1.0])[:, [1, 0, 2]] * [1.0, -1.0, 1.0] * 10.0
    items = save("two.blend", (made.vertices, made.faces[left]), (turned, made.faces[~left]))
    items[1].scale = (0.1, 0.1, 0.1)
    items[1].rotation_euler = (0.0, 0.0, math.pi / 2.0)
    items[1].location = (0.0, 0.0, 1.0)
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "two.blend"))
    flat = np.where(made.vertices[:, :1] < 0.0, made.vertices * [0.0, 1.0, 1.0], made.vertices)
    items = save("half.blend", (flat, made.faces[left]))
    items[0].modifiers.new("Mirror", "MIRROR")
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "half.blend"))
    corners = [(x, y, z) for x in (-0.3, 0.3) for y in (-0.1, 0.1) for z in (0.0, 1.7)]
    save("crate.blend", (corners, [(0, 1, 3, 2), (4, 5, 7, 6), (0, 2, 6, 4), (1, 3, 7, 5)]))
    return folder


def test_joints_of_a_human_mesh_are_near_those_placed_by_hand() -> None:
    import bpy

    from armwright.addon.read_mesh import character_surface
    from armwright.core.fit.mesh import fit_mesh
    from armwright.core.guide import mirrored
    from armwright.core.guide_check import check_guide

    bpy.ops.wm.open_mainfile(filepath=str(MESH), load_ui=False)
    found = fit_mesh(*character_surface(bpy.data.objects), "Human")
    length = math.dist(LEFT.shoulder, LEFT.elbow) + math.dist(LEFT.elbow, LEFT.wrist)
    for arm, placed in zip(found.guide.arms, (LEFT, mirrored(LEFT)), strict=True):
        errors = [math.dist(getattr(arm, joint), getattr(placed, joint)) / length for joint in JOINTS]
        print(arm.side, "  ".join(f"{j} {100 * e:.1f} % L" for j, e in zip(JOINTS, errors, strict=True)))
        assert max(errors) < PLACED_LIMIT
        palm, by_eye = np.array(arm.palm), np.array(placed.palm)
        assert palm @ by_eye > math.cos(math.radians(20.0)) * np.linalg.norm(palm) * np.linalg.norm(by_eye)
    assert {r.part for r in found.readings if r.guessed} == {"clavicle", "wrist", "palm"}
    assert all("stub" in warning for warning in found.warnings) and len(found.warnings) == 2
    assert check_guide(found.guide) == ()


@pytest.mark.parametrize("name", ["wren.blend", "wren.obj", "two.blend", "half.blend"])
def test_fit_writes_a_guide_and_says_what_was_guessed(files: Path, tmp_path: Path, name: str) -> None:
    from armwright.core import guide_json
    from armwright.core.guide_check import check_guide

    out = tmp_path / "new" / "guide.json"
    said = worked("fit", files / name, "--out", out, "--name", "Wren")
    lines = [line.split() for line in said.splitlines() if "confidence" in line]
    # Seven of an arm, and the points that its hand rolls over.
    assert len(lines) == 16
    assert {" ".join(words[:2]) for words in lines if "guessed" in words} == {"left clavicle", "right clavicle"}
    guide = guide_json.read(out)
    assert check_guide(guide) == ()
    assert [path.name for path in out.parent.iterdir()] == ["guide.json"]
    truth = np.load(files / "truth.npy")
    length = np.linalg.norm(truth[1] - truth[0]) + np.linalg.norm(truth[2] - truth[1])
    read = np.array([guide.arms[0].shoulder, guide.arms[0].elbow, guide.arms[0].wrist])
    print(name, np.linalg.norm(read - truth, axis=1) / length)
    assert np.linalg.norm(read - truth, axis=1).max() < 0.03 * length


def test_a_guide_that_fit_wrote_builds(files: Path, tmp_path: Path) -> None:
    worked("fit", files / "wren.blend", "--out", tmp_path / "guide.json")
    worked("plan", "--guide", tmp_path / "guide.json", "--out", tmp_path / "plan.json")
    said = worked("build", files / "wren.blend", "--guide", tmp_path / "guide.json", "--out", tmp_path / "armed.blend")
    assert "2 arms" in said
    assert json.loads((tmp_path / "plan.json").read_text())["format"] == "armwright.plan"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("crate.blend",), "has no arms"),
        (("absent.obj",), "no file"),
        (("wren.blend", "--object", "Boots"), "no mesh named 'Boots'; there is: Coat 0"),
        (("wren.blend", "--up", "0", "0", "0"), "up and front"),
        (("wren.blend", "--unit", "0"), "unit"),
        (("wren.blend", "--unit", "0.001"), "check joints and units"),
        (("two.blend", "--object", "Coat 1"), "mirror the mesh"),
    ],
)
def test_what_can_not_be_read_is_refused_and_the_old_guide_stays(
    files: Path, tmp_path: Path, arguments: tuple[str, ...], words: str
) -> None:
    out = tmp_path / "guide.json"
    out.write_text("the old guide", encoding="utf-8")
    assert words in refused("fit", files / arguments[0], *arguments[1:], "--out", out)
    assert out.read_text(encoding="utf-8") == "the old guide"
    assert [path.name for path in tmp_path.iterdir()] == ["guide.json"]


def test_the_input_is_never_written_over(files: Path) -> None:
    before = (files / "wren.obj").read_bytes()
    assert "names the input file" in refused("fit", files / "wren.obj", "--out", files / "wren.obj")
    assert (files / "wren.obj").read_bytes() == before
