"""What arms of any making do, measured against what an animator expects: what is planted stays, what is posed turns so.

Expected is never how some rig works inside: the places are those in which the torso's rest left the joints when they
were planted, the turns are those of the controls' own channels.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..card.model import ROLL_LEFT_OUT
from ..proof import any_axis, blend, hold_both, hold_elbow, hold_hand, isolate, lift, shoulder, stretch, swing
from ..proof.measures import (
    DEGREES,
    FACTOR,
    LENGTH_LIMIT,
    LENGTHS,
    SLIDE_LIMIT,
    Measured,
    at,
    carried,
    distance,
    drift,
    turn,
    unit,
)
from ..rotations import euler_to_matrix
from ..rotations import swing as swing_to
from .model import Shown
from .plan import swing_roles

Array = NDArray[np.float64]

# The elbow is on its aim's side while it is less than a right angle about the line from shoulder to wrist away from it.
SIDE_LIMIT = 90.0


def measure(requirement: str, run: Shown) -> tuple[Measured, ...]:
    """The measures of one requirement on a run; frame 0 is the planted one."""
    return _MEASURES[requirement](run)


def planted(run: Shown, measure: str, points: Array) -> Measured:
    """A joint (N, 3) against its place in frame 0 (L)."""
    wanted = np.broadcast_to(points[0], points.shape)
    return Measured(measure, LENGTHS, distance(points, wanted) / run.rig.length, SLIDE_LIMIT, wanted, points)


def kept(measure: str, frames: Array) -> Measured:
    """An orientation, of frames (N, 4, 4), against its own in frame 0 (degrees)."""
    return drift(measure, turn(frames), np.broadcast_to(turn(frames[0]), turn(frames).shape))


def tail(run: Shown, role: str) -> Array:
    """End of the upper arm or the forearm, (N, 3): its rest length along its axis, as long as that is now."""
    length = run.rig.upper_length if role == "upper_arm" else run.rig.forearm_length
    return np.asarray(at(run.poses[role]) + turn(run.poses[role])[..., 1] * length)


def gap(run: Shown, measure: str, role: str, after: str) -> Measured:
    """How far a segment's end is from the head of what comes after it (L)."""
    ends, heads = tail(run, role), at(run.poses[after])
    return Measured(measure, LENGTHS, distance(ends, heads) / run.rig.length, SLIDE_LIMIT, heads, ends)


def _held_hand(run: Shown) -> tuple[Measured, ...]:
    return (
        planted(run, "wrist-slide", at(run.poses["hand"])),
        kept("hand-drift", run.poses["hand"]),
        _elbow_side(run),
    )


def _elbow_side(run: Shown) -> Measured:
    """Angle between the elbow and its aim about the line from shoulder to wrist (degrees)."""
    name = "elbow-side"
    if "elbow_aim" not in run.poses:
        nothing = np.zeros(len(run.poses["hand"]))
        return Measured(name, DEGREES, nothing, SIDE_LIMIT, note="the card names no elbow_aim", not_applicable=True)
    joints = ("upper_arm", "forearm", "hand", "elbow_aim")
    root, elbow, wrist, aim = (at(run.poses[role]) for role in joints)
    line = unit(wrist - root)
    sides = [away - line * np.sum(away * line, axis=1, keepdims=True) for away in (elbow - root, aim - root)]
    cross = np.linalg.norm(np.cross(sides[0], sides[1]), axis=1)
    angle = np.degrees(np.arctan2(cross, np.sum(sides[0] * sides[1], axis=1)))
    # An arm that is straight to a thousandth has no side.
    bent = np.linalg.norm(sides[0], axis=1) > 1e-3 * run.rig.length
    return Measured(name, DEGREES, np.where(bent | ~np.isfinite(angle), angle, 0.0), SIDE_LIMIT, aim, elbow)


def _held_elbow(run: Shown) -> tuple[Measured, ...]:
    return (
        planted(run, "elbow-slide", at(run.poses["forearm"])),
        planted(run, "wrist-slide", at(run.poses["hand"])),
        kept("hand-drift", run.poses["hand"]),
        gap(run, "elbow-gap", "upper_arm", "forearm"),
    )


def _held_both(run: Shown) -> tuple[Measured, ...]:
    return (*_held_elbow(run), gap(run, "wrist-gap", "forearm", "hand"))


def _shrugged(run: Shown) -> tuple[Measured, ...]:
    """What is held while the clavicle moves, and that it does move: a shoulder that keeps still proves nothing."""
    found = []
    if run.case.mode in ("elbow", "both"):
        found.append(planted(run, "elbow-slide", at(run.poses["forearm"])))
    found.append(planted(run, "wrist-slide", at(run.poses["hand"])))
    moved = float(distance(at(run.poses["upper_arm"]), at(run.poses["upper_arm"])[:1]).max()) / run.rig.length
    if np.isfinite(moved) and moved < 1e-3:
        note = "the card's fk_clavicle does not move the shoulder"
        nothing = np.zeros(len(run.poses["hand"]))
        return (Measured("wrist-slide", LENGTHS, nothing, SLIDE_LIMIT, note=note, not_applicable=True),)
    return tuple(found)


def _isolated(run: Shown) -> tuple[Measured, ...]:
    upper, torso = run.poses["upper_arm"], run.poses["torso"]
    moved = turn(torso) @ turn(torso[0]).T
    from_torso = at(upper)[0] - at(torso)[0]
    place = at(torso) + moved @ from_torso
    travel = Measured("travel", LENGTHS, distance(at(upper), place) / run.rig.length, SLIDE_LIMIT, place, at(upper))
    wanted = turn(upper[0]) if run.case.isolate else moved @ turn(upper[0])
    if "upper_arm" in run.rig.card.no_roll:
        # Where it points is all that it carries.
        wanted = swing_to(turn(upper), np.broadcast_to(wanted[..., 1], at(upper).shape))
    turned = drift(
        "drift" if run.case.isolate else "follow-error", turn(upper), np.broadcast_to(wanted, turn(upper).shape)
    )
    # A lift moves the shoulder of an arm that keeps its turn while the torso tilts: as it should.
    return (turned,) if run.case.lift else (turned, travel)


def _swung(run: Shown) -> tuple[Measured, ...]:
    """Each joint against its control's own turn, carried by the joint above as the host showed it (degrees)."""
    rests, found = run.rig.rests, []
    for role in swing_roles(run.rig.card, run.case):
        joint = role.removeprefix("fk_")
        above = _above(run, joint)
        carrier, carrier_rest = _carrier(run, above)
        control = carried(carrier, carrier_rest, rests[role])
        turned = (
            control
            @ euler_to_matrix(run.channels[role], run.rig.orders[role])
            @ turn(rests[role]).T
            @ turn(rests[joint])
        )
        shown, measure = turn(run.poses[joint]), joint.replace("_", "-")
        if joint in run.rig.card.no_roll:
            found.append(drift(measure, shown, swing_to(carried(carrier, carrier_rest, rests[joint]), turned[..., 1])))
        else:
            found.append(_without_a_word_on_roll(drift(measure, shown, turned), shown, turned, joint))
    return tuple(found)


def _carrier(run: Shown, above: str) -> tuple[Array, Array]:
    """Poses and rest of what carries a joint: of a bone that leaves out its roll, its control, which has it."""
    role = f"fk_{above}" if above in run.rig.card.no_roll else above
    return run.poses[role], run.rig.rests[role]


def _without_a_word_on_roll(measured: Measured, shown: Array, turned: Array, joint: str) -> Measured:
    """A failing turn of a bone that points right all the same says so: its roll may be left to others by design."""
    if joint not in ROLL_LEFT_OUT or (measured.values <= measured.limit).all():
        return measured
    pointed = swing_to(shown, turned[..., 1])
    off = drift("", shown, pointed).values
    if not (off <= measured.limit).all():
        return measured
    return replace(
        measured,
        note="the bone points where it should and rolls otherwise; if it leaves its roll to other bones, name "
        f"{joint} in the card's no_roll",
    )


def _above(run: Shown, joint: str) -> str:
    """What carries a joint: the joint above it, or the held elbow's control."""
    if joint == "forearm" and run.case.mode == "elbow":
        return "elbow_hold"
    if joint == "upper_arm" and run.case.isolate:
        # Whatever the clavicle does; the torso is at rest.
        return "torso"
    order = ("torso", "clavicle", "upper_arm", "forearm", "hand")
    names = [name for name in order if name == "torso" or name in run.poses]
    return names[names.index(joint) - 1]


def _blended(run: Shown) -> tuple[Measured, ...]:
    assert run.dial is not None
    elbow, wrist = at(run.poses["forearm"]), at(run.poses["hand"])
    segments = ((run.poses["upper_arm"], elbow), (run.poses["forearm"], wrist))
    upper = distance(elbow, at(run.poses["upper_arm"])) / run.rig.upper_length - 1.0
    fore = distance(wrist, elbow) / run.rig.forearm_length - 1.0
    # The first frame is there twice: a ramp has equal steps.
    swept = tuple((frames[1:], joint[1:]) for frames, joint in segments)
    jump = blend.jump(swept, run.dial[1:], run.rig.length)
    return (
        gap(run, "elbow-gap", "upper_arm", "forearm"),
        gap(run, "wrist-gap", "forearm", "hand"),
        Measured("upper-length", FACTOR, np.abs(upper), LENGTH_LIMIT),
        Measured("forearm-length", FACTOR, np.abs(fore), LENGTH_LIMIT),
        jump,
    )


def _stretched(run: Shown) -> tuple[Measured, ...]:
    """The wrist against a hand hold that is out of the plain arm's reach (L): on it, or straight towards it."""
    assert run.hand is not None
    root, wrist = at(run.poses["upper_arm"]), at(run.poses["hand"])
    off = distance(wrist, run.hand) / run.rig.length
    if run.case.stretch:
        return (Measured("wrist-error", LENGTHS, off, SLIDE_LIMIT, run.hand, wrist),)
    straight = root + unit(run.hand - root) * run.rig.length
    missing = distance(run.hand, root) / run.rig.length - 1.0
    misplaced = distance(wrist, straight) / run.rig.length
    return (Measured("wrist-error", LENGTHS, off, SLIDE_LIMIT, run.hand, wrist, missing=missing, misplaced=misplaced),)


def _lifted(run: Shown) -> tuple[Measured, ...]:
    """Without the dial the shoulder stays; with it, it rises by the published rhythm, from the hanging arm on."""
    upper = run.poses["upper_arm"]
    if not run.case.lift:
        return (planted(run, "lift-error", at(upper)),)
    up = run.rig.facing[:, 2]
    down = np.broadcast_to(-up, (len(upper) - 1, 3))
    hanging = upper[1:]
    return (lift.band(hanging, down, up, run.rig.clavicle_length, run.rig.upper_length),)


def _rounded(run: Shown) -> tuple[Measured, ...]:
    assert run.hand is not None and run.aim is not None
    root, size = at(run.poses["upper_arm"]), run.rig.length
    aim = root + size * unit(run.aim - root)
    target = np.concatenate([run.hand, aim], axis=1)
    clear = any_axis.off_line(root, run.hand, run.aim, size)
    clear &= np.abs(distance(run.hand, root) / size - 1.0) >= any_axis.STRAIGHT
    # From the planted frame to the round's first it is no step of the round.
    clear[0] = False
    return any_axis.speeds(at(run.poses["forearm"]), target, ~clear, size)


_MEASURES = {
    hold_hand.ID: _held_hand,
    hold_elbow.ID: _held_elbow,
    hold_both.ID: _held_both,
    shoulder.ID: _shrugged,
    isolate.ID: _isolated,
    swing.ID: _swung,
    blend.ID: _blended,
    stretch.ID: _stretched,
    lift.ID: _lifted,
    any_axis.ID: _rounded,
}
