"""Pictures of worst poses: what is worst is posed and rendered, with its slide; the file is as it was afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

SEED = 1
RUNS = (("torso-wiggle", "hand"), ("shrug", "elbow"), ("plant-roll", "hand"))


def results_of(armature: Any) -> Any:
    """The results of a few runs of the proof."""
    from armwright.addon import sample
    from armwright.addon.prove_runs import run
    from armwright.addon.subjects import subject_of
    from armwright.core.proof import verdicts
    from armwright.core.proof.results import Results
    from armwright.core.proof.run_plan import planned_runs, standard_motions

    subject = subject_of(armature)
    checks: list[Any] = []
    with sample.borrowed(armature) as stage:
        for motion, mode in RUNS:
            spec = next(
                spec for spec in planned_runs(standard_motions(SEED)) if (spec.motion, spec.case.mode) == (motion, mode)
            )
            for arm_run in run(subject, spec, stage):
                checks += verdicts.checks(spec, arm_run)[0]
    lengths = tuple((arm, shape.upper_length + shape.forearm_length) for arm, shape in subject.geometries.items())
    return subject, Results("", armature.name, "", SEED, lengths, tuple(checks))


def break_left_hand(armature: Any) -> None:
    """A constraint of somebody's on the left hand's hold: it turns a little with the torso."""
    from armwright.addon import rig

    record = rig.read_record(armature)
    harm = armature.pose.bones[record.bone("L", "hand_hold")].constraints.new("COPY_ROTATION")
    harm.target, harm.subtarget, harm.influence = armature, record.torso, 0.02


def data_blocks() -> dict[str, list[str]]:
    """Names of everything in the file."""
    import bpy

    found = {}
    for name in dir(bpy.data):
        blocks = getattr(bpy.data, name)
        if isinstance(blocks, bpy.types.bpy_prop_collection):
            found[name] = sorted(block.name for block in blocks)
    return found


def pixels(png: bytes, folder: Any) -> Any:
    """A PNG as the host reads it: (rows, columns, 4), 0 to 1, the first row at the bottom."""
    import bpy

    path = folder / "pose.png"
    path.write_bytes(png)
    image = bpy.data.images.load(str(path))
    try:
        return np.array(image.pixels[:]).reshape(image.size[1], image.size[0], 4)
    finally:
        bpy.data.images.remove(image)


@pytest.fixture
def bound_wren(wren: Any) -> Iterator[Any]:
    """Wren with a tube of a body bound to the arms' skin bones."""
    import bpy

    from armwright.addon import rig

    record = rig.read_record(wren)
    names = [bone.name for bone in wren.data.bones if bone.use_deform]
    bones = [wren.data.bones[name] for name in names]
    from armwright.core.proof.report.camera import blades

    points, faces = blades(
        np.array([bone.head_local for bone in bones]), np.array([bone.tail_local for bone in bones]), 0.15
    )
    data = bpy.data.meshes.new("body")
    data.from_pydata(points.tolist(), [], faces.tolist())
    body = bpy.data.objects.new("body", data)
    bpy.context.scene.collection.objects.link(body)
    for index, name in enumerate(names):
        body.vertex_groups.new(name=name).add(list(range(6 * index, 6 * index + 6)), 1.0, "REPLACE")
    body.modifiers.new("Armature", "ARMATURE").object = wren
    assert record.bones
    yield wren


def test_the_worst_pose_of_each_failing_requirement_is_rendered_with_its_slide(bound_wren: Any, tmp_path: Any) -> None:
    from armwright.addon.worst_picture import HEIGHT, WIDTH, worst_pictures
    from armwright.core.proof.report.html import page

    break_left_hand(bound_wren)
    subject, results = results_of(bound_wren)
    failing = {check.requirement for check in results.checks if check.verdict == "fail"}
    assert {"hold-hand", "plant"} <= failing
    shots = worst_pictures(subject, results)
    by_id = {check.id: check for check in results.checks}
    assert {by_id[shot.check].requirement for shot in shots} == failing
    for shot in shots:
        seen = pixels(shot.png, tmp_path)
        assert seen.shape == (HEIGHT, WIDTH, 4)
        covered = seen[..., 3] > 0.5
        assert 0.01 < covered.mean() < 0.9
        # What is drawn is shaded, and not blown out.
        assert np.ptp(seen[covered][:, 0]) > 0.1 and np.median(seen[covered][:, 0]) < 0.95
        assert f'data-shot="{shot.check}"' in page(results, (), shots)
    slid = next(shot for shot in shots if by_id[shot.check].measure == "pivot-slide")
    assert slid.wanted is not None and slid.found is not None
    length = dict(results.arm_lengths)["L"]
    assert np.linalg.norm(slid.found - slid.wanted) / length == pytest.approx(by_id[slid.check].value, rel=1e-4)


def test_the_picture_shows_the_arm_where_the_pose_has_it(wren: Any, tmp_path: Any) -> None:
    from armwright.addon import one_check, sample
    from armwright.addon.worst_picture import worst_pictures

    # Without a mesh the bones are drawn, so that there is something at each joint.
    subject, results = results_of(wren)
    (shot,) = worst_pictures(subject, results)
    check = next(check for check in results.checks if check.id == shot.check)
    with sample.borrowed(wren) as stage:
        chain = one_check.again(subject, check, stage, SEED).trace.chain
    seen = pixels(shot.png, tmp_path)[::-1, :, 3]
    middles = (chain[1:-1] + chain[2:]) / 2.0
    for column, row in shot.view.project(middles)[:, :2]:
        assert seen[int(row) - 3 : int(row) + 4, int(column) - 3 : int(column) + 4].max() > 0.9
    assert seen.mean() < 0.4


def test_a_rig_where_nothing_fails_has_one_picture_and_the_file_is_untouched(bound_wren: Any) -> None:
    import bpy

    from armwright.addon.worst_picture import worst_pictures

    subject, results = results_of(bound_wren)
    assert not [check for check in results.checks if check.verdict == "fail"]
    bpy.context.scene.frame_set(7)
    bound_wren.pose.bones[subject.record.bone("L", "fk_upper_arm")].rotation_euler[0] = 0.3
    before = data_blocks(), [tuple(bone.matrix_basis.col[3]) for bone in bound_wren.pose.bones]
    turned = tuple(bound_wren.pose.bones[subject.record.bone("L", "fk_upper_arm")].rotation_euler)
    scenes = {name: [item.name for item in scene.objects] for name, scene in bpy.data.scenes.items()}
    steps: list[tuple[int, int]] = []
    shots = worst_pictures(subject, results, report=lambda done, total: steps.append((done, total)))
    assert len(shots) == 1 and steps == [(1, 1)]
    assert (data_blocks(), [tuple(bone.matrix_basis.col[3]) for bone in bound_wren.pose.bones]) == before
    assert tuple(bound_wren.pose.bones[subject.record.bone("L", "fk_upper_arm")].rotation_euler) == turned
    assert {name: [item.name for item in scene.objects] for name, scene in bpy.data.scenes.items()} == scenes
    assert bpy.context.scene.frame_current == 7


def test_a_failure_on_the_way_leaves_nothing_behind(bound_wren: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    from armwright.addon import worst_picture
    from armwright.core.errors import HostError

    subject, results = results_of(bound_wren)
    before = data_blocks()

    def refuse(_: Any) -> bytes:
        raise HostError("no light in the lamp room")

    monkeypatch.setattr(worst_picture, "_render", refuse)
    with pytest.raises(HostError, match="lamp room"):
        worst_picture.worst_pictures(subject, results)
    assert data_blocks() == before
