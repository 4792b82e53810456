"""Joints from a character's mesh: the whole way from vertices and faces to a guide."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..anatomy import FOREARM, SHOULDER_HALF_BREADTH, SHOULDER_HEIGHT, UPPER_ARM
from ..errors import FitError
from ..guide import FRONT, UP, ArmGuide, Guide, TorsoGuide, Vec3
from ..guide_space import in_space
from ..stature import CHEST_HEIGHT, CLAVICLE_ASIDE, CLAVICLE_FORWARD, HIP_HEIGHT, NECK_HEIGHT, WAIST_HEIGHT
from .arms import arms_of
from .directions import facing_hint, frame_of, head_down_hint, lying_hint
from .hand import Palm
from .hand_read import read_hand, vec
from .joints import ArmJoints, Read, joints_of
from .line import centre_line
from .surface import Array, Faces, Net, net_of, triangles_of
from .walk import Body, Limb, body_of, from_tip

# Segment lengths over stature, both (Winter; see anatomy.py).
ARM = UPPER_ARM + FOREARM
# A joint that is farther than this, over the arm's length, from the other side's mirror image is worth a look.
UNLIKE = 0.1
SIDE_WORDS = {"L": "left", "R": "right"}


@dataclass(frozen=True)
class Reading:
    """How a joint or a direction of an arm came about.

    Attributes:
        side: "L" or "R".
        part: the field of ArmGuide, or finger and joint, such as "index.1" for its root; see `place_of`.
        confidence: 0 to 1.
        guessed: by proportion or convention; False: read from the mesh.
    """

    side: str
    part: str
    confidence: float
    guessed: bool


@dataclass(frozen=True)
class Fit:
    """A guide read from a mesh, how each part of it came about, and what the user should look at."""

    guide: Guide
    readings: tuple[Reading, ...]
    warnings: tuple[str, ...]


def place_of(arm: ArmGuide, part: str) -> Vec3 | None:
    """The point or direction that a reading of `arm` is about; None for `pivots`, which are several."""
    finger, _, number = part.partition(".")
    if number:
        return next(item for item in arm.fingers if item.name == finger).joints[int(number) - 1]
    place: Vec3 | None = None if part == "pivots" else getattr(arm, part)
    return place


def fit_mesh(vertices: Array, faces: Faces, name: str, up: Vec3 = UP, front: Vec3 = FRONT, unit: float = 1.0) -> Fit:
    """Arms and torso of the character with `vertices`, (V, 3), and `faces`, polygons or (F, 3).

    `up` and `front` are the character's directions in the mesh's space, `unit` the metres of one unit of it; the guide
    is in that space in metres. Several meshes go in as one, with their indices moved on. Raises FitError where the
    mesh, the directions or the unit can not be used, or where there are no arms.
    """
    frame = frame_of(up, front)
    if not (math.isfinite(unit) and unit > 0.0):
        raise FitError(f"the unit is {unit:g} metres: it has to be more than 0")
    vertices = np.asarray(vertices, np.float64)
    triangles = triangles_of(vertices, faces)
    net = net_of(vertices @ frame.T * unit, triangles)
    hint = lying_hint(net, frame)
    if hint:
        raise FitError(hint)
    body = body_of(net)
    try:
        sides = arms_of(net, body)
    except FitError as problem:
        raise FitError(f"{problem}{facing_hint(net, body, frame)}") from None
    hint = head_down_hint(net, body, frame)
    if hint:
        raise FitError(hint)
    ring = net.points[body.ring]
    waist = np.array([*(0.5 * (ring[:, :2].min(axis=0) + ring[:, :2].max(axis=0))), ring[:, 2].mean()])
    arms, readings, warnings = [], [], []
    for side, limb in sides.items():
        arm, arm_readings, arm_warnings = _arm(net, body, limb, side, waist)
        arms.append(arm)
        readings += arm_readings
        warnings += arm_warnings
    if len(arms) == 2:
        warnings += _unlike(arms[0], arms[1], float(waist[0]))
    else:
        only = SIDE_WORDS[arms[0].side]
        warnings.append(f"the mesh has a {only} arm alone: if it has both, place the other by markers, or mirror it")
    torso = _torso(net, waist, float(np.mean([arm.shoulder[2] for arm in arms])))
    to_mesh = np.eye(4)
    to_mesh[:3, :3] = frame.T
    return Fit(in_space(Guide(name, tuple(arms), torso), to_mesh), tuple(readings), tuple(warnings))


def _arm(net: Net, body: Body, limb: Limb, side: str, waist: Array) -> tuple[ArmGuide, list[Reading], list[str]]:
    limb, levels = from_tip(net, limb, body.distance)
    line = centre_line(net, limb, levels)
    joints = joints_of(net, limb, line, float(waist[0]))
    hand = read_hand(net, limb, joints, side == "L")
    clavicle = _clavicle(joints.shoulder.point, waist)
    bend, bend_reading, warnings = _bend(joints, hand.palm, side)
    arm = ArmGuide(
        side=side,
        clavicle=vec(clavicle),
        shoulder=vec(joints.shoulder.point),
        elbow=vec(joints.elbow.point),
        wrist=vec(joints.wrist.point),
        hand_end=vec(hand.end.point),
        palm=vec(hand.palm.direction),
        bend=vec(bend),
        fingers=hand.fingers,
        pivots=hand.pivots,
    )
    parts: list[tuple[str, Read]] = [
        ("clavicle", Read(clavicle, 0.3, True)),
        ("shoulder", joints.shoulder),
        ("elbow", joints.elbow),
        ("wrist", joints.wrist),
        ("hand_end", hand.end),
    ]
    readings = [Reading(side, part, read.confidence, read.guessed) for part, read in parts]
    readings += [Reading(side, "palm", hand.palm.confidence, hand.palm.guessed), bend_reading]
    readings += [Reading(side, part, confidence, guessed) for part, confidence, guessed in hand.readings]
    return arm, readings, warnings + [f"the {SIDE_WORDS[side]} hand {note}" for note in hand.notes]


def _bend(joints: ArmJoints, palm: Palm, side: str) -> tuple[Array, Reading, list[str]]:
    if joints.bend is not None:
        return joints.bend, Reading(side, "bend", joints.elbow.confidence, False), []
    # The elbow of a relaxed arm points to the little finger's side: opposite the thumb's.
    along = joints.wrist.point - joints.shoulder.point
    bend = np.cross(along, palm.direction) * (1.0 if side == "L" else -1.0)
    bend = bend / np.linalg.norm(bend)
    warning = (
        f"the {SIDE_WORDS[side]} arm is straight, so its elbow is by proportion and points away from the thumb: "
        "check both"
    )
    return bend, Reading(side, "bend", 0.5 * palm.confidence, True), [warning]


def _unlike(left: ArmGuide, right: ArmGuide, middle: float) -> list[str]:
    """A warning for each joint that is far from the other side's mirror image."""
    length = math.dist(left.shoulder, left.elbow) + math.dist(left.elbow, left.wrist)
    found = []
    for joint in ("shoulder", "elbow", "wrist"):
        x, y, z = getattr(right, joint)
        gap = math.dist(getattr(left, joint), (2.0 * middle - x, y, z)) / length
        if gap > UNLIKE:
            found.append(
                f"the two {joint}s are unlike by {100.0 * gap:.0f} % of the arm: check both, or mirror the better one"
            )
    return found


def _clavicle(shoulder: Array, waist: Array) -> Array:
    """The clavicle's inner end by handbook proportions: beside the middle, a little in front of the shoulder."""
    half = float(shoulder[0] - waist[0])
    stature = abs(half) / SHOULDER_HALF_BREADTH
    aside = half * CLAVICLE_ASIDE / SHOULDER_HALF_BREADTH
    return np.array([waist[0] + aside, shoulder[1] - CLAVICLE_FORWARD * stature, shoulder[2]])


def _torso(net: Net, waist: Array, shoulder_height: float) -> TorsoGuide:
    """Torso joints by handbook heights between the floor and the shoulders, in the middle of the body."""
    low, high = float(net.points[:, 2].min()), float(net.points[:, 2].max())
    scale = (shoulder_height - low) / SHOULDER_HEIGHT
    levels = [low + scale * level for level in (HIP_HEIGHT, WAIST_HEIGHT, CHEST_HEIGHT, NECK_HEIGHT)]
    top = max(high, levels[-1] + 0.05 * scale)
    points = [np.array([waist[0], waist[1], level]) for level in (low, *levels, top)]
    return TorsoGuide(vec(points[0]), tuple(vec(point) for point in points[1:-1]), vec(points[-1]))
