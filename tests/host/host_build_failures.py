"""A build that fails, at any stage and in any mode, leaves the file as it was."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from keepers import activate, keeper, plan_for


class Broken(Exception):
    """The failure that the tests inject."""


def after(module: str, name: str) -> Callable[[Any], None]:
    """Let a function do its work and then fail."""

    def inject(monkeypatch: Any) -> None:
        import importlib

        owner = importlib.import_module(f"armwright.addon.{module}")
        genuine = getattr(owner, name)

        def failing(*arguments: Any) -> None:
            genuine(*arguments)
            raise Broken(name)

        monkeypatch.setattr(owner, name, failing)

    return inject


def at_call(module: str, name: str, call: int) -> Callable[[Any], None]:
    """Let a function fail at its n-th call, so that the stage that calls it is half done."""

    def inject(monkeypatch: Any) -> None:
        import importlib

        owner = importlib.import_module(f"armwright.addon.{module}")
        genuine, calls = getattr(owner, name), [0]

        def failing(*arguments: Any) -> Any:
            calls[0] += 1
            if calls[0] == call:
                raise Broken(name)
            return genuine(*arguments)

        monkeypatch.setattr(owner, name, failing)

    return inject


FAILURES = {
    "after the bones": after("apply", "add_bones"),
    "after the pose": after("apply", "add_pose"),
    "after the looks": after("apply", "add_looks"),
    "after the record": after("rig", "write_record"),
    "before the record": at_call("build", "record_of", 1),
    "among the bones": at_call("host", "numpy_to_matrix", 17),
    "among the channels": at_call("apply", "set_channels", 20),
    "among the properties": at_call("apply", "add_property", 9),
    "among the constraints": at_call("apply", "add_constraint", 23),
    "among the drivers": at_call("apply", "add_driver", 30),
    "among the shapes": at_call("shapes", "dress", 7),
}


@pytest.mark.parametrize("mode", ["OBJECT", "POSE", "EDIT"])
@pytest.mark.parametrize("failure", FAILURES.values(), ids=FAILURES.keys())
def test_a_build_that_fails_half_way_leaves_the_file_as_it_was(
    empty_file: Any, monkeypatch: Any, failure: Callable[[Any], None], mode: str
) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences

    from armwright.addon.build import build

    armature = keeper()
    plan = plan_for(armature)
    whole = deep_snapshot()
    activate(armature, mode)
    before = deep_snapshot()
    failure(monkeypatch)
    with pytest.raises(Broken):
        build(armature, plan)
    assert differences(before, deep_snapshot()) == []
    # The bones' collections and the pose are written when edit mode is left.
    bpy.ops.object.mode_set(mode="OBJECT")
    assert differences(whole, deep_snapshot()) == []


@pytest.mark.parametrize("failure", FAILURES.values(), ids=FAILURES.keys())
def test_a_new_armature_that_fails_half_way_leaves_no_trace(
    empty_file: Any, monkeypatch: Any, failure: Callable[[Any], None]
) -> None:
    from deep_snapshot import deep_snapshot, differences

    from armwright.addon.build import build_new

    keeper()
    plan = plan_for()
    before = deep_snapshot()
    failure(monkeypatch)
    with pytest.raises(Broken):
        build_new(plan, "Wren")
    assert differences(before, deep_snapshot()) == []


def test_a_build_that_failed_can_be_done_again(empty_file: Any, monkeypatch: Any) -> None:
    from armwright.addon.build import build
    from armwright.addon.rig import read_record

    armature = keeper()
    plan = plan_for(armature)
    with monkeypatch.context() as patch:
        FAILURES["after the record"](patch)
        with pytest.raises(Broken):
            build(armature, plan)
    build(armature, plan)
    assert read_record(armature).arms == ("L", "R")
