"""List the proof that is kept with a rig in its file, a piece at a time so that the window stays alive."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from functools import partial
from typing import Any

import bpy

from ...core.errors import ArmwrightError, HostError
from ...core.proof.results import Results
from .. import kept_results, prove, rig, selection
from .common import OnRig, redraw_sidebars
from .stepping import Stepped
from .verdict_lists import show


@dataclass(frozen=True)
class Listed:
    """What the list has."""

    name: str
    checks: int

    def sentence(self) -> str:
        """For the user."""
        return f"{self.name}: {self.checks} checks of its last proof are listed"


class ARMWRIGHT_OT_recall_proof(Stepped, OnRig, bpy.types.Operator):  # type: ignore[misc]
    """List the proof that was kept with this rig in the file"""

    bl_idname = "armwright.recall_proof"
    bl_label = "Show the last proof"
    bl_options = {"INTERNAL"}

    DONE = Listed
    ESC = "leave the list as it is"
    STOPPED = "Nothing is listed"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        # It changes nothing, so a linked rig, whose library keeps its proof, will do.
        try:
            armature = selection.proved_armature(context)
        except HostError as problem:
            return cls.usable(selection.sentence(str(problem)))
        kept = kept_results.KEY in armature
        return cls.usable("" if kept else "No proof is kept with this rig: run one")

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        return self.started(context, partial(listing, context))

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Without a window: from beginning to end."""
        try:
            for step in listing(context):
                if isinstance(step, Listed):
                    self.report({"INFO"}, step.sentence())
        except ArmwrightError as problem:
            self.report({"ERROR"}, str(problem))
            return {"CANCELLED"}
        return {"FINISHED"}


def listing(context: bpy.types.Context) -> Generator[prove.Progress | Listed, None, None]:
    """List what is kept with the rig, in steps. Raises ArmwrightError where there is nothing.

    All that is asked of the armature is asked at once: it may go meanwhile.
    """
    armature = selection.proved_armature(context)
    # Arms of other making have no plan, so no build of theirs is an older one.
    name, digest = armature.name, rig.read_record(armature).plan_digest if rig.has_arms(armature) else ""
    if kept_results.KEY not in armature:
        raise HostError(f"No proof is kept with {name}: run one")
    return _listing(context.window_manager.armwright_proof, name, digest, kept_results.reading(armature))


def _listing(
    state: Any, name: str, digest: str, reading: Generator[prove.Progress, None, Results | None]
) -> Generator[prove.Progress | Listed, None, None]:
    results = yield from reading
    assert results is not None
    show(state, name, results, older=kept_results.is_older(results, digest))
    redraw_sidebars(bpy.context)
    yield Listed(name, len(results.checks))
