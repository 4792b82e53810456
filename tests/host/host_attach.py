"""Arms on a user's armature: nothing else of it is touched, and without them it is what it was, value by value."""

from __future__ import annotations

from typing import Any

import pytest
from keepers import keeper, plan_for
from refusals import refused

# Of the session, how many others use it, its place in a list that others are in; and what follows from the pose.
NO_VALUES = ("rna_type", "session_uid", "is_evaluated", "users", "id_data", "index", "bound_box", "dimensions")


def every_value(item: Any) -> Any:
    """All plain values of a host's item, and of what it owns, as far as RNA tells of them."""
    out: dict[str, Any] = {}
    for entry in item.bl_rna.properties:
        key = entry.identifier
        if key in NO_VALUES:
            continue
        value = getattr(item, key)
        if entry.type in ("BOOLEAN", "INT", "FLOAT"):
            out[key] = [list(row) if hasattr(row, "__len__") else row for row in value] if _many(value) else value
        elif entry.type in ("STRING", "ENUM"):
            out[key] = sorted(value) if isinstance(value, set) else value
        elif entry.type == "POINTER" and value is not None:
            out[key] = getattr(value, "name_full", getattr(value, "name", type(value).__name__))
    return {**out, "custom": _custom(item)}


def _custom(item: Any) -> dict[str, str]:
    try:
        found = dict(item.items())
    except TypeError:
        # A kind of item that can have none.
        return {}
    return {key: repr(value.to_dict() if hasattr(value, "to_dict") else value) for key, value in found.items()}


def _many(value: Any) -> bool:
    return hasattr(value, "__len__") and not isinstance(value, str)


def everything_of(armature: Any, bones: Any) -> dict[str, Any]:
    """Every value of an armature's own `bones`, of their constraints, of drivers, actions and collections."""
    import bpy

    bpy.context.view_layer.update()
    data, animation = armature.data, armature.animation_data
    names = set(bones)
    return {
        "bones": {name: every_value(data.bones[name]) for name in names},
        "pose": {name: every_value(armature.pose.bones[name]) for name in names},
        "colours": {name: every_value(armature.pose.bones[name].color.custom) for name in names},
        "constraints": {name: [every_value(item) for item in armature.pose.bones[name].constraints] for name in names},
        "drivers": [
            (every_value(curve), every_value(curve.driver), [every_value(entry) for entry in curve.driver.variables])
            for curve in animation.drivers
            if any(f'"{name}"' in curve.data_path for name in names)
        ],
        "object": {key: value for key, value in every_value(armature).items() if key != "custom"},
        "own": {key: repr(value) for key, value in armature.items() if key != "armwright"},
        "data": every_value(data),
        "actions": {action.name: every_value(action) for action in bpy.data.actions},
        "collections": {
            item.name: (every_value(item), sorted(bone.name for bone in item.bones if bone.name in names))
            for item in data.collections_all
        },
    }


def users_own() -> Any:
    """The keeper's armature, with a variable in its driver, a colour, a shape and properties of several kinds."""
    import bpy

    from armwright.addon import host

    armature = keeper()
    pose = armature.pose.bones
    curve = armature.animation_data.drivers[0]
    variable = curve.driver.variables.new()
    variable.name, variable.targets[0].id, variable.targets[0].data_path = "lamp", armature, "location[0]"
    curve.driver.expression = "0.01*frame + lamp"
    pose["coat.3"].color.palette = "CUSTOM"
    pose["coat.3"].color.custom.normal = (0.2, 0.4, 0.6)
    pose["coat.5"].custom_shape = bpy.data.objects["Body"]
    pose["coat.5"].custom_shape_scale_xyz = (0.3, 0.2, 0.1)
    pose["hips"]["plan"] = {"deep": [1, 2], "wide": "no"}
    armature.data.bones["belly"]["thick"] = 3
    armature.data.bones["coat.0"].hide = True
    armature.data["stitched"] = True
    # The host brings which ends of a bone are selected into line as soon as bones are edited.
    with host.mode(armature, "EDIT"):
        pass
    return armature


def test_building_touches_no_value_of_what_was_there(empty_file: Any) -> None:
    from deep_snapshot import differences

    from armwright.addon.build import build

    armature = users_own()
    names = armature.data.bones.keys()
    before = everything_of(armature, names)
    assert sum(len(values) for values in before["pose"].values()) > 100
    build(armature, plan_for(armature))
    now = everything_of(armature, names)
    assert [line for line in differences(before, now) if not line.endswith(" is new")] == []


def test_building_again_touches_no_value_of_what_was_there(empty_file: Any) -> None:
    from deep_snapshot import differences
    from host_rebuild import again, guide_of

    from armwright.addon.build import build

    armature = users_own()
    names = armature.data.bones.keys()
    before = everything_of(armature, names)
    build(armature, plan_for(armature))
    again(armature, guide_of(1.9))
    again(armature, guide_of(1.8, "L"))
    now = everything_of(armature, names)
    assert [line for line in differences(before, now) if not line.endswith(" is new")] == []


def test_without_the_arms_the_armature_is_what_it_was(empty_file: Any) -> None:
    from deep_snapshot import deep_snapshot, differences
    from host_rebuild import again, guide_of

    from armwright.addon.build import build
    from armwright.addon.remove import remove_arms

    armature = users_own()
    names = armature.data.bones.keys()
    before, whole = everything_of(armature, names), deep_snapshot()
    build(armature, plan_for(armature))
    again(armature, guide_of(1.9))
    remove_arms(armature)
    assert differences(before, everything_of(armature, names)) == []
    assert differences(whole, deep_snapshot()) == []


LOSSES = {
    "a bone": ("the bone 'coat.4'", lambda armature: _hang(armature)),
    "a constraint on a control": (
        "the constraint 'Limit Scale' on 'fk.hand.L'",
        lambda armature: armature.pose.bones["fk.hand.L"].constraints.new("LIMIT_SCALE"),
    ),
    "a constraint that holds on to it": (
        "the constraint 'Copy Rotation' of 'coat.1' of 'Keeper'",
        lambda armature: setattr(armature.pose.bones["coat.1"].constraints[0], "subtarget", "skin.hand.R"),
    ),
    "an object": ("the object 'Body'", lambda armature: _carry(armature)),
    "a property": (
        "the property 'mood' of 'fk.clavicle.L'",
        lambda armature: armature.pose.bones["fk.clavicle.L"].__setitem__("mood", 1.0),
    ),
    "a driver": ("a driver of 'Keeper'", lambda armature: _drive(armature)),
}


def _hang(armature: Any) -> None:
    from armwright.addon import host

    with host.mode(armature, "EDIT"):
        armature.data.edit_bones["coat.4"].parent = armature.data.edit_bones["skin.hand.L"]


def _carry(armature: Any) -> None:
    import bpy

    bpy.data.objects["Body"].parent = armature
    bpy.data.objects["Body"].parent_type, bpy.data.objects["Body"].parent_bone = "BONE", "skin.hand.L"


def _drive(armature: Any) -> None:
    driver = armature.animation_data.drivers.find('pose.bones["coat.4"].location', index=1).driver
    variable = driver.variables.new()
    variable.targets[0].id, variable.targets[0].data_path = armature, 'pose.bones["fk.clavicle.L"]["ik"]'


@pytest.mark.parametrize("loss", LOSSES.values(), ids=LOSSES.keys())
def test_arms_that_something_depends_on_are_removed_only_if_that_may_be_lost(empty_file: Any, loss: Any) -> None:
    import re

    from armwright.addon import rig
    from armwright.addon.build import build
    from armwright.addon.remove import losses, remove_arms

    words, hang = loss
    armature = keeper()
    build(armature, plan_for(armature))
    assert losses(armature) == []
    hang(armature)
    assert [text for text in losses(armature) if words in text]
    refused(lambda: remove_arms(armature), re.escape(words))
    remove_arms(armature, losing=True)
    assert not rig.has_arms(armature)
    assert "coat.4" in armature.data.bones
