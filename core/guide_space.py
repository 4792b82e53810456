"""A joint guide in another space: turned, moved and scaled as a whole."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from .guide import ArmGuide, FingerGuide, GirthGuide, Guide, PivotGuide, TorsoGuide, Vec3

Array = NDArray[np.float64]


def in_space(guide: Guide, matrix: Array) -> Guide:
    """`guide` through `matrix`, (4, 4), from its space to another: a turn, a move and one scale, no mirror."""
    scale = float(np.cbrt(np.linalg.det(matrix[:3, :3])))
    turn = matrix[:3, :3] / scale

    def point(place: Vec3) -> Vec3:
        return _vec(matrix[:3, :3] @ np.array(place) + matrix[:3, 3])

    def way(direction: Vec3) -> Vec3:
        return _vec(turn @ np.array(direction))

    def finger(item: FingerGuide) -> FingerGuide:
        joints = tuple(map(point, item.joints))
        return replace(item, joints=joints, curl=None if item.curl is None else way(item.curl))

    def arm(item: ArmGuide) -> ArmGuide:
        pivots, girth = item.pivots, item.girth
        return replace(
            item,
            clavicle=point(item.clavicle),
            shoulder=point(item.shoulder),
            elbow=point(item.elbow),
            wrist=point(item.wrist),
            hand_end=point(item.hand_end),
            palm=way(item.palm),
            bend=None if item.bend is None else way(item.bend),
            fingers=tuple(map(finger, item.fingers)),
            pivots=None if pivots is None else PivotGuide(*(point(getattr(pivots, f.name)) for f in fields(pivots))),
            girth=None if girth is None else GirthGuide(*(scale * getattr(girth, f.name) for f in fields(girth))),
        )

    torso = guide.torso
    if torso is not None:
        torso = TorsoGuide(point(torso.root), tuple(map(point, torso.chain)), point(torso.head))
    up, front = np.array(way(guide.up)), np.array(way(guide.front))
    return replace(
        guide,
        arms=tuple(map(arm, guide.arms)),
        torso=torso,
        up=_vec(up / np.linalg.norm(up)),
        front=_vec(front / np.linalg.norm(front)),
    )


def _vec(vector: Array) -> Vec3:
    return float(vector[0]), float(vector[1]), float(vector[2])
