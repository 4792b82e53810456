"""How thick a character's arms are, read from its meshes: see core/fit/girth.py."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import bpy
import numpy as np

from ..core.errors import HostError
from ..core.fit.girth import with_girth
from ..core.guide import Guide
from .host import matrix_to_numpy
from .read_mesh import character_surface


def measured(
    guide: Guide,
    armature: bpy.types.Object | None,
    objects: Iterable[bpy.types.Object],
    at: Sequence[float] = (0.0, 0.0, 0.0),
) -> Guide:
    """`guide`, in the space of `armature` (without one, about the point `at` of the world), with the meshes' girths.

    Meshes that the armature deforms count alone where there are any. Arms around which there is no mesh keep none.
    """
    meshes = [item for item in objects if item.type == "MESH"]
    own = [item for item in meshes if armature is not None and _is_of(item, armature)]
    try:
        vertices, _ = character_surface(own or meshes)
    except HostError:
        # Nothing to measure: controls get a person's proportions.
        return guide
    if armature is not None:
        inverse = np.linalg.inv(matrix_to_numpy(armature.matrix_world))
        vertices = vertices @ inverse[:3, :3].T + inverse[:3, 3]
    else:
        vertices = vertices - np.array(at, float)
    return with_girth(guide, vertices)


def _is_of(item: bpy.types.Object, armature: bpy.types.Object) -> bool:
    bound = any(
        modifier.type == "ARMATURE" and getattr(modifier, "object", None) is armature for modifier in item.modifiers
    )
    return bound or item.parent is armature
