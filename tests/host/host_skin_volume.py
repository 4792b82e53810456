"""How far the skin shrinks as it rolls, and whether it keeps its volume as it stretches, measured on a cylinder.

Source of the figures: linear blending shrinks a radius by cos(t / 2) at half weight between two bones that differ by a
twist t; over n equal steps of 180 degrees in all the worst radius is 0, 0.7071, 0.8660, 0.9239, 0.9511 for n = 1 to 5
(design, section 8).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from tubes import evaluated, joints_of, tube

# 180 degrees in `steps` equal steps.
PUBLISHED = {1: 0.0, 2: 0.7071, 3: 0.8660, 4: 0.9239, 5: 0.9511}
# The figures are published with four digits.
LIMIT = 1e-3


def _wren(steps: int) -> Any:
    from armwright.addon.build import build_new
    from armwright.core.arm.build import plan_arms
    from armwright.core.options import ArmOptions
    from armwright.core.stature import guide_from_stature

    return build_new(plan_arms(guide_from_stature(1.7, "Wren"), ArmOptions(twist_bones=steps + 1)), "Wren")


def _sleeve(armature: Any, segment: str, steps: int) -> tuple[Any, int]:
    """A cylinder along the left arm's segment, bound by the weights of one old group over all of it; and its rings.

    12 rings a bone, so that there is one at every boundary between two bones.
    """
    from armwright.addon import bind

    joints = joints_of(armature, "L")
    head, tail = joints[:2] if segment == "upper_arm" else joints[1:3]
    rings = 12 * (steps + 1)
    item = tube("Sleeve", (head, tail), 0.04, steps=rings, around=24)
    item.vertex_groups.new(name="old").add(range(len(item.data.vertices)), 1.0, "REPLACE")
    bind.bind_by_names(armature, [item], {"old": f"{segment}.L"})
    return item, rings


def _radii(item: Any, rings: int, head: np.ndarray, tail: np.ndarray) -> np.ndarray:
    """Mean radius (rings + 1,) about the axis from `head` to `tail`."""
    points = evaluated(item)[: (rings + 1) * 24].reshape(rings + 1, 24, 3) - head
    axis = (tail - head) / np.linalg.norm(tail - head)
    aside = points - (points @ axis)[..., None] * axis
    return np.linalg.norm(aside, axis=-1).mean(axis=1)


def _joint_heads(armature: Any, segment: str) -> tuple[np.ndarray, np.ndarray]:
    parts = ("upper_arm", "forearm") if segment == "upper_arm" else ("forearm", "hand")
    heads = [np.array(armature.pose.bones[f"skin.{part}.L"].head) for part in parts]
    return heads[0], heads[1]


def _roll(armature: Any, segment: str, degrees: float) -> None:
    control = armature.pose.bones["fk.upper_arm.L" if segment == "upper_arm" else "fk.forearm.L"]
    control.rotation_euler[1] = np.radians(degrees)


@pytest.mark.parametrize("steps", [1, 2, 3, 4, 5])
@pytest.mark.parametrize("segment", ["upper_arm", "forearm"])
@pytest.mark.parametrize("degrees", [90.0, 180.0])
def test_the_skin_shrinks_under_roll_by_the_published_figure(
    empty_file: Any, steps: int, segment: str, degrees: float
) -> None:
    armature = _wren(steps)
    item, rings = _sleeve(armature, segment, steps)
    before = _radii(item, rings, *_joint_heads(armature, segment))
    # At exactly half a turn the roll has two values, which shrink alike.
    _roll(armature, segment, degrees)
    after = _radii(item, rings, *_joint_heads(armature, segment))
    worst = float((after / before).min())
    wanted = float(np.cos(np.radians(degrees) / (2.0 * steps)))
    print(f"{segment}, {degrees:.0f} degrees in {steps} steps: {worst:.5f}, wanted {wanted:.5f}")
    assert worst == pytest.approx(wanted, abs=LIMIT)
    if degrees == 180.0:
        assert worst == pytest.approx(PUBLISHED[steps], abs=LIMIT)
    # It is worst at the boundaries, and in the middle of a bone there is none.
    boundaries = 12 * np.arange(1, steps + 1)
    assert after[boundaries] / before[boundaries] == pytest.approx(wanted, abs=LIMIT)
    middles = 6 + 12 * np.arange(steps + 1)
    assert after[middles] / before[middles] == pytest.approx(1.0, abs=1e-5)


def test_the_measure_sees_a_cylinder_that_is_moved_by_one_bone_alone(empty_file: Any) -> None:
    armature = _wren(2)
    item, rings = _sleeve(armature, "forearm", 2)
    before = _radii(item, rings, *_joint_heads(armature, "forearm"))
    for index in (1, 2):
        armature.pose.bones[f"skin.forearm.{index}.L"].constraints["roll"].mute = True
    _roll(armature, "forearm", 180.0)
    after = _radii(item, rings, *_joint_heads(armature, "forearm"))
    assert (after / before).min() == pytest.approx(1.0, abs=1e-5)


@pytest.mark.parametrize("segment", ["upper_arm", "forearm"])
@pytest.mark.parametrize("factor", [0.6, 1.7])
@pytest.mark.parametrize("volume", [0.0, 0.5, 1.0])
def test_a_stretched_cylinder_keeps_its_volume_by_the_dial(
    empty_file: Any, segment: str, factor: float, volume: float
) -> None:
    armature = _wren(2)
    item, rings = _sleeve(armature, segment, 2)
    ends = _joint_heads(armature, segment)
    before, length = _radii(item, rings, *ends), float(np.linalg.norm(ends[1] - ends[0]))
    dials = armature.pose.bones["fk.clavicle.L"]
    dials["volume"] = volume
    dials["upper_length" if segment == "upper_arm" else "forearm_length"] = factor
    armature.update_tag()
    points = evaluated(item)[: (rings + 1) * 24]
    ends = _joint_heads(armature, segment)
    after = _radii(item, rings, *ends)
    assert np.linalg.norm(ends[1] - ends[0]) / length == pytest.approx(factor, rel=1e-5)
    # 1 / sqrt(s) at 1 (design, section 8).
    assert after / before == pytest.approx(factor ** (-0.5 * volume), rel=1e-5)
    axis = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    span = (points - ends[0]) @ axis
    assert (span.max() - span.min()) / length == pytest.approx(factor, rel=1e-5)
    stretched = factor * (after / before) ** 2
    assert stretched == pytest.approx(factor ** (1.0 - volume), rel=2e-5)


def test_roll_under_stretch_shrinks_as_much_as_roll_alone(empty_file: Any) -> None:
    armature = _wren(2)
    item, rings = _sleeve(armature, "forearm", 2)
    before = _radii(item, rings, *_joint_heads(armature, "forearm"))
    armature.pose.bones["fk.clavicle.L"]["forearm_length"] = 1.5
    _roll(armature, "forearm", 120.0)
    armature.update_tag()
    evaluated(item)
    after = _radii(item, rings, *_joint_heads(armature, "forearm"))
    assert (after / before).min() == pytest.approx(np.cos(np.radians(30.0)) / np.sqrt(1.5), abs=LIMIT)
