"""Which way a character stands and looks: the frame of the directions given, and what they should have been."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..errors import FitError
from ..guide import Vec3
from .arms import TWO_LEGS, arms_of, standing_limbs
from .surface import Array, Net
from .walk import Body, body_of

# Whoever stands is taller than this part of the largest extent: less is how far a body reaches from front to back.
LYING = 0.5


def frame_of(up: Vec3, front: Vec3) -> Array:
    """Rows: to the character's left, to its back, up; units, in the mesh's space. Raises FitError for no frame."""
    upward, forward = np.array(up, float), np.array(front, float)
    if not (np.isfinite(upward).all() and np.isfinite(forward).all() and np.linalg.norm(upward) > 1e-9):
        raise FitError("the up and front directions have to be finite and not 0: give, for example, 0 0 1 and 0 -1 0")
    upward = upward / np.linalg.norm(upward)
    forward = forward - upward * float(forward @ upward)
    if not np.linalg.norm(forward) > 1e-3 * max(1e-9, float(np.linalg.norm(np.array(front, float)))):
        raise FitError("the up and front directions are parallel: give, for example, 0 0 1 and 0 -1 0")
    forward = forward / np.linalg.norm(forward)
    return np.stack([np.cross(upward, forward), -forward, upward])


def lying_hint(net: Net, frame: Array) -> str:
    """What to say of a character that lies, seen with `frame`; "" if it stands, or would have no arms standing."""
    extent = np.ptp(net.points, axis=0)
    if extent[2] > LYING * extent.max():
        return ""
    found = []
    # Its left is where it reaches farther, or, with arms that hang, the other way.
    for up in np.argsort(-extent[:2]):
        for sign in (1.0, -1.0):
            turn = np.zeros((3, 3))
            turn[2, up], turn[0, 1 - int(up)] = sign, 1.0
            turn[1] = np.cross(turn[2], turn[0])
            legs = _legs_of_armed(net, turn)
            if legs:
                found.append((legs == TWO_LEGS, turn))
    if not found:
        return ""
    # Head down it would stand on its head alone.
    turn = max(found, key=lambda entry: entry[0])[1]
    upward, front = turn[2] @ frame, -turn[1] @ frame
    return (
        f"the character lies: it looks as if {_word(upward)} is up: "
        f"use --up {_numbers(upward)} --front {_numbers(front)}, or turn the mesh"
    )


def head_down_hint(net: Net, body: Body, frame: Array) -> str:
    """What to say of a character with arms that stands on its head; "" for one that does not."""
    turn = np.diag([1.0, -1.0, -1.0])
    if standing_limbs(net, body) >= TWO_LEGS or _legs_of_armed(net, turn) != TWO_LEGS:
        return ""
    upward, front = turn[2] @ frame, -turn[1] @ frame
    return f"the character stands on its head: use --up {_numbers(upward)} --front {_numbers(front)}, or turn the mesh"


def facing_hint(net: Net, body: Body, frame: Array) -> str:
    """What to add where no arms were found, but are if the character looks to a side; "" otherwise."""
    turn = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    turned = _seen(net, turn)
    try:
        arms_of(turned, body)
    except FitError:
        return ""
    front = -turn[1] @ frame
    return f"; it looks as if it faced {_word(front)} or the other way: use --front {_numbers(front)}"


def _legs_of_armed(net: Net, turn: Array) -> int:
    """How many limbs it stands on, seen with `turn`; 0 if it has no arms."""
    turned = _seen(net, turn)
    body = body_of(turned)
    try:
        arms_of(turned, body)
    except FitError:
        return 0
    return standing_limbs(turned, body)


def _seen(net: Net, turn: Array) -> Net:
    return replace(net, points=net.points @ turn.T, vertices=net.vertices @ turn.T)


def _word(direction: Array) -> str:
    """ "Y" or "-Y"; for a slanted one its numbers."""
    axis = int(np.abs(direction).argmax())
    if abs(direction[axis]) < 0.999:
        return _numbers(direction)
    return ("" if direction[axis] > 0.0 else "-") + "XYZ"[axis]


def _numbers(direction: Array) -> str:
    return " ".join(f"{value + 0.0:g}" for value in np.round(direction, 3) + 0.0)
