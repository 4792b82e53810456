"""Registering and taking out again: nothing is left behind, as often as you like."""

from __future__ import annotations

from typing import Any

import pytest

PREFIX = "armwright"


def traces() -> list[str]:
    """Everything of ours that the host knows at this moment."""
    import bpy

    found = [f"type {name}" for name in dir(bpy.types) if PREFIX in name.lower()]
    for owner in [*bpy.types.ID.__subclasses__(), bpy.types.WindowManager, bpy.types.Bone, bpy.types.PoseBone]:
        found += [f"{owner.__name__}.{name}" for name in dir(owner) if PREFIX in name.lower()]
    found += [f"operator {name}" for name in dir(bpy.ops) if PREFIX in name.lower() and dir(getattr(bpy.ops, name))]
    for name in dir(bpy.app.handlers):
        handlers = getattr(bpy.app.handlers, name)
        if isinstance(handlers, list):
            found += [f"handler {name}" for entry in handlers if PREFIX in getattr(entry, "__module__", "")]
    found += [f"class {entry.__name__}" for entry in registered_classes()]
    return sorted(found)


def registered_classes() -> list[type]:
    import bpy

    bases = (bpy.types.Operator, bpy.types.Panel, bpy.types.PropertyGroup, bpy.types.UIList, bpy.types.Menu)
    return [
        entry
        for base in bases
        for entry in base.__subclasses__()
        if entry.__module__.startswith(PREFIX) and getattr(entry, "is_registered", False)
    ]


def test_registering_twice_in_a_row_leaves_no_trace(empty_file: Any) -> None:
    import armwright

    before = traces()
    shown = []
    for _ in range(2):
        armwright.register()
        shown.append(traces())
        armwright.unregister()
        assert traces() == before
    assert shown[0] == shown[1]
    assert before == []


def test_what_is_registered_is_what_the_list_says(empty_file: Any) -> None:
    import bpy

    import armwright
    from armwright.addon.registration import CLASSES

    armwright.register()
    try:
        assert set(registered_classes()) == set(CLASSES)
        assert hasattr(bpy.types.Scene, "armwright_build")
        assert hasattr(bpy.types.WindowManager, "armwright_proof")
    finally:
        armwright.unregister()


def test_a_rig_outlives_the_add_on(wren: Any) -> None:
    import bpy
    import numpy as np

    import armwright

    armwright.register()
    armwright.unregister()
    rest = np.array(wren.pose.bones["skin.hand.L"].matrix)
    wren.pose.bones["fk.upper_arm.L"].rotation_euler = (0.5, 0.0, 0.2)
    bpy.context.view_layer.update()
    assert np.abs(np.array(wren.pose.bones["skin.hand.L"].matrix) - rest).max() > 0.1
    assert all(curve.driver.is_valid for curve in wren.animation_data.drivers)


def test_a_file_keeps_its_settings_through_a_restart_of_the_add_on(empty_file: Any) -> None:
    import bpy

    import armwright

    armwright.register()
    bpy.context.scene.armwright_build.stature = 1.85
    armwright.unregister()
    armwright.register()
    try:
        assert bpy.context.scene.armwright_build.stature == pytest.approx(1.85)
    finally:
        armwright.unregister()


def test_nothing_is_registered_by_importing(empty_file: Any) -> None:
    import armwright.addon.panels.build_panel
    import armwright.addon.registration

    assert armwright.addon.registration.CLASSES
    assert traces() == []


def test_every_operator_can_be_undone_and_says_what_it_does(empty_file: Any) -> None:
    import bpy

    from armwright.addon.registration import CLASSES

    operators = [entry for entry in CLASSES if issubclass(entry, bpy.types.Operator)]
    assert len(operators) >= 5
    for entry in operators:
        assert entry.bl_idname.startswith("armwright.")
        assert (entry.__doc__ or "").strip()
        # A proof and what is handed over leave the file as it was: there is nothing to undo.
        if not any(
            word in entry.bl_idname
            for word in ("proof", "report", "hand_over", "controls_page", "show_check", "run_study", "draft_card")
        ):
            assert "UNDO" in entry.bl_options
