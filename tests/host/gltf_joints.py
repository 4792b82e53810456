"""Reads a .glb back as any program would: by pygltflib, and by the glTF 2.0 specification (Khronos) for what moves."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# glTF 2.0, 3.6.2.2 "Accessor Data Types".
COMPONENTS = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT4": 16}
# From a Y-up world to the host's Z-up one.
Z_UP = np.array([[1.0, 0.0, 0.0, 0.0], [0.0, 0.0, -1.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 0.0, 1.0]])


@dataclass(frozen=True)
class Mesh:
    """Vertices (V, 3) with up to four joints each and their weights, (V, J), and the skin's bind matrices (K, 4, 4)."""

    vertices: Array
    joints: NDArray[np.int64]
    weights: Array
    bind: Array
    skin: tuple[str, ...]


@dataclass(frozen=True)
class Read:
    """A file's nodes.

    Attributes:
        parents: each node's parent by name, "" for none.
        joints: names of the skin's joints.
        times: (N,) of the animation's keys, seconds.
        world: each node's matrix at every key, (N, 4, 4), Z up.
        rotations: each animated node's rotation keys (N, 4), x y z w as stored.
        meshes: by the node's name.
        animations: names.
    """

    parents: dict[str, str]
    joints: tuple[str, ...]
    times: Array
    world: dict[str, Array]
    rotations: dict[str, Array]
    meshes: dict[str, Mesh]
    animations: tuple[str, ...]


def read(path: Path) -> Read:
    from pygltflib import GLTF2

    file = GLTF2().load(str(path))
    nodes = file.nodes
    parents = {child: number for number, node in enumerate(nodes) for child in node.children or ()}
    times, channels, rotations = np.zeros(1), {}, {}
    assert len(file.animations) <= 1
    for animation in file.animations:
        for channel in animation.channels:
            sampler = animation.samplers[channel.sampler]
            when, values = accessor(file, sampler.input)[:, 0], accessor(file, sampler.output)
            # What changes by no more than a rounding may as well be stepped: the exporter does so with two keys.
            assert sampler.interpolation in (None, "LINEAR") or np.ptp(values, axis=0).max() < 1e-6
            assert len(times) == 1 or np.array_equal(times, when)
            times = when
            channels[channel.target.node, channel.target.path] = values
            if channel.target.path == "rotation":
                rotations[nodes[channel.target.node].name] = values
    world: dict[int, Array] = {}

    def world_of(number: int) -> Array:
        if number not in world:
            own = local(nodes[number], number, channels, len(times))
            world[number] = world_of(parents[number]) @ own if number in parents else own
        return world[number]

    skins = [tuple(nodes[joint].name for joint in skin.joints) for skin in file.skins]
    return Read(
        parents={node.name: nodes[parents[place]].name if place in parents else "" for place, node in enumerate(nodes)},
        joints=skins[0] if skins else (),
        times=times,
        world={node.name: Z_UP @ world_of(place) for place, node in enumerate(nodes)},
        rotations=rotations,
        meshes={
            node.name: mesh(file, node, skins) for node in nodes if node.mesh is not None and node.skin is not None
        },
        animations=tuple(animation.name for animation in file.animations),
    )


def local(node: Any, number: int, channels: dict[tuple[int, str], Array], count: int) -> Array:
    """A node's own matrix (N, 4, 4): its channels where it has any, its own numbers where not."""
    if node.matrix is not None:
        return np.tile(np.array(node.matrix, float).reshape(4, 4).T, (count, 1, 1))

    def channel(path: str, own: Any, default: tuple[float, ...]) -> Array:
        still = np.array(own if own is not None else default, float)
        return channels.get((number, path), np.tile(still, (count, 1)))

    place = channel("translation", node.translation, (0.0, 0.0, 0.0))
    turn = channel("rotation", node.rotation, (0.0, 0.0, 0.0, 1.0))
    size = channel("scale", node.scale, (1.0, 1.0, 1.0))
    out = np.tile(np.eye(4), (count, 1, 1))
    out[:, :3, :3] = turned(turn) * size[:, None, :]
    out[:, :3, 3] = place
    return out


def turned(quats: Array) -> Array:
    """Matrices of x y z w quaternions, (N, 3, 3), made units as a viewer does."""
    x, y, z, w = (quats / np.linalg.norm(quats, axis=-1, keepdims=True)).T
    return np.stack(
        [
            np.stack([1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)], -1),
            np.stack([2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)], -1),
            np.stack([2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)], -1),
        ],
        axis=-2,
    )


def mesh(file: Any, node: Any, skins: list[tuple[str, ...]]) -> Mesh:
    """Every primitive of a skinned node, one after the other."""
    skin = file.skins[node.skin]
    vertices, joints, weights = [], [], []
    for primitive in file.meshes[node.mesh].primitives:
        has = primitive.attributes
        sets = [index for index in range(4) if getattr(has, f"JOINTS_{index}", None) is not None]
        vertices.append(accessor(file, has.POSITION))
        joints.append(np.concatenate([accessor(file, getattr(has, f"JOINTS_{index}")) for index in sets], axis=1))
        weights.append(np.concatenate([accessor(file, getattr(has, f"WEIGHTS_{index}")) for index in sets], axis=1))
    bind = accessor(file, skin.inverseBindMatrices).reshape(-1, 4, 4).transpose(0, 2, 1)
    joined = np.concatenate(joints).astype(int)
    return Mesh(np.concatenate(vertices), joined, np.concatenate(weights), bind, skins[node.skin])


def skinned(found: Read, name: str) -> Array:
    """Where a mesh's vertices are at every key, (N, V, 3), Z up: linear blend skinning, glTF 2.0, 3.7.3.3."""
    item = found.meshes[name]
    matrices = np.stack([found.world[joint] for joint in item.skin], axis=1) @ item.bind
    blended = np.einsum("vj,nvjab->nvab", item.weights, matrices[:, item.joints])
    points = np.concatenate([item.vertices, np.ones((len(item.vertices), 1))], axis=1)
    return np.einsum("nvab,vb->nva", blended, points)[..., :3]


def accessor(file: Any, number: int) -> Array:
    """An accessor's values, (count, width)."""
    entry = file.accessors[number]
    assert entry.sparse is None and not entry.normalized
    view = file.bufferViews[entry.bufferView]
    width, kind = WIDTHS[entry.type], np.dtype(COMPONENTS[entry.componentType])
    stride = view.byteStride or width * kind.itemsize
    start = (view.byteOffset or 0) + (entry.byteOffset or 0)
    return np.array(np.ndarray((entry.count, width), kind, file.binary_blob(), start, (stride, kind.itemsize)), float)
