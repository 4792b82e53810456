"""A rig of other making as an animator leaves it, with its card, and the window's side of the proof by card."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import foreign_arms as made
import pytest
from keepers import activate

# A turn that is over as soon as it begins: a piece is the least that there is.
LEAST = 0.0


@pytest.fixture
def registered(empty_file: Any) -> Iterator[None]:
    import armwright

    armwright.register()
    yield
    armwright.unregister()


def manager() -> Any:
    import bpy

    return bpy.context.window_manager


def write_card(path: Path, card: Any) -> Path:
    from armwright.core.card import card_json

    path.write_text(card_json.to_text(card), encoding="utf-8")
    return path


@pytest.fixture
def posed(registered: None, tmp_path: Path) -> Any:
    """A rig of blended chains as an animator leaves it, its card named: keys, poses over them, a dial, away."""
    import bpy

    armature = made.blended_chains()
    activate(armature, "POSE")
    bones = armature.pose.bones
    for frame, turn in ((1, 0.0), (20, 0.4)):
        bones["chest"].rotation_mode = "XYZ"
        bones["chest"].rotation_euler = (turn, 0.0, 0.1)
        bones["chest"].keyframe_insert("rotation_euler", frame=frame)
    bpy.context.scene.frame_set(7, subframe=0.25)
    bones["chest"].rotation_euler = (0.33, 0.1, 0.2)
    bones["grip.L"]["reach"] = 0.37
    bones["grip.R"].location = (0.1, 0.2, -0.1)
    bones["swing_ulna.R"].rotation_quaternion = (0.9, 0.3, 0.1, 0.2)
    armature.location, armature.rotation_euler = (3.0, -4.0, 0.5), (0.1, 0.2, 1.3)
    bpy.context.view_layer.update()
    manager().armwright_card.path = str(write_card(tmp_path / "keeper.card.json", made.blended_chains_card(armature)))
    return armature


class _Manager:
    """The window's manager, with a timer that nobody waits for."""

    windows: tuple[Any, ...] = ()

    def __init__(self) -> None:
        self.timers: list[Any] = []

    def __getattr__(self, name: str) -> Any:
        return getattr(manager(), name)

    def event_timer_add(self, step: float, window: Any) -> Any:
        self.timers.append(object())
        return self.timers[-1]

    def event_timer_remove(self, timer: Any) -> None:
        self.timers.remove(timer)

    def modal_handler_add(self, operator: Any) -> None:
        pass


def window() -> Any:
    """A context as a window has it."""
    import bpy

    return SimpleNamespace(
        window_manager=_Manager(),
        window=None,
        object=bpy.context.object,
        mode=bpy.context.mode,
        preferences=bpy.context.preferences,
        region=SimpleNamespace(width=280),
    )


TIMER, ESC, MOUSE = (SimpleNamespace(type=name) for name in ("TIMER", "ESC", "LEFTMOUSE"))


def job() -> Any:
    """The modal part of the button, with what it reports."""
    from armwright.addon.operators.card_proof import CardProof

    class Job(CardProof):
        def __init__(self) -> None:
            self.said: list[tuple[set[str], str]] = []

        def report(self, kind: set[str], text: str) -> None:
            self.said.append((kind, text))

    return Job()


def pieces(monkeypatch: pytest.MonkeyPatch, seconds: float = LEAST) -> None:
    from armwright.addon.operators import proof_job

    monkeypatch.setattr(proof_job, "PIECE", seconds)


def refused(operator: str, **options: Any) -> str:
    """What a button that is refused says."""
    import bpy

    with pytest.raises(RuntimeError) as refusal:
        getattr(bpy.ops.armwright, operator)(**options)
    return str(refusal.value).removeprefix("Error: ").strip()
