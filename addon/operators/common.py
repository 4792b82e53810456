"""What operators share."""

from __future__ import annotations

from collections.abc import Callable

import bpy

from ...core.errors import ArmwrightError


def attempt(operator: bpy.types.Operator, work: Callable[[], str]) -> set[str]:
    """Run `work`; report what it says, or the error in its own words."""
    try:
        message = work()
    except ArmwrightError as problem:
        operator.report({"ERROR"}, str(problem))
        return {"CANCELLED"}
    operator.report({"INFO"}, message)
    return {"FINISHED"}
