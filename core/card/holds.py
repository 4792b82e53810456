"""What an animator places to hold an arm, and the influences that make the arm hold on to it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from ..guide import Vec3
from .found import Evidence
from .layers import COPIES, SLOTS, Layers
from .limbs import Limb, Tree, torso_and_root
from .sketch import SketchConstraint
from .switches import Switch

# What the arm is constrained to is at a joint if it is so near, as a part of the arm's length.
AT_JOINT = 0.03
PLACES_ELBOW = ("CHILD_OF", "ARMATURE", "COPY_LOCATION", "DAMPED_TRACK", "TRACK_TO", "STRETCH_TO")
HOLDS_HAND = (*COPIES, "CHILD_OF", "ARMATURE", "COPY_LOCATION")
ISOLATES = (*COPIES, "CHILD_OF", "ARMATURE")


@dataclass(frozen=True)
class Holds:
    """Attributes:
    bones: hand_hold, elbow_hold and elbow_aim; "" where there is none.
    evidence: by the same names.
    switches: influences that decide what is held.
    isolate: the influence that keeps the FK arm from turning with the torso; None where there is none.
    """

    bones: Mapping[str, str]
    evidence: Mapping[str, tuple[Evidence, ...]]
    switches: tuple[Switch, ...]
    isolate: Switch | None


def holds_of(limb: Limb, layers: Layers, tree: Tree) -> Holds:
    """The placed controls of an arm and their switches."""
    own = _own(limb, layers, tree)
    # In the armature's order, so that the same armature always gives the same card.
    items = [
        (name, item)
        for name, bone in tree.bones.items()
        if name in own
        for item in bone.constraints
        if item.target in tree.bones
    ]
    bones: dict[str, str] = {}
    evidence: dict[str, tuple[Evidence, ...]] = {}
    for role, found in (
        ("hand_hold", _hand(items, limb, layers, own, tree)),
        ("elbow_hold", _elbow(items, limb, own, tree)),
        ("elbow_aim", _aim(items, limb, own, tree)),
    ):
        bones[role], evidence[role] = found if found is not None else ("", ())
    # One control is not placed for two ends; what is clearer keeps it.
    if bones["elbow_hold"] == bones["hand_hold"]:
        bones["elbow_hold"], evidence["elbow_hold"] = "", ()
    if bones["elbow_aim"] in (bones["hand_hold"], bones["elbow_hold"]):
        bones["elbow_aim"], evidence["elbow_aim"] = "", ()
    switches = (*_hand_switches(bones["hand_hold"], layers, tree), *_elbow_switches(bones["elbow_hold"], items, tree))
    return Holds(bones, evidence, switches, _isolate(limb, layers, own, set(bones.values()), tree))


Items = list[tuple[str, SketchConstraint]]


def _own(limb: Limb, layers: Layers, tree: Tree) -> frozenset[str]:
    """All bones that the arm carries, on all its layers."""
    joints = {*layers.joints.values(), *layers.fk.values(), *layers.ik, *limb.bones} - {""}
    roots = joints | ({limb.root} if not tree.in_middle(limb.root) else set())
    return frozenset(name for name in tree.bones if name in roots or not roots.isdisjoint(tree.above[name]))


def _control(target: str, point: Vec3, limb: Limb, own: frozenset[str], tree: Tree) -> str:
    """What carries `target` at the same point and follows nothing: that is what a person moves."""
    chosen = target
    for name in tree.above[target]:
        bone = tree.bones[name]
        if name in own or tree.in_middle(name):
            break
        if math.dist(bone.head, point) <= AT_JOINT * limb.length and not bone.constraints:
            chosen = name
    return chosen


def _hand(
    items: Items, limb: Limb, layers: Layers, own: frozenset[str], tree: Tree
) -> tuple[str, tuple[Evidence, ...]] | None:
    wrist = limb.points[2]
    for name, item in items:
        if item.kind == "IK" and item.target not in own:
            chosen = _control(item.target, wrist, limb, own, tree)
            evidence = [Evidence(0.85, f"target of the IK constraint of {name}")]
            if math.dist(tree.bones[chosen].head, wrist) <= AT_JOINT * limb.length:
                evidence.append(Evidence(0.6, "it is at the wrist"))
            return chosen, tuple(evidence)
    at_wrist = [
        (name, item)
        for name, item in items
        if item.target not in own and math.dist(tree.bones[item.target].head, wrist) <= AT_JOINT * limb.length
    ]
    hands = {layers.joints["hand"], *layers.at["hand"]}
    for name, item in at_wrist:
        if item.kind in HOLDS_HAND and name in hands:
            chosen = _control(item.target, wrist, limb, own, tree)
            return chosen, (Evidence(0.7, f"{name} follows it ({item.name})"), Evidence(0.5, "it is at the wrist"))
    for name, item in at_wrist:
        return _control(item.target, wrist, limb, own, tree), (Evidence(0.45, f"{name} goes by it ({item.name})"),)
    return None


def _elbow(items: Items, limb: Limb, own: frozenset[str], tree: Tree) -> tuple[str, tuple[Evidence, ...]] | None:
    elbow = limb.points[1]
    for name, item in items:
        if item.kind not in PLACES_ELBOW or item.target in own:
            continue
        if math.dist(tree.bones[item.target].head, elbow) <= AT_JOINT * limb.length:
            chosen = _control(item.target, elbow, limb, own, tree)
            words = item.kind.replace("_", " ").title()
            return chosen, (Evidence(0.75, f"{name} has {words} to it"), Evidence(0.6, "it is at the elbow"))
    return None


def _aim(items: Items, limb: Limb, own: frozenset[str], tree: Tree) -> tuple[str, tuple[Evidence, ...]] | None:
    for name, item in items:
        if item.kind == "IK" and item.pole in tree.bones and item.pole not in own:
            return item.pole, (Evidence(0.9, f"pole of the IK constraint of {name}"),)
    for name, item in items:
        far = min(math.dist(tree.bones[item.target].head, point) for point in limb.points)
        if item.kind == "LOCKED_TRACK" and item.target not in own and far > 0.1 * limb.length:
            return item.target, (Evidence(0.5, f"{name} turns towards it and it is away from the arm"),)
    return None


def _hand_switches(hold: str, layers: Layers, tree: Tree) -> Iterator[Switch]:
    if not hold:
        return

    def is_hold(name: str) -> bool:
        return name == hold or (name in tree.bones and hold in tree.above[name])

    fk = {layers.fk[slot] for slot in SLOTS} - {layers.joints[slot] for slot in SLOTS}
    for slot in SLOTS:
        name = layers.joints[slot]
        after_ik = False
        for item in tree.bones[name].constraints:
            if item.kind == "IK" or (item.kind in HOLDS_HAND and (item.target in layers.ik or is_hold(item.target))):
                after_ik = True
                yield Switch(name, item, "hand")
            elif item.kind in COPIES and item.target in fk and (after_ik or _by_property(item)):
                yield Switch(name, item, "fk")
    for name in sorted(layers.ik):
        for item in tree.bones[name].constraints:
            if _by_property(item) and (item.kind == "IK" or is_hold(item.target)):
                yield Switch(name, item, "hand")


def _elbow_switches(hold: str, items: Items, tree: Tree) -> Iterator[Switch]:
    for name, item in items:
        if hold and item.kind in (*PLACES_ELBOW, *COPIES) and (item.target == hold or hold in tree.above[item.target]):
            yield Switch(name, item, "elbow")


def _by_property(item: SketchConstraint) -> bool:
    return bool((item.driver and item.driver.sources) or (item.mute_driver and item.mute_driver.sources))


def _isolate(limb: Limb, layers: Layers, own: frozenset[str], holds: set[str], tree: Tree) -> Switch | None:
    """A constraint of what carries the FK upper arm, to something that the torso does not carry."""
    if not limb.carrier:
        return None
    torso = torso_and_root(limb.carrier, tree)[0]
    upper = layers.fk["upper_arm"]
    carriers = tree.above[upper]
    clavicles = {layers.joints["clavicle"], layers.fk["clavicle"]}
    inner = carriers[: carriers.index(limb.carrier)] if limb.carrier in carriers else ()
    for name in (upper, *(bone for bone in inner if bone not in clavicles)):
        for item in tree.bones[name].constraints:
            target = item.target
            if item.kind not in ISOLATES or target not in tree.bones or target in own or target in holds:
                continue
            carried = (target, *tree.above[target])
            if torso[0] not in carried and holds.isdisjoint(carried):
                return Switch(name, item, "elbow")
    return None
