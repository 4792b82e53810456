"""Finds the arms of an armature by hierarchy and geometry: their shoulders, elbows and wrists, and what carries them.

Every bone with two of its carriers is a candidate for (hand, forearm, upper arm). Candidates are weighed by how an arm
is made: two segments of nearly one length and a hand that is shorter, bones that point from joint to joint, an elbow
that is bent, fingers that fan out, an IK constraint over just these two segments. Names are not asked.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from ..guide import Vec3
from .sketch import RigSketch, SketchBone

# Forearm and hand over the part above (Winter, fig. 4.1: upper arm 0.186, forearm 0.146, hand 0.108 of the stature).
FOREARM_SHARE, HAND_SHARE = 0.146 / 0.186, 0.108 / 0.146
# A ratio of lengths that is off by this factor (e-fold 0.5) still speaks for an arm.
RATIO_WIDTH = 0.5
# What the other traits multiply the weight by; common practice, and tuned on the tests' armatures.
BETWEEN, FANS_OUT, IK_OVER, BENT, POINTS, FREE = 0.8, 1.2, 1.6, 1.15, 1.25, 0.5
LIGHTEST = 0.12
# A bend of less is straight.
BENT_BY = math.radians(2.0)
# Two points are one if they are nearer than this part of the arm's length.
SAME = 0.01
# An arm that is shorter than this part of the longest is a finger, a strap, a lock of hair.
SHORTEST_SHARE = 0.3
# A bone is in the middle if both ends are so near to it, as a part of the rig's half width.
MIDDLE = 0.02
# A leg stands: so much of its length goes down, from the low part of the torso to below it.
HANGING, LOW_PART = 0.85, 0.4
# Constraints by which a bone without a parent is carried.
CARRYING = ("CHILD_OF", "ARMATURE", "COPY_LOCATION", "COPY_TRANSFORMS")
# Two arms on one shoulder are further apart than this part of their length.
APART = 0.25


@dataclass(frozen=True)
class Limb:
    """A shoulder, an elbow and a wrist, and the three bones that they were found by.

    Attributes:
        bones: upper arm, forearm, hand.
        points: shoulder, elbow, wrist.
        carrier: the bone in the middle that carries it; "" where there is none.
        root: the first bone below the carrier.
        weight: how much speaks for an arm.
        traits: what does, in words.
    """

    bones: tuple[str, str, str]
    points: tuple[Vec3, Vec3, Vec3]
    carrier: str
    root: str
    weight: float
    traits: tuple[str, ...]

    @property
    def length(self) -> float:
        """Shoulder to elbow to wrist."""
        return math.dist(self.points[0], self.points[1]) + math.dist(self.points[1], self.points[2])


@dataclass(frozen=True)
class Tree:
    """An armature's hierarchy.

    Attributes:
        bones: by name.
        above: the carriers of each bone, its parent first.
        below: the children of each bone.
        reach: how far from a bone's head the furthest end of it and of what it carries is.
    """

    bones: Mapping[str, SketchBone]
    above: Mapping[str, tuple[str, ...]]
    below: Mapping[str, tuple[str, ...]]
    reach: Mapping[str, float]
    half_width: float

    def in_middle(self, name: str) -> bool:
        """Whether the bone lies in the armature's plane X = 0."""
        near = MIDDLE * self.half_width
        bone = self.bones[name]
        return abs(bone.head[0]) <= near and abs(bone.tail[0]) <= near


def tree_of(sketch: RigSketch) -> Tree:
    """The hierarchy of `sketch`."""
    bones = {bone.name: bone for bone in sketch.bones}
    parents = {bone.name: _carrier(bone, bones) for bone in sketch.bones}
    above: dict[str, tuple[str, ...]] = {}
    below: dict[str, list[str]] = defaultdict(list)
    for name, parent in parents.items():
        chain: list[str] = []
        while parent and parent not in chain and parent != name:
            chain.append(parent)
            parent = parents[parent]
        above[name] = tuple(chain)
        if parents[name]:
            below[parents[name]].append(name)
    reach = {name: math.dist(bone.head, bone.tail) for name, bone in bones.items()}
    for name, bone in bones.items():
        for carrier in above[name]:
            reach[carrier] = max(reach[carrier], math.dist(bones[carrier].head, bone.tail))
    half_width = max((max(abs(bone.head[0]), abs(bone.tail[0])) for bone in sketch.bones), default=0.0)
    return Tree(bones, above, {name: tuple(children) for name, children in below.items()}, reach, half_width)


def _carrier(bone: SketchBone, bones: Mapping[str, SketchBone]) -> str:
    """The parent; of a bone without one, the bone that it is constrained to and starts at the end of."""
    if bone.parent in bones:
        return bone.parent
    near = SAME * math.dist(bone.head, bone.tail)
    targets = [item.target for item in bone.constraints if item.kind in CARRYING and item.target in bones]
    return next((name for name in targets if math.dist(bones[name].tail, bone.head) <= near), "")


def minus(a: Vec3, b: Vec3) -> Vec3:
    """a - b."""
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])


def dot(a: Vec3, b: Vec3) -> float:
    """Scalar product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def cosine(a: Vec3, b: Vec3) -> float:
    """Of the angle between two vectors; 0 where one of them has no length."""
    size = math.hypot(*a) * math.hypot(*b)
    return max(-1.0, min(1.0, dot(a, b) / size)) if size > 0.0 else 0.0


def direction(bone: SketchBone) -> Vec3:
    """From head to tail."""
    return minus(bone.tail, bone.head)


def find_limbs(tree: Tree) -> tuple[tuple[Limb, ...], Vec3]:
    """The arms, one limb each, the bones being those that spoke most clearly; and which way is up."""
    found = sorted(_candidates(tree), key=lambda limb: (-limb.weight * limb.length, limb.bones))
    attached = [limb for limb in found if limb.carrier]
    carriers = sorted({limb.carrier for limb in attached})
    up = up_of(carriers, tree)
    heights = _heights(carriers, tree, up)
    # What speaks most clearly says what a limb is: a part of a leg is no arm either.
    clearest: dict[str, Limb] = {}
    for limb in attached:
        clearest.setdefault(limb.root, limb)
    legs = {root for root, limb in clearest.items() if _is_leg(limb, heights, up)}
    kept: list[Limb] = []
    for limb in attached or found:
        if limb.root not in legs and not any(_is_part(limb, arm, tree) for arm in kept):
            kept.append(limb)
    longest = max((limb.length for limb in kept), default=0.0)
    return tuple(limb for limb in kept if limb.length >= SHORTEST_SHARE * longest), up


def up_of(carriers: Sequence[str], tree: Tree) -> Vec3:
    """The axis, across the sides, that the torso comes nearest to; +Z where there is no torso."""
    sums = [0.0, 0.0, 0.0]
    for carrier in carriers:
        first = tree.bones[torso_and_root(carrier, tree)[0][0]]
        for axis, value in enumerate(minus(tree.bones[carrier].tail, first.head)):
            sums[axis] += value
    axis = 1 if abs(sums[1]) > abs(sums[2]) else 2
    sign = -1.0 if sums[axis] < 0.0 else 1.0
    return (0.0, sign, 0.0) if axis == 1 else (0.0, 0.0, sign)


def _heights(carriers: Sequence[str], tree: Tree, up: Vec3) -> tuple[float, float]:
    """The lowest and the highest point of the torso."""
    spine = {name for carrier in carriers for name in torso_and_root(carrier, tree)[0]}
    heights = [dot(point, up) for name in spine for point in (tree.bones[name].head, tree.bones[name].tail)]
    return min(heights, default=0.0), max(heights, default=0.0)


def _candidates(tree: Tree) -> Iterator[Limb]:
    ik_over = {_ik_span(bone, item.chain_length, tree) for bone in tree.bones.values() for item in bone.constraints
               if item.kind == "IK"}  # fmt: skip
    for name in tree.bones:
        if tree.in_middle(name):
            continue
        carriers = tree.above[name]
        stop = next((at for at, one in enumerate(carriers) if tree.in_middle(one)), len(carriers))
        inner = carriers[:stop]
        carrier = carriers[stop] if stop < len(carriers) else ""
        for low in range(len(inner)):
            for high in range(low + 1, len(inner)):
                limb = _limb((inner[high], inner[low], name), inner[: high + 1], carrier, tree, ik_over)
                if limb is not None:
                    yield limb


def _ik_span(bone: SketchBone, length: int, tree: Tree) -> tuple[str, str]:
    """First and last bone that an IK constraint moves."""
    chain = (bone.name, *tree.above[bone.name])
    return chain[min(length, len(chain)) - 1 if length else -1], bone.name


def _limb(
    bones: tuple[str, str, str], path: Sequence[str], carrier: str, tree: Tree, ik_over: set[tuple[str, str]]
) -> Limb | None:
    """The candidate; None where too little speaks for it. `path` runs from the hand's parent up to the upper arm."""
    upper, forearm, hand = (tree.bones[name] for name in bones)
    one, two = math.dist(upper.head, forearm.head), math.dist(forearm.head, hand.head)
    if min(one, two) <= 1e-6 * max(tree.half_width, 1e-9):
        return None
    traits = [f"two segments of {one:.3g} and {two:.3g}"]
    weight = _near(two / one / FOREARM_SHARE)
    weight *= _near(max(tree.reach[hand.name] / two, 1e-3) / HAND_SHARE, 2.0 * RATIO_WIDTH)
    if weight < LIGHTEST / 4.0:
        return None
    between = [name for name in path if name not in bones and _on_the_way(tree.bones[name], (upper, forearm, hand))]
    weight *= BETWEEN ** len(between)
    if between:
        traits.append(f"{len(between)} bones between the joints")
    for first, second in ((upper, forearm), (forearm, hand)):
        if cosine(direction(first), minus(second.head, first.head)) > math.cos(BENT_BY):
            weight *= POINTS
        else:
            weight *= FREE
    angle = math.acos(cosine(minus(forearm.head, upper.head), minus(hand.head, forearm.head)))
    if angle > BENT_BY:
        weight *= BENT
        traits.append(f"an elbow that is bent by {math.degrees(angle):.0f} degrees")
    if len(tree.below.get(hand.name, ())) >= 2:
        weight *= FANS_OUT
        traits.append("several bones at its end, as fingers are")
    if (upper.name, path[0]) in ik_over:
        weight *= IK_OVER
        traits.append("an IK constraint over just these bones")
    if weight < LIGHTEST:
        return None
    below_carrier = tree.above[bones[0]]
    inner = below_carrier[: below_carrier.index(carrier)] if carrier else below_carrier
    root = inner[-1] if inner else bones[0]
    return Limb(bones, (upper.head, forearm.head, hand.head), carrier, root, weight, tuple(traits))


def _near(ratio: float, width: float = RATIO_WIDTH) -> float:
    return math.exp(-((math.log(ratio) / width) ** 2))


def _on_the_way(bone: SketchBone, joints: Sequence[SketchBone]) -> bool:
    """Whether the bone's head is at none of the joints: it divides a segment, and is no socket of a joint."""
    size = math.dist(joints[0].head, joints[-1].head)
    return all(math.dist(bone.head, joint.head) > SAME * size for joint in joints)


def _is_part(limb: Limb, arm: Limb, tree: Tree) -> bool:
    """Whether `limb` is the arm that was found before, or a part of it such as a finger or another layer."""
    near = SAME * arm.length
    if all(math.dist(a, b) <= near for a, b in zip(limb.points, arm.points, strict=True)):
        return True
    if any(name in arm.bones for bone in limb.bones for name in (bone, *tree.above[bone])):
        return True
    if any(bone in tree.above[limb.bones[0]] for bone in arm.bones):
        return True
    if any(name in limb.bones for bone in arm.bones for name in (bone, *tree.above[bone])):
        return True
    if limb.root != arm.root and limb.length > 0.5 * arm.length:
        # Another arm may lie close by; it is this one's layer if it ends where this one does.
        return math.dist(limb.points[2], arm.points[2]) <= near and math.dist(limb.points[1], arm.points[1]) <= near
    reach = APART * arm.length
    return all(_distance(point, arm.points) <= reach for point in limb.points[1:]) or (
        math.dist(limb.points[0], arm.points[2]) <= 0.5 * arm.length and limb.length <= 0.5 * arm.length
    )


def _distance(point: Vec3, line: Sequence[Vec3]) -> float:
    """From a point to a line of joints."""
    best = math.inf
    for start, end in pairwise(line):
        along, to = minus(end, start), minus(point, start)
        size = dot(along, along)
        t = max(0.0, min(1.0, dot(along, to) / size)) if size > 0.0 else 0.0
        foot = (start[0] + t * along[0], start[1] + t * along[1], start[2] + t * along[2])
        best = min(best, math.dist(point, foot))
    return best


def _is_leg(limb: Limb, heights: tuple[float, float], up: Vec3) -> bool:
    """Whether the limb goes down from the low part of the torso and ends below it."""
    down = -dot(minus(limb.points[2], limb.points[0]), up) / max(limb.length, 1e-12)
    low, high = heights
    starts, ends = dot(limb.points[0], up), dot(limb.points[2], up)
    return down >= HANGING and starts < low + LOW_PART * (high - low) and ends < low


def torso_and_root(carrier: str, tree: Tree) -> tuple[tuple[str, ...], str]:
    """The chain of bones that ends with `carrier`, the lowest first, and the bone outside it ("" if there is none).

    A bone at the chain's start is the root if the next one starts neither at its tail nor at its head.
    """
    chain = [*reversed(tree.above[carrier]), carrier]
    root = ""
    while len(chain) > 1:
        first, second = tree.bones[chain[0]], tree.bones[chain[1]]
        size = math.dist(second.head, tree.bones[carrier].tail)
        gap = min(math.dist(first.tail, second.head), math.dist(first.head, second.head))
        if gap <= 0.1 * size and tree.in_middle(chain[0]):
            break
        root = root or chain[0]
        chain.pop(0)
    return tuple(chain), root
