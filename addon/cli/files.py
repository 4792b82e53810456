"""Files in and out of the command line: a file is written whole or not at all."""

from __future__ import annotations

import math
import os
from pathlib import Path

import bpy
from mathutils import Matrix

from ...core.errors import HostError
from ...core.fit.mesh import Fit, fit_mesh
from ...core.fit.unit import unit_of
from ...core.guide import FRONT, UP, Vec3
from ..measure_mesh import character_height
from ..read_mesh import character_surface

MESH_IMPORTERS = {
    ".obj": lambda path: bpy.ops.wm.obj_import(filepath=path),
    ".ply": lambda path: bpy.ops.wm.ply_import(filepath=path),
    ".stl": lambda path: bpy.ops.wm.stl_import(filepath=path),
    ".glb": lambda path: bpy.ops.import_scene.gltf(filepath=path),
    ".gltf": lambda path: bpy.ops.import_scene.gltf(filepath=path),
}
BLEND_SUFFIX = ".blend"


def open_input(path: Path) -> None:
    """Open a .blend or import a mesh file into an empty file. Raises HostError with what is wrong with it."""
    if not path.is_file():
        raise HostError(f"there is no file {str(path)!r}: check the path")
    suffix = path.suffix.lower()
    try:
        if suffix == BLEND_SUFFIX:
            bpy.ops.wm.open_mainfile(filepath=str(path), load_ui=False, use_scripts=False)
            return
        if suffix not in MESH_IMPORTERS:
            known = ", ".join((BLEND_SUFFIX, *sorted(MESH_IMPORTERS)))
            raise HostError(f"{path.name!r} is of a kind that can not be read here; give one of: {known}")
        bpy.ops.wm.read_factory_settings(use_empty=True)
        MESH_IMPORTERS[suffix](str(path))
    except RuntimeError as problem:
        reason = str(problem).strip().splitlines()[-1].removeprefix("Error: ")
        raise HostError(f"{path.name!r} could not be opened: {reason}") from problem
    if not bpy.data.objects:
        raise HostError(f"{path.name!r} holds no objects")


def in_metres(path: Path, unit: float | None) -> None:
    """Bring what was imported from a mesh file to metres: by `unit`, metres of one of its own, or by its size, said.

    A .blend has a unit of its own and stays as it is.
    """
    if path.suffix.lower() == BLEND_SUFFIX or not any(item.type == "MESH" for item in bpy.data.objects):
        return
    if unit is None:
        unit, sentence = unit_of(character_height(bpy.data.objects))
        if sentence:
            print(f"note: {sentence}")
    if not (math.isfinite(unit) and unit > 0.0):
        raise HostError(f"the unit is {unit:g} metres: it has to be more than 0")
    if unit == 1.0:
        return
    for item in bpy.data.objects:
        if item.parent is None:
            item.matrix_world = Matrix.Scale(unit, 4) @ item.matrix_world
    bpy.context.view_layer.update()


def joints_of(name: str, names: list[str] | None = None, up: Vec3 = UP, front: Vec3 = FRONT, unit: float = 1.0) -> Fit:
    """Joints of the open file's character, read from all its meshes or from those named. Raises FitError, HostError."""
    objects = list(bpy.data.objects)
    if names is not None:
        meshes = {item.name: item for item in objects if item.type == "MESH"}
        for wanted in names:
            if wanted not in meshes:
                raise HostError(f"there is no mesh named {wanted!r}; there is: {', '.join(sorted(meshes)) or 'none'}")
        objects = [meshes[wanted] for wanted in names]
    vertices, triangles = character_surface(objects)
    return fit_mesh(vertices, triangles, name, up, front, unit)


def open_arms(path: Path, armature: str | None) -> bpy.types.Object:
    """Open a .blend and show the armature with arms in it, the one named or the only one.

    Raises HostError where there is none.
    """
    return open_armature(path, armature, with_arms=True)


def open_armature(path: Path, name: str | None, *, with_arms: bool) -> bpy.types.Object:
    """Open a .blend and show an armature in it, whoever built it unless `with_arms`: the one named or the only one.

    Raises HostError where there is none.
    """
    if path.suffix.lower() != BLEND_SUFFIX:
        what = "build arms into one first" if with_arms else "save the rig as one"
        raise HostError(f"{path.name!r} is not a .blend file: {what}")
    open_input(path)
    found = choose_armature(name, with_arms=with_arms)
    if found is None:
        lack = " with arms built by Armwright: build them first, or draft a card of others with `card`"
        raise HostError(f"{path.name!r} has no armature{lack if with_arms else ''}")
    show_scene_of(found)
    return found


def save_blend(path: Path) -> None:
    """Save the open file to `path` through a file beside it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.part{BLEND_SUFFIX}")
    try:
        bpy.ops.wm.save_as_mainfile(filepath=str(part), copy=True, check_existing=False)
        os.replace(part, path)
    except RuntimeError as problem:
        raise HostError(f"{path.name!r} could not be saved: {str(problem).strip().splitlines()[-1]}") from problem
    finally:
        part.unlink(missing_ok=True)


def choose_armature(name: str | None, *, with_arms: bool) -> bpy.types.Object | None:
    """The armature to work on: the one named, or the only one there is; None if there is none.

    Raises HostError if the name is unknown or the choice is open.
    """
    found = [item for item in bpy.data.objects if item.type == "ARMATURE" and item.users_scene]
    if with_arms:
        from ..rig import has_arms

        found = [item for item in found if has_arms(item)]
    names = ", ".join(sorted(item.name for item in found)) or "none"
    if name is not None:
        match = [item for item in found if item.name == name]
        if not match:
            raise HostError(
                f"there is no armature named {name!r}{' with arms' if with_arms else ''}; there is: {names}"
            )
        return match[0]
    if len(found) > 1:
        raise HostError(f"there are several armatures: choose one with --armature: {names}")
    return found[0] if found else None


def show_scene_of(armature: bpy.types.Object) -> None:
    """Make a scene that shows the armature the current one."""
    if armature.name in bpy.context.view_layer.objects:
        return
    scenes = armature.users_scene
    if not scenes or bpy.context.window is None:
        raise HostError(f"{armature.name!r} is in no scene that can be shown: link it to a scene")
    bpy.context.window.scene = scenes[0]
    if armature.name not in bpy.context.view_layer.objects:
        raise HostError(f"{armature.name!r} is in an excluded collection: enable that collection")
