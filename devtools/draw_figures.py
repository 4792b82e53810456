"""Draws the figures of docs/arm.md: every point in them is the reference solver's answer for Wren's arm.

    python devtools/draw_figures.py            writes docs/pictures/*.svg
    python devtools/draw_figures.py --check    only compares; exit code 1 where one differs

Run by the environment's Python, which has the package.
"""

# ruff: noqa: RUF005 (points are arrays, and `+` adds them)
from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from armwright.core.guide import Guide
from armwright.core.hand_proportions import with_hands
from armwright.core.posing import rigid_inverse
from armwright.core.proof.synthetic import guide_geometry
from armwright.core.rotations import euler_to_matrix
from armwright.core.solve.arm import solve
from armwright.core.solve.plant import goal_in_hold
from armwright.core.solve.rest import rest_settings
from armwright.core.solve.settings import ArmGeometry, ArmPose, ArmSettings
from armwright.core.stature import guide_from_stature

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from devtools.drawing import BODY, HELD, INK, PALE, SHOULDER, Drawing  # noqa: E402

Array = NDArray[np.float64]

PICTURES = ROOT / "docs" / "pictures"
STATURE = 1.7
ELBOW_HOLD_LEANS = 12.0  # degrees
ELBOW_FROM_SHOULDER = (0.03, -0.17, -0.26)
ROLLS = (("roll −30°", -30.0), ("roll 0", 0.0), ("roll 35°", 35.0), ("roll 80°", 80.0))
BEND = 45.0


def keeper() -> Guide:
    """Wren's joints by handbook proportions, with fingers."""
    return with_hands(guide_from_stature(STATURE, "Wren"))


def moved(geometry: ArmGeometry, count: int, **changes: Array) -> tuple[ArmSettings, ArmPose]:
    """`count` poses of the arm with these settings changed from rest, and the solver's answer."""
    settings = replace(rest_settings(geometry, count), **changes)
    return settings, solve(geometry, settings)


def hold_at(geometry: ArmGeometry, points: Array) -> Array:
    """Hand holds (N, 4, 4) at points (N, 3), turned as at rest."""
    out = np.tile(geometry.hand, (len(points), 1, 1))
    out[:, :3, 3] = points
    return out


def triangle() -> str:
    """Shoulder, elbow and wrist in the plane that the elbow aim turns."""
    geometry = guide_geometry(keeper(), "L")
    shoulder = geometry.upper_arm[:3, 3]
    length = geometry.upper_length + geometry.forearm_length
    reach, aim = np.array([0.0, -0.74, 0.0]) * length, np.array([0.0, -0.50, -0.42]) * length
    _, pose = moved(
        geometry, 1, hand_hold=hold_at(geometry, (shoulder + reach)[None]), aim=(shoulder + aim)[None], ik=np.ones(1)
    )
    e1 = reach / np.linalg.norm(reach)
    e2 = aim - e1 * (aim @ e1)
    e2 = -e2 / np.linalg.norm(e2)  # the aim is below

    def flat(point: Array) -> Array:
        return np.array([(point - shoulder) @ e1, (point - shoulder) @ e2]) / length

    s, e, w, p = (flat(point) for point in (pose.shoulder[0], pose.elbow[0], pose.wrist[0], shoulder + aim))
    foot = np.array([e[0], 0.0])
    draw = Drawing(800, 450)
    draw.frame(100, 105, 700)
    draw.path([s, w], PALE, 1.5, "6 5")
    draw.path([foot, e], PALE, 1.5, "6 5")
    draw.path([e, p], HELD, 1.5, "2 5")
    draw.path([s, e], BODY, 7)
    draw.path([e, w], BODY, 7)
    corner = 0.018
    draw.path([foot + [corner, 0], foot + [corner, -corner], foot + [0, -corner]], PALE, 1.5)
    # The line along which x is measured, above the arm.
    draw.path([s + [0, 0.075], s + [0, 0.095], foot + [0, 0.095], foot + [0, 0.075]], INK, 1.2)
    draw.path([s + [0, 0.02], s + [0, 0.04], w + [0, 0.04], w + [0, 0.02]], INK, 1.2)
    draw.words((s + foot) / 2, "x", 0, -78, italic=True)
    draw.words(w * 0.78, "r", 0, -36, italic=True)
    draw.words((foot + e) / 2, "h", -14, 5, italic=True)
    draw.words((s + e) / 2, "a, the upper arm", -14, 22, BODY, "end")
    draw.words((e + w) / 2, "b, the forearm", 18, 20, BODY, "start")
    draw.arrow(s, s + [0.085, 0], INK, 2.5)
    draw.words(s + [0.06, 0], "u", 4, 22, italic=True)
    draw.arrow(foot, foot + [0, -0.085], INK, 2.5)
    draw.words(foot + [0, -0.06], "p", 16, 4, italic=True)
    draw.dot(s, SHOULDER, 8)
    draw.words(s, "S, the", -16, 0, SHOULDER, "end")
    draw.words(s, "shoulder", -16, 20, SHOULDER, "end")
    draw.dot(e, BODY, 8)
    draw.words(e, "E, the elbow", -16, 22, BODY, "end")
    draw.square(w, HELD, 10)
    draw.dot(w, BODY, 4)
    draw.words(w, "H, the hand's goal", 20, 5, HELD, "start")
    draw.square(p, HELD, 6)
    draw.words(p, "P, the elbow aim: only its direction", 16, 0, HELD, "start")
    draw.words(p, "off the line from S to H counts", 16, 20, HELD, "start")
    return draw.text("The arm's triangle: shoulder S, hand's goal H and elbow aim P give the elbow E")


def soft_reach() -> str:
    """The reach, and the elbow's flexion, over the distance of the hand's goal, for three values of the soft dial."""
    geometry = guide_geometry(keeper(), "L")
    shoulder = geometry.upper_arm[:3, 3]
    length = geometry.upper_length + geometry.forearm_length
    distance = np.linspace(0.6, 1.3, 141)
    goals = shoulder + distance[:, None] * np.array([0.0, -length, 0.0])
    aims = np.tile(shoulder + np.array([0.0, -0.5, -1.0]) * length, (len(distance), 1))
    draw = Drawing(860, 380)
    knee = 1.0 - geometry.options.soft_share
    curves = []
    for soft, colour, width in ((0.0, PALE, 3.0), (0.5, HELD, 3.0), (1.0, BODY, 4.0)):
        ones = np.ones(len(distance))
        _, pose = moved(
            geometry, len(distance), hand_hold=hold_at(geometry, goals), aim=aims, ik=ones, soft=soft * ones
        )
        reach = np.linalg.norm(pose.wrist - pose.shoulder, axis=1) / length
        upper, fore = pose.upper_arm[:, :, 1], pose.forearm[:, :, 1]
        flexion = np.degrees(np.arccos(np.clip(np.einsum("ni,ni->n", upper, fore), -1.0, 1.0)))
        curves.append((soft, colour, width, reach, flexion))
    # Left: reach.
    draw.frame(-250, 840, 530)
    low, high, bottom, top = 0.62, 1.28, 0.98, 1.51  # pixels' worth: the panel's own units below
    panel = [(low, bottom), (low, top)], [(low, bottom), (high, bottom)]
    for line in panel:
        draw.arrow(*line, INK, 1.5)

    def left(x: float, y: float) -> tuple[float, float]:
        return x, bottom + (y - 0.6) * 1.15

    draw.path([left(low, 0.62), left(1.02, 1.02)], PALE, 1.2, "3 5")
    for at, words in ((knee, "R − k"), (1.0, "R")):
        draw.path([left(at, 0.6), left(at, 1.0)], PALE, 1.2, "6 5")
        draw.words(left(at, 0.6), words, 0, 20)
    draw.path([left(low, 1.0), left(1.25, 1.0)], PALE, 1.2, "6 5")
    draw.words(left(low, 1.0), "R", -14, 5)
    for _, colour, width, reach, _ in curves:
        draw.path([left(x, y) for x, y in zip(distance, reach, strict=True) if low <= x <= 1.26], colour, width)
    draw.words((low, top), "how far the hand gets, r", 8, 4, INK, "start")
    draw.words((high, bottom), "distance d of the goal", 0, 42, INK, "end")
    # Right: flexion.
    draw.frame(170, 840, 530)
    for line in panel:
        draw.arrow(*line, INK, 1.5)

    def right(x: float, y: float) -> tuple[float, float]:
        return x, bottom + y / 100.0 * 0.46

    for at, words in ((knee, "R − k"), (1.0, "R")):
        draw.path([right(at, 0.0), right(at, 95.0)], PALE, 1.2, "6 5")
        draw.words(right(at, 0.0), words, 0, 20)
    for degrees in (30, 60, 90):
        draw.path([right(low, degrees), right(low - 0.008, degrees)], INK, 1.5)
        draw.words(right(low, degrees), f"{degrees}°", -8, 5, INK, "end", 13)
    for soft, colour, width, _, flexion in curves:
        draw.path([right(x, y) for x, y in zip(distance, flexion, strict=True) if low <= x <= 1.26], colour, width)
        line = 60.0 + 14.0 * (1.0 - soft)
        draw.path([right(1.07, line), right(1.11, line)], colour, width)
        draw.words(right(1.12, line), f"soft {soft:g}", 4, 5, INK, "start")
    draw.words((low, top), "how far the elbow is bent", 8, 4, INK, "start")
    draw.words((high, bottom), "distance d of the goal", 0, 42, INK, "end")
    return draw.text("Soft reach: without it the elbow snaps straight at d = R, with it the last part is eased")


def elbow_hold() -> str:
    """An elbow on the rail, before and after the torso has leaned forward, from the side."""
    geometry = guide_geometry(keeper(), "L")
    pelvis = np.array([0.0, 0.0, geometry.torso[2, 3] - 0.25])
    lean = np.eye(4)
    lean[:3, :3] = euler_to_matrix(np.radians([ELBOW_HOLD_LEANS, 0.0, 0.0]), "XYZ")
    lean[:3, 3] = pelvis - lean[:3, :3] @ pelvis
    torso = np.stack([geometry.torso, lean @ geometry.torso])
    # The elbow rests in front of him and the forearm points forward and up.
    along = np.array([0.0, -0.93, 0.36]) / np.hypot(0.93, 0.36)
    hinge = np.array([-1.0, 0.0, 0.0])
    forearm = np.stack([hinge, along, np.cross(hinge, along)], axis=1)
    hold = np.eye(4)
    hold[:3, :3] = forearm @ geometry.forearm[:3, :3].T @ geometry.upper_arm[:3, :3]
    hold[:3, 3] = geometry.upper_arm[:3, 3] + ELBOW_FROM_SHOULDER
    _, pose = moved(geometry, 2, torso=torso, elbow_hold=np.tile(hold, (2, 1, 1)), elbow=np.ones(2))
    collar = (torso @ rigid_inverse(geometry.torso) @ np.append(geometry.clavicle[:3, 3], 1.0))[:, :3]
    tip = pose.wrist + pose.hand[:, :, 1] * 0.17

    def side(point: Array) -> Array:
        return np.array([-point[1], point[2]])

    draw = Drawing(860, 370)
    low = side(pelvis)
    draw.frame(250 - 640 * low[0], 345 + 640 * low[1], 640)
    n = side(hold[:3, 3])
    post = [n + [-0.05, -0.02], n + [0.11, -0.02], n + [0.11, -0.06], n + [-0.05, -0.06], n + [-0.05, -0.02]]
    draw.path(post, PALE, 1.5, fill="#eeeeee")
    draw.words(n + [0.11, -0.04], "the rail", 10, 5, INK, "start")
    for index, (colour, width) in enumerate(((PALE, 5.0), (BODY, 7.0))):
        draw.path([low, side(collar[index]), side(pose.shoulder[index])], colour, width)
        draw.path([side(pose.shoulder[index]), n], colour, width)
        draw.dot(side(pose.shoulder[index]), SHOULDER if index else PALE, 8)
    draw.path([n, side(pose.wrist[1]), side(tip[1])], BODY, 7)
    draw.dot(side(pose.wrist[1]), BODY, 6)
    draw.square(n, HELD, 11)
    draw.words(n, "N, the elbow hold", 0, 62, HELD, "start")
    draw.words(side(tip[1]), "forearm and hand are the same", -110, -40, BODY, "start")
    draw.words(side(tip[1]), "in both: they turn in the hold's frame", -110, -18, BODY, "start")
    draw.words(side(pose.shoulder[0]), f"upright: upper arm × {pose.upper_factor[0]:.2f}", -16, -12, "#777777", "end")
    draw.words(side(pose.shoulder[1]), f"leaned: upper arm × {pose.upper_factor[1]:.2f}", 16, -12, BODY, "start")
    return draw.text("A held elbow: the torso leans, the upper arm takes the length it needs, the forearm stays")


def planted_hand() -> str:
    """What a planted hand rolls over: four rolls from the side, two from the fingertips, the spin from above."""
    geometry = guide_geometry(keeper(), "L")
    pivots = geometry.pivots
    scale = 1.0 / float(pivots.fingertips[1])

    def goals(**dials: float) -> Array:
        changes = {name: np.array([np.radians(value)]) for name, value in dials.items()}
        settings, _ = moved(geometry, 1, finger_bend=np.array([np.radians(BEND)]), **changes)
        return np.asarray(goal_in_hold(geometry, settings)[0])

    def placed(frame: Array, point: Array) -> Array:
        return np.asarray((frame @ np.append(point, 1.0))[:3]) * scale

    floor = float(pivots.heel[2]) * scale
    draw = Drawing(880, 490)
    for index, (words, roll) in enumerate(ROLLS):
        draw.frame(70 + 205 * index, 165, 112)
        frame = goals(hand_roll=roll)
        bent = np.radians(min(max(roll, 0.0), BEND))
        back = np.eye(4)
        back[:3, :3] = euler_to_matrix(np.array([-bent, 0.0, 0.0]), "XYZ")
        about = np.eye(4)
        about[:3, 3] = pivots.knuckles
        fingers = frame @ about @ back @ rigid_inverse(about)

        def side(point: Array) -> tuple[float, float]:
            return float(point[1]), -float(point[2])

        draw.path([(-0.25, -floor), (1.25, -floor)], PALE, 1.5)
        wrist, heel = placed(frame, np.zeros(3)), placed(frame, pivots.heel)
        knuckles, tips = placed(frame, pivots.knuckles), placed(fingers, pivots.fingertips)
        under = placed(frame, np.array([0.0, pivots.knuckles[1], pivots.heel[2]]))
        draw.path([side(placed(frame, np.array([0.0, -0.34 / scale, -0.12 / scale]))), side(wrist)], PALE, 5)
        draw.path([side(wrist), side(heel), side(under), side(knuckles), side(wrist)], BODY, 2.5, fill="#d9efed")
        draw.path([side(knuckles), side(tips)], BODY, 6)
        draw.dot(side(wrist), BODY, 5)
        pivot = heel if roll < 0 else tips if roll > BEND else knuckles if roll > 0 else None
        for point in (heel, knuckles, tips):
            draw.dot(side(point), INK, 3.5)
        if pivot is not None:
            draw.square(side(pivot), HELD, 9)
        name = "over the heel" if roll < 0 else "flat" if roll == 0 else "over the fingertips" if roll > BEND else ""
        draw.words((0.45, 0.0), words, 0, 55)
        draw.words((0.45, 0.0), name or "over the knuckles", 0, 76, INK if name == "flat" else HELD)
    draw.frame(0, 0, 1)
    draw.words((30, -26), "Seen from the side. The square is the point that stays; past the finger bend "
               f"(here {BEND:g}°) it is the fingertips.", anchor="start", size=14)  # fmt: skip
    draw.words((30, -288), "Seen from the fingertips:", anchor="start", size=14)
    draw.words((540, -288), "Seen from above:", anchor="start", size=14)
    for index, (words, angle) in enumerate(
        (("side −40°: the thumb's edge", -40.0), ("side 40°: the outer edge", 40.0))
    ):
        draw.frame(135 + 225 * index, 410, 140)
        frame = goals(hand_side=angle)

        def front(point: Array) -> tuple[float, float]:
            # Seen from the fingertips a left hand's thumb, at -X, is on the viewer's right.
            return -float(point[0]), -float(point[2])

        draw.path([(-0.55, -floor), (0.55, -floor)], PALE, 1.5)
        thumb, outer = placed(frame, pivots.thumb_edge), placed(frame, pivots.outer_edge)
        top = np.array([0.0, 0.0, -0.55 * float(pivots.heel[2])])
        corners = [thumb, outer, placed(frame, pivots.outer_edge + top), placed(frame, pivots.thumb_edge + top), thumb]
        draw.path([front(point) for point in corners], BODY, 2.5, fill="#d9efed")
        for point in (thumb, outer):
            draw.dot(front(point), INK, 3.5)
        draw.square(front(thumb if angle < 0 else outer), HELD, 9)
        draw.words((0.0, -floor), words, 0, 34, HELD)
    draw.frame(590, 445, 110)
    for spin, colour, fill in ((0.0, PALE, "none"), (30.0, BODY, "#d9efed")):
        frame = goals(hand_spin=spin)

        def above(point: Array) -> tuple[float, float]:
            return float(point[0]), float(point[1])

        half = float(pivots.outer_edge[0] - pivots.thumb_edge[0]) / 2.0
        shape = ((-0.8, 0.05), (0.8, 0.05), (1.0, 0.5), (0.85, 1.0), (-0.85, 1.0), (-1.0, 0.5), (-0.8, 0.05))
        points = [np.array([float(pivots.palm[0]) + x * half, y * float(pivots.fingertips[1]), 0.0]) for x, y in shape]
        draw.path([above(placed(frame, point)) for point in points], colour, 2.5, fill=fill)
        draw.path([above(placed(frame, np.array([0.0, y, 0.0]) / scale)) for y in (-0.25, 0.0)], colour, 5)
    draw.square(above(placed(np.eye(4), pivots.palm)), HELD, 9)
    for row, words in enumerate(("spin 30°: the palm stays,", "the fingertips go to", "the thumb's side")):
        draw.words((0.6, 0.55), words, 12, 20 * row, HELD if row == 0 else INK, "start")
    return draw.text("The planted hand: what it rolls over, from the side, from the fingertips and from above")


FIGURES = {
    "arm_triangle.svg": triangle,
    "soft_reach.svg": soft_reach,
    "elbow_hold.svg": elbow_hold,
    "planted_hand.svg": planted_hand,
}


def main(arguments: Sequence[str]) -> int:
    """Write the figures, or compare them."""
    different = []
    for name, figure in FIGURES.items():
        path, text = PICTURES / name, figure()
        if "--check" in arguments:
            if not path.is_file() or path.read_text(encoding="utf-8") != text:
                different.append(name)
        else:
            path.write_text(text, encoding="utf-8")
    if different:
        print(f"not as drawn by this script: {', '.join(different)}", file=sys.stderr)
    return 1 if different else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
