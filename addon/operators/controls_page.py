"""Write the page that says and shows what each control of the character does."""

from __future__ import annotations

from pathlib import Path

import bpy

from ...core.controls.page import page
from ...core.errors import HostError
from .. import control_sheet, selection, subjects
from ..text_files import check_free, write_text, writing_to
from .common import attempt

SUFFIX = ".html"


class ARMWRIGHT_OT_save_controls_page(bpy.types.Operator):
    """Write a page for the animator: what each control of this character does, with a picture of them"""

    bl_idname = "armwright.save_controls_page"
    bl_label = "Save page of controls"

    filepath: bpy.props.StringProperty(subtype="FILE_PATH")  # type: ignore[valid-type]
    filter_glob: bpy.props.StringProperty(default="*.html", options={"HIDDEN"})  # type: ignore[valid-type]
    # The file chooser then marks a name that is taken.
    check_existing: bpy.props.BoolProperty(default=True, options={"HIDDEN"})  # type: ignore[valid-type]
    replace: bpy.props.BoolProperty(  # type: ignore[valid-type]
        name="Replace", description="Replace the file if it is there already", options={"SKIP_SAVE"}
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        try:
            selection.armature_of(context)
        except HostError as problem:
            cls.poll_message_set(selection.sentence(str(problem)))
            return False
        return True

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        if not self.filepath:
            name = bpy.path.clean_name(selection.armature_of(context).name)
            folder = "//" if bpy.data.filepath else ""
            self.filepath = bpy.path.abspath(f"{folder}{name}_controls{SUFFIX}")
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            path = Path(bpy.path.abspath(self.filepath)).with_suffix(SUFFIX)
            check_free(path, replace=self.replace)
            text = page(control_sheet.sheet_of(subjects.subject_of(selection.armature_of(context))))
            with writing_to(path):
                write_text(path, text)
            return f"Page written to {path}"

        return attempt(self, work)
