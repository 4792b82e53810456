"""Motion written as a BVH file: a root that moves, and joints that turn. What it writes, `bvh.read_bvh` reads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..rotations import matrix_to_euler

Array = NDArray[np.float64]
Offset = tuple[float, float, float]

# Channels in the order of the file; each rotation is multiplied on the right: Rz·Ry·Rx.
ROTATIONS = "Zrotation Yrotation Xrotation"
POSITIONS = "Xposition Yposition Zposition"


@dataclass(frozen=True)
class Joint:
    """A joint: `parent` is an index before its own, -1 for the root, which is the first and only one with positions.

    `offset` and `end` (of the End Site, where there is one) are in the axes and unit of the file. A joint that does not
    turn has no channels.
    """

    name: str
    parent: int
    offset: Offset
    end: Offset | None = None
    turns: bool = True


def bvh_text(joints: Sequence[Joint], rate: float, root: Array, rotations: Array) -> str:
    """The file.

    Args:
        joints: depth first, as they are nested; the first is the root.
        rate: frames a second.
        root: (N, 3) of the root, added to its offset, in the file's unit.
        rotations: (N, joints, 3, 3) in the parent's axes; those of joints that do not turn are left out.

    Raises ValueError for shapes that do not go together or joints that are not depth first.
    """
    if root.shape != (len(root), 3) or rotations.shape != (len(root), len(joints), 3, 3):
        given = root.shape, rotations.shape
        raise ValueError(f"{len(joints)} joints need (N, 3) and (N, {len(joints)}, 3, 3): {given}")
    lines, open_joints = ["HIERARCHY"], list[int]()
    for index, joint in enumerate(joints):
        if (joint.parent < 0) != (index == 0) or joint.parent not in (-1, *open_joints):
            raise ValueError(f"joint {joint.name!r} does not follow depth first on its parent")
        while open_joints and open_joints[-1] != joint.parent:
            lines.append("  " * (len(open_joints) - 1) + "}")
            open_joints.pop()
        indent = "  " * len(open_joints)
        channels = ([POSITIONS] if index == 0 else []) + ([ROTATIONS] if joint.turns else [])
        count = len(" ".join(channels).split())
        lines += [
            f"{indent}{'ROOT' if index == 0 else 'JOINT'} {joint.name}",
            indent + "{",
            f"{indent}  OFFSET {_offset(joint.offset)}",
            f"{indent}  CHANNELS {' '.join([str(count), *channels])}",
        ]
        if joint.end is not None:
            lines += [f"{indent}  End Site", indent + "  {", f"{indent}    OFFSET {_offset(joint.end)}", indent + "  }"]
        open_joints.append(index)
    lines += ["  " * depth + "}" for depth in range(len(open_joints) - 1, -1, -1)]
    columns = [root]
    for index, joint in enumerate(joints):
        if joint.turns:
            columns.append(np.degrees(matrix_to_euler(rotations[:, index], "XYZ"))[:, ::-1])
    lines += ["MOTION", f"Frames: {len(root)}", f"Frame Time: {1.0 / rate:.9g}"]
    lines += [" ".join(f"{value + 0.0:.6f}" for value in row) for row in np.concatenate(columns, axis=1)]
    return "\n".join(lines) + "\n"


def _offset(values: Offset) -> str:
    return " ".join(f"{value + 0.0:.9g}" for value in values)
