"""Arrays for the fuzzer: archives with members that lie about themselves, and meshes that no character has."""

from __future__ import annotations

import io
import random
import struct
import zipfile
from typing import Any

import numpy as np
from fuzz_mutations import HOSTILE_NAMES, mutated_bytes
from numpy.typing import NDArray

_SHAPES = ((8, 3), (8, 4), (0, 3), (8,), (), (1, 3), (2, 3, 3), (8, 0), (1_000, 3))
_TYPES = ("f8", "f4", "f2", "i4", "u1", "b1", "c16", "U3", "S4", "M8[s]", "m8[ns]", "V4", ">f8", "f8,i4", "U0", "i8")
# Headers that numpy's reader has to refuse or to be kept from.
_HEADERS = (
    "{'descr': '<f8', 'fortran_order': False, 'shape': (1000000000000, 3), }",
    "{'descr': '<f8', 'fortran_order': False, 'shape': (-1, 3), }",
    "{'descr': '|O', 'fortran_order': False, 'shape': (8, 3), }",
    "{'descr': '<f8'}",
    "[" * 200,
    "1/0",
    "{'descr': '<f8', 'fortran_order': True, 'shape': (60000000, 3), }",
    "__import__('os')",
    "{'descr': '<f8', 'fortran_order': False, 'shape': (9223372036854775807, 9223372036854775807), }",
    "",
    "\x00",
    "{'descr': [('a', '<f8')], 'fortran_order': False, 'shape': (8,), }",
    "{'descr': '<f8', 'fortran_order': False, 'shape': (True, 3), }",
    "{" * 9_000,
    "{'descr': '<f8', 'fortran_order': False, 'shape': (8.0, 3), }",
    "{'descr': '<U500000000', 'fortran_order': False, 'shape': (), }",
)
_PARTS = (
    "L.shoulder",
    "L.elbow",
    "L.wrist",
    "L.tip",
    "L.hand",
    "L.thumb",
    "R.shoulder",
    "torso",
    "torso.turn",
    "hips",
    "thing.x",
    "rate",
    "unit",
    "up",
    "facing",
    "columns",
    "nonsense",
    ".shoulder",
    "thing.",
)
_VALUES = (0.0, 1.0, -1.0, np.nan, np.inf, 1e7, 1e300, 1e-300, 0.3)


def _array(rng: random.Random) -> NDArray[Any]:
    shape, kind = rng.choice(_SHAPES), rng.choice(_TYPES)
    made = np.random.default_rng(rng.randrange(2**32)).normal(size=shape)
    if rng.random() < 0.3:
        made = np.full(shape, rng.choice(_VALUES))
    if rng.random() < 0.5:
        return made
    with np.errstate(all="ignore"):
        try:
            return made.astype(kind)
        except (TypeError, ValueError):
            return np.zeros(shape, kind)


def _member(array: NDArray[Any]) -> bytes:
    out = io.BytesIO()
    np.lib.format.write_array(out, array, allow_pickle=False)
    return out.getvalue()


def _forged(rng: random.Random) -> bytes:
    header = rng.choice(_HEADERS).encode() + b"\n"
    version = rng.choice((1, 1, 2, 3, 9))
    size = struct.pack("<H" if version == 1 else "<I", len(header))
    return b"\x93NUMPY" + bytes((version, 0)) + size + header + bytes(192)


def mutated_archive(rng: random.Random, data: bytes, seed: bytes) -> bytes:
    """An archive of arrays with members replaced, added, packed by other methods, or damaged."""
    start = data if data and rng.random() < 0.3 else seed
    if rng.random() < 0.3:
        return mutated_bytes(rng, start)
    with zipfile.ZipFile(io.BytesIO(seed)) as good:
        members = {item.filename: good.read(item) for item in good.infolist()}
    for _ in range(rng.choice((1, 1, 2, 4))):
        name = rng.choice((*members, *(f"{part}.npy" for part in _PARTS), *HOSTILE_NAMES, *_PARTS))
        kind = rng.randrange(6)
        if kind <= 1:
            members[name] = _member(_array(rng))
        elif kind == 2:
            members[name] = _forged(rng)
        elif kind == 3:
            members.pop(name, None)
        elif kind == 4:
            members[name] = mutated_bytes(rng, members.get(name, _member(_array(rng))))
        else:
            members[name] = rng.choice((b"", b"plain text", b"\x93NUMPY", b"\x80\x04.", bytes(64)))
    out = io.BytesIO()
    with zipfile.ZipFile(
        out, "w", rng.choice((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA))
    ) as made:
        for name, content in members.items():
            try:
                made.writestr(name or "_", content)
            except (UnicodeError, ValueError, IndexError):
                continue
    packed = out.getvalue()
    if rng.random() < 0.1:
        # Encrypted, or by a method that nobody has, as far as the directory says.
        at = packed.rfind(b"PK\x01\x02")
        place, value = rng.choice(((8, b"\x01\x00"), (10, b"\x63\x00"), (24, b"\xff\xff\xff\x7f"), (6, b"\xff\x00")))
        packed = packed[: at + place] + value + packed[at + place + len(value) :]
    return packed


def mesh_bytes() -> bytes:
    """A cross of boxes: a trunk with two arms, coarse."""
    boxes = (
        ((-0.2, -0.1, 0.0), (0.2, 0.1, 1.6)),
        ((0.2, -0.05, 1.3), (0.8, 0.05, 1.4)),
        ((-0.8, -0.05, 1.3), (-0.2, 0.05, 1.4)),
    )
    corners, faces = [], []
    for low, high in boxes:
        first = len(corners)
        corners += [[(low, high)[k >> axis & 1][axis] for axis in range(3)] for k in range(8)]
        for face in ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)):
            faces.append([first + corner for corner in face])
    return _mesh(np.array(corners, np.float64), np.array(faces, np.int32))


def _mesh(vertices: NDArray[np.float64], faces: NDArray[np.int32]) -> bytes:
    return struct.pack("<H", len(vertices)) + vertices.tobytes() + faces.tobytes()


def mesh_of(data: bytes) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """Vertices (V, 3) and faces (F, 4) of the bytes that `mesh_bytes` makes, or of any others."""
    count = min(int.from_bytes(data[:2], "little"), max(len(data) - 2, 0) // 24)
    vertices = np.frombuffer(data[2 : 2 + 24 * count], np.float64).reshape(-1, 3)
    rest = data[2 + 24 * count :]
    faces = np.frombuffer(rest[: len(rest) // 16 * 16], np.int32).reshape(-1, 4)
    return vertices, faces


def mutated_mesh(rng: random.Random, data: bytes, seed: bytes) -> bytes:
    """A mesh with points moved, scaled, made no numbers, and faces that turn, double or name nothing."""
    start = data if len(data) > 64 and rng.random() < 0.5 else seed
    if rng.random() < 0.2:
        return mutated_bytes(rng, start)
    vertices, faces = (array.copy() for array in mesh_of(start))
    for _ in range(rng.choice((1, 2, 4))):
        kind = rng.randrange(7)
        with np.errstate(all="ignore"):
            if kind == 0 and len(vertices):
                vertices[rng.randrange(len(vertices)), rng.randrange(3)] = rng.choice((*_VALUES, 1e160, -1e308))
            elif kind == 1:
                vertices = vertices * rng.choice((0.0, 1e-300, 1e-9, 1e9, 1e160, 1e308, -1.0))
            elif kind == 2 and len(faces):
                faces[rng.randrange(len(faces)), rng.randrange(4)] = rng.choice((-1, 0, 7, 23, 2**31 - 1, -(2**31)))
            elif kind == 3:
                faces = faces[: rng.randrange(len(faces) + 1)]
            elif kind == 4 and len(vertices):
                vertices[:, rng.randrange(3)] = rng.choice(_VALUES[:3])
            elif kind == 5:
                vertices = vertices[:, rng.sample(range(3), 3)]
            elif len(vertices):
                noise = np.random.default_rng(rng.randrange(2**32)).normal(size=vertices.shape)
                vertices = vertices + noise * rng.choice((1e-12, 0.01, 0.3, 1e6))
    return _mesh(vertices, faces)
