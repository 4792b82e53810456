"""What the extension adds to the host, in one list; taking it out is the same list backwards."""

from __future__ import annotations

import bpy

from . import interruptions, kept_results, marker_colours, marker_mirror, state, study_list
from .operators import (
    bind,
    build_arms,
    card_proof,
    controls_page,
    convert,
    flip_dial,
    grab,
    hand_over,
    hand_poses,
    hold,
    markers,
    proof,
    read_joints,
    recall_proof,
    remove_arms,
    show_check,
    space,
    study,
)
from .panels import (
    arms_panel,
    build_panel,
    card_panel,
    dials_panel,
    fingers_panel,
    hand_over_panel,
    proof_panel,
    study_panel,
)

CLASSES: tuple[type, ...] = (
    *state.CLASSES,
    markers.ARMWRIGHT_OT_measure_mesh,
    markers.ARMWRIGHT_OT_place_markers,
    read_joints.ARMWRIGHT_OT_read_joints,
    build_arms.ARMWRIGHT_OT_build_arms,
    remove_arms.ARMWRIGHT_OT_remove_arms,
    bind.ARMWRIGHT_OT_bind_skin,
    hold.ARMWRIGHT_OT_hold,
    flip_dial.ARMWRIGHT_OT_flip_dial,
    space.ARMWRIGHT_OT_set_space,
    space.ARMWRIGHT_OT_take_off_space,
    grab.ARMWRIGHT_OT_grab,
    grab.ARMWRIGHT_OT_release,
    grab.ARMWRIGHT_OT_hold_range,
    space.ARMWRIGHT_OT_mend_spaces,
    convert.ARMWRIGHT_OT_convert_range,
    convert.ARMWRIGHT_OT_ask_range,
    hand_poses.ARMWRIGHT_OT_make_hand_poses,
    proof.ARMWRIGHT_OT_run_proof,
    proof.ARMWRIGHT_OT_save_report,
    show_check.ARMWRIGHT_OT_show_check,
    recall_proof.ARMWRIGHT_OT_recall_proof,
    card_proof.ARMWRIGHT_OT_draft_card,
    card_proof.ARMWRIGHT_OT_run_card_proof,
    hand_over.ARMWRIGHT_OT_hand_over,
    hand_over.ARMWRIGHT_OT_ask_hand_over,
    controls_page.ARMWRIGHT_OT_save_controls_page,
    study.ARMWRIGHT_OT_run_study,
    study.ARMWRIGHT_OT_mark_phases,
    study.ARMWRIGHT_OT_clear_phase_marks,
    study.ARMWRIGHT_OT_hold_phases,
    build_panel.ARMWRIGHT_PT_build,
    arms_panel.ARMWRIGHT_PT_arms,
    dials_panel.ARMWRIGHT_PT_dials,
    fingers_panel.ARMWRIGHT_PT_fingers,
    proof_panel.ARMWRIGHT_UL_verdicts,
    proof_panel.ARMWRIGHT_UL_checks,
    proof_panel.ARMWRIGHT_PT_proof,
    card_panel.ARMWRIGHT_UL_guesses,
    card_panel.ARMWRIGHT_PT_card_proof,
    study_panel.ARMWRIGHT_UL_phases,
    study_panel.ARMWRIGHT_PT_study,
    hand_over_panel.ARMWRIGHT_PT_hand_over,
)


def register() -> None:
    """Register every class, then the settings that hang on the host's own data."""
    for entry in CLASSES:
        bpy.utils.register_class(entry)
    state.attach()
    marker_mirror.attach()
    marker_colours.attach()
    kept_results.attach()
    interruptions.attach()
    study_list.attach()


def unregister() -> None:
    """The mirror image of `register`."""
    study_list.detach()
    interruptions.detach()
    kept_results.detach()
    marker_colours.detach()
    marker_mirror.detach()
    state.detach()
    for entry in reversed(CLASSES):
        bpy.utils.unregister_class(entry)
