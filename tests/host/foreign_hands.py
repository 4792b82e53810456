"""Armatures of other making whose hands have fingers, in a T-pose with palms down, every bone rolled at random.

What their arms do is keyed about axes of anatomy: so ranges of wrist and forearm are known without asking anyone.
"""

from __future__ import annotations

from typing import Any

import numpy as np

SIDES = ("L", "R")
# Left side, metres: inner end of the clavicle, shoulder, elbow, wrist, end of the palm. Palm down, thumb to the front.
INNER, SHOULDER, ELBOW, WRIST, PALM_END = np.array(
    [[0.02, 0.0, 1.40], [0.18, 0.0, 1.42], [0.48, 0.0, 1.42], [0.74, 0.0, 1.42], [0.82, 0.0, 1.42]]
)
# Left side, from the wrist, metres: the joints of each finger; they close downwards, towards the palm.
FINGERS = {
    "thumb": [[0.02, -0.02, -0.005], [0.05, -0.045, -0.015], [0.075, -0.06, -0.02]],
    "index": [[0.087, -0.022, 0.0], [0.127, -0.024, -0.004], [0.150, -0.025, -0.012]],
    "middle": [[0.090, 0.0, 0.001], [0.134, 0.0, -0.003], [0.160, 0.0, -0.012]],
    "ring": [[0.085, 0.020, 0.001], [0.124, 0.021, -0.004], [0.148, 0.021, -0.013]],
    "little": [[0.076, 0.038, -0.001], [0.106, 0.040, -0.006], [0.124, 0.041, -0.013]],
}
MIRROR = np.array([-1.0, 1.0, 1.0])
FRAMES = 41
# Pronation, radial deviation and flexion of a wrist that does nothing.
STILL_FRAMES = (np.zeros(FRAMES),) * 3


def t_posed(
    name: str = "Stranger",
    fingers: tuple[str, ...] = tuple(FINGERS),
    names: dict[str, str] | None = None,
    seed: int = 11,
    straight: bool = False,
    hand_aside: bool = False,
) -> Any:
    """Pelvis, chest, and two arms of collarbone, humerus, ulna and palm.

    `names`: other names for the fingers. `straight`: they do not close at rest. `hand_aside`: the palm's own bone
    points to the back, as bones that were imported may.
    """
    import bpy

    from armwright.addon import host

    rng = np.random.default_rng(seed)
    data = bpy.data.armatures.new(name)
    armature = bpy.data.objects.new(name, data)
    bpy.context.scene.collection.objects.link(armature)
    with host.mode(armature, "EDIT"):
        edit = data.edit_bones

        def bone(called: str, head: Any, tail: Any, parent: str = "") -> None:
            made = edit.new(called)
            made.head, made.tail = tuple(head), tuple(tail)
            made.roll = float(rng.uniform(-np.pi, np.pi))
            made.parent = edit[parent] if parent else None

        bone("pelvis", (0.0, 0.0, 0.95), (0.0, 0.0, 1.15))
        bone("chest", (0.0, 0.0, 1.15), (0.0, 0.0, 1.45), "pelvis")
        for side in SIDES:
            out = np.ones(3) if side == "L" else MIRROR
            end = WRIST + np.array([0.0, 0.07, 0.0]) if hand_aside else PALM_END
            bone(f"collarbone.{side}", INNER * out, SHOULDER * out, "chest")
            bone(f"humerus.{side}", SHOULDER * out, ELBOW * out, f"collarbone.{side}")
            bone(f"ulna.{side}", ELBOW * out, WRIST * out, f"humerus.{side}")
            bone(f"palm.{side}", WRIST * out, end * out, f"ulna.{side}")
            for finger in fingers:
                joints, called = WRIST + np.array(FINGERS[finger]), (names or {}).get(finger, finger)
                if straight:
                    joints[:, 2] = joints[0, 2]
                above = f"palm.{side}"
                for number in range(len(joints) - 1):
                    bone(f"{called}{number + 1}.{side}", joints[number] * out, joints[number + 1] * out, above)
                    above = f"{called}{number + 1}.{side}"
    return armature


def about(axis: str, degrees: float) -> np.ndarray:
    """Rotation (3, 3) about an axis of the armature."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    first, second = {"X": (1, 2), "Y": (2, 0), "Z": (0, 1)}[axis]
    out = np.eye(3)
    out[first, first], out[second, second], out[first, second], out[second, first] = c, c, -s, s
    return out


def wrist_turn(side: str, pronation: float, radial: float, flexion: float) -> np.ndarray:
    """Of the hand against the forearm in this T-pose, about the armature's axes, degrees, by anatomy alone.

    Flexion brings the fingers (left: +X) towards the palm (-Z), radial deviation towards the thumb (-Y); pronation
    brings the palm from looking down to looking back (+Y), on both sides.
    """
    out = 1.0 if side == "L" else -1.0
    return about("X", pronation) @ about("Z", -out * radial) @ about("Y", out * flexion)


def key_turn(armature: Any, bone: str, frame: int, turn: np.ndarray) -> None:
    """Key a turn (3, 3), about axes of the armature at rest, against the bone's parent."""
    from mathutils import Matrix

    rest = np.array(armature.data.bones[bone].matrix_local)[:3, :3]
    posed = armature.pose.bones[bone]
    posed.rotation_mode = "QUATERNION"
    posed.rotation_quaternion = Matrix((rest.T @ turn @ rest).tolist()).to_quaternion()
    posed.keyframe_insert("rotation_quaternion", frame=frame)


def at_work(armature: Any, pronation: Any, radial: Any, flexion: Any, bent: float = 60.0, raised: float = 50.0) -> None:
    """Key FRAMES frames: arms lowered by `raised` from level, elbows bent by `bent`, and the wrists' angles (FRAMES,)
    in degrees.
    """
    for frame in range(1, FRAMES + 1):
        at = frame - 1
        for side in SIDES:
            out = 1.0 if side == "L" else -1.0
            key_turn(armature, f"humerus.{side}", frame, about("Y", out * raised))
            # The forearm (left: +X) comes to the front (-Y).
            key_turn(armature, f"ulna.{side}", frame, about("Z", -out * bent))
            key_turn(armature, f"palm.{side}", frame, wrist_turn(side, pronation[at], radial[at], flexion[at]))
