"""The built rig: exactness of what carries it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest


def test_every_driver_is_a_valid_simple_expression(wren: Any) -> None:
    drivers = wren.animation_data.drivers
    assert len(drivers) > 40
    wrong = [curve.data_path for curve in drivers if not (curve.driver.is_simple_expression and curve.driver.is_valid)]
    assert wrong == []


def test_no_expression_was_cut_off_by_the_host(wren: Any) -> None:
    from armwright.core.arm.build import plan_arms
    from armwright.core.options import ArmOptions
    from armwright.core.stature import guide_from_stature

    plan = plan_arms(guide_from_stature(1.7, "Wren"), ArmOptions())
    built = sorted(curve.driver.expression for curve in wren.animation_data.drivers)
    assert built == sorted(driver.expression for driver in plan.drivers)


@pytest.mark.parametrize("added", [0.0, 1e-6, 1e-5, 9e-5, 1e-3])
def test_a_driver_passes_small_values_on_unrounded(wren: Any, added: float) -> None:
    # The host's default driver curve snaps values within 1e-4 of 0 and 1.
    import bpy

    rest = float(wren.data.bones["fk.upper_arm.L"].length)
    wren.pose.bones["fk.clavicle.L"]["upper_length"] = 1.0 + added
    wren.update_tag()
    bpy.context.view_layer.update()
    assert wren.pose.bones["aux.elbow.L"].location[1] == pytest.approx(rest * added, abs=1e-7)


@pytest.mark.parametrize("dial", ["ik", "elbow_hold", "isolate", "lift", "stretch", "soft", "volume"])
def test_no_dial_moves_the_arm_at_rest(wren: Any, dial: str) -> None:
    import bpy

    from armwright.addon.host import PoseReader, rest_matrix

    moving = [bone.name for bone in wren.data.bones if bone.name.startswith(("skin.", "fk.", "hold."))]
    reader = PoseReader(wren, bpy.context.view_layer, moving)
    rest = np.array([rest_matrix(wren.data.bones[name]) for name in moving])
    for value in (0.0, 0.5, 1.0):
        for side in "LR":
            wren.pose.bones[f"fk.clavicle.{side}"][dial] = value
        wren.update_tag()
        bpy.context.view_layer.update()
        # A full soft dial keeps a nearly straight arm from reaching its own rest pose: that is what it is for.
        limit = 0.05 if dial == "soft" else 5e-6
        assert np.abs(reader.read() - rest).max() < limit, (dial, value)


def test_the_upper_arm_s_roll_is_held_in_radians_and_shown_as_an_angle(wren: Any) -> None:
    import bpy

    from armwright.addon.host import PoseReader

    dials = wren.pose.bones["fk.clavicle.L"]
    shown = dials.id_properties_ui("upper_roll").as_dict()
    assert shown["subtype"] == "ANGLE"
    assert (shown["min"], shown["max"]) == pytest.approx((-np.pi, np.pi))
    assert dials.id_properties_ui("ik").as_dict()["subtype"] == "NONE"
    # The upper arm's first bone stays with the shoulder, its last has all of the roll; at the held wrist nothing turns.
    names = ["skin.upper_arm.L", "skin.upper_arm.2.L", "skin.forearm.2.L", "skin.hand.L"]
    reader = PoseReader(wren, bpy.context.view_layer, names)
    found = []
    for roll in (0.0, 0.7):
        dials["ik"], dials["upper_roll"] = 1.0, roll
        wren.update_tag()
        bpy.context.view_layer.update()
        found.append(reader.read())
    plain, rolled = found
    assert np.abs(rolled[:, :3, 3] - plain[:, :3, 3]).max() < 2e-6
    cosine, sine = np.cos(0.7), np.sin(0.7)
    turn = np.array([[cosine, 0.0, sine], [0.0, 1.0, 0.0], [-sine, 0.0, cosine]])
    for index, expected in enumerate((np.eye(3), turn, np.eye(3), np.eye(3))):
        got = np.linalg.inv(plain[index, :3, :3]) @ rolled[index, :3, :3]
        assert np.abs(got - expected).max() < 2e-6, names[index]
