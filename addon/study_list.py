"""The list of a study's phases in the sidebar: filled, read back as phases to hold, and forgotten with the file."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import bpy
from bpy.app.handlers import persistent

from ..core.study.motion import StudyMotion
from ..core.study.phases import ELBOW, HAND, HELD, ROLL, SWING, WORLD, Phase
from ..core.study.study import Study, study
from .beside import beside
from .hold_phase_plan import PARTS, HoldPhase
from .prove import Progress
from .study_clip import frame_notes

NO_BREAK = "\u00a0"
WORDS = {SWING: "swings", HAND: "hand planted", ELBOW: "elbow planted", ROLL: "hand rolls"}


def study_steps(motion: StudyMotion) -> Iterator[Progress | Study]:
    """Study a motion beside the window, which goes on: progress while it works, the study last."""
    for step in beside(lambda: study(motion)):
        yield Progress(1, 2, "finding the phases") if step is None else step.value


def fill(state: Any, rig: str, result: Study, first: int, holds: bool = True) -> None:
    """List the phases, arm by arm, in the scene's frames, whose `first` is the first of the action.

    `holds`: whether the rig has arms of ours, which can hold a phase.
    """
    forget(state)
    action_first = first
    first += result.motion.left_out
    state.rig, state.action = rig, result.motion.name
    state.reach, state.torso = reach_words(result), torso_words(result)
    # The list has the scene's frames, whatever number the study gives them.
    state.notes = "\n".join(note for note in result.motion.notes if note not in frame_notes(action_first))
    arms = tuple(arm.arm for arm in result.motion.arms)
    ticked: list[Phase] = []
    for arm in arms:
        for phase in (item for item in result.phases if item.arm == arm):
            line = state.phases.add()
            line.arm, line.kind, line.on = phase.arm, phase.kind, phase.on
            line.first, line.last = phase.first + first, phase.last + first
            line.words = phase_words(phase.arm, phase.kind, phase.on, arms)
            line.holdable = holds and phase.kind in PARTS
            # Of two hands that hold each other one has to carry the other.
            line.ticked = line.holdable and not any(other.arm == phase.on and other.on == phase.arm for other in ticked)
            if line.ticked:
                ticked.append(phase)


def forget(state: Any) -> None:
    """An empty list."""
    state.phases.clear()
    state.rig = state.action = state.reach = state.torso = state.notes = ""
    state.active = -1


def wanted(state: Any) -> list[HoldPhase]:
    """The phases that are ticked."""
    return [
        HoldPhase(line.arm, PARTS[line.kind], line.on, line.first, line.last)
        for line in state.phases
        if line.ticked and line.holdable
    ]


def phase_words(arm: str, kind: str, on: str, arms: tuple[str, ...]) -> str:
    """ "L hand planted", "L hand on lantern", "L hand on R hand"."""
    if kind != HELD:
        return f"{arm} {WORDS[kind]}"
    return f"{arm} hand on {on}{' hand' if on in arms else ''}" if on != WORLD else f"{arm} hand held"


def reach_words(result: Study) -> str:
    """How far the arms reach, and whether they have to stretch for it."""
    reach = ", ".join(f"{arm.arm} {100.0 * arm.reach.most:.0f} %" for arm in result.arms)
    most = max(result.arms, key=lambda arm: arm.stretch)
    stretch = f"stretch {100.0 * most.stretch:.1f} % ({most.arm})" if most.stretch >= 0.0005 else "no stretch"
    return f"Reach: {reach}; {stretch}"


def torso_words(result: Study) -> str:
    """The torso's ranges, degrees."""
    torso = result.torso
    ranges = (("tilt", torso.tilt), ("side", torso.side), ("twist", torso.twist))
    # Rounded to whole numbers, of which 0 has no sign; a range is not broken over two lines.
    whole = ((name, round(item.least), round(item.most)) for name, item in ranges)
    return "Torso: " + ", ".join(f"{name} {least} to {most}°".replace(" ", NO_BREAK) for name, least, most in whole)


def jump(state: Any, context: bpy.types.Context) -> None:
    """Go to the first frame of the phase that was clicked."""
    if 0 <= state.active < len(state.phases):
        context.scene.frame_set(state.phases[state.active].first)


@persistent  # type: ignore[untyped-decorator]
def _forget(*_: Any) -> None:
    for manager in bpy.data.window_managers:
        forget(manager.armwright_study)  # type: ignore[attr-defined]


def attach() -> None:
    """A list is of its file: it goes when another is opened."""
    bpy.app.handlers.load_post.append(_forget)


def detach() -> None:
    """The mirror image of `attach`."""
    if _forget in bpy.app.handlers.load_post:
        bpy.app.handlers.load_post.remove(_forget)
