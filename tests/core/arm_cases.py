"""Arms built by hand, from docs/arm.md's "Rest frames" and nothing of the product, and settings drawn at random."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np

from armwright.core.hand_frames import PivotPoints
from armwright.core.options import ArmOptions
from armwright.core.solve.rest import rest_settings
from armwright.core.solve.settings import ArmGeometry, ArmSettings

MIRROR = np.diag([-1.0, 1.0, 1.0, 1.0])
UP = np.array([0.0, 0.0, 1.0])
# A left hand of 0.18 m: the thumb on the side of -X.
PIVOTS = PivotPoints(
    heel=np.array([0.004, 0.01, 0.028]),
    palm=np.array([0.002, 0.05, 0.031]),
    knuckles=np.array([0.003, 0.095, 0.012]),
    fingertips=np.array([-0.002, 0.178, 0.02]),
    thumb_edge=np.array([-0.041, 0.055, 0.027]),
    outer_edge=np.array([0.038, 0.05, 0.029]),
)
PLANT = ("hand_roll", "hand_side", "hand_spin", "finger_bend")
POINTS = ("shoulder", "elbow", "wrist")
ORIENTATIONS = ("clavicle", "upper_arm", "forearm", "hand")
FRAMES = ("torso", "root", "hand_hold", "elbow_hold")
CHANNELS = ("clavicle", "upper_arm", "forearm", "hand")
DIALS = ("ik", "elbow", "isolate", "lift", "stretch", "soft", "volume")


def assert_close(actual: Any, expected: Any, atol: float = 0.0, err_msg: str = "") -> None:
    """Equal within `atol` alone: numpy's own default would allow 1e-7 of the size on top."""
    np.testing.assert_allclose(actual, expected, rtol=0.0, atol=atol, err_msg=err_msg)


def turn(axis: Any, angle: float) -> np.ndarray:
    """Rodrigues' formula, one matrix."""
    x, y, z = np.asarray(axis, float) / np.linalg.norm(axis)
    skew = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + np.sin(angle) * skew + (1 - np.cos(angle)) * skew @ skew


def frame(head: Any, rotation: np.ndarray) -> np.ndarray:
    out = np.eye(4)
    out[:3, :3], out[:3, 3] = rotation, head
    return out


def _axes(y: np.ndarray, x: np.ndarray) -> np.ndarray:
    y, x = y / np.linalg.norm(y), x / np.linalg.norm(x)
    return np.stack([x, y, np.cross(x, y)], axis=-1)


def arm(
    down: float = 45.0,
    bend: float = 8.0,
    side: str = "L",
    clavicle: Any = (0.02, -0.02, 1.42),
    shoulder: Any = (0.19, 0.01, 1.44),
    lengths: tuple[float, float, float] = (0.31, 0.26, 0.18),
    options: ArmOptions | None = None,
) -> ArmGeometry:
    """A left arm `down` degrees below horizontal, its elbow bent forward by `bend` degrees; or its mirror image."""
    clavicle, shoulder = np.array(clavicle, float), np.array(shoulder, float)
    along = np.array([np.cos(np.radians(down)), 0.0, -np.sin(np.radians(down))])
    forward = np.array([0.0, -1.0, 0.0])
    fore = np.cos(np.radians(bend)) * along + np.sin(np.radians(bend)) * forward
    hinge = np.cross(along, forward)
    elbow = shoulder + along * lengths[0]
    wrist = elbow + fore * lengths[1]
    palm = np.array([-along[2], 0.0, along[0]]) * -1.0
    geometry = ArmGeometry(
        torso=frame((0.0, 0.03, 1.1), turn((1, 0, 0), 1.4)),
        root=frame((0.0, 0.0, 0.0), turn((1, 0, 0), 0.3)),
        clavicle=frame(clavicle, _axes(shoulder - clavicle, np.cross(shoulder - clavicle, UP))),
        upper_arm=frame(shoulder, _axes(along, hinge)),
        forearm=frame(elbow, _axes(fore, hinge)),
        hand=frame(wrist, _axes(fore, np.cross(fore, palm))),
        clavicle_length=float(np.linalg.norm(shoulder - clavicle)),
        upper_length=lengths[0],
        forearm_length=lengths[1],
        up=UP,
        rotation_orders=("XYZ", "XYZ", "YZX", "YZX"),
        options=ArmOptions() if options is None else options,
        pivots=PIVOTS,
    )
    return geometry if side == "L" else mirrored_arm(geometry)


def mirrored_arm(geometry: ArmGeometry) -> ArmGeometry:
    names = ("torso", "root", "clavicle", "upper_arm", "forearm", "hand")
    points = PivotPoints(*(getattr(geometry.pivots, item.name) * [-1.0, 1.0, 1.0] for item in fields(PivotPoints)))
    return replace(geometry, pivots=points, **{name: MIRROR @ getattr(geometry, name) @ MIRROR for name in names})


def mirrored_settings(settings: ArmSettings) -> ArmSettings:
    """Frames and points seen in a mirror; of the channels only the turns about Y and Z change sign."""
    changed = {name: MIRROR @ getattr(settings, name) @ MIRROR for name in FRAMES}
    changed |= {name: getattr(settings, name) * [1.0, -1.0, -1.0] for name in CHANNELS}
    return replace(settings, **changed, aim=settings.aim * [-1.0, 1.0, 1.0], upper_roll=-settings.upper_roll)


def random_turns(rng: np.random.Generator, count: int, largest: float = np.pi) -> np.ndarray:
    """Matrices (N, 3, 3) turned by up to `largest` about directions all round."""
    axes = rng.normal(size=(count, 3))
    return np.array([turn(axis, angle) for axis, angle in zip(axes, rng.uniform(0.0, largest, count), strict=True)])


def moved(rest: np.ndarray, turns: np.ndarray, travel: np.ndarray) -> np.ndarray:
    """A rest frame turned about its own head by `turns` (N, 3, 3) and carried by `travel` (N, 3): (N, 4, 4)."""
    out = np.tile(rest, (len(turns), 1, 1))
    out[:, :3, :3] = turns @ rest[:3, :3]
    out[:, :3, 3] += travel
    return out


def random_settings(rng: np.random.Generator, geometry: ArmGeometry, count: int, planted: bool = False) -> ArmSettings:
    """All dials, channels, torso poses and holds at random, the holds in and out of reach.

    The hand lies flat in its hold, unless it is `planted`: then the hold is not where the hand is.
    """
    length = geometry.upper_length + geometry.forearm_length
    rest = rest_settings(geometry, count)
    torso = moved(geometry.torso, random_turns(rng, count, 1.0), rng.uniform(-0.2, 0.2, (count, 3)))
    shoulder = (torso @ np.linalg.inv(geometry.torso) @ geometry.upper_arm)[:, :3, 3]

    def around(low: float, high: float) -> np.ndarray:
        direction = rng.normal(size=(count, 3))
        direction /= np.linalg.norm(direction, axis=1, keepdims=True)
        return shoulder + direction * (rng.uniform(low, high, count) * length)[:, None]

    def hold(name: str, low: float, high: float) -> np.ndarray:
        out = moved(getattr(rest, name)[0], random_turns(rng, count, 1.5), np.zeros((count, 3)))
        out[:, :3, 3] = around(low, high)
        return out

    def dial() -> np.ndarray:
        return np.clip(rng.uniform(-0.5, 1.5, count), 0.0, 1.0)

    return replace(
        rest,
        torso=torso,
        root=moved(geometry.root, random_turns(rng, count, 1.0), rng.uniform(-0.2, 0.2, (count, 3))),
        clavicle=rng.uniform(-0.4, 0.4, (count, 3)),
        upper_arm=rng.uniform(-1.4, 1.4, (count, 3)),
        forearm=rng.uniform(-1.4, 1.4, (count, 3)),
        hand=rng.uniform(-1.0, 1.0, (count, 3)),
        hand_hold=hold("hand_hold", 0.1, 1.4),
        elbow_hold=hold("elbow_hold", 0.2, 0.9),
        aim=around(1.0, 2.0),
        **{name: dial() for name in DIALS},
        upper_length=rng.uniform(0.6, 1.6, count),
        forearm_length=rng.uniform(0.6, 1.6, count),
        # From a generator of its own: what a test draws next does not depend on it.
        upper_roll=rng.spawn(1)[0].uniform(-np.pi, np.pi, count),
        **(random_plant(rng.spawn(1)[0], count) if planted else {}),
    )


def random_plant(rng: np.random.Generator, count: int) -> dict[str, np.ndarray]:
    """The dials of a planted hand over their ranges; a third of the hands lie flat."""
    flat = rng.uniform(size=count) < 1.0 / 3.0
    half = np.pi / 2.0
    ranges = zip(PLANT, (-half, -half, -np.pi, 0.0), (np.pi, half, np.pi, half), strict=True)
    dials = {name: rng.uniform(low, high, count) for name, low, high in ranges}
    return {name: np.where(flat & (name != "finger_bend"), 0.0, values) for name, values in dials.items()}


def picked(settings: ArmSettings, which: Any) -> ArmSettings:
    """Some of the poses."""
    return ArmSettings(**{item.name: getattr(settings, item.name)[which] for item in fields(ArmSettings)})
