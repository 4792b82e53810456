"""Drafts a rig card from an armature: a guess for each role, how sure it is, and why. A person corrects it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import Any

from ..errors import CardError
from ..guide import Vec3
from .found import Evidence, confidence, why
from .holds import Holds, holds_of
from .layers import SLOTS, Layers, layers_of
from .limbs import Limb, Tree, find_limbs, torso_and_root, tree_of
from .model import FK_CONTROLS, JOINTS, PLACED_CONTROLS, CardArm, Dial, Guess, Mode, RigCard, Setting
from .name_pairs import says
from .sides import Row, front_of, ids_of, names_pair_up, rows_of
from .sketch import RigSketch
from .switches import EXACT, Panel, Switch, dial_between, knobs_of, muted, settings_for
from .units import is_plausible, unit_for, words

# An object's scale along its axes differs by rounding up to this.
EVEN = 1e-4


def draft(sketch: RigSketch) -> RigCard:
    """The card of the armature; `card.guesses` has a guess for each role that was found.

    Raises CardError where there is nothing like an arm.
    """
    if not sketch.bones:
        raise CardError(f"the armature {sketch.rig!r} has no bones: there are no arms in it")
    tree = tree_of(sketch)
    limbs, up = find_limbs(tree)
    if not limbs:
        raise CardError(
            f"no arms were found in the armature {sketch.rig!r}: an arm is three bones, upper arm, forearm and hand, "
            "that carry one another beside the middle; write the card by hand if it has arms of another make"
        )
    front, sure_of_front, reason = front_of(limbs, up)
    rows = rows_of(limbs, up, front)
    torso, root, body = _body(limbs, tree)
    unit, of_unit = _unit(sketch, limbs)
    arms: list[CardArm] = []
    guesses = [*body, of_unit, Guess("", "front", _direction(front), sure_of_front, reason)]
    panel = Panel(sketch)
    for row, ids in zip(rows, ids_of(rows), strict=True):
        pair = [None if limb is None else layers_of(limb, tree) for limb in (row.left, row.right)]
        for arm, limb, layers, other in zip(ids, (row.left, row.right), pair, reversed(pair), strict=True):
            if limb is not None and layers is not None:
                made, of_arm = _arm(arm, limb, layers, _mirror_evidence(row, layers, other), tree, panel)
                arms.append(made)
                guesses.extend(of_arm)
    return RigCard(sketch.rig, tuple(arms), torso, root, unit, up, front, tuple(guesses))


def _mirror_evidence(row: Row, layers: Layers, other: Layers | None) -> tuple[Evidence, ...]:
    if other is None or not row.mirrored:
        return ()
    found = [Evidence(0.4, "there is its mirror image on the other side")]
    said = names_pair_up([layers.joints[slot] for slot in SLOTS], [other.joints[slot] for slot in SLOTS])
    if said:
        found.append(Evidence(0.3, said))
    return tuple(found)


def _arm(
    arm: str, limb: Limb, layers: Layers, mirrored: Sequence[Evidence], tree: Tree, panel: Panel
) -> tuple[CardArm, list[Guess]]:
    holds = holds_of(limb, layers, tree)
    guesses: list[Guess] = []
    # By field of CardArm.
    bones: dict[str, Any] = {}
    for role in (*JOINTS, *FK_CONTROLS):
        joint = role.removeprefix("fk_")
        name = (layers.fk if role.startswith("fk_") else layers.joints)[joint]
        bones[role] = name
        if name:
            spoken = [Evidence(0.3, "its name says so")] if says(name, joint) else []
            of_role = (*layers.evidence[role], *mirrored, *spoken)
            guesses.append(Guess(arm, role, name, confidence(of_role), why(of_role)))
    for role in PLACED_CONTROLS:
        bones[role] = holds.bones[role]
        if bones[role]:
            guesses.append(Guess(arm, role, bones[role], confidence(holds.evidence[role]), why(holds.evidence[role])))
    modes, blend, of_modes = _modes(arm, holds, panel)
    isolate = _isolate(holds.isolate, panel)
    guesses.extend(of_modes)
    if isolate is not None and holds.isolate is not None:
        reason = f"{holds.isolate.bone} then goes by {holds.isolate.item.target}, which the torso does not carry"
        guesses.append(Guess(arm, "dial isolate", _dial_words(isolate), 0.6, reason))
    return CardArm(arm, **bones, modes=modes, blend=blend, isolate=isolate), guesses


def _modes(arm: str, holds: Holds, panel: Panel) -> tuple[tuple[Mode, ...], Dial | None, list[Guess]]:
    """The modes that the rig's switches can be brought into, the blend's dial, and guesses about both."""
    kinds = {switch.what for switch in holds.switches}
    asked = ["none"]
    asked += ["hand"] if "hand" in kinds else []
    asked += ["elbow"] if "elbow" in kinds else []
    asked += ["both"] if {"hand", "elbow"} <= kinds else []
    modes: list[Mode] = []
    guesses: list[Guess] = []
    off = {switch.item.name for switch in muted(holds.switches)}
    for name in asked:
        settings, error = settings_for(name, holds.switches, panel)
        if name != "none" and (error > 1.0 - EXACT or any(mode.settings == settings for mode in modes)):
            continue
        modes.append(Mode(name, settings))
        sure = 0.85 if error <= EXACT else 0.4
        reason = "what it sets turns just these influences on and off" if settings else "nothing has to be set"
        if error > EXACT:
            reason = "a driver's expression could not be read, or it does not go all the way"
        if name == "both":
            sure, reason = min(sure, 0.5), "hand and elbow together: whether the rig can is to be tried"
        if off:
            sure, reason = min(sure, 0.3), f"muted: {', '.join(sorted(off))}; no influence turns that on"
        found = ", ".join(_setting_words(item) for item in settings) or "nothing"
        guesses.append(Guess(arm, f"mode {name}", found, sure, reason))
    blend = None
    by_name = {mode.mode: mode.settings for mode in modes}
    if "hand" in by_name:
        blend = dial_between(by_name["none"], by_name["hand"])
        if blend is not None:
            guesses.append(Guess(arm, "dial blend", _dial_words(blend), 0.85, "all that differs between FK and hand"))
    return tuple(modes), blend, guesses


def _isolate(switch: Switch | None, panel: Panel) -> Dial | None:
    if switch is None:
        return None
    knobs = knobs_of(switch)
    if len(knobs) != 1:
        return None
    knob = knobs[0]
    reached = {value: panel.influence(switch, {knob: value}) for value in panel.steps(knob)}
    off = [value for value, strength in reached.items() if strength is not None and strength <= EXACT]
    on = [value for value, strength in reached.items() if strength is not None and strength >= 1.0 - EXACT]
    return Dial(knob.bone, knob.property, knob.constraint, off[0], on[0]) if off and on else None


def _body(limbs: Sequence[Limb], tree: Tree) -> tuple[tuple[str, ...], str, list[Guess]]:
    """Torso and root, with guesses. The torso ends with what carries most arms, the furthest up if that is open."""
    carriers = Counter(limb.carrier for limb in limbs if limb.carrier)
    if not carriers:
        return (), "", [Guess("", "torso", "", 0.0, "the arms hang from nothing in the middle: name what carries them")]
    carrier = max(carriers, key=lambda name: (carriers[name], len(tree.above[name]), name))
    # Of carriers in one chain the last one carries the shoulders.
    carrier = next((name for name in sorted(carriers) if carrier in tree.above[name]), carrier)
    torso, root = torso_and_root(carrier, tree)
    evidence = [
        Evidence(0.5, f"{carrier} carries {carriers[carrier]} of {len(limbs)} arms"),
        Evidence(0.5, "a chain in the middle"),
    ]
    guesses = [Guess("", "torso", ", ".join(torso), confidence(evidence), why(evidence))]
    if root:
        guesses.append(Guess("", "root", root, 0.7, f"it carries {torso[0]}, which does not start at its end"))
    return torso, root, guesses


def _unit(sketch: RigSketch, limbs: Sequence[Limb]) -> tuple[float, Guess]:
    """Metres of one unit: by the scene and the object, or by the arm's size where they make no sense together."""
    sizes = [abs(value) for value in sketch.scale]
    unit = sketch.unit_m * math.prod(sizes) ** (1.0 / 3.0)
    if math.isclose(unit, round(unit, 9), rel_tol=1e-6):
        # The host's scale has 24 binary digits.
        unit = round(unit, 9)
    sure, reason = 0.85, "the scene's unit, times the object's scale"
    if max(sizes) - min(sizes) > EVEN * max(sizes):
        sure, reason = 0.3, "the object's scale is uneven, this is its mean: apply it first"
    length = max(limb.length for limb in limbs)
    if not is_plausible(length * unit):
        fitting = unit_for(length)
        sure, reason = 0.2, f"an arm of {length * unit:.3g} m is no character's"
        if fitting is not None:
            unit = fitting[0]
            sure, reason = 0.45, f"{reason}; this makes it {length * unit:.3g} m"
    return unit, Guess("", "unit_m", words(unit), sure, reason)


def _direction(direction: Vec3) -> str:
    return " ".join(f"{value:g}" for value in direction)


def _setting_words(item: Setting) -> str:
    return f"{item.bone or 'object'} / {item.property or item.constraint} = {item.value:g}"


def _dial_words(dial: Dial) -> str:
    return f"{dial.bone or 'object'} / {dial.property or dial.constraint} {dial.off:g} to {dial.on:g}"
