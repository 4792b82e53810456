"""The bones of one arm by role: which of several bones at a joint the skin follows, and which one is turned by FK."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from ..guide import Vec3
from .found import Evidence
from .limbs import SAME, Limb, Tree, cosine, direction, minus
from .sketch import SketchBone

COPIES = ("COPY_TRANSFORMS", "COPY_ROTATION")
SLOTS = ("upper_arm", "forearm", "hand")
# A bone lies along a segment within this angle.
ALONG = math.cos(math.radians(12.0))
# More bones at one joint are looked at by hierarchy alone.
MOST_AT_A_JOINT = 12


@dataclass(frozen=True)
class Layers:
    """Attributes:
    joints, fk: bones by slot: clavicle ("" where there is none), upper_arm, forearm, hand.
    ik: bones that an IK constraint moves and the joints copy.
    at: all bones of the arm by slot.
    evidence: by role, such as "forearm" or "fk_forearm".
    """

    joints: Mapping[str, str]
    fk: Mapping[str, str]
    ik: frozenset[str]
    at: Mapping[str, tuple[str, ...]]
    evidence: Mapping[str, tuple[Evidence, ...]]


def layers_of(limb: Limb, tree: Tree) -> Layers:
    """The bones of the arm that `limb` was found by."""
    at = {slot: _at(limb, number, tree) for number, slot in enumerate(SLOTS)}
    everything = {name for names in at.values() for name in names}
    moved = _moved_by_ik(everything, tree)
    copied = {item.target for name in everything for item in tree.bones[name].constraints if item.kind in COPIES}
    copied &= everything
    joints = _joints(limb, at, copied, moved, tree)
    fk = _fk(joints, at, copied, moved, tree)
    ik = frozenset(moved - set(joints.values())) & copied
    evidence: dict[str, tuple[Evidence, ...]] = {}
    for number, slot in enumerate(SLOTS):
        evidence[slot] = tuple(_joint_evidence(joints[slot], slot, number, limb, at[slot], copied, tree))
        evidence[f"fk_{slot}"] = tuple(_fk_evidence(fk[slot], joints[slot], copied, evidence[slot], tree))
    clavicle, fk_clavicle, why = _clavicle(joints["upper_arm"], fk["upper_arm"], limb, tree)
    evidence["clavicle"], evidence["fk_clavicle"] = why, why
    return Layers({"clavicle": clavicle, **joints}, {"clavicle": fk_clavicle, **fk}, ik, at, evidence)


def _at(limb: Limb, number: int, tree: Tree) -> tuple[str, ...]:
    """Bones that start at the joint and, but for the hand, point along the segment."""
    near = SAME * limb.length
    point = limb.points[number]
    found = []
    for bone in tree.bones.values():
        if max(abs(a - b) for a, b in zip(bone.head, point, strict=True)) > near:
            continue
        if number < 2 and cosine(direction(bone), minus(limb.points[number + 1], point)) < ALONG:
            continue
        found.append(bone.name)
    own = limb.bones[number]
    found.sort(key=lambda name: name != own)
    return tuple(found[:MOST_AT_A_JOINT]) if own in found else (own, *found[: MOST_AT_A_JOINT - 1])


def _moved_by_ik(names: set[str], tree: Tree) -> set[str]:
    moved: set[str] = set()
    for name in names:
        for item in tree.bones[name].constraints:
            if item.kind == "IK":
                chain = (name, *tree.above[name])
                moved.update(chain[: item.chain_length or len(chain)])
    return moved & names


def _joints(
    limb: Limb, at: Mapping[str, Sequence[str]], copied: set[str], moved: set[str], tree: Tree
) -> dict[str, str]:
    """The bones that the skin follows: those that deform where others don't, copy others, and hang together."""
    deforms = [name for names in at.values() for name in names if tree.bones[name].deform]
    tells = 0 < len(deforms) < sum(len(names) for names in at.values())

    def points(name: str, slot: str) -> float:
        bone = tree.bones[name]
        follows = any(item.kind in COPIES and item.target for item in bone.constraints)
        held = any(item.target and item.kind not in COPIES for item in bone.constraints)
        child = len(tree.below.get(name, ()))
        return (
            4.0 * (tells and bone.deform)
            + 2.0 * follows
            - 3.0 * (name in copied)
            - 0.5 * (name in moved and bool(copied))
            + 0.3 * held
            + 0.5 * (child > 0 and slot != "hand")
            + 0.4 * (child > 1 and slot == "hand")
        )

    def together(choice: tuple[str, ...]) -> float:
        upper, forearm, hand = choice
        linked = (upper in tree.above[forearm]) + (forearm in tree.above[hand])
        direct = (tree.above[forearm][:1] == (upper,)) + (tree.above[hand][:1] == (forearm,))
        total = sum(points(name, slot) for name, slot in zip(choice, SLOTS, strict=True))
        return total + 1.0 * linked + 0.2 * direct + 0.1 * (choice == limb.bones)

    options = [choice for choice in product(*(at[slot] for slot in SLOTS)) if len(set(choice)) == 3]
    best = max(options, key=together, default=limb.bones)
    return dict(zip(SLOTS, best, strict=True))


def _fk(
    joints: Mapping[str, str], at: Mapping[str, Sequence[str]], copied: set[str], moved: set[str], tree: Tree
) -> dict[str, str]:
    """What is turned: bones that hang together, no IK moves, and follow nothing; else the joints themselves."""
    own = tuple(joints[slot] for slot in SLOTS)
    follows = [name for name in own if any(item.kind in COPIES for item in tree.bones[name].constraints)]

    def is_free(name: str) -> bool:
        copies = any(item.kind in (*COPIES, "IK", "DAMPED_TRACK") for item in tree.bones[name].constraints)
        return name not in moved and name not in own and not copies

    chains: list[tuple[float, tuple[str, ...]]] = []
    for choice in product(*([name for name in at[slot] if is_free(name)] for slot in SLOTS)):
        upper, forearm, hand = choice
        if upper in tree.above[forearm] and forearm in tree.above[hand]:
            used = sum(name in copied for name in choice)
            carries = any(name in tree.above[joint] for joint in own for name in choice)
            if used or carries:
                chains.append((used + 0.5 * carries, choice))
    if not chains or not (follows or any(name in tree.above[joint] for _, found in chains for name in found
                                         for joint in own)):  # fmt: skip
        return dict(joints)
    return dict(zip(SLOTS, max(chains)[1], strict=True))


def _joint_evidence(
    name: str, slot: str, number: int, limb: Limb, at: Sequence[str], copied: set[str], tree: Tree
) -> Iterator[Evidence]:
    bone = tree.bones[name]
    yield Evidence(min(0.8, 0.35 + 0.15 * limb.weight), ", ".join(limb.traits))
    if len(at) == 1:
        yield Evidence(0.4, "the only bone at this joint")
    elif bone.deform and any(not tree.bones[other].deform for other in at):
        yield Evidence(0.6, "it deforms the mesh, others at this joint do not")
    if any(item.kind in COPIES and item.target in at for item in bone.constraints):
        yield Evidence(0.6, "it copies other bones at this joint")
    if number > 0 and limb.bones[number - 1] in tree.above[name]:
        yield Evidence(0.3, f"carried by {limb.bones[number - 1]}")
    if number < 2 and math.dist(bone.tail, limb.points[number + 1]) <= SAME * limb.length:
        yield Evidence(0.3, "it ends at the next joint")


def _fk_evidence(
    name: str, joint: str, copied: set[str], of_joint: Sequence[Evidence], tree: Tree
) -> Iterator[Evidence]:
    if name == joint:
        yield from of_joint
        return
    yield Evidence(0.4, "part of a chain that no IK moves and that follows nothing")
    if name in copied:
        yield Evidence(0.6, f"{joint} copies it")
    if name in tree.above[joint]:
        yield Evidence(0.5, f"it carries {joint}")


def _clavicle(upper: str, fk_upper: str, limb: Limb, tree: Tree) -> tuple[str, str, tuple[Evidence, ...]]:
    """The bone between the torso and the shoulder, what turns it, and why; "" where the arm hangs from the torso."""
    shoulder = limb.points[0]
    apart = 0.05 * limb.length

    def starts_inside(name: str) -> bool:
        bone = tree.bones[name]
        inwards = abs(bone.head[0]) < abs(shoulder[0])
        return not tree.in_middle(name) and math.dist(bone.head, shoulder) > apart and inwards

    inner = [name for name in _inside(upper, limb.carrier, tree) if starts_inside(name)]
    if not inner:
        return "", "", ()
    ends = [name for name in inner if _ends_at(tree.bones[name], shoulder, limb)]
    name = (ends or inner)[0]
    turned = [other for other in (ends or inner) if math.dist(tree.bones[other].head, tree.bones[name].head) <= apart]
    free = [other for other in turned if not tree.bones[other].constraints]
    evidence = [Evidence(0.5, f"between {limb.carrier or 'the torso'} and {upper}")]
    if ends:
        evidence.append(Evidence(0.6, "it ends at the shoulder"))
    return name, (free or turned)[-1], tuple(evidence)


def _inside(name: str, carrier: str, tree: Tree) -> tuple[str, ...]:
    above = tree.above[name]
    return above[: above.index(carrier)] if carrier in above else above


def _ends_at(bone: SketchBone, point: Vec3, limb: Limb) -> bool:
    return math.dist(bone.tail, point) <= 10.0 * SAME * limb.length
