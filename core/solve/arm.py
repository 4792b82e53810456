"""The reference solver: docs/arm.md in closed form, batched. It knows nothing of plans, bones or constraints.

Shapes as in settings.py: N poses of one arm, metres, radians, armature space. Inside, vectors are (3, n) and turns are
quaternions (4, n); see components.py.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np

from ..rotations import matrix_to_quat
from .components import (
    after,
    angle,
    components,
    cross,
    dot,
    euler_turn,
    frame_head,
    frame_rotate,
    frame_rows,
    frame_turn,
    length,
    slerp,
    swing_share,
    swing_whole,
    swung_axis,
    turn_about_x,
    turn_about_y,
    turn_of_columns,
    unit,
    write_matrices,
    y_axis,
)
from .plant import planted
from .settings import ArmGeometry, ArmPose, ArmSettings, Array

NEAREST_REACH = 0.01
STRAIGHTEST = 0.9999
# Poses solved at once: few enough that a block's rows stay in a processor's second cache.
BLOCK = 4096


@dataclass(frozen=True)
class ArmParts:
    """Intermediate orientations (N, 3, 3) and points (N, 3) of a solution, under the names of docs/arm.md's steps.

    They tell how near a pose is to the singular sets.
    """

    carried: Array
    level: Array
    fk_upper: Array
    elevation_fk: Array
    elevation_ik: Array
    elevation: Array
    ik_upper: Array
    free_upper: Array
    held_ik_upper: Array
    ik_elbow: Array
    fk_forearm: Array
    ik_forearm: Array
    fk_hand: Array


def solve(geometry: ArmGeometry, settings: ArmSettings) -> ArmPose:
    """Solve N poses; see docs/arm.md for the equations, whose numbers stand in the comments."""
    return ArmPose(**_solve_blocks(geometry, settings, picks=(0,))[0])


def solve_parts(geometry: ArmGeometry, settings: ArmSettings) -> tuple[ArmPose, ArmParts]:
    """`solve`, and the intermediate results."""
    pose, parts = _solve_blocks(geometry, settings, picks=(0, 1))
    return ArmPose(**pose), ArmParts(**parts)


def scapula_turn(elevation: Array) -> Array:
    """The scapula's upward turn at an arm's elevation, radians (docs/arm.md, 4)."""
    early = elevation**2 / (2.0 * np.pi)
    return np.where(elevation < np.pi / 3.0, early, (elevation - np.pi / 6.0) / 3.0)


@dataclass(frozen=True)
class _Rest:
    """What the geometry contributes to every pose: turns (4, 1), vectors (3,) in the torso's axes, an angle."""

    torso: Array
    clavicle: Array
    clavicle_to_upper: Array
    root_to_upper: Array
    upper_to_fore: Array
    fore_to_hand: Array
    base: Array
    point: Array
    down: Array
    elevation: Array


@lru_cache(maxsize=64)
def _rest(g: ArmGeometry) -> _Rest:
    # Kept by the geometry's identity: a third of what a single pose costs.
    torso, clavicle, root = g.torso[:3, :3], g.clavicle[:3, :3], g.root[:3, :3]
    upper, fore, hand = g.upper_arm[:3, :3], g.forearm[:3, :3], g.hand[:3, :3]

    def constant(matrix: Array) -> Array:
        return matrix_to_quat(matrix)[:, None]

    return _Rest(
        torso=constant(torso.T),
        clavicle=constant(torso.T @ clavicle),
        clavicle_to_upper=constant(clavicle.T @ upper),
        root_to_upper=constant(root.T @ upper),
        upper_to_fore=constant(upper.T @ fore),
        fore_to_hand=constant(fore.T @ hand),
        base=torso.T @ (g.clavicle[:3, 3] - g.torso[:3, 3]),
        point=torso.T @ (g.upper_arm[:3, 3] - g.torso[:3, 3]),
        down=-(torso.T @ g.up),
        elevation=angle(upper[:, 1:2], -g.up[:, None]),
    )


def _solve_blocks(geometry: ArmGeometry, settings: ArmSettings, picks: tuple[int, ...]) -> list[dict[str, Array]]:
    """The fields of ArmPose (pick 0) and of ArmParts (1), (N, ...), solved block by block."""
    count, rest = len(settings.ik), _rest(geometry)
    out: list[dict[str, Array]] = [{} for _ in picks]
    # At least one block: an empty batch gives empty results of the right shapes.
    for start in range(0, max(count, 1), BLOCK):
        part = slice(start, start + BLOCK)
        inputs = ArmSettings(**{item.name: getattr(settings, item.name)[part] for item in fields(ArmSettings)})
        # Divisions by zero are the singular sets of docs/arm.md; their NaN stay in their own poses.
        with np.errstate(invalid="ignore", divide="ignore"):
            block = _block(geometry, rest, inputs)
        for picked, pick in zip(out, picks, strict=True):
            for name, values in block[pick].items():
                _write(picked, name, values, count, part)
    return out


def _write(out: dict[str, Array], name: str, values: Array, count: int, part: slice) -> None:
    """Put a block's rows, (N,), (3, N) or (4, N), into its place in `out` as numbers, vectors or matrices."""
    tail = {1: (), 3: (3,), 4: (3, 3)}[1 if values.ndim == 1 else len(values)]
    if name not in out:
        out[name] = np.empty((count, *tail))
    into = out[name][part]
    if len(tail) == 2:
        write_matrices(values, into)
    else:
        into[...] = values.T


def _block(g: ArmGeometry, rest: _Rest, s: ArmSettings) -> tuple[dict[str, Array], dict[str, Array]]:
    """One block: the fields of ArmPose and those of ArmParts as component rows."""
    o, orders = g.options, g.rotation_orders
    torso, root = frame_rows(s.torso), frame_rows(s.root)
    hand_hold, elbow_hold, aim = frame_rows(s.hand_hold), frame_rows(s.elbow_hold), components(s.aim)
    hand_at, hand_turn = planted(g.pivots, s, frame_head(hand_hold), frame_turn(hand_hold))
    elbow_at = frame_head(elbow_hold)

    # 1
    clavicle = after(after(frame_turn(torso), rest.clavicle), euler_turn(components(s.clavicle), orders[0]))
    base = frame_rotate(torso, rest.base) + frame_head(torso)
    # 2
    carried = after(clavicle, rest.clavicle_to_upper)
    level = after(frame_turn(root), rest.root_to_upper)
    fk_upper = after(slerp(carried, level, s.isolate), euler_turn(components(s.upper_arm), orders[1]))
    # 3
    a, b = g.upper_length * s.upper_length, g.forearm_length * s.forearm_length
    point = frame_rotate(torso, rest.point) + frame_head(torso)
    raised = _where_asked(_raised(g, hand_at - point, aim - point, a, b), fk_upper, s.ik)
    blended = slerp(fk_upper, raised, s.ik)
    aloft = swung_axis(y_axis(blended), elbow_at - point, s.elbow)
    elevation = angle(aloft, frame_rotate(torso, rest.down))
    # 4
    lift = s.lift * (o.lift_share * (scapula_turn(elevation) - scapula_turn(rest.elevation)))
    lifted = after(clavicle, turn_about_x(lift))
    shoulder = base + y_axis(lifted) * g.clavicle_length
    # 5
    to_hand = hand_at - shoulder
    far = length(to_hand)
    straight = a + b
    nearest = np.sqrt(a * a + b * b + (2.0 * np.cos(o.fold_limit)) * a * b)
    slack = np.minimum(_slack(straight, far, (s.soft * o.soft_share) * straight), straight - nearest)
    reach = straight - slack
    grow = 1.0 + s.stretch * (_clamp(far / reach, 1.0, o.stretch_limit) - 1.0)
    # 6
    along, aside, side = _span(to_hand, aim - shoulder)
    double = 2.0 * reach
    x = (a * a - b * b + reach * reach) / double
    # a² - x² as a product: it is exact next to the straight arm, where the difference of the squares cancels.
    h = np.sqrt(np.maximum(0.0, slack * (2.0 * straight - slack) * (reach * reach - (a - b) ** 2))) / double
    hinged = after(_frame((along * x + aside * h) / a, side), turn_about_y(s.upper_roll))
    free_ik_upper = _where_asked(hinged, fk_upper, s.ik)
    # 7
    to_elbow = elbow_at - shoulder
    asked = length(to_elbow)
    held = _clamp(asked, o.shortest * g.upper_length, o.longest * g.upper_length)
    ik_upper = swing_share(free_ik_upper, to_elbow, s.elbow)
    ik_length = _lerp(a * grow, held, s.elbow)
    ik_elbow = shoulder + y_axis(ik_upper) * ik_length
    # 8
    free_upper = slerp(fk_upper, free_ik_upper, s.ik)
    upper = swing_share(free_upper, to_elbow, s.elbow)
    upper_length = _lerp(_lerp(a, a * grow, s.ik), held, s.elbow)
    elbow = shoulder + y_axis(upper) * upper_length
    # 9
    held_frame = slerp(fk_upper, frame_turn(elbow_hold), s.elbow)
    fk_fore = after(after(held_frame, rest.upper_to_fore), euler_turn(components(s.forearm), orders[2]))
    # 10
    from_elbow = hand_at - ik_elbow
    ik_fore = after(swing_whole(ik_upper, from_elbow), turn_about_y(s.forearm[:, 1]))
    gap = length(from_elbow)
    need = 1.0 + s.stretch * (_clamp(gap / b, o.shortest, o.stretch_limit) - 1.0)
    # 11
    fore = slerp(fk_fore, ik_fore, s.ik)
    fore_length = _lerp(b, b * need, s.ik)
    wrist = elbow + y_axis(fore) * fore_length
    # 12
    fk_hand = after(after(fk_fore, rest.fore_to_hand), euler_turn(components(s.hand), orders[3]))
    hand = slerp(fk_hand, hand_turn, s.ik)
    # 13, 14
    upper_factor, fore_factor = upper_length / g.upper_length, fore_length / g.forearm_length
    thinner = -0.5 * s.volume
    pose = {
        "shoulder": shoulder,
        "elbow": elbow,
        "wrist": wrist,
        "clavicle": lifted,
        "upper_arm": upper,
        "forearm": fore,
        "hand": hand,
        "upper_factor": upper_factor,
        "forearm_factor": fore_factor,
        "upper_width": upper_factor**thinner,
        "forearm_width": fore_factor**thinner,
        "elevation": elevation,
        "lift": lift,
        "elbow_missing": np.abs(asked - held),
        "hand_missing": np.abs(gap - b * need),
    }
    parts = {
        "carried": carried,
        "level": level,
        "fk_upper": fk_upper,
        "elevation_fk": fk_upper,
        "elevation_ik": raised,
        "elevation": blended,
        "ik_upper": free_ik_upper,
        "free_upper": free_upper,
        "held_ik_upper": ik_upper,
        "ik_elbow": ik_elbow,
        "fk_forearm": fk_fore,
        "ik_forearm": ik_fore,
        "fk_hand": fk_hand,
    }
    return pose, parts


def _raised(g: ArmGeometry, to_hand: Array, to_aim: Array, a: Array, b: Array) -> Array:
    """The IK upper arm as seen from the torso's own shoulder point (docs/arm.md, 3)."""
    far = np.maximum(length(to_hand), NEAREST_REACH * (g.upper_length + g.forearm_length))
    along, aside, side = _span(to_hand, to_aim)
    cosine = _clamp((a * a + far * far - b * b) / (2.0 * a * far), float(np.cos(g.options.fold_limit)), STRAIGHTEST)
    return _frame(along * cosine + aside * np.sqrt(1.0 - cosine * cosine), side)


def _slack(straight: Array, far: Array, knee: Array) -> Array:
    """How far from straight the arm stays when its target is `far` away, (N,)."""
    past = far - (straight - knee)
    soft = knee * np.exp(-np.maximum(past, 0.0) / np.where(knee > 0.0, knee, 1.0))
    return np.where(past <= 0.0, straight - far, soft)


def _span(to_hand: Array, to_aim: Array) -> tuple[Array, Array, Array]:
    """Units (3, N): along the span, towards the aim at right angles to it, and the hinge's direction."""
    along = unit(to_hand)
    aside = unit(to_aim - along * dot(along, to_aim))
    return along, aside, cross(aside, along)


def _frame(y: Array, x: Array) -> Array:
    """Turns with Y along the unit `y` and X along the unit `x`, which are at right angles."""
    return turn_of_columns(x, y, cross(x, y))


def _where_asked(ik: Array, fk: Array, dial: Array) -> Array:
    """The IK turns, with FK's where IK has none and the dial asks for none: a singular IK does not spoil an FK pose."""
    spoilt = np.isnan(ik[0]) & (dial == 0.0)
    return np.where(spoilt, fk, ik) if spoilt.any() else ik


def _clamp(values: Array, low: float, high: float) -> Array:
    return np.asarray(np.minimum(np.maximum(values, low), high))


def _lerp(first: Array, second: Array, share: Array) -> Array:
    return first + share * (second - first)
