"""The demo scene: Wren on the gallery, with arms built by the extension, an action and pictures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import bpy

from ..core.errors import HostError
from .action import make_action
from .character import Character, make_character
from .lighthouse import Lighthouse, make_lighthouse
from .pictures import render_pictures
from .weights import STATURE


@dataclass(frozen=True)
class Demo:
    """The whole scene in the open file."""

    character: Character
    lighthouse: Lighthouse
    action: bpy.types.Action


def build_scene(stature: float = STATURE, staged: Callable[[], None] | None = None) -> Demo:
    """Build the demo in the open file, which has to be empty; nothing is read from or written to disk.

    `staged` is called when Wren stands on the gallery and has not acted yet. The gallery's rail stands where a stature
    of 1.7 m can lean on it. Raises HostError if the file has objects.
    """
    if bpy.data.objects:
        raise HostError(
            f"the open file has {len(bpy.data.objects)} objects: "
            "the demo is built in an empty file, so that yours stays as it is"
        )
    lighthouse = make_lighthouse()
    character = make_character(stature)
    if staged is not None:
        staged()
    action = make_action(character, lighthouse)
    return Demo(character, lighthouse, action)


def make_pictures(demo: Demo, folder: Path) -> list[Path]:
    """Render the demo's pictures into `folder`; the paths in order."""
    pieces = (*demo.lighthouse.set_pieces, demo.lighthouse.lantern, *demo.lighthouse.lantern.children)
    return render_pictures(demo.character, pieces, folder)


def make_scene(folder: Path) -> tuple[Demo, list[Path]]:
    """Build the demo in the open, empty file and render its pictures into `folder`; saving is up to the caller."""
    demo = build_scene()
    return demo, make_pictures(demo, folder)
