"""Arrays of an .npz that somebody else wrote: nothing in it runs, and nothing that it says of its size is believed."""

from __future__ import annotations

import io
import math
import struct
import tokenize
import zipfile
import zlib
from collections import Counter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import MotionError, shown

# What the standard library and numpy raise for an archive or an array that is damaged, encrypted or none.
_BROKEN = (
    ValueError, OSError, EOFError, KeyError, TypeError, RuntimeError, OverflowError, zipfile.BadZipFile, zlib.error,
    struct.error, SyntaxError, tokenize.TokenError,
)  # fmt: skip


def _member(data: bytes) -> NDArray[Any]:
    """The array in one file of the archive. Raises one of _BROKEN for anything else, also where it says that it is
    larger than it is: numpy would take the memory first."""
    file = io.BytesIO(data)
    version = _NPY.read_magic(file)
    if version not in _HEADERS:
        raise ValueError("an array of an unknown version")
    shape, _, kind = _HEADERS[version](file)
    if kind.hasobject:
        raise ValueError("an array of objects")
    if math.prod(shape) * kind.itemsize != len(data) - file.tell():
        raise ValueError(f"an array of shape {shape} in {len(data)} bytes")
    file.seek(0)
    return np.asarray(_NPY.read_array(file, allow_pickle=False))


# numpy has no types for it.
_NPY: Any = np.lib.format
_HEADERS = {(1, 0): _NPY.read_array_header_1_0, (2, 0): _NPY.read_array_header_2_0}


def npz_arrays(data: bytes, name: str, most: int) -> dict[str, NDArray[Any]]:
    """The arrays by their names, of any numbers and shapes.

    Args:
        name: of the motion, for people.
        most: bytes that they may take when unpacked.

    Raises MotionError for what is no such archive, is larger, or has two arrays of one name.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            # numpy packs by no other method, and others may ask for gigabytes before they read a byte.
            if {item.compress_type for item in packed.infolist()} - {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}:
                raise ValueError("an archive that is packed by another method than numpy's")
            size = sum(item.file_size for item in packed.infolist())
            names = packed.namelist()
            if size > most:
                raise MotionError(f"{name}: {size} bytes when unpacked are more than {most}; cut it into shorter takes")
            if len(set(names)) < len(names):
                doubled = Counter(names).most_common(1)[0][0].removesuffix(".npy")
                raise MotionError(f"{name}: two arrays are called {shown(doubled)}; save it again with one")
            arrays = {item.filename.removesuffix(".npy"): _member(packed.read(item)) for item in packed.infolist()}
    except _BROKEN as problem:
        why = repr(str(problem)[:200])
        raise MotionError(f"{name}: this is no .npz of plain numbers ({why}); save it again") from None
    return arrays
