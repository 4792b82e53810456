"""A long walk through everything that an arm can hold, in random poses, measured without the product's own figures."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

MODES = {"none": (0.0, 0.0), "hand": (1.0, 0.0), "elbow": (0.0, 1.0), "both": (1.0, 1.0)}
HELD = {"none": (), "hand": ("hand",), "elbow": ("elbow",), "both": ("hand", "elbow")}
CORNERS = tuple((float(i), float(j), float(k)) for i in (0, 1) for j in (0, 1) for k in (0, 1))
# Limits of a switch (design, requirement "switch"): arm lengths and degrees.
POP, TURN = 1e-5, 1e-2
# What a match has to say before a pose counts as one that can not be kept: rounding of the host's matrices is less.
KEPT = 0.1
# The singular set of a lone IK hand without soft reach (docs/arm.md): nearly straight, the elbow's height over the line
# from shoulder to wrist goes with the square root of the slack, so a rounding of the distance by SINGLE (arm lengths;
# the host's single precision) moves the elbow by SINGLE * a * b / (height * L).
SINGLE = 4e-7


@dataclass
class Tally:
    """What was done, and the worst of it."""

    count: int = 0
    worst: dict[str, tuple[float, str]] = field(default_factory=dict)
    seen: set[tuple[Any, ...]] = field(default_factory=set)
    inexact: list[tuple[float, float, str]] = field(default_factory=list)
    straight: list[tuple[float, float, str]] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)

    def note(self, what: str, value: float, case: str) -> None:
        if value >= self.worst.get(what, (-1.0, ""))[0]:
            self.worst[what] = (value, case)


class Walk:
    """One character, its props, and the walk's state."""

    def __init__(self, seed: int, arm: str) -> None:
        import bpy
        from characters import torso_armature, wren_on_own_armature
        from props import lantern, subject_of

        from armwright.addon import spaces

        self.rng = np.random.default_rng(seed)
        self.arm = arm
        self.wren = wren_on_own_armature()
        self.mate = torso_armature("Mate")
        self.prop = lantern()
        bpy.context.view_layer.update()
        self.subject = subject_of(self.wren)
        geometry = self.subject.geometries[arm]
        self.length = geometry.upper_length + geometry.forearm_length
        self.dials = self.wren.pose.bones[f"fk.clavicle.{arm}"]
        # The skin's bones share the segments' roll; the segments themselves are what a match speaks of.
        segments = [self.subject.record.bone(arm, part) for part in ("upper_arm", "forearm", "hand")]
        carrying = [name for name in self.subject.record.bones if name.startswith("skin.") and name.endswith(arm)]
        self.skin = list(dict.fromkeys((*segments, *carrying)))
        places = {bone.name: place for place, bone in enumerate(self.wren.pose.bones)}
        self.places = np.array([places[name] for name in self.skin])
        self.joints = [self.skin.index(name) for name in segments]
        self.buffer = np.zeros(16 * len(places), np.float32)
        self.keys: dict[str, list[str]] = {}
        for hold in ("hand", "elbow"):
            spaces.ensure_space(self.subject, arm, hold, self.prop)
            spaces.ensure_space(self.subject, arm, hold, self.wren, "torso.1")
            spaces.ensure_space(self.subject, arm, hold, self.mate, "belly")
            if arm == "L":
                spaces.ensure_space(self.subject, arm, hold, self.wren, self.subject.record.bone("R", "hand"))
            found = spaces.spaces_of(self.subject, arm, hold)
            self.keys[hold] = [item.key for item in found if item.constraint or item.key == "world"]
        self.tally = Tally()
        self.round = 0

    def read(self) -> np.ndarray:
        """The evaluated skin bones, (K, 4, 4), read by the test itself."""
        import bpy

        pose = self.wren.evaluated_get(bpy.context.view_layer.depsgraph).pose
        pose.bones.foreach_get("matrix", self.buffer)
        return self.buffer.reshape(-1, 4, 4)[self.places].transpose(0, 2, 1).astype(float)

    @property
    def mode(self) -> str:
        """What the arm holds, from its dials."""
        now = (self.dials["ik"], self.dials["elbow_hold"])
        return next(name for name, dials in MODES.items() if dials == now)

    @property
    def corner(self) -> tuple[float, ...]:
        """Isolation, lift, stretch, from the dials."""
        return tuple(float(self.dials[name]) for name in ("isolate", "lift", "stretch"))

    def update(self) -> None:
        import bpy

        self.wren.update_tag()
        bpy.context.view_layer.update()

    def pose(self) -> None:
        """Torso, head, both arms and the length dials anyhow, the arm free."""
        rng, bones = self.rng, self.wren.pose.bones
        self.body()
        for side in "LR":
            bones[f"fk.clavicle.{side}"].rotation_euler = rng.uniform(-0.4, 0.4, 3).tolist()
            bones[f"fk.upper_arm.{side}"].rotation_euler = rng.uniform(-2.5, 2.5, 3).tolist()
            bend, roll, off = rng.uniform(-0.5, 2.3), rng.uniform(-2.5, 2.5), rng.uniform(-0.6, 0.6)
            bones[f"fk.forearm.{side}"].rotation_euler = (bend, roll, off)
            bones[f"fk.hand.{side}"].rotation_euler = rng.uniform(-1.5, 1.5, 3).tolist()
        dials = self.dials
        dials["ik"] = dials["elbow_hold"] = 0.0
        dials["soft"] = float(rng.uniform(0.0, 1.0)) if rng.uniform() < 0.3 else 0.0
        dials["volume"] = float(rng.integers(0, 2))
        self.plant()
        for name in ("upper_length", "forearm_length"):
            # Now and then what an elbow hold does not stretch to.
            spread = (0.3, 2.4) if rng.uniform() < 0.1 else (0.7, 1.5)
            dials[name] = float(rng.uniform(*spread)) if rng.uniform() < 0.5 else 1.0
        self.update()
        self.move_prop()
        self.round += 1

    def plant(self) -> None:
        """The dials of a planted hand anyhow; in some poses the hand lies flat. The generator is its own."""
        rng = np.random.default_rng((7, self.round))
        rolled = rng.uniform() < 0.7
        half = np.pi / 2.0
        for name, low, high in (("roll", -half, np.pi), ("side", -half, half), ("spin", -np.pi, np.pi)):
            self.dials[f"hand_{name}"] = float(rng.uniform(low, high)) if rolled else 0.0
        self.dials["finger_bend"] = float(rng.uniform(0.0, half))

    def body(self) -> None:
        """The torso and the head anyhow."""
        bones, rng = self.wren.pose.bones, self.rng
        for name in ("torso.1", "torso.2", "head"):
            bones[name].rotation_mode = "XYZ"
            bones[name].rotation_euler = rng.uniform(-0.3, 0.3, 3).tolist()
        mate = self.mate.pose.bones["belly"]
        mate.rotation_quaternion = rng.normal(size=4).tolist()
        mate.scale = np.exp(rng.uniform(-0.5, 0.5, 3)).tolist()
        self.mate.rotation_euler = rng.uniform(-0.5, 0.5, 3).tolist()

    def move_prop(self) -> None:
        """The prop near the hand, turned and sized unevenly anyhow."""
        import bpy

        rng = self.rng
        near = np.array(self.wren.pose.bones[f"skin.hand.{self.arm}"].matrix)[:3, 3]
        self.prop.location = (near + rng.uniform(-0.1, 0.1, 3)).tolist()
        self.prop.rotation_quaternion = rng.normal(size=4).tolist()
        self.prop.scale = np.exp(rng.uniform(-0.7, 0.7, 3)).tolist()
        bpy.context.view_layer.update()

    def nudge(self) -> None:
        """What carries the holds moves a little, and so does the body, while something is held."""
        rng = self.rng
        self.prop.location = (np.array(self.prop.location) + rng.uniform(-0.03, 0.03, 3)).tolist()
        self.prop.rotation_quaternion = (np.array(self.prop.rotation_quaternion) + rng.uniform(-0.1, 0.1, 4)).tolist()
        self.prop.scale = (np.array(self.prop.scale) * rng.uniform(0.9, 1.1, 3)).tolist()
        torso = self.wren.pose.bones["torso.2"]
        torso.rotation_euler = (np.array(torso.rotation_euler) + rng.uniform(-0.05, 0.05, 3)).tolist()
        self.update()

    def step(self, case: str, work: Callable[[], Any], predicted: tuple[float, float] | None = None) -> None:
        """Do one change and measure what it did to the pose; `predicted`: of a pose that can not be kept."""
        before = self.read()
        work()
        after = self.read()
        where = f"round {self.round}: {case}"
        self.tally.count += 1
        if predicted is not None:
            pop, turn = self._apart(before[self.joints], after[self.joints])
            self.tally.inexact.append((pop - predicted[0], turn - predicted[1], where))
            return
        pop, turn = self._apart(before, after)
        allowed = self._allowed(before)
        if allowed > 2.0 * POP and self.lone:
            self.tally.straight.append((pop / allowed, turn / np.degrees(allowed * 4.0), where))
            return
        self.tally.note("pop", pop, where)
        self.tally.note("turn", turn, where)
        if not (pop < POP and turn < TURN):
            self.tally.failed.append(f"{where}: {pop:.1e} L, {turn:.1e} degrees")

    @property
    def lone(self) -> bool:
        """Whether the elbow's place comes from the hand's alone, without soft reach."""
        return bool(self.mode == "hand" and self.dials["soft"] == 0.0)

    def _allowed(self, pose: np.ndarray) -> float:
        """How far a rounding of the hand's distance may move the elbow of this pose, arm lengths, and the limit."""
        shoulder, elbow, wrist = pose[self.joints, :3, 3] / self.length
        upper, fore, along = elbow - shoulder, wrist - elbow, wrist - shoulder
        height = float(np.linalg.norm(np.cross(upper, along)) / np.linalg.norm(along))
        return POP + SINGLE * float(np.linalg.norm(upper) * np.linalg.norm(fore)) / max(height, 1e-9)

    def _apart(self, first: np.ndarray, second: np.ndarray) -> tuple[float, float]:
        gap = float(np.linalg.norm(first[:, :3, 3] - second[:, :3, 3], axis=1).max()) / self.length
        axes = [value[:, :3, :3] / np.linalg.norm(value[:, :3, :3], axis=1, keepdims=True) for value in (first, second)]
        far = np.linalg.norm(axes[0] - axes[1], axis=(1, 2))
        return gap, float(np.degrees(2.0 * np.arcsin(np.clip(far / np.sqrt(8.0), 0.0, 1.0)).max()))

    def switch(self, **dials: float) -> None:
        """One switch by the product; what the match says can not be kept is compared with how far it says."""
        from armwright.addon.switch import planned, switch
        from armwright.core.match.target import Target

        target = Target(**dials)
        matched, _ = planned(self.subject, self.arm, target)
        predicted = None
        far, turned = float(matched.position_error[0]) / self.length, float(np.degrees(matched.angle_error[0]))
        if far > KEPT * POP or turned > KEPT * TURN:
            predicted = (far, turned)
        first, corner = self.mode, self.corner
        case = f"{first} to {dials}, {corner}, soft {self.dials['soft']:.2f}"
        self.step(case, lambda: switch(self.subject, self.arm, target, keyed=False), predicted)
        self.tally.seen.add(("mode", self.corner, first, self.mode))
        if corner != self.corner:
            self.tally.seen.add(("corner", corner, self.corner))

    def space(self, hold: str, key: str) -> None:
        """One change of space by the product."""
        from armwright.addon import spaces

        first = spaces.active_space(self.subject, self.arm, hold).key
        space = spaces.space_named(self.subject, self.arm, hold, key)
        case = f"{self.mode}: {hold} from {first} to {key}, {self.corner}"
        self.step(case, lambda: spaces.set_space(self.subject, self.arm, hold, space, keyed=False))
        if hold in HELD[self.mode]:
            now = spaces.active_space(self.subject, self.arm, hold).key
            self.tally.seen.add(("space", hold, self.corner, first, now))

    def grabs(self) -> None:
        """Grab each thing with each part, and let go."""
        from armwright.addon import grab

        things = (grab.Thing(self.prop), None, grab.Thing(self.wren, "head"), grab.Thing(self.mate, "belly"))
        for parts in ("hand", "elbow", "both"):
            thing = things[int(self.rng.integers(len(things)))]
            target = dict(zip(("ik", "elbow"), MODES[parts], strict=True))
            if self._exact(**target):
                case = f"{self.mode}: grab {thing} with {parts}, {self.corner}"
                self.step(case, lambda: grab.grab(self.subject, self.arm, parts, thing, keyed=False))  # noqa: B023
            if self._exact(ik=0.0, elbow=0.0):
                self.step(f"{self.mode}: let go", lambda: grab.release(self.subject, self.arm, keyed=False))

    def _exact(self, **dials: float) -> bool:
        from armwright.addon.switch import planned
        from armwright.core.match.target import Target

        return bool(planned(self.subject, self.arm, Target(**dials))[0].exact[0])


def circuit(rng: np.random.Generator, nodes: list[str], start: str) -> Iterator[str]:
    """A walk from `start` over every ordered pair of different nodes once, back to `start` (Hierholzer)."""
    left = {node: rng.permutation([other for other in nodes if other != node]).tolist() for node in nodes}
    stack, path = [start], []
    while stack:
        if left[stack[-1]]:
            stack.append(left[stack[-1]].pop())
        else:
            path.append(stack.pop())
    yield from path[::-1][1:]
