"""A rig card: which bones of an armature play which part in its arms, and how its modes and dials are set.

A card names bones by their names in the armature and settings by their place on a bone, and holds nothing that runs.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..guide import FRONT, UP, Vec3

FORMAT = "armwright.card"
VERSION = 1

# Roles of an arm that are bones, as fields of CardArm. The first four are the arm as it ends up on the skin.
JOINTS = ("clavicle", "upper_arm", "forearm", "hand")
FK_CONTROLS = ("fk_clavicle", "fk_upper_arm", "fk_forearm", "fk_hand")
PLACED_CONTROLS = ("hand_hold", "elbow_hold", "elbow_aim")
BONE_ROLES = (*JOINTS, *FK_CONTROLS, *PLACED_CONTROLS)
# Joints whose bone may leave its roll to others that share it.
ROLL_LEFT_OUT = ("upper_arm", "forearm")
# An arm without these is none.
NEEDED = ("upper_arm", "forearm", "hand")
DIALS = ("blend", "isolate", "lift", "stretch")


@dataclass(frozen=True)
class Setting:
    """One value to set on a rig.

    Attributes:
        bone: whose it is; "" for the armature object itself.
        property: name of a custom property there; "" where `constraint` is given.
        constraint: name of a constraint there, whose influence is set; "" where `property` is given.
        value: what it is set to.
    """

    bone: str
    value: float
    property: str = ""
    constraint: str = ""


@dataclass(frozen=True)
class Dial:
    """A setting that goes from one value to another.

    Attributes:
        bone, property, constraint: as in Setting.
        off, on: its values where what it stands for is off (for `blend`: all FK) and on (all IK).
    """

    bone: str
    property: str = ""
    constraint: str = ""
    off: float = 0.0
    on: float = 1.0


@dataclass(frozen=True)
class Mode:
    """What to set so that the arm holds what `mode` says: "none", "hand", "elbow" or "both"."""

    mode: str
    settings: tuple[Setting, ...] = ()


@dataclass(frozen=True)
class CardArm:
    """One arm. Every bone is a name, "" where the rig has none for the role.

    Attributes:
        arm: its id, such as "L".
        clavicle, upper_arm, forearm, hand: the bones that the skin follows; heads of the last three are the shoulder,
            the elbow and the wrist.
        fk_clavicle, fk_upper_arm, fk_forearm, fk_hand: what an animator turns; may be the bones of the arm themselves.
        hand_hold, elbow_hold: what an animator places to hold the hand and the elbow.
        elbow_aim: what the elbow bends towards while the hand is held.
        modes: those that the rig has.
        blend, isolate, lift, stretch: its dials; None where it has none. `blend` goes from FK to the held hand.
        no_roll: those of ROLL_LEFT_OUT whose bone points where its control does, by the shortest turn from where it is
            carried, and leaves the roll about itself to other bones.
        palm: out of the palm at rest, armature space, unit; None where the bones of the fingers tell it.
    """

    arm: str
    upper_arm: str
    forearm: str
    hand: str
    clavicle: str = ""
    fk_clavicle: str = ""
    fk_upper_arm: str = ""
    fk_forearm: str = ""
    fk_hand: str = ""
    hand_hold: str = ""
    elbow_hold: str = ""
    elbow_aim: str = ""
    modes: tuple[Mode, ...] = ()
    blend: Dial | None = None
    isolate: Dial | None = None
    lift: Dial | None = None
    stretch: Dial | None = None
    no_roll: tuple[str, ...] = ()
    palm: Vec3 | None = None


@dataclass(frozen=True)
class Guess:
    """How a role was found when a card was drafted: for people, the proof does not read it.

    Attributes:
        arm: id of the arm; "" for torso and root.
        role: such as "forearm", "mode hand" or "dial stretch".
        found: the bone or setting.
        confidence: 0 (a guess) to 1 (certain).
        why: what speaks for it.
    """

    arm: str
    role: str
    found: str
    confidence: float
    why: str


@dataclass(frozen=True)
class RigCard:
    """Attributes:
    rig: name of the armature that the card is of.
    arms: its arms.
    torso: bones that carry the arms, the lowest first, the one that carries the shoulders last.
    root: bone outside the torso; "" where there is none.
    unit_m: metres of one unit of the armature.
    up, front: of the character, armature space, units.
    guesses: see Guess.
    """

    rig: str
    arms: tuple[CardArm, ...]
    torso: tuple[str, ...]
    root: str = ""
    unit_m: float = 1.0
    up: Vec3 = UP
    front: Vec3 = FRONT
    guesses: tuple[Guess, ...] = ()
