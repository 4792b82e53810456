"""A rebuild that fails, at any stage and in any mode, leaves the file as it was."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from characters_at_work import at_work, poses, work_of
from keepers import activate


class Broken(Exception):
    """The failure that the tests inject."""


def at_call(module: str, name: str, call: int, *, before: bool = True) -> Callable[[Any], None]:
    """Let a function fail at its n-th call, before or after its work."""

    def inject(monkeypatch: Any) -> None:
        import importlib

        owner = importlib.import_module(f"armwright.addon.{module}")
        genuine, calls = getattr(owner, name), [0]

        def failing(*arguments: Any, **named: Any) -> Any:
            calls[0] += 1
            if calls[0] == call and before:
                raise Broken(name)
            found = genuine(*arguments, **named)
            if calls[0] == call:
                raise Broken(name)
            return found

        monkeypatch.setattr(owner, name, failing)

    return inject


FAILURES = {
    "before the renames": at_call("renames", "rename", 1),
    "among the renames": at_call("renames", "bone_path", 4),
    "after the renames": at_call("renames", "rename", 1, before=False),
    "among the bones": at_call("host", "numpy_to_matrix", 17),
    "after the bones": at_call("rebuild_bones", "write", 1, before=False),
    "among the channels": at_call("apply", "set_channels", 1, before=False),
    "among the properties": at_call("apply", "add_property", 1, before=False),
    "among the constraints": at_call("apply", "add_constraint", 1, before=False),
    "among the drivers": at_call("apply", "add_driver", 9),
    "among the looks": at_call("rebuild_looks", "dress", 3),
    "before the bones go": at_call("rebuild_bones", "take_out", 1),
    "among the bones that go": at_call("rebuild_bones", "_hang_higher", 2, before=False),
    "after the bones went": at_call("rebuild_bones", "take_out", 1, before=False),
    "before the record": at_call("rig", "write_record", 1),
    "after the record": at_call("rig", "write_record", 1, before=False),
}


def plan_of_another_version(armature: Any) -> Any:
    """Other joints, one arm, a bone under a successor's name, a new bone, property and constraint."""
    from host_rebuild import guide_of

    from armwright.addon.rebuild_plan import plan_again
    from armwright.core.plan import json as plan_json
    from armwright.core.plan.model import Constraint, Property

    plan = plan_again(armature, guide_of(1.9, "L"))
    plan = plan_json.from_text(plan_json.to_text(plan).replace('"skin.upper_arm.L"', '"skin.sleeve.L"'))
    hand = next(bone for bone in plan.bones if bone.name == "skin.hand.L")
    return replace(
        plan,
        bones=(*plan.bones, replace(hand, name="aux.lamp.L", parent="skin.hand.L")),
        constraints=(*plan.constraints, Constraint("aux.lamp.L", "size", "copy_scale", "fk.clavicle.L")),
        properties=(*plan.properties, Property("fk.clavicle.L", "wind", 0.0, 0.0, 1.0, "how hard it blows")),
    )


def as_an_earlier_version(armature: Any) -> None:
    """Let the rig remember that an earlier version built it, one that called a bone otherwise."""
    from armwright.addon import rig

    rig.write_record(armature, replace(rig.read_record(armature), plan_version=1))


def settle(armature: Any) -> None:
    """Let the host evaluate, and write back, all that is driven."""
    import bpy

    for _ in range(2):
        armature.update_tag()
        bpy.context.view_layer.update()


@pytest.mark.parametrize("mode", ["OBJECT", "POSE", "EDIT"])
@pytest.mark.parametrize("failure", FAILURES.values(), ids=FAILURES.keys())
def test_a_rebuild_that_fails_half_way_leaves_the_file_as_it_was(
    empty_file: Any, monkeypatch: Any, failure: Callable[[Any], None], mode: str
) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences

    from armwright.addon.rebuild import rebuild
    from armwright.core.plan import upgrade

    monkeypatch.setattr(upgrade, "RENAMES", {1: {"skin.upper_arm": "skin.sleeve"}})
    armature = at_work()
    as_an_earlier_version(armature)
    plan = plan_of_another_version(armature)
    settle(armature)
    names = [bone.name for bone in armature.pose.bones]
    work, posed, whole = work_of(armature), poses(armature, names), deep_snapshot()
    activate(armature, mode)
    before = deep_snapshot()
    failure(monkeypatch)
    with pytest.raises(Broken):
        rebuild(armature, plan)
    if mode != "EDIT":
        settle(armature)
    assert differences(before, deep_snapshot()) == []
    bpy.ops.object.mode_set(mode="OBJECT")
    settle(armature)
    assert differences(whole, deep_snapshot()) == []
    assert work_of(armature) == work
    assert (poses(armature, names) == posed).all()


def test_a_rebuild_that_failed_can_be_done_again(empty_file: Any, monkeypatch: Any) -> None:
    from armwright.addon.rebuild import rebuild
    from armwright.addon.rig import read_record

    armature = at_work()
    as_an_earlier_version(armature)
    plan = plan_of_another_version(armature)
    with monkeypatch.context() as patch:
        FAILURES["after the record"](patch)
        with pytest.raises(Broken):
            rebuild(armature, plan)
    assert rebuild(armature, plan).changed
    assert read_record(armature).arms == ("L",)
    assert armature.data.bones["skin.upper_arm.1.L"].parent.name == "skin.sleeve.L"
    assert not rebuild(armature, plan).changed


def test_a_rebuild_leaves_no_copies_behind(empty_file: Any) -> None:
    from deep_snapshot import deep_snapshot
    from host_rebuild import guide_of

    from armwright.addon.rebuild import rebuild
    from armwright.addon.rebuild_plan import plan_again

    armature = at_work()
    before = deep_snapshot()["blocks"]
    rebuild(armature, plan_again(armature, guide_of(1.9)))
    assert deep_snapshot()["blocks"] == before
