"""Run a proof on the active rig; write the report of the last one."""

from __future__ import annotations

from pathlib import Path

import bpy

from ...core.pace import Pace
from .. import prove
from ..results_files import write_results
from ..text_files import check_free, writing_to
from .common import OnRig, attempt
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
    """Write the last proof as a page, with its data and its JUnit file beside it"""

    bl_idname = "armwright.save_report"
    bl_label = "Save report"

    filepath: bpy.props.StringProperty(subtype="FILE_PATH", default="report.html")  # type: ignore[valid-type]
    filter_glob: bpy.props.StringProperty(default="*.html", options={"HIDDEN"})  # type: ignore[valid-type]
    # The file chooser then marks a name that is taken.
    check_existing: bpy.props.BoolProperty(default=True, options={"HIDDEN"})  # type: ignore[valid-type]
    replace: bpy.props.BoolProperty(  # type: ignore[valid-type]
        name="Replace", description="Replace the files if they are there already", options={"SKIP_SAVE"}
    )

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
        def work() -> str:
            path = Path(bpy.path.abspath(self.filepath)).with_suffix(".html")
            # Beside the page and called after it.
            data, suite = path.with_suffix(".results.json"), path.with_suffix(".junit.xml")
            check_free(path, data, suite, replace=self.replace)
            results = last_of(context.window_manager.armwright_proof.rig)
            assert results is not None
            with writing_to(path):
                write_results(results, data, suite, path)
            return f"Report written to {path}"

        return attempt(self, work)
