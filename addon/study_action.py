"""An armature's action as motion to study: joints of its arms in world metres, read frame by frame as they are shown.

The arms are those of our own build, those that a rig card names, or those that a card drafted on the spot finds.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.card.check import problems_of
from ..core.card.draft import draft
from ..core.card.fit_check import misfits
from ..core.card.model import RigCard
from ..core.card.palms import HandRest, hand_rest
from ..core.card.problems import refuse
from ..core.card.sketch import RigSketch
from ..core.errors import HostError
from ..core.posing import rigid_turns
from ..core.study.motion import ArmMotion, StudyMotion, checked
from ..core.study.phases import WORLD
from . import hand_over_kept, host, rig, subjects
from .card_sketch import sketch_of
from .convert_read import Frames
from .curves import bag_of
from .hand_over import MOST_FRAMES
from .prove import Progress
from .switch import JOINT_ROLES

Array = NDArray[np.float64]

# The end of a hand is no further from its wrist than the forearm is long (Winter, fig. 4.1: 0.74 of it): what hangs
# further out is held in the hand.
LONGEST_HAND = 1.0


@dataclass(frozen=True, eq=False)
class ArmBones:
    """One arm's id and its bones: heads of the first three are shoulder, elbow and wrist; `tip` ends where the hand
    does.

    `hand_axes` (3, 3): at rest, armature space, Y along the hand and Z out of its palm; None where nothing tells them.
    """

    arm: str
    upper_arm: str
    forearm: str
    hand: str
    tip: str
    hand_axes: Array | None = None


@dataclass(frozen=True)
class Actor:
    """Whose motion is studied.

    Attributes:
        armature: the object.
        arms: its arms.
        torso: the bone that carries the shoulders; "" where there is none, and the object itself stands for it.
        facing: (3, 3), the character's left, back and up at rest, armature space.
        metres: of one unit of the scene.
        notes: sentences on how arms and unit were found.
    """

    armature: bpy.types.Object
    arms: tuple[ArmBones, ...]
    torso: str
    facing: Array
    metres: float
    notes: tuple[str, ...] = ()


def actor_of(armature: bpy.types.Object | None, card: RigCard | None = None) -> Actor:
    """The arms of an armature: by our own roles, by `card`, or by a card that is drafted here.

    Raises HostError for what is no armature or shows no pose, CardError where there are no arms or the card does not
    fit.
    """
    armature = rig.require(armature)
    subjects.check_shown(armature)
    if armature.mode == "EDIT":
        raise HostError(f"the bones of {armature.name!r} are being edited: leave edit mode first")
    if armature.data.pose_position == "REST":
        raise HostError(f"{armature.name!r} shows its rest position: switch it to pose position (Properties > Data)")
    if card is None and rig.has_arms(armature):
        subject = subjects.subject_of(armature)
        arms = []
        for arm in subject.arms:
            upper, fore, hand = (subject.record.bone(arm, role) for role in JOINT_ROLES)
            # By docs/arm.md, "Rest frames", a hand of ours has Y along it and Z at its palm.
            arms.append(ArmBones(arm, upper, fore, hand, hand, subject.geometries[arm].hand[:3, :3]))
        return Actor(armature, tuple(arms), subject.record.torso, subject.facing, _scene_unit())
    sketch = sketch_of(armature)
    if card is not None:
        refuse((*problems_of(card), *misfits(card, sketch)))
        return _by_card(armature, card, sketch, ())
    drafted = draft(sketch)
    found = "; ".join(f"{arm.arm} is {arm.upper_arm}, {arm.forearm}, {arm.hand}" for arm in drafted.arms)
    return _by_card(armature, drafted, sketch, (f"arms found by their shape: {found}",))


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
        name, rate = played.name, scene.render.fps / scene.render.fps_base
    _check_places(armature, objects, frames.first)
    motion = _motion(actor, name, rate, frames.first, objects[:, None] @ poses, objects, (things, places))
    # Rigs stretch: that a segment changes its length says nothing against the bones that were found.
    yield checked(motion, stretches=True)


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


def motion_of_blend(
    path: Path,
    armature: str | None = None,
    action: str | None = None,
    card: RigCard | None = None,
    things: Sequence[str] = (),
    report: Callable[[Progress], None] | None = None,
) -> StudyMotion:
    """Open a .blend and read an action of an armature in it, each by its name; None for the only one, the active one.

    Raises HostError, CardError or MotionError with what is wrong.
    """
    from .cli.files import open_armature

    found = open_armature(path, armature, with_arms=False)
    chosen = bpy.data.actions.get(action) if action is not None else None
    if action is not None and chosen is None:
        raise HostError(f"{path.name!r} has no action {action!r}; there is: {_names(bpy.data.actions)}")
    objects = bpy.context.scene.objects
    for name in things:
        if name not in objects:
            raise HostError(f"the scene {bpy.context.scene.name!r} has no object {name!r} to hold on to")
    return motion_of_action(found, chosen, card, [objects[name] for name in things], report)


def action_frames(armature: bpy.types.Object, action: bpy.types.Action) -> Frames:
    """The frames of an action: its own range where one was set by hand, or from its first key for this armature to the
    last.

    Raises HostError where that is fewer than two frames, or more than can be meant.
    """
    bag = bag_of(action, getattr(armature.animation_data, "action_slot", None))
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


def _by_card(armature: bpy.types.Object, card: RigCard, sketch: RigSketch, notes: tuple[str, ...]) -> Actor:
    hands = {arm.arm: hand_rest(sketch, arm) for arm in card.arms}
    arms = tuple(
        ArmBones(
            arm.arm, arm.upper_arm, arm.forearm, arm.hand, _tip(armature, arm.forearm, arm.hand), hands[arm.arm].axes
        )
        for arm in card.arms
    )
    notes = (*notes, *_of_hands(hands))
    up, front = np.array(card.up, float), np.array(card.front, float)
    facing = np.stack([np.cross(up, front), -front, up], axis=1)
    size = float(np.cbrt(abs(np.prod(np.array(armature.matrix_world.to_scale())))))
    metres = card.unit_m / size if size > 0.0 else card.unit_m
    if not math.isclose(metres, _scene_unit(), rel_tol=1e-3):
        notes = (*notes, f"one unit of the scene is taken as {metres:.4g} m, by the card")
    if not card.torso:
        notes = (*notes, f"no bone carries the shoulders: {armature.name} itself is taken for the torso")
    return Actor(armature, arms, card.torso[-1] if card.torso else "", facing, metres, notes)


def _of_hands(hands: Mapping[str, HandRest]) -> list[str]:
    """A sentence for each thing that tells where palms face, or that leaves it open."""
    out = []
    for why in dict.fromkeys(hand.why for hand in hands.values()):
        own = [arm for arm, hand in hands.items() if hand.why == why]
        which = f"arm{'s' if len(own) > 1 else ''} {' and '.join(own)}"
        if any(hands[arm].axes is None for arm in own):
            out.append(f'{which}: {why}, so the ranges of forearm and wrist are left out; give a rig card with "palm"')
        else:
            out.append(f"{which}: {why}")
    return out


def _tip(armature: bpy.types.Object, forearm: str, hand: str) -> str:
    """The bone whose tail is the hand's end: the furthest along below the hand, as far as a hand goes."""
    bones = armature.data.bones
    wrist = bones[hand].head_local
    most = LONGEST_HAND * (wrist - bones[forearm].head_local).length
    below = [bones[hand], *(bone for bone in bones[hand].children_recursive if bone.use_deform)]
    fitting = [bone for bone in below if (bone.tail_local - wrist).length <= most]
    return max(fitting, key=lambda bone: (bone.tail_local - wrist).length, default=bones[hand]).name


def _scene_unit() -> float:
    return float(bpy.context.scene.unit_settings.scale_length)


@contextmanager
def _played(armature: bpy.types.Object, action: bpy.types.Action | None) -> Iterator[bpy.types.Action]:
    """The action that plays on the armature, `action` alone if one is asked for; what played before afterwards."""
    animation: Any = armature.animation_data
    active = animation.action if animation is not None else None
    if action is None or action == active:
        if active is None:
            raise HostError(
                f"{armature.name!r} plays no action: choose one in the action editor; there is: "
                f"{_names(bpy.data.actions)}"
            )
        yield active
        return
    if animation is not None and animation.use_tweak_mode:
        raise HostError(f"a strip of {armature.name!r} is being tweaked: leave that mode first (Tab)")
    slot, layers = (
        (getattr(animation, "action_slot", None), animation.use_nla) if animation is not None else (None, True)
    )
    playing: Any = animation or armature.animation_data_create()
    try:
        playing.action, playing.use_nla = action, False
        if getattr(playing, "action_slot", True) is None and len(playing.action_suitable_slots):
            playing.action_slot = playing.action_suitable_slots[0]
        yield action
    finally:
        if animation is None:
            armature.animation_data_clear()
        else:
            animation.action, animation.use_nla = active, layers
            if slot is not None:
                animation.action_slot = slot


def _check_things(actor: Actor, things: Sequence[bpy.types.Object]) -> None:
    taken = {WORLD, *(arm.arm for arm in actor.arms)}
    for thing in things:
        if thing == actor.armature:
            raise HostError(f"{thing.name!r} is whose hands are studied: name other objects that they may hold on to")
        if thing.name in taken:
            raise HostError(f"an object called {thing.name!r} can not be told from what an arm is: rename it")
        if thing.name not in bpy.context.view_layer.objects:
            raise HostError(f"{thing.name!r} is not in the current view layer: enable the collection that it is in")


def _check_places(armature: bpy.types.Object, objects: Array, first: int) -> None:
    bad = np.flatnonzero(~(np.linalg.det(objects[:, :3, :3]) > 0.0))
    if len(bad):
        raise HostError(
            f"{armature.name!r} is mirrored by a negative scale, or flat, at frame {first + int(bad[0])}: apply its "
            "scale first (Ctrl A > Scale)"
        )


def _motion(
    actor: Actor,
    name: str,
    rate: float,
    first: int,
    poses: Array,
    objects: Array,
    held: tuple[Sequence[bpy.types.Object], Array],
) -> StudyMotion:
    """The motion from world poses (N, B, 4, 4) of the bones that were read, in units of the scene."""
    bones, arms = actor.armature.data.bones, []
    for number, arm in enumerate(actor.arms):
        upper, fore, hand, tip = (poses[:, 4 * number + place] for place in range(4))
        arms.append(
            ArmMotion(
                arm=arm.arm,
                shoulder=actor.metres * upper[:, :3, 3],
                elbow=actor.metres * fore[:, :3, 3],
                wrist=actor.metres * hand[:, :3, 3],
                tip=actor.metres * (tip[:, :3, 3] + bones[arm.tip].length * tip[:, :3, 1]),
                hand=None if arm.hand_axes is None else _turned(bones[arm.hand], hand, arm.hand_axes),
            )
        )
    carrier = poses[:, -1] if actor.torso else objects
    rest = host.rest_matrix(bones[actor.torso])[:3, :3] if actor.torso else np.eye(3)
    torso = np.tile(np.eye(4), (len(poses), 1, 1))
    torso[:, :3, :3], torso[:, :3, 3] = rigid_turns(carrier[:, :3, :3]) @ rest.T @ actor.facing, carrier[:, :3, 3]
    torso[:, :3, 3] *= actor.metres
    things, places = held
    return StudyMotion(
        name=name,
        rate=rate,
        arms=tuple(arms),
        torso=torso,
        things=tuple((thing.name, actor.metres * place) for thing, place in zip(things, places, strict=True)),
        notes=(*actor.notes, *((f"its first frame, 0, is the scene's frame {first}",) if first else ())),
    )


def _turned(bone: bpy.types.Bone, poses: Array, axes: Array) -> Array:
    """Orientations (N, 3, 3), world, of `axes` (3, 3), armature space, that go along with a bone from its rest."""
    return rigid_turns(rigid_turns(poses[:, :3, :3]) @ host.rest_matrix(bone)[:3, :3].T @ axes)


def _names(blocks: Any) -> str:
    return ", ".join(repr(item.name) for item in blocks) or "none"
