"""Run a proof on the active rig; write the report of the last one."""

from __future__ import annotations

from pathlib import Path

import bpy

from ...core.errors import ArmwrightError
from ...core.pace import Pace
from .. import prove
from .common import OnRig
from .proof_job import ProofJob, Steps
from .verdict_lists import last_of


class ARMWRIGHT_OT_run_proof(ProofJob, OnRig, bpy.types.Operator):  # type: ignore[misc]
    """Move torso, shoulder and holds in every mode, measure what the arms do and list the verdicts; Esc stops"""

    bl_idname = "armwright.run_proof"
    bl_label = "Run proof"
    bl_options = {"REGISTER"}

    def begin(self, context: bpy.types.Context, pace: Pace) -> tuple[bpy.types.Object, Steps]:
        subject = self.subject(context)
        return subject.armature, prove.prove(subject, pace=pace)


class ARMWRIGHT_OT_save_report(bpy.types.Operator):
    """Write the last proof as a page, with results.json and junit.xml beside it"""

    bl_idname = "armwright.save_report"
    bl_label = "Save report"

    filepath: bpy.props.StringProperty(subtype="FILE_PATH", default="report.html")  # type: ignore[valid-type]
    filter_glob: bpy.props.StringProperty(default="*.html", options={"HIDDEN"})  # type: ignore[valid-type]
    check_existing: bpy.props.BoolProperty(default=True, options={"HIDDEN"})  # type: ignore[valid-type]

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if last_of(context.window_manager.armwright_proof.rig) is None:
            cls.poll_message_set("Run a proof first")
            return False
        return True

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        from ..results_files import write_results

        given = Path(bpy.path.abspath(self.filepath))
        path = given.with_suffix(".html")
        if path != given and path.exists():
            self.report({"ERROR"}, f"{path} is there already: choose it, or another name")
            return {"CANCELLED"}
        results = last_of(context.window_manager.armwright_proof.rig)
        assert results is not None
        try:
            # Beside the page and called after it, so that they replace nobody else's.
            write_results(results, path.with_suffix(".results.json"), path.with_suffix(".junit.xml"), path)
        except OSError as problem:
            self.report({"ERROR"}, f"{path}: {problem.strerror}: choose another folder")
            return {"CANCELLED"}
        except ArmwrightError as problem:
            self.report({"ERROR"}, str(problem))
            return {"CANCELLED"}
        self.report({"INFO"}, f"Report written to {path}")
        return {"FINISHED"}
