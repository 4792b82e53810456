"""Armatures whose arms were made by other means, each in another way, and the rig card of each.

All have two arms, L and R, on a torso of pelvis, waist and chest, beside a root bone "ground". Up +Z, front -Y, metres
times `units`. The arm's bones are collarbone, humerus, ulna and palm, with the side at the end.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import numpy as np

from armwright.core.card.model import CardArm, Dial, Mode, RigCard, Setting

SIDES = ("L", "R")
TORSO = ("pelvis", "waist", "chest")
# Left side, metres: inner end of the clavicle, shoulder, elbow, wrist, end of the hand. The elbow points back.
INNER, SHOULDER, ELBOW, WRIST, HAND_END = np.array(
    [[0.02, -0.02, 1.43], [0.17, 0.01, 1.44], [0.39, 0.06, 1.30], [0.58, -0.02, 1.16], [0.66, -0.05, 1.11]]
)
SPINE = np.array([[0.0, 0.0, 0.95], [0.0, 0.0, 1.08], [0.0, 0.0, 1.24], [0.0, 0.0, 1.46]])
# Where the elbow's aim is: behind it, in the plane of the arm.
_LINE = (WRIST - SHOULDER) / np.linalg.norm(WRIST - SHOULDER)
_OUT = (ELBOW - SHOULDER) - _LINE * ((ELBOW - SHOULDER) @ _LINE)
AIM = ELBOW + 0.45 * _OUT / np.linalg.norm(_OUT)
CONTROL_LENGTH = 0.08
# Rows of arms: "row3.L" is a left arm, this much lower than "L" for each row, metres.
ROW_DROP = 0.02


def bare_fk(name: str = "BareFk", units: float = 1.0) -> Any:
    """Nothing but bones."""
    armature = _new(name)
    with _editing(armature) as edit:
        _torso_and_arms(edit, units)
    return armature


def bare_fk_card(armature: Any, units: float = 1.0) -> RigCard:
    """Modes: none."""
    return _card(armature, units, lambda side: CardArm(side, **_joints(side), **_own_fk(side), modes=(Mode("none"),)))


def sleeved(name: str = "Sleeved") -> Any:
    """FK bones, and beside each upper arm a bone `sleeve` that tracks the elbow and so leaves out the roll."""
    armature = _new(name)
    with _editing(armature) as edit:
        _torso_and_arms(edit, 1.0)
        for side in SIDES:
            source = edit[f"humerus.{side}"]
            sleeve = _bone(edit, f"sleeve.{side}", source.head, source.tail)
            sleeve.roll, sleeve.parent = source.roll, source.parent
    for side in SIDES:
        track = armature.pose.bones[f"sleeve.{side}"].constraints.new("DAMPED_TRACK")
        track.target, track.subtarget, track.track_axis = armature, f"ulna.{side}", "TRACK_Y"
    return armature


def sleeved_card(armature: Any, no_roll: tuple[str, ...] = ("upper_arm",)) -> RigCard:
    """Modes: none. The skin follows the sleeve."""

    def arm(side: str) -> CardArm:
        joints = {**_joints(side), "upper_arm": f"sleeve.{side}"}
        return CardArm(side, **joints, **_own_fk(side), modes=(Mode("none"),), no_roll=no_roll)

    return _card(armature, 1.0, arm)


def native_ik(
    name: str = "NativeIk", units: float = 1.0, hand_on_chest: bool = False, sides: Sequence[str] = SIDES
) -> Any:
    """The host's IK constraint, chain length 2, with a pole; `grip` is the hand's control, `bend` the pole's.

    `hand_on_chest`: the hand's control is a child of the chest, and goes with it. `sides`: see ROW_DROP.
    """
    armature = _new(name)
    with _editing(armature) as edit:
        _torso_and_arms(edit, units, sides)
        for side in sides:
            grip = _bone(edit, f"grip.{side}", _at(WRIST, side, units), _at(HAND_END, side, units))
            grip.roll = edit[f"palm.{side}"].roll
            grip.parent = edit["chest"] if hand_on_chest else None
            _control(edit, f"bend.{side}", AIM, side, units, None)
    for side in sides:
        bones = armature.pose.bones
        solver = bones[f"ulna.{side}"].constraints.new("IK")
        solver.name, solver.target, solver.subtarget = "reach", armature, f"grip.{side}"
        solver.chain_count, solver.use_stretch = 2, False
        solver.pole_target, solver.pole_subtarget = armature, f"bend.{side}"
        solver.pole_angle = _pole_angle(armature, side)
        _copies(armature, bones[f"palm.{side}"], "COPY_ROTATION", f"grip.{side}", "turn")
    return armature


def native_ik_card(armature: Any, units: float = 1.0, sides: Sequence[str] = SIDES) -> RigCard:
    """Modes: none and hand, by the influences of the two constraints of each arm."""

    def arm(side: str) -> CardArm:
        def influences(value: float) -> tuple[Setting, ...]:
            return (
                Setting(f"ulna.{side}", value, constraint="reach"),
                Setting(f"palm.{side}", value, constraint="turn"),
            )

        return CardArm(
            side,
            **_joints(side),
            **_own_fk(side),
            hand_hold=f"grip.{side}",
            elbow_aim=f"bend.{side}",
            modes=(Mode("none", influences(0.0)), Mode("hand", influences(1.0))),
        )

    return _card(armature, units, arm, sides)


def blended_chains(name: str = "BlendedChains", units: float = 1.0) -> Any:
    """An FK chain `swing_*`, an IK chain `reach_*`, and the arm, which copies both, blended by `grip`'s "reach"."""
    armature = _new(name)
    parts = ("humerus", "ulna", "palm")
    with _editing(armature) as edit:
        _torso_and_arms(edit, units)
        for side in SIDES:
            for chain in ("swing", "reach"):
                for part, above in zip(parts, ("collarbone", "humerus", "ulna"), strict=True):
                    source = edit[f"{part}.{side}"]
                    copy = _bone(edit, f"{chain}_{part}.{side}", source.head, source.tail)
                    copy.roll = source.roll
                    copy.parent = edit[f"{above}.{side}" if part == "humerus" else f"{chain}_{above}.{side}"]
            grip = _bone(edit, f"grip.{side}", _at(WRIST, side, units), _at(HAND_END, side, units))
            grip.roll = edit[f"palm.{side}"].roll
            _control(edit, f"bend.{side}", AIM, side, units, None)
    for side in SIDES:
        bones = armature.pose.bones
        bones[f"grip.{side}"]["reach"] = 0.0
        solver = bones[f"reach_ulna.{side}"].constraints.new("IK")
        solver.name, solver.target, solver.subtarget = "reach", armature, f"grip.{side}"
        solver.chain_count, solver.use_stretch = 2, False
        solver.pole_target, solver.pole_subtarget = armature, f"bend.{side}"
        solver.pole_angle = _pole_angle(armature, side)
        _copies(armature, bones[f"reach_palm.{side}"], "COPY_ROTATION", f"grip.{side}", "turn")
        for part in parts:
            bone = bones[f"{part}.{side}"]
            _copies(armature, bone, "COPY_TRANSFORMS", f"swing_{part}.{side}", "swing")
            blend = _copies(armature, bone, "COPY_TRANSFORMS", f"reach_{part}.{side}", "reach")
            _drive(armature, blend, f'pose.bones["grip.{side}"]["reach"]')
    return armature


def blended_chains_card(armature: Any, units: float = 1.0) -> RigCard:
    """Modes: none and hand, by the property that is the blend's dial too."""

    def arm(side: str) -> CardArm:
        def reach(value: float) -> tuple[Setting, ...]:
            return (Setting(f"grip.{side}", value, property="reach"),)

        return CardArm(
            side,
            **_joints(side),
            fk_clavicle=f"collarbone.{side}",
            fk_upper_arm=f"swing_humerus.{side}",
            fk_forearm=f"swing_ulna.{side}",
            fk_hand=f"swing_palm.{side}",
            hand_hold=f"grip.{side}",
            elbow_aim=f"bend.{side}",
            modes=(Mode("none", reach(0.0)), Mode("hand", reach(1.0))),
            blend=Dial(f"grip.{side}", property="reach"),
        )

    return _card(armature, units, arm)


def elbow_child_of(name: str = "ElbowChildOf", units: float = 1.0) -> Any:
    """`rest` at the elbow: the forearm is Child Of it and the upper arm tracks it, both driven by its "planted".

    With "planted" 0 the forearm is Child Of the upper arm. The upper arm keeps its length, whatever the distance to the
    planted elbow is.
    """
    armature = _new(name)
    with _editing(armature) as edit:
        _torso_and_arms(edit, units)
        for side in SIDES:
            _control(edit, f"rest.{side}", ELBOW, side, units, None)
            # Child Of works on what the parent gives: with a parent the forearm would be carried twice.
            edit[f"ulna.{side}"].parent = None
    for side in SIDES:
        bones = armature.pose.bones
        bones[f"rest.{side}"]["planted"] = 0.0
        path = f'pose.bones["rest.{side}"]["planted"]'
        track = bones[f"humerus.{side}"].constraints.new("DAMPED_TRACK")
        track.name, track.target, track.subtarget, track.track_axis = "look", armature, f"rest.{side}", "TRACK_Y"
        _drive(armature, track, path)
        for name, target, expression in (("hang", "humerus", "1 - share"), ("plant", "rest", "share")):
            carrier = bones[f"ulna.{side}"].constraints.new("CHILD_OF")
            carrier.name, carrier.target, carrier.subtarget = name, armature, f"{target}.{side}"
            carrier.inverse_matrix = armature.data.bones[f"{target}.{side}"].matrix_local.inverted()
            _drive(armature, carrier, path, expression)
    return armature


def elbow_child_of_card(armature: Any, units: float = 1.0) -> RigCard:
    """Modes: none and elbow, by the property of the elbow's control."""

    def arm(side: str) -> CardArm:
        def planted(value: float) -> tuple[Setting, ...]:
            return (Setting(f"rest.{side}", value, property="planted"),)

        return CardArm(
            side,
            **_joints(side),
            **_own_fk(side),
            elbow_hold=f"rest.{side}",
            modes=(Mode("none", planted(0.0)), Mode("elbow", planted(1.0))),
        )

    return _card(armature, units, arm)


def _card(armature: Any, units: float, arm: Any, sides: Sequence[str] = SIDES) -> RigCard:
    return RigCard(armature.name, tuple(arm(side) for side in sides), TORSO, root="ground", unit_m=1.0 / units)


def _joints(side: str) -> dict[str, str]:
    return {
        "clavicle": f"collarbone.{side}",
        "upper_arm": f"humerus.{side}",
        "forearm": f"ulna.{side}",
        "hand": f"palm.{side}",
    }


def _own_fk(side: str) -> dict[str, str]:
    """The arm's own bones are what an animator turns."""
    return {f"fk_{role}": bone for role, bone in _joints(side).items()}


def _new(name: str) -> Any:
    import bpy

    armature = bpy.data.objects.new(name, bpy.data.armatures.new(name))
    bpy.context.scene.collection.objects.link(armature)
    bpy.context.view_layer.update()
    return armature


@contextmanager
def _editing(armature: Any) -> Iterator[Any]:
    from armwright.addon import host

    with host.mode(armature, "EDIT"):
        yield armature.data.edit_bones


def _torso_and_arms(edit: Any, units: float, sides: Sequence[str] = SIDES) -> None:
    ground = _bone(edit, "ground", np.zeros(3), np.array([0.0, 0.3, 0.0]) * units)
    above = ground
    for name, head, tail in zip(TORSO, SPINE, SPINE[1:], strict=False):
        bone = _bone(edit, name, head * units, tail * units)
        bone.parent, above = above, bone
    for side in sides:
        carrier = above
        points = [_at(point, side, units) for point in (INNER, SHOULDER, ELBOW, WRIST, HAND_END)]
        for part, head, tail in zip(("collarbone", "humerus", "ulna", "palm"), points, points[1:], strict=False):
            bone = _bone(edit, f"{part}.{side}", head, tail)
            bone.align_roll((0.0, 0.0, 1.0))
            bone.parent, carrier = carrier, bone


def _control(edit: Any, name: str, point: np.ndarray, side: str, units: float, parent: Any) -> Any:
    head = _at(point, side, units)
    bone = _bone(edit, name, head, head + np.array([0.0, 0.0, CONTROL_LENGTH]) * units)
    bone.parent = parent
    return bone


def _bone(edit: Any, name: str, head: Any, tail: Any) -> Any:
    bone = edit.new(name)
    bone.head, bone.tail = tuple(head), tuple(tail)
    return bone


def _at(point: np.ndarray, side: str, units: float) -> np.ndarray:
    row, _, end = side.rpartition(".")
    dropped = point - np.array([0.0, 0.0, ROW_DROP * int(row.removeprefix("row") or 0)])
    return dropped * np.array([1.0 if end == "L" else -1.0, 1.0, 1.0]) * units


def _copies(armature: Any, bone: Any, kind: str, target: str, name: str) -> Any:
    constraint = bone.constraints.new(kind)
    constraint.name, constraint.target, constraint.subtarget = name, armature, target
    return constraint


def _drive(armature: Any, constraint: Any, path: str, expression: str = "share") -> None:
    """Drive a constraint's influence by `expression` of the property at `path`."""
    driver = constraint.driver_add("influence").driver
    variable = driver.variables.new()
    variable.name, variable.targets[0].id, variable.targets[0].data_path = "share", armature, path
    driver.expression = expression


def _pole_angle(armature: Any, side: str) -> float:
    """The angle that leaves the elbow where it is at rest, radians.

    It turns the upper arm's X axis, projected across the line from shoulder to wrist, to the side of the pole.
    """
    bones = armature.data.bones
    upper, wrist, pole = (bones[f"{part}.{side}"] for part in ("humerus", "palm", "bend"))
    line = (wrist.head_local - upper.head_local).normalized()
    towards = line.cross(pole.head_local - upper.head_local).cross(line)
    x_axis = line.cross(upper.matrix_local.to_3x3().col[0]).cross(line)
    angle = x_axis.angle(towards)
    return float(-angle if x_axis.cross(towards).angle(line) < 1.0 else angle)


# Every way to make arms, with its card.
EVERY = {
    "bare_fk": (bare_fk, bare_fk_card),
    "native_ik": (native_ik, native_ik_card),
    "blended_chains": (blended_chains, blended_chains_card),
    "elbow_child_of": (elbow_child_of, elbow_child_of_card),
}
