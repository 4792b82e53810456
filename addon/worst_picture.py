"""Pictures of worst poses: the rig posed again on a stage, and the meshes it moves rendered in a scene of their own.

By the host's ray tracer on the processor, which needs no graphics card: 2.4 s a picture measured in 4.5.15 and 2.3 s in
5.2.3 on two cores. What is rendered are copies of the evaluated meshes without materials, so that neither a character's
shaders nor its modifiers' settings for rendering come in.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from ..core.motion.clip import Clip
from ..core.proof.report import figures
from ..core.proof.report.camera import Camera, blades, camera
from ..core.proof.report.shot import Shot, worth_a_picture
from ..core.proof.results import Check, Results, Trace
from ..core.proof.run_plan import RunSpec
from . import any_arm, host, one_check, sample
from .any_arm_rig import AnySubject, kept_settings
from .subjects import Subject

Array = NDArray[np.float64]

WIDTH, HEIGHT = 900, 700
SAMPLES = 8
# Room round the arm's joints, and how far a held point may be off to be kept in the picture; parts of the arm's length.
MARGIN, FURTHEST = 0.42, 1.5
# From where the arm is seen: its own side, the front, above.
DIRECTION = np.array([0.62, 0.72, 0.3])
SUN, SKY = 1.9, 0.3
# The host's cameras look along their own -Z from here, arm lengths.
AWAY = 12.0


def worst_pictures(
    subject: Subject | AnySubject,
    results: Results,
    recorded: Clip | None = None,
    report: Callable[[int, int], None] | None = None,
    runs: Sequence[RunSpec] | None = None,
) -> tuple[Shot, ...]:
    """Pictures of what is worst in `results`, which are of `subject`; the file is as before afterwards.

    `recorded` is the proof's, and `runs` what it played; None for everything. `report` is called with the number of
    pictures done and of all.

    Raises ProofError where a check can not be measured again, HostError where the host can not render.
    """
    chosen = worth_a_picture(results.checks)
    shots: list[Shot] = []
    meshes = _moved_meshes(subject.armature)
    unit = subject.card.unit_m if isinstance(subject, AnySubject) else 1.0
    lengths = {arm: length / unit for arm, length in results.arm_lengths}
    kept = kept_settings(subject.armature, subject.card) if isinstance(subject, AnySubject) else nullcontext()
    with sample.borrowed(subject.armature) as stage, kept:
        for item in meshes:
            stage.scene.collection.objects.link(item)
        for number, check in enumerate(chosen):
            again = _again(subject, check, stage, results.seed, recorded, runs)
            sample.pose(stage, again.tracks, check.worst_frame)
            shot = _shot(subject, check, again.trace, stage, meshes, lengths[check.arm])
            shots += [shot] if shot is not None else []
            if report is not None:
                report(number + 1, len(chosen))
    return tuple(shots)


def _again(
    subject: Subject | AnySubject,
    check: Check,
    stage: sample.Stage,
    seed: int,
    recorded: Clip | None,
    runs: Sequence[RunSpec] | None,
) -> one_check.Again:
    if isinstance(subject, AnySubject):
        return any_arm.again_card(subject.armature, subject.card, check, stage, seed, recorded)
    return one_check.again(subject, check, stage, seed, recorded, runs)


def _moved_meshes(armature: bpy.types.Object) -> list[bpy.types.Object]:
    """The visible meshes that the armature deforms or that hang on its bones."""
    return [
        item
        for item in bpy.context.view_layer.objects
        if item.type == "MESH"
        and item.visible_get()
        and (
            any(part.type == "ARMATURE" and part.object == armature for part in item.modifiers)
            or (item.parent == armature and item.parent_type == "BONE")
        )
    ]


def _shot(
    subject: Subject | AnySubject,
    check: Check,
    trace: Trace,
    stage: sample.Stage,
    meshes: Sequence[bpy.types.Object],
    length: float,
) -> Shot | None:
    """The picture of the pose that the stage has; None where the pose holds no numbers."""
    if not np.isfinite(trace.chain).all():
        return None
    wanted, found = figures.held(trace)
    points = trace.chain
    if wanted is not None and found is not None:
        off = float(np.linalg.norm(found - wanted))
        points = np.vstack([points, [wanted], [found]] if off < FURTHEST * length else [points, [wanted]])
    left = 1.0 if (subject.facing.T @ (trace.chain[1] - trace.chain[0]))[0] > 0.0 else -1.0
    direction = subject.facing @ (DIRECTION * [left, -1.0, 1.0])
    view = camera(points, direction, subject.facing[:, 2], MARGIN * length, WIDTH, HEIGHT)
    with _studio(view, length) as scene:
        if not _copy_meshes(subject.armature, stage, meshes, scene):
            _build_bones(subject, stage, scene)
        return Shot(check.id, _render(scene), view, wanted, found)


@contextmanager
def _studio(view: Camera, length: float) -> Iterator[bpy.types.Scene]:
    """A scene in armature space with camera and light; everything in it is gone afterwards."""
    before = {kind: set(getattr(bpy.data, kind)) for kind in ("images", "meshes", "objects", "cameras", "lights")}
    scene = bpy.data.scenes.new("armwright.picture")
    scene.world = world = bpy.data.worlds.new("armwright.picture")
    try:
        # Host 5 has no worlds without nodes.
        if world.node_tree is None:
            world.use_nodes = True
        background = next(node for node in world.node_tree.nodes if node.type == "BACKGROUND")
        background.inputs["Color"].default_value = (1.0, 1.0, 1.0, 1.0)
        background.inputs["Strength"].default_value = SKY
        lens = bpy.data.cameras.new("armwright.picture")
        lens.type = "ORTHO"
        lens.ortho_scale = view.width / view.scale
        lens.clip_end = 4.0 * AWAY * length
        place = np.eye(4)
        place[:3, :3] = np.stack([view.right, view.up, -view.away], axis=1)
        sun: Any = bpy.data.lights.new("armwright.picture", "SUN")
        sun.energy, sun.angle = SUN, 0.0
        sun.use_shadow = True
        # Over the viewer's left shoulder.
        lamp = place.copy()
        toward = view.up * 0.8 - view.right * 0.6 - view.away
        lamp[:3, 2] = toward / np.linalg.norm(toward)
        lamp[:3, 0] = np.cross(view.up, lamp[:3, 2])
        lamp[:3, 0] /= np.linalg.norm(lamp[:3, 0])
        lamp[:3, 1] = np.cross(lamp[:3, 2], lamp[:3, 0])
        place[:3, 3] = view.centre - view.away * AWAY * length
        for data, matrix in ((lens, place), (sun, lamp)):
            item = bpy.data.objects.new("armwright.picture", data)
            item.matrix_world = host.numpy_to_matrix(matrix)
            scene.collection.objects.link(item)
            scene.camera = item if data is lens else scene.camera
        yield scene
    finally:
        bpy.data.scenes.remove(scene)
        bpy.data.worlds.remove(world)
        for kind in ("objects", "meshes", "cameras", "lights", "images"):
            blocks = getattr(bpy.data, kind)
            for block in [block for block in blocks if block not in before[kind]]:
                blocks.remove(block)


def _copy_meshes(
    armature: bpy.types.Object, stage: sample.Stage, meshes: Sequence[bpy.types.Object], scene: bpy.types.Scene
) -> bool:
    """Copies of the meshes as they are posed, in the armature's space; whether there is a face among them."""
    stage.layer.update()
    graph = stage.layer.depsgraph
    place: Array = host.matrix_to_numpy(armature.evaluated_get(graph).matrix_world)
    to_armature = np.asarray(np.linalg.inv(place), float)
    faces = 0
    for item in meshes:
        evaluated = item.evaluated_get(graph)
        data = bpy.data.meshes.new_from_object(evaluated)
        data.materials.clear()
        faces += len(data.polygons)
        _add(scene, data, to_armature @ host.matrix_to_numpy(evaluated.matrix_world))
    return faces > 0


def _build_bones(subject: Subject | AnySubject, stage: sample.Stage, scene: bpy.types.Scene) -> None:
    """The bones that deform, as solids."""
    pose = subject.armature.evaluated_get(stage.layer.depsgraph).pose
    bones = [bone for bone in pose.bones if bone.bone.use_deform]
    points, triangles = blades(np.array([bone.head for bone in bones]), np.array([bone.tail for bone in bones]))
    data = bpy.data.meshes.new("armwright.picture")
    data.from_pydata(points.tolist(), [], triangles.tolist())
    _add(scene, data, np.eye(4))


def _add(scene: bpy.types.Scene, data: bpy.types.Mesh, matrix: Array) -> None:
    item = bpy.data.objects.new("armwright.picture", data)
    item.matrix_world = host.numpy_to_matrix(matrix)
    scene.collection.objects.link(item)


def _render(scene: bpy.types.Scene) -> bytes:
    """The scene's PNG."""
    settings = scene.render
    try:
        settings.engine = "CYCLES"
    except TypeError as problem:
        raise HostError(
            "the host's ray tracer is switched off, so there are no pictures: enable it, or give --no-pictures"
        ) from problem
    # The ray tracer's own settings; the host's stubs do not know extensions.
    tracer: Any = scene.cycles  # type: ignore[attr-defined]
    tracer.device = "CPU"
    tracer.samples = SAMPLES
    tracer.use_denoising = False
    tracer.seed = 0
    tracer.max_bounces = 0
    scene.view_settings.view_transform = "Standard"
    settings.resolution_x, settings.resolution_y, settings.resolution_percentage = WIDTH, HEIGHT, 100
    settings.film_transparent = True
    settings.image_settings.file_format = "PNG"
    settings.image_settings.color_mode = "RGBA"
    settings.image_settings.compression = 100
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "pose.png"
        settings.filepath = str(path)
        bpy.ops.render.render(write_still=True, scene=scene.name)
        if not path.is_file():
            raise HostError("the host rendered no picture: give --no-pictures to leave them out")
        return path.read_bytes()
