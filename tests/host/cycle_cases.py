"""Small rigs by name, for each way in which the host lets one thing wait for another: with and without a cycle."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from cycle_rigs import chain, drive, hold, solver, thing


def _solved(*arguments: Any, tail: bool = True, **more: Any) -> Callable[[], Any]:
    """A chain a, b, c, d, e with IK constraints by (bone, count, target, pole)."""

    def make() -> Any:
        item = chain(5)
        for bone, count, target, pole in arguments:
            solver(item, bone, count, target, pole, tail)
        for bone, kind, target in more.get("holds", ()):
            hold(item, bone, kind, target)
        return item

    return make


def _held(kind: str, bone: str, target: str, **values: Any) -> Callable[[], Any]:
    def make() -> Any:
        item = chain()
        hold(item, bone, kind, target, **values)
        return item

    return make


def _in_space_of(space: str, is_used: bool) -> Callable[[], Any]:
    """A copies x in the space of another bone."""

    def make() -> Any:
        item = chain()
        made = hold(item, "a", "COPY_LOCATION", "x")
        made.target_space = "CUSTOM"
        made.space_object, made.space_subtarget = item, space
        if not is_used:
            made.target_space = "WORLD"
        return item

    return make


def _influence(kind: str, read: tuple[str, str], bone: str = "b", target: str = "x") -> Callable[[], Any]:
    """The influence of a constraint of b is driven by what is read of another bone."""

    def make() -> Any:
        item = chain()
        made = solver(item, bone, 2, target) if kind == "IK" else hold(item, bone, kind, target)
        if read[1].startswith("["):
            item.pose.bones[read[0]]["dial"] = 0.0
        drive(made, "influence", (item, *read))
        return item

    return make


def _channel(bone: str, read: tuple[str, str]) -> Callable[[], Any]:
    def make() -> Any:
        item = chain()
        drive(item.pose.bones[bone], "rotation_euler", (item, *read), 0)
        return item

    return make


def _keyed_influence(read: str) -> Callable[[], Any]:
    """An IK constraint's influence has keys, and its owner's channel is driven by a bone that another one moves."""

    def make() -> Any:
        item = chain()
        made = solver(item, "x", 1, "y")
        solver(item, "b", 2, "z")
        made.keyframe_insert("influence", frame=1)
        drive(item.pose.bones["x"], "location", (item, read, ""), 0)
        return item

    return make


def _on_bone(bone: str, kind: str, other: str) -> Callable[[], Any]:
    """An object on a bone, and a bone that follows the object."""

    def make() -> Any:
        item, lamp = chain(), thing("Lamp")
        lamp.parent, lamp.parent_type, lamp.parent_bone = item, "BONE", bone
        made = item.pose.bones[other].constraints.new(kind)
        made.target = lamp
        return item

    return make


def _armature_on(other_follows: bool) -> Callable[[], Any]:
    def make() -> Any:
        item, post = chain(), thing("Post")
        item.parent = post
        if other_follows:
            made = post.constraints.new("COPY_LOCATION")
            made.target, made.subtarget = item, "a"
        return item

    return make


def _dials(first: str, second: str) -> Callable[[], Any]:
    """Custom properties of two bones that drive each other, and no bone."""

    def make() -> Any:
        item = chain()
        for bone in "ab":
            item.pose.bones[bone]["dial"] = 0.0
        drive(item.pose.bones[first], '["dial"]', (item, second, '["dial"]'))
        drive(item.pose.bones["a"], '["dial"]', (item, "b", '["dial"]'))
        return item

    return make


def _place_reads(own: bool) -> Callable[[], Any]:
    """The armature's location is driven by its own transform, or by that of an object that is parented to it."""

    def make() -> Any:
        item, lamp = chain(), thing("Lamp")
        lamp.parent = item
        drive(item, "location", (item if own else lamp, "", ""), 0)
        return item

    return make


def _poled(pole: str, above: str = "") -> Callable[[], Any]:
    def make() -> Any:
        item = chain(5)
        solver(item, "b", 2, "x", pole)
        if above:
            hold(item, "x", "COPY_LOCATION", above)
        return item

    return make


EVERY: dict[str, Callable[[], Any]] = {
    "pole outside": _poled("y"),
    "pole below the chain": _poled("d"),
    "pole right below the chain": _poled("c"),
    "pole in the chain": _poled("a"),
    "pole on the owner": _poled("b"),
    "pole follows nothing of the chain": _poled("y", "z"),
    "target follows what is below the chain": _poled("y", "d"),
    "target outside": _solved(("c", 2, "x", "")),
    "target below the chain": _solved(("b", 2, "d", "")),
    "target in the chain": _solved(("c", 3, "b", "")),
    "target is the owner": _solved(("c", 2, "c", "")),
    "target above the chain": _solved(("d", 2, "a", "")),
    "whole chain to a bone outside": _solved(("d", 0, "x", "")),
    "whole chain to a bone of it": _solved(("d", 0, "a", "")),
    "whole chain to a bone below it": _solved(("c", 0, "e", "")),
    "whole chain with a pole below it": _solved(("c", 0, "x", "e")),
    "chain of one with a pole below": _solved(("c", 1, "x", "d")),
    "without the tip": _solved(("c", 2, "x", "c"), tail=False),
    "without the tip, pole below": _solved(("c", 2, "x", "d"), tail=False),
    "two chains of one root": _solved(("b", 2, "x", ""), ("c", 3, "y", "")),
    "two chains of one root, one's pole hangs on the other": _solved(("b", 2, "x", ""), ("c", 3, "y", "d")),
    "two chains that overlap": _solved(("c", 2, "x", ""), ("e", 4, "y", "")),
    "two chains, one above the other": _solved(("b", 2, "x", ""), ("d", 2, "y", "")),
    "two chains, one follows the other's tip": _solved(("b", 2, "x", ""), ("x", 1, "b", "")),
    "chain without a target": _solved(("c", 2, "", "")),
    "chain without a target, with a pole in it": _solved(("c", 2, "", "b")),
    "chain without a target that waits for itself": _solved(
        ("c", 2, "", ""), holds=(("x", "COPY_LOCATION", "b"), ("c", "COPY_ROTATION", "x"))
    ),
    "chain that waits for itself by a bone outside": _solved(
        ("c", 2, "y", ""), holds=(("x", "COPY_LOCATION", "b"), ("c", "COPY_ROTATION", "x"))
    ),
    "chain bone copies its chain": _solved(("c", 3, "x", ""), holds=(("b", "COPY_ROTATION", "a"),)),
    "chain bone copies what is below it in its chain": _solved(("c", 3, "x", ""), holds=(("a", "COPY_ROTATION", "b"),)),
    "Armature constraint within its chain": _solved(("c", 3, "x", ""), holds=(("b", "ARMATURE", "a"),)),
    "Armature constraint": _held("ARMATURE", "a", "x"),
    "Armature constraint to a child": _held("ARMATURE", "a", "b"),
    "Armature constraint to itself": _held("ARMATURE", "a", "a"),
    "Child Of": _held("CHILD_OF", "a", "x"),
    "Child Of a child": _held("CHILD_OF", "a", "c"),
    "Child Of its parent": _held("CHILD_OF", "b", "a"),
    "Child Of itself": _held("CHILD_OF", "a", "a"),
    "Stretch To": _held("STRETCH_TO", "c", "x"),
    "Stretch To a child": _held("STRETCH_TO", "a", "b"),
    "Copy Transforms": _held("COPY_TRANSFORMS", "c", "x"),
    "Copy Transforms of a child": _held("COPY_TRANSFORMS", "a", "d"),
    "Copy Transforms of itself": _held("COPY_TRANSFORMS", "a", "a"),
    "in the space of a bone outside": _in_space_of("y", True),
    "in the space of a child": _in_space_of("c", True),
    "not in the space of a child": _in_space_of("c", False),
    "muted Copy Transforms of a child": _held("COPY_TRANSFORMS", "a", "d", mute=True),
    "influence 0 of a child": _held("COPY_ROTATION", "a", "d", influence=0.0),
    "influence by a channel of a child": _influence("COPY_ROTATION", ("c", "location[0]")),
    "influence by the pose of a child": _influence("COPY_ROTATION", ("c", "")),
    "influence by the own pose": _influence("COPY_ROTATION", ("b", "")),
    "influence by a child's length": _influence("COPY_ROTATION", ("c", "length")),
    "influence by a child's property": _influence("COPY_ROTATION", ("c", '["dial"]')),
    "IK's influence by a channel": _influence("IK", ("c", "location[0]")),
    "IK's influence by a bone outside": _influence("IK", ("y", "")),
    "IK's influence by a bone of the chain": _influence("IK", ("a", "")),
    "IK's influence by a bone below": _influence("IK", ("d", "")),
    "keyed IK influence beside another chain": _keyed_influence("a"),
    "keyed IK influence and a bone outside": _keyed_influence("z"),
    "channel by the pose of a child": _channel("a", ("c", "")),
    "channel by a channel of a child": _channel("a", ("c", "rotation_euler[1]")),
    "channel by the own pose": _channel("b", ("b", "")),
    "channel by the parent's pose": _channel("b", ("a", "")),
    "channel by the head of a child": _channel("a", ("b", "head[0]")),
    "object on a bone, followed by another": _on_bone("a", "COPY_LOCATION", "x"),
    "object on a bone, followed by its parent": _on_bone("b", "COPY_LOCATION", "a"),
    "object on a bone, tracked by the bone itself": _on_bone("a", "DAMPED_TRACK", "a"),
    "object on a bone, that carries the bone's root": _on_bone("d", "CHILD_OF", "a"),
    "armature on an object": _armature_on(False),
    "armature on an object that follows its bone": _armature_on(True),
    "dials in a row": _dials("a", "b"),
    "dials in a circle": _dials("b", "a"),
    "place by the own place": _place_reads(True),
    "place by the place of a child object": _place_reads(False),
}
