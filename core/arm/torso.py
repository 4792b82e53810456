"""A plain torso for a character that has no armature yet: root at the floor, a chain of joints, a head stub."""

from __future__ import annotations

import itertools

import numpy as np

from ..guide import TorsoGuide, Vec3
from ..plan.draft import Draft, rest_rows
from ..plan.model import LOCKED, Bone, Display
from . import names as n
from .context import Array

ROOT = "root"
HEAD = "head"
# The side of the root's marker on the floor, over the height of the chain's lowest joint.
ROOT_SIZE = 0.5


def add_torso(draft: Draft, torso: TorsoGuide, up: Vec3, front: Vec3) -> tuple[str, str, str]:
    """Add root, chain and head; return the names of the bone that carries the arms, of the root and of the head."""
    joints = [np.array(point, float) for point in torso.chain]
    floor = np.array(torso.root, float)
    size = ROOT_SIZE * float(np.linalg.norm(joints[0] - floor))
    side = np.cross(np.array(up), np.array(front))
    draft.bones.append(
        Bone(
            name=ROOT,
            parent="",
            rest=rest_rows(_chain_frame(floor, -np.array(front), side)),
            length=size,
            collection=n.COLLECTION_TORSO,
            rotation_order="XYZ",
            display=Display("floor", "held", (size, size, size)),
        )
    )
    parent = ROOT
    for index, (head, tail) in enumerate(itertools.pairwise(joints), start=1):
        name = f"torso.{index}"
        draft.bones.append(_torso_bone(name, parent, head, tail, side, lowest=index == 1))
        parent = name
    draft.bones.append(_torso_bone(HEAD, parent, joints[-1], np.array(torso.head, float), side, lowest=False))
    return parent, ROOT, HEAD


def _torso_bone(name: str, parent: str, head: Array, tail: Array, side: Array, *, lowest: bool) -> Bone:
    length = float(np.linalg.norm(tail - head))
    width = 1.1 * length if name != HEAD else 0.6 * length
    return Bone(
        name=name,
        parent=parent,
        rest=rest_rows(_chain_frame(head, tail - head, side)),
        length=length,
        collection=n.COLLECTION_TORSO,
        rotation_order="XYZ",
        deform=True,
        lock_location=(False, False, False) if lowest else LOCKED,
        display=Display("hoop", "body", (width, width, width), (0.0, 0.5 * length, 0.0)),
    )


def _chain_frame(head: Array, along: Array, side: Array) -> Array:
    """Y along the bone, X to the character's left."""
    y = along / np.linalg.norm(along)
    x = side - y * (side @ y)
    x = x / np.linalg.norm(x)
    frame = np.eye(4)
    frame[:3, 0], frame[:3, 1], frame[:3, 2], frame[:3, 3] = x, y, np.cross(x, y), head
    return frame
