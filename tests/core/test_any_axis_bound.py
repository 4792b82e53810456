"""The bound of the elbow's speed in docs/arm.md: the solved arm never goes over it, and comes near it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from arm_cases import arm

from armwright.core.proof import any_axis
from armwright.core.proof.measures import arm_length, at, distance, shoulder_point, unit
from armwright.core.proof.plant import laid_flat
from armwright.core.proof.synthetic import guide_geometry
from armwright.core.solve.arm import solve
from armwright.core.solve.settings import ArmGeometry, ArmSettings
from armwright.core.stature import guide_from_stature
from armwright.core.sweep.sequence import points
from armwright.core.sweep.space import DIMENSIONS, settings_at, take

SEED = 31
POSES = 20_000
STEP = 1e-7  # arm lengths
SHAPES: dict[str, ArmGeometry] = {
    "Wren": guide_geometry(guide_from_stature(1.7, "Wren"), "L"),
    "long upper arm": arm(lengths=(0.40, 0.20, 0.1)),
    "long forearm": arm(lengths=(0.20, 0.40, 0.1)),
    "clavicle longer than the arm": arm(clavicle=(-0.3, 0.1, 1.44), lengths=(0.20, 0.18, 0.1)),
}


def drawn(geometry: ArmGeometry, **dials: float) -> ArmSettings:
    """Poses of a sweep that are held by the hand alone, a third of them with hand and aim near to one line."""
    cube = points(SEED, 0, POSES, DIMENSIONS)
    ones = np.ones(POSES)
    settings = replace(laid_flat(geometry, settings_at(geometry, cube)), ik=ones, elbow=0.0 * ones)
    settings = replace(settings, **{name: value * ones for name, value in dials.items()})
    shoulder = solve(geometry, settings).shoulder
    hand, aim = at(settings.hand_hold) - shoulder, settings.aim - shoulder
    rows = np.arange(0, POSES, 3)
    away, side = np.linalg.norm(aim, axis=1, keepdims=True), np.sign(np.sum(hand * aim, axis=1))[:, None]
    nearer = aim.copy()
    nearer[rows] = (away * unit(side * unit(hand) + 0.15 * unit(aim)))[rows]
    settings = replace(settings, aim=shoulder + nearer)
    # Next to the straight arm the elbow goes by the square root of the slack: any_axis.STRAIGHT.
    whole = sum(any_axis.dialled_lengths(geometry, settings))
    far = distance(at(settings.hand_hold), solve(geometry, settings).shoulder) / whole
    soft = settings.soft * geometry.options.soft_share >= any_axis.STRAIGHT
    clear = (soft | (np.abs(far - 1.0) >= any_axis.STRAIGHT)) & (far > 1e-3)
    return take(settings, clear)


def fastest(geometry: ArmGeometry, s: ArmSettings) -> np.ndarray:
    """Norm of the derivative of the elbow by the target's five coordinates, (N,), by central differences."""
    size, point = arm_length(geometry), shoulder_point(geometry, s.torso)
    step, columns = STEP * size, []

    def slope(low: ArmSettings, high: ArmSettings) -> np.ndarray:
        return (solve(geometry, high).elbow - solve(geometry, low).elbow) / (2.0 * step)

    for axis in np.eye(3):
        ends = [s.hand_hold.copy(), s.hand_hold.copy()]
        for end, sign in zip(ends, (-1.0, 1.0), strict=True):
            end[:, :3, 3] += sign * step * axis
        columns.append(slope(*(replace(s, hand_hold=end) for end in ends)))
    away, along = distance(s.aim, point)[:, None], unit(s.aim - point)
    first = unit(np.cross(along, np.eye(3)[np.argmin(np.abs(along), axis=1)]))
    for way in (first, np.cross(along, first)):
        columns.append(slope(*(replace(s, aim=s.aim + sign * step * way * away / size) for sign in (-1.0, 1.0))))
    return np.asarray(np.linalg.norm(np.stack(columns, axis=-1), ord=2, axis=(1, 2)))


def over_bound(geometry: ArmGeometry, s: ArmSettings, shown: ArmGeometry | None = None) -> np.ndarray:
    """The speed of the arm `shown` over the bound of `geometry`."""
    speed = fastest(shown or geometry, s)
    bound = any_axis.speed_bound(geometry, s, solve(geometry, s).shoulder)
    assert np.isfinite(speed).all() and np.isfinite(bound).all()
    return np.asarray(speed / bound)


@pytest.mark.parametrize("dials", [{}, {"lift": 0.0}, {"lift": 1.0}], ids=["any lift", "no lift", "whole lift"])
@pytest.mark.parametrize("shape", SHAPES)
def test_no_elbow_is_faster_than_the_bound_however_near_to_the_singular_set(shape: str, dials: Any) -> None:
    print("seed", SEED)
    share = over_bound(SHAPES[shape], drawn(SHAPES[shape], **dials))
    print(
        f"{shape}, {dials}: at most {share.max():.6f} of the bound, median {np.median(share):.2f}, {len(share)} poses"
    )
    assert share.max() < 1.0 + 1e-3
    # A bound that is far off would leave out too much.
    assert share.max() > 0.95 and np.median(share) > 0.2


def test_an_arm_whose_lift_is_stronger_than_the_bound_knows_goes_over_it() -> None:
    geometry = SHAPES["Wren"]
    stronger = replace(geometry, options=replace(geometry.options, lift_share=3.0 * geometry.options.lift_share))
    share = over_bound(geometry, drawn(geometry, lift=1.0), stronger)
    assert share.max() > 1.2


def test_the_set_that_the_bound_adds_is_small_and_empty_for_an_unlifted_arm_at_rest_length() -> None:
    print("seed", SEED)
    geometry = SHAPES["Wren"]
    size = arm_length(geometry)
    added = {}
    for name, dials in {
        "rest": {"lift": 0.0, "upper_length": 1.0, "forearm_length": 1.0},
        "lifted": {"lift": 1.0, "upper_length": 1.0, "forearm_length": 1.0},
        "dialled": {"lift": 0.0},
        "both": {},
    }.items():
        s = drawn(geometry, **dials)
        s = replace(s, clavicle=np.zeros_like(s.clavicle))
        shoulder = solve(geometry, s).shoulder
        old = any_axis.off_line(shoulder_point(geometry, s.torso), at(s.hand_hold), s.aim, size)
        old &= any_axis.off_line(shoulder, at(s.hand_hold), s.aim, size)
        fast = any_axis.speed_bound(geometry, s, shoulder) > any_axis.LIMITS["elbow-speed"]
        added[name] = float((old & fast).mean())
        assert any_axis.singular(geometry, s)[fast].all()
        print(f"{name}: {100.0 * (~old).mean():.1f} % by the margins, {100.0 * added[name]:.2f} % more by the bound")
    assert added["rest"] == 0.0
    assert 0.0 < added["both"] < 1e-3
