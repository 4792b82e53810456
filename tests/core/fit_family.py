"""Bodies over proportions, poses, polygon counts, noise, place, turn and scale; each is drawn from its number."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from fit_bodies import Made, Shape, moved, skin, tubes

SEED = 20
# Name, the upper arm's angle below horizontal and how far it strays, degrees.
POSES = (("T", 2.0, 2.0), ("A 45", 45.0, 5.0), ("A 60", 60.0, 4.0), ("sides", 77.0, 2.0))
FLEXIONS = (0.0, 20.0, 45.0, 90.0)
SCALES = (0.01, 1.0, 100.0)
COUNTS = (5000, 9000, 16000, 36000)


def member(number: int) -> tuple[str, Made]:
    """The pose's name and the body; every fifth one is made of separate tubes, 1,000 vertices or fewer."""
    rng = np.random.default_rng([SEED, number])
    name, lowered, stray = POSES[number % len(POSES)]
    flexion = FLEXIONS[(number // len(POSES)) % len(FLEXIONS)]
    hanging = name == "sides"
    shape = Shape(
        stature=rng.uniform(1.2, 2.0),
        lowered=lowered + stray * rng.uniform(-1.0, 1.0),
        flexion=flexion + (rng.uniform(-3.0, 3.0) if flexion else 0.0),
        roll=rng.uniform(-30.0, 30.0),
        upper_arm=0.186 * rng.uniform(0.93, 1.07),
        forearm=0.146 * rng.uniform(0.93, 1.07),
        hand=0.108 * rng.uniform(0.9, 1.1),
        # Arms that hang stand free from the body up to the middle of the upper arm.
        half_breadth=rng.uniform(0.124, 0.134) if hanging else rng.uniform(0.114, 0.132),
        chest=rng.uniform(0.082, 0.09) if hanging else rng.uniform(0.084, 0.098),
        stout=rng.uniform(0.85, 1.05 if hanging else 1.2),
        fingers=bool(rng.random() < 0.4),
        thumb=bool(rng.random() < 0.8),
    )
    if number % 5 == 4:
        made = tubes(shape, sides=int(rng.integers(8, 14)), rings=int(rng.integers(5, 9)))
    else:
        count = int(rng.choice(COUNTS[1:] if hanging else COUNTS, p=(0.5, 0.4, 0.1) if hanging else None))
        # Fingers are too thin for a coarse grid.
        shape = replace(shape, fingers=shape.fingers and count >= 9000)
        made = skin(shape, count, noise=float(rng.choice((0.0, 0.001))), seed=number)
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    scale = float(SCALES[number % len(SCALES)])
    label = f"{name}, bent {flexion:.0f}"
    return label, moved(made, scale, turn, scale * rng.normal(size=3))
