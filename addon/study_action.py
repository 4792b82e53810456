"""An armature's action as motion to study: joints of its arms in world metres, frame by frame as they are shown."""

from __future__ import annotations

import math
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.card.model import RigCard
from ..core.errors import HostError
from ..core.study.motion import StudyMotion
from ..core.study.phases import WORLD
from . import hand_over_kept, host
from .beside import beside
from .convert_read import Frames
from .hand_over import MOST_FRAMES
from .prove import Progress
from .study_actor import Actor, active_action, actor_of, strips_of
from .study_clip import Clip, ClipArm, motion_of

Array = NDArray[np.float64]


def motion_steps(
    actor: Actor, action: bpy.types.Action | None = None, things: Sequence[bpy.types.Object] = ()
) -> Generator[Progress | StudyMotion, None, None]:
    """Step through an action and read the arms: progress after each frame, the motion last.

    Args:
        action: the one to play, alone; None for the one that is active, as it is shown.
        things: objects that hands may hold on to.

    The file is as before whenever it ends. Raises HostError, or MotionError for what is no motion.
    """
    armature, scene, layer = actor.armature, bpy.context.scene, bpy.context.view_layer
    _check_things(actor, things)
    names = [name for arm in actor.arms for name in (arm.upper_arm, arm.forearm, arm.hand, arm.tip)]
    names += [actor.torso] if actor.torso else []
    with ExitStack() as stack:
        stack.enter_context(hand_over_kept.kept(armature))
        played = stack.enter_context(_played(armature, action))
        frames = action_frames(armature, played)
        reader = host.PoseReader(armature, layer, names)
        poses, objects = np.empty((frames.count, len(names), 4, 4)), np.empty((frames.count, 4, 4))
        places = np.empty((len(things), frames.count, 3))
        for row in range(frames.count):
            scene.frame_set(frames.first + row)
            graph = layer.depsgraph
            poses[row], objects[row] = reader.read(), host.matrix_to_numpy(armature.evaluated_get(graph).matrix_world)
            for place, thing in enumerate(things):
                places[place, row] = thing.evaluated_get(graph).matrix_world.translation
            yield Progress(row + 1, frames.count, "reading the action")
        along = ", ".join(strips_of(armature))
        name, rate = played.name, scene.render.fps / scene.render.fps_base
    held = tuple((thing.name, place) for thing, place in zip(things, places, strict=True))
    if along:
        actor = replace(actor, notes=(*actor.notes, f"strips of the NLA play along with the action: {along}"))
    clip = _clip(actor, tuple(names), (name, rate, frames.first), (poses, objects), held)
    for step in beside(lambda: motion_of(clip)):
        yield Progress(frames.count, frames.count, "reading the action") if step is None else step.value


def motion_of_action(
    armature: bpy.types.Object | None,
    action: bpy.types.Action | None = None,
    card: RigCard | None = None,
    things: Sequence[bpy.types.Object] = (),
    report: Callable[[Progress], None] | None = None,
) -> StudyMotion:
    """`motion_steps` of `actor_of(armature, card)` from beginning to end."""
    for step in motion_steps(actor_of(armature, card), action, things):
        if isinstance(step, StudyMotion):
            return step
        if report is not None:
            report(step)
    raise AssertionError("a reading ends with the motion")


def action_frames(armature: bpy.types.Object, action: bpy.types.Action) -> Frames:
    """The frames of an action: its own range where one was set by hand, or from its first key for this armature to the
    last.

    Raises HostError where that is fewer than two frames, or more than can be meant.
    """
    bag = host.bag_of(action, host.slot_of(armature.animation_data))
    ranges = [] if bag is None else [tuple(curve.range()) for curve in bag.fcurves if not curve.is_empty]
    if action.use_frame_range:
        ranges = [(action.frame_start, action.frame_end)]
    if not ranges:
        raise HostError(
            f"the action {action.name!r} has no keys for {armature.name!r}: choose the action that moves it"
        )
    first, last = math.floor(min(low for low, _ in ranges)), math.ceil(max(high for _, high in ranges))
    if last == first:
        raise HostError(f"the action {action.name!r} has one frame, {first}: a study needs a motion of two or more")
    if last - first >= MOST_FRAMES:
        raise HostError(f"the action {action.name!r} has {last - first + 1} frames: give it a range of {MOST_FRAMES}")
    return Frames(first, last)


@contextmanager
def _played(armature: bpy.types.Object, action: bpy.types.Action | None) -> Iterator[bpy.types.Action]:
    """The action that plays on the armature, `action` alone if one is asked for; what played before afterwards."""
    animation: Any = armature.animation_data
    active = animation.action if animation is not None else None
    if action is None or action == active:
        yield active_action(armature)
        return
    if animation is not None and animation.use_tweak_mode:
        raise HostError(f"a strip of {armature.name!r} is being tweaked: leave that mode first (Tab)")
    if armature.library is not None:
        raise HostError(
            f"{armature.name!r} is linked, so that no other action can play on it: make a library override of it "
            "(Object > Library Override > Make)"
        )
    slot, layers = (host.slot_of(animation), animation.use_nla) if animation is not None else (None, True)
    playing: Any = animation or armature.animation_data_create()
    try:
        playing.action, playing.use_nla = action, False
        host.give_any_slot(playing)
        yield action
    finally:
        if animation is None:
            armature.animation_data_clear()
        else:
            animation.action, animation.use_nla = active, layers
            host.give_slot(animation, slot)


def _check_things(actor: Actor, things: Sequence[bpy.types.Object]) -> None:
    taken = {WORLD, *(arm.arm for arm in actor.arms)}
    for thing in things:
        if thing == actor.armature:
            raise HostError(f"{thing.name!r} is whose hands are studied: name other objects that they may hold on to")
        if thing.name in taken:
            raise HostError(f"an object called {thing.name!r} can not be told from what an arm is: rename it")
        if thing.name not in bpy.context.view_layer.objects:
            raise HostError(f"{thing.name!r} is not in the current view layer: enable the collection that it is in")


def _clip(
    actor: Actor,
    names: tuple[str, ...],
    about: tuple[str, float, int],
    read: tuple[Array, Array],
    things: tuple[tuple[str, Array], ...],
) -> Clip:
    """What was read, with all that a motion needs of the armature: `about` is name, rate and first frame, `read` the
    poses and the object's places.
    """
    bones = actor.armature.data.bones
    arms = tuple(
        ClipArm(arm.arm, first, first + 1, first + 2, first + 3, bones[arm.tip].length, arm.hand_axes)
        for first, arm in zip(range(0, 4 * len(actor.arms), 4), actor.arms, strict=True)
    )
    name, rate, first = about
    poses, objects = read
    return Clip(
        name=name,
        armature=actor.armature.name,
        rate=rate,
        first=first,
        metres=actor.metres,
        arms=arms,
        torso=len(names) - 1 if actor.torso else None,
        facing=actor.facing,
        bones=names,
        rests=np.array([host.rest_matrix(bones[name]) for name in names]),
        poses=poses,
        objects=objects,
        things=things,
        notes=actor.notes,
    )
