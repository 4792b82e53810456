"""From a mesh file of any kind to joints, and to arms that pass the proof, on the command line."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from host_cli import refused, worked

sys.path.insert(0, str(Path(__file__).parent.parent / "core"))

KINDS = ("obj", "ply", "glb", "blend")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: Any) -> Path:
    """Wren's body with fingers in a file of each kind, written by the host; in centimetres; lying; decimated."""
    import bpy
    from fit_bodies import Shape
    from fit_hands import Hand, fingered

    folder = tmp_path_factory.mktemp("kinds")
    made = fingered(Shape(flexion=25.0), Hand(), fine=0.0018)
    truth = made.arms["L"]
    np.save(folder / "truth.npy", [truth.shoulder, truth.elbow, truth.wrist, truth.fingers["index"][1]])
    bpy.ops.wm.read_factory_settings(use_empty=True)
    mesh = bpy.data.meshes.new("Coat")
    mesh.from_pydata([tuple(map(float, p)) for p in made.vertices], [], [tuple(map(int, f)) for f in made.faces])
    item = bpy.data.objects.new("Coat", mesh)
    bpy.context.scene.collection.objects.link(item)
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "wren.blend"))
    bpy.ops.wm.obj_export(filepath=str(folder / "wren.obj"))
    bpy.ops.wm.ply_export(filepath=str(folder / "wren.ply"))
    bpy.ops.export_scene.gltf(filepath=str(folder / "wren.glb"))
    bpy.ops.wm.obj_export(filepath=str(folder / "centimetres.obj"), global_scale=100.0)
    bpy.ops.wm.obj_export(filepath=str(folder / "lying.obj"), forward_axis="Z", up_axis="NEGATIVE_Y")
    bpy.ops.wm.ply_export(filepath=str(folder / "lying.ply"), forward_axis="NEGATIVE_Z", up_axis="Y")
    reduced = item.modifiers.new("Fewer", "DECIMATE")
    reduced.ratio = 0.25
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "reduced.blend"))
    return folder


def check(folder: Path, guide: Any) -> None:
    truth = np.load(folder / "truth.npy")
    length = np.linalg.norm(truth[1] - truth[0]) + np.linalg.norm(truth[2] - truth[1])
    arm = guide.arms[0]
    index = next(finger for finger in arm.fingers if finger.name == "index")
    read = np.array([arm.shoulder, arm.elbow, arm.wrist, index.joints[1]])
    errors = np.linalg.norm(read - truth, axis=1) / length
    print("shoulder, elbow, wrist, index:", (100 * errors).round(2), "% L")
    assert errors.max() < 0.05
    assert [finger.name for finger in arm.fingers] == ["thumb", "index", "middle", "ring", "little"]


@pytest.mark.parametrize("name", [*(f"wren.{kind}" for kind in KINDS), "centimetres.obj", "reduced.blend"])
def test_fit_reads_the_same_joints_from_every_kind_of_file(folder: Path, tmp_path: Path, name: str) -> None:
    from armwright.core import guide_json

    said = worked("fit", folder / name, "--out", tmp_path / "guide.json")
    assert "10 fingers" in said
    assert ("taken for centimetres" in said) == (name == "centimetres.obj")
    check(folder, guide_json.read(tmp_path / "guide.json"))


@pytest.mark.parametrize("kind", KINDS)
def test_a_mesh_file_becomes_a_character_with_arms_that_pass_the_proof(folder: Path, tmp_path: Path, kind: str) -> None:
    source = folder / f"wren.{kind}"
    before = source.read_bytes()
    said = worked("build", source, "--out", tmp_path / "armed.blend")
    assert "guessed: " in said and "2 arms" in said
    assert source.read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["armed.blend", "plan.json"]
    plan = json.loads((tmp_path / "plan.json").read_text())
    heads = {bone["name"]: bone["rest"] for bone in plan["bones"]}
    truth = np.load(folder / "truth.npy")
    elbow = np.array([row[3] for row in heads["skin.forearm.L"][:3]])
    assert np.linalg.norm(elbow - truth[1]) < 0.03
    # Exit code 0: nothing failed. One kind goes through the whole proof; the arms of the others are the same to 1e-4.
    if kind == "glb":
        worked("proof", tmp_path / "armed.blend", "--json", tmp_path / "results.json")
        assert json.loads((tmp_path / "results.json").read_text())["summary"]["fail"] == 0


def test_a_corrected_guide_is_built_as_it_was_corrected(folder: Path, tmp_path: Path) -> None:
    worked("fit", folder / "centimetres.obj", "--out", tmp_path / "guide.json")
    data = json.loads((tmp_path / "guide.json").read_text())
    data["arms"][0]["elbow"][1] += 0.02
    (tmp_path / "guide.json").write_text(json.dumps(data))
    said = worked(
        "build", folder / "centimetres.obj", "--guide", tmp_path / "guide.json", "--out", tmp_path / "armed.blend"
    )
    assert "taken for centimetres" in said
    plan = json.loads((tmp_path / "plan.json").read_text())
    rest = next(bone["rest"] for bone in plan["bones"] if bone["name"] == "skin.forearm.L")
    assert [row[3] for row in rest[:3]] == pytest.approx(data["arms"][0]["elbow"], abs=1e-6)


def test_the_meshes_of_a_file_in_centimetres_stand_around_the_arms(folder: Path, tmp_path: Path) -> None:
    import bpy

    worked("build", folder / "centimetres.obj", "--out", tmp_path / "armed.blend")
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "armed.blend"), load_ui=False)
    body = next(item for item in bpy.data.objects if item.type == "MESH" and len(item.data.vertices) > 1000)
    height = max((body.matrix_world @ vertex.co).z for vertex in body.data.vertices)
    assert height == pytest.approx(1.75, abs=0.02)


@pytest.mark.parametrize("name", ["lying.obj", "lying.ply"])
def test_a_body_that_lies_or_stands_on_its_head_is_refused_with_the_directions_to_give(
    folder: Path, tmp_path: Path, name: str
) -> None:
    sentence = refused("fit", folder / name, "--out", tmp_path / "guide.json")
    assert ("as if" in sentence and "is up" in sentence) or "on its head" in sentence
    words = sentence.split("use ")[1].split(", or")[0].split()
    worked("fit", folder / name, "--out", tmp_path / "guide.json", *words)
    assert refused("build", folder / name, "--out", tmp_path / "armed.blend").count("--up") == 1
