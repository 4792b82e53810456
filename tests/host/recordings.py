"""Recorded motions made by hand: a person's torso and arms that swing, plant, lean and hold, with a marker's noise."""

from __future__ import annotations

from typing import Any

import numpy as np

FRAMES, RATE = 120, 24.0
# Where the middle of the shoulders is in the recording, metres.
CHEST = np.array([0.3, -0.2, 1.35])
HALF_BREADTH = 0.129 * 1.7  # Winter, fig. 4.1: shoulder half-breadth over stature; Wren's


def smooth(share: Any) -> np.ndarray:
    share = np.clip(share, 0.0, 1.0)
    return share**3 * (share * (6.0 * share - 15.0) + 10.0)


def swaying_torso(size: float = 1.0) -> np.ndarray:
    """(N, 4, 4): it leans, turns and travels by a few centimetres all the time."""
    from armwright.core.rotations import euler_to_matrix

    t = np.arange(FRAMES) / RATE
    angles = np.stack([0.12 * np.sin(1.9 * t), 0.08 * np.sin(2.7 * t + 1.0), 0.2 * np.sin(1.3 * t)], axis=1)
    out = np.tile(np.eye(4), (FRAMES, 1, 1))
    out[:, :3, :3] = euler_to_matrix(angles, "XYZ")
    out[:, :3, 3] = CHEST + 0.04 * size * np.stack([np.sin(1.1 * t), np.sin(1.7 * t), 0.5 * np.sin(2.3 * t)], axis=1)
    return out


def shoulders(torso: np.ndarray, size: float = 1.0) -> dict[str, np.ndarray]:
    sides = {"L": 1.0, "R": -1.0}
    return {arm: torso[:, :3, 3] + torso[:, :3, 0] * (side * HALF_BREADTH * size) for arm, side in sides.items()}


def reached(shoulder: np.ndarray, wrist: np.ndarray, upper: float, fore: float, towards: np.ndarray) -> np.ndarray:
    """Elbows (N, 3) of arms of the lengths given, bent towards `towards` (3,), by the law of cosines."""
    way = wrist - shoulder
    far = np.linalg.norm(way, axis=1, keepdims=True)
    assert (far < upper + fore).all() and (far > abs(upper - fore)).all()
    along = way / far
    x = (upper**2 - fore**2 + far**2) / (2.0 * far)
    aside = towards - along * (along @ towards)[:, None]
    aside /= np.linalg.norm(aside, axis=1, keepdims=True)
    return shoulder + along * x + aside * np.sqrt(upper**2 - x**2)


def flung(shoulder: np.ndarray, torso: np.ndarray, side: float, upper: float, fore: float) -> tuple[Any, Any]:
    """Elbows and wrists of arms that swing from hanging to level, elbows bent by 40 to 80 degrees."""
    t = np.arange(FRAMES) / RATE
    raised, ahead, bent = 0.6 + 0.5 * np.sin(2.1 * t), 0.5 * np.sin(1.4 * t), np.radians(60.0 + 20.0 * np.sin(2.6 * t))
    first = np.stack([side * np.sin(raised) * np.cos(ahead), -np.sin(raised) * np.sin(ahead), -np.cos(raised)], axis=1)
    front = np.tile([0.0, -1.0, 0.0], (FRAMES, 1))
    front -= first * np.sum(first * front, axis=1, keepdims=True)
    front /= np.linalg.norm(front, axis=1, keepdims=True)
    second = first * np.cos(bent)[:, None] + front * np.sin(bent)[:, None]
    turn = torso[:, :3, :3]
    elbow = shoulder + np.einsum("fij,fj->fi", turn, first) * upper
    return elbow, elbow + np.einsum("fij,fj->fi", turn, second) * fore


def arm_motion(arm: str, shoulder: Any, elbow: Any, wrist: Any, noise: float, rng: Any, hand: Any = None) -> Any:
    """`hand` (N, 3, 3) turns away from a rest with arms sideways and palms down; the tip is 0.18 along it."""
    from armwright.core.study.motion import ArmMotion

    side = 1.0 if arm == "L" else -1.0
    tip = None if hand is None else wrist + 0.18 * side * hand[:, :, 0]
    parts = [points + rng.normal(0.0, noise, points.shape) for points in (shoulder, elbow, wrist)]
    return ArmMotion(arm, *parts, tip, hand)


def study_of(arms: Any, torso: np.ndarray, phases: Any) -> Any:
    """A study whose phases are given, so that a test does not depend on what finds them."""
    from armwright.core.study.motion import StudyMotion, checked
    from armwright.core.study.phases import Phase
    from armwright.core.study.study import Study, study

    motion = checked(StudyMotion("Lantern", RATE, tuple(arms), torso))
    found = study(motion)
    given = tuple(Phase(arm, kind, on, first, last, 0.0, 0.0, 0.0) for arm, kind, on, first, last in phases)
    return Study(motion, given, found.arms, found.torso)


def segments(armature: Any, factors: tuple[float, float] = (1.0, 1.0)) -> tuple[float, float]:
    """Lengths of upper arm and forearm of a person, whose character's are `factors` times as long."""
    from armwright.addon.subjects import subject_of

    geometry = subject_of(armature).geometries["L"]
    return geometry.upper_length / factors[0], geometry.forearm_length / factors[1]


# Frames (first, last) in which hand and elbow are planted.
BRACED = {"brace": ((30, 85), (45, 68)), "rest": ((45, 68), (30, 85))}


def _braced(what: str, elbow: Any, wrist: Any, size: float, lengths: tuple[float, float]) -> tuple[Any, Any, list[Any]]:
    """Elbows and wrists (N, 3), and phases: the forearm keeps its length, the upper arm takes what it needs."""
    upper, fore = lengths
    frames, (hand, planted) = np.arange(FRAMES), BRACED[what]
    on_rail = CHEST + np.array([HALF_BREADTH * size, 0.0, 0.0]) + upper * np.array([0.35, -0.5, -0.79])
    place = on_rail + fore * np.array([-0.3, -0.9, np.sqrt(1.0 - 0.3**2 - 0.9**2)])

    def share(held: tuple[int, int]) -> np.ndarray:
        return (smooth((frames - held[0] + 12) / 12.0) - smooth((frames - held[1]) / 12.0))[:, None]

    free = wrist - elbow
    elbow = elbow + share(planted) * (on_rail - elbow)
    wrist = elbow + free
    wrist = wrist + share(hand) * (place - wrist)
    way = elbow - wrist
    # About the hand where it is planted, about the elbow elsewhere.
    about_hand = wrist + fore * way / np.linalg.norm(way, axis=1, keepdims=True)
    about_elbow = elbow - fore * way / np.linalg.norm(way, axis=1, keepdims=True)
    elbow, wrist = (about_hand, wrist) if what == "brace" else (elbow, about_elbow)
    return elbow, wrist, [("L", "hand-planted", "world", *hand), ("L", "elbow-planted", "world", *planted)]


def recording(
    armature: Any, what: str, factors: tuple[float, float] = (1.0, 1.0), noise: float = 0.002, seed: int = 3
) -> Any:
    """What is done: "swing", "plant" (left hand, twice), "lean" (left elbow) or "carry" (right hand on the left)."""
    rng = np.random.default_rng(seed)
    upper, fore = segments(armature, factors)
    size = (upper + fore) / sum(segments(armature))
    torso = swaying_torso(size)
    base = shoulders(torso, size)
    elbow, wrist = flung(base["L"], torso, 1.0, upper, fore)
    other_elbow, other_wrist = flung(base["R"], torso, -1.0, upper, fore)
    phases: list[Any] = []
    frames = np.arange(FRAMES)
    if what == "plant":
        place = CHEST + size * np.array([0.22, -0.32, -0.15])
        w = (smooth((frames - 15) / 15.0) - smooth((frames - 75) / 15.0))[:, None]
        wrist = wrist + w * (place - wrist)
        back = np.array([0.6, 0.5, -0.6])
        elbow = reached(base["L"], wrist, upper, fore, back)
        phases = [("L", "hand-planted", "world", 30, 75)]
    if what == "lean":
        place = CHEST + np.array([HALF_BREADTH * size, 0.0, 0.0]) + upper * np.array([0.35, -0.5, -0.79])
        w = (smooth((frames - 15) / 15.0) - smooth((frames - 75) / 15.0))[:, None]
        free = wrist - elbow
        elbow = elbow + w * (place - elbow)
        wrist = elbow + free
        phases = [("L", "elbow-planted", "world", 30, 75)]
    if what in ("brace", "rest"):
        # Hand and elbow on the rail: the hand first and last, or the elbow. Nothing slides in the recording.
        elbow, wrist, phases = _braced(what, elbow, wrist, size, (upper, fore))
    if what == "carry":
        w = (smooth((frames - 15) / 15.0) - smooth((frames - 85) / 15.0))[:, None]
        carried = torso[:, :3, 3] + np.einsum("fij,j->fi", torso[:, :3, :3], size * np.array([0.06, -0.36, -0.12]))
        carried = carried + 0.05 * size * np.stack([np.sin(frames / 9.0), 0 * frames, np.cos(frames / 7.0)], axis=1)
        wrist = wrist + w * (carried - wrist)
        elbow = reached(base["L"], wrist, upper, fore, np.array([0.7, 0.4, -0.6]))
        aside = size * np.array([-0.14, 0.0, 0.0])
        other_wrist = other_wrist + w * (carried + aside - other_wrist)
        other_elbow = reached(base["R"], other_wrist, upper, fore, np.array([-0.7, 0.4, -0.6]))
        phases = [("L", "held", "R", 32, 82), ("R", "held", "L", 32, 82)]
    arms = [
        arm_motion("L", base["L"], elbow, wrist, noise, rng),
        arm_motion("R", base["R"], other_elbow, other_wrist, noise, rng),
    ]
    return study_of(arms, torso, phases)
