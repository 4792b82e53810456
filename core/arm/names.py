"""Names of an arm's bones, `<layer>.<part>.<side>`, dials and collections, in one place so that they stay alike."""

from __future__ import annotations

from dataclasses import dataclass

COLLECTION_FK = "Arms FK"
COLLECTION_HOLDS = "Arms holds"
COLLECTION_SKIN = "Arms skin"
COLLECTION_WORKINGS = "Arms workings"
COLLECTION_TORSO = "Torso"
COLLECTION_FINGERS = "Arms fingers"

IK = "ik"
ELBOW = "elbow_hold"
ISOLATE = "isolate"
LIFT = "lift"
STRETCH = "stretch"
SOFT = "soft"
VOLUME = "volume"
UPPER_LENGTH = "upper_length"
FOREARM_LENGTH = "forearm_length"
UPPER_ROLL = "upper_roll"
# Dials of the fingers' control; each finger has one of its own besides, `curl_<finger>`.
CURL = "curl"
SPREAD = "spread"
HAND_ROLL = "hand_roll"
HAND_SIDE = "hand_side"
HAND_SPIN = "hand_spin"
FINGER_BEND = "finger_bend"

# Constraints of a space bone: each holds on to one thing, and one at most has influence; none is the world.
SPACE_TORSO = "torso"
SPACE_HEAD = "head"


@dataclass(frozen=True)
class ArmNames:
    """Bone names of one arm; `side` is its id: "L" or "R", or "lower.L" of another pair."""

    side: str

    def _name(self, layer: str, part: str) -> str:
        return f"{layer}.{part}.{self.side}"

    @property
    def fk_clavicle(self) -> str:
        """The control of the clavicle; it has the arm's dials."""
        return self._name("fk", "clavicle")

    @property
    def fk_upper_arm(self) -> str:
        """The control that turns the upper arm while nothing is held."""
        return self._name("fk", "upper_arm")

    @property
    def fk_forearm(self) -> str:
        """The control that turns the forearm while the hand is free."""
        return self._name("fk", "forearm")

    @property
    def fk_hand(self) -> str:
        """The control that turns the hand while it is free."""
        return self._name("fk", "hand")

    @property
    def hold_hand(self) -> str:
        """The control of a held hand."""
        return self._name("hold", "hand")

    @property
    def hold_elbow(self) -> str:
        """The control of a held elbow."""
        return self._name("hold", "elbow")

    @property
    def hand_space(self) -> str:
        """Parent of the hand hold: the space that it is held in."""
        return self._name("aux", "hand_space")

    @property
    def hand_goal(self) -> str:
        """What the hand reaches for: the hand hold, rolled and spun as the dials of a planted hand say."""
        return self._name("aux", "hand_goal")

    def pivot(self, point: str) -> str:
        """Turns the planted hand about a point of hand_frames.PivotPoints."""
        return self._name("aux", point)

    @property
    def fingers(self) -> str:
        """Parent of the fingers but the thumb: it stays on the surface while the hand rolls over its knuckles."""
        return self._name("aux", "fingers")

    @property
    def elbow_space(self) -> str:
        """Parent of the elbow hold: the space that it is held in."""
        return self._name("aux", "elbow_space")

    @property
    def aim_elbow(self) -> str:
        """The control that says where a bent elbow points."""
        return self._name("aim", "elbow")

    @property
    def ik_span(self) -> str:
        """The IK arm's way from shoulder to hand."""
        return self._name("ik", "span")

    @property
    def ik_upper_arm(self) -> str:
        """The IK upper arm."""
        return self._name("ik", "upper_arm")

    @property
    def ik_held(self) -> str:
        """The IK upper arm, as far as the elbow is held."""
        return self._name("ik", "held")

    @property
    def ik_forearm(self) -> str:
        """The IK forearm."""
        return self._name("ik", "forearm")

    @property
    def level(self) -> str:
        """What an isolated arm inherits: a frame outside the torso."""
        return self._name("aux", "level")

    @property
    def inherit(self) -> str:
        """What the FK arm inherits, before the lift."""
        return self._name("aux", "inherit")

    @property
    def elevation(self) -> str:
        """How far the arm is raised against the torso."""
        return self._name("aux", "elevation")

    @property
    def reach(self) -> str:
        """From the torso's shoulder point to the hand hold, rolled to the aim."""
        return self._name("aux", "reach")

    @property
    def raised(self) -> str:
        """The IK upper arm's direction, computed without the lifted shoulder."""
        return self._name("aux", "raised")

    @property
    def upper_arm(self) -> str:
        """The arm as it ends up: upper arm."""
        return self._name("aux", "upper_arm")

    @property
    def elbow(self) -> str:
        """Elbow joint."""
        return self._name("aux", "elbow")

    @property
    def elbow_socket(self) -> str:
        """Parent of the FK forearm, at the elbow joint."""
        return self._name("aux", "elbow_socket")

    @property
    def forearm(self) -> str:
        """The arm as it ends up: forearm."""
        return self._name("aux", "forearm")

    @property
    def wrist(self) -> str:
        """Wrist joint."""
        return self._name("aux", "wrist")

    @property
    def skin_upper_arm(self) -> str:
        """The upper arm's first skin bone, at the shoulder."""
        return self._name("skin", "upper_arm")

    @property
    def skin_forearm(self) -> str:
        """The forearm's first skin bone, at the elbow."""
        return self._name("skin", "forearm")

    def skin_upper_arms(self, count: int) -> tuple[str, ...]:
        """The upper arm's `count` skin bones, from the shoulder."""
        return (self.skin_upper_arm, *(self._name("skin", f"upper_arm.{index}") for index in range(1, count)))

    def skin_forearms(self, count: int) -> tuple[str, ...]:
        """The forearm's `count` skin bones, from the elbow."""
        return (self.skin_forearm, *(self._name("skin", f"forearm.{index}") for index in range(1, count)))

    def skin_roles(self, count: int) -> tuple[tuple[str, str], ...]:
        """Roles and bones of upper arm and forearm with `count` skin bones each."""
        return tuple(
            (role if index == 0 else f"{role}_{index}", bone)
            for role, bones in (
                ("skin_upper_arm", self.skin_upper_arms(count)),
                ("skin_forearm", self.skin_forearms(count)),
            )
            for index, bone in enumerate(bones)
        )

    @property
    def hand_roll(self) -> str:
        """The forearm with the roll that the hand gives it."""
        return self._name("aux", "hand_roll")

    @property
    def clavicle(self) -> str:
        """The clavicle after the lift; it carries skin."""
        return self._name("skin", "clavicle")

    @property
    def hand(self) -> str:
        """The arm as it ends up: hand; it carries skin."""
        return self._name("skin", "hand")

    @property
    def fk_fingers(self) -> str:
        """The control that has the fingers' dials."""
        return self._name("fk", "fingers")

    def finger(self, layer: str, finger: str, number: int) -> str:
        """Bone `number`, from 1 at the root, of a finger in one of the layers "aux", "fk" and "skin"."""
        return self._name(layer, f"{finger}.{number}")
