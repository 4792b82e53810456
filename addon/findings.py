"""What is wrong with a file for arms, found by looking at it: places, drivers that fail, dependency cycles."""

from __future__ import annotations

from collections.abc import Iterator

import bpy

from ..core.circles import circles, reached_from
from ..core.proof.results import DEPENDENCY_CYCLE, Finding
from . import finding_space
from .dependency_graph import Reader, driven_of, poses_of

SCALED, BROKEN, CYCLE = "scaled-object", "broken-driver", DEPENDENCY_CYCLE
# A scale nearer to 1 is rounding.
UNSCALED = 1e-6
# Names of a long circle that are shown.
MOST_NAMES = 12


def findings_of(armature: bpy.types.Object, length: float | None = None) -> tuple[Finding, ...]:
    """What is wrong with `armature` and what it depends on; empty for a clean rig. Time is linear in what there is.

    `length`: L in the armature's unit, for what is told in it.
    """
    bpy.context.view_layer.update()
    return (
        *_scaled(armature),
        *finding_space.of_shear(armature),
        *finding_space.of_distance(armature, length),
        *finding_space.of_bones(armature),
        *finding_space.of_child_of(armature),
        *_broken(armature),
        *_cycles(armature),
    )


def _scaled(armature: bpy.types.Object) -> Iterator[Finding]:
    item: bpy.types.Object | None = armature
    while item is not None:
        scale = (float(item.scale.x), float(item.scale.y), float(item.scale.z))
        if any(abs(part - 1.0) > UNSCALED for part in scale):
            words = ", ".join(f"{part:.4g}" for part in scale)
            if scale[0] > 0.0 and max(scale) - min(scale) <= UNSCALED * max(scale):
                yield Finding(
                    SCALED,
                    item.name,
                    f"The object's scale is {words}, alike along every axis: measured harmless to what arms hold, but "
                    "lengths in the armature are not those in the scene.",
                    "Nothing has to be done for the arms; apply it before anything is keyed if lengths should agree.",
                )
            else:
                yield Finding(
                    SCALED,
                    item.name,
                    f"The object's scale is {words}: lengths and angles change with an arm's direction, and "
                    "constraints that work in world space hold nothing exactly.",
                    "Apply the scale to the armature and the meshes at once, before anything is keyed.",
                )
        item = item.parent


def _broken(armature: bpy.types.Object) -> Iterator[Finding]:
    for owner in (armature, armature.data):
        animation = owner.animation_data
        for curve in animation.drivers if animation is not None else ():
            driver = curve.driver
            lost = next(
                (
                    variable.name
                    for variable in driver.variables
                    if any(target.id is None for target in variable.targets)
                ),
                None,
            )
            if lost is None and driver.is_valid and curve.is_valid:
                continue
            why = f"its variable {lost!r} has no target" if lost is not None else "the host can not evaluate it"
            said = f" ({driver.expression})" if driver.type == "SCRIPTED" and driver.expression else ""
            yield Finding(
                BROKEN,
                f"{owner.name}, {curve.data_path}",
                f"A driver fails: {why}{said}; the value stays what it was last.",
                "Mend or remove the driver; if it runs a script, the file has to be trusted first.",
            )


def _cycles(armature: bpy.types.Object) -> Iterator[Finding]:
    poses = poses_of(armature, [bone.name for bone in armature.pose.bones])
    graph = reached_from([*poses, *driven_of(armature, armature.data)], Reader().needs)
    for circle in circles(graph):
        names = list(dict.fromkeys(value.label() for value in circle))
        shown = names if len(names) <= MOST_NAMES else [*names[:MOST_NAMES], "…"]
        yield Finding(
            CYCLE,
            names[0],
            f"A dependency cycle: {' needs '.join([*shown, names[0]])}; the host leaves one of these out, and "
            "which one may change.",
            "Take out the constraint or driver that closes the circle.",
        )
