"""The tree of skin joints, from rest geometry and the rig's parents."""

from __future__ import annotations

import numpy as np
import pytest

from armwright.core.skin_tree import SkinBone, skin_parents

ALONG = np.array([1.0, 0.0, 0.0])


def bone(name: str, head: float, tail: float, *ancestors: str, of_arm: bool = True, aside: float = 0.0) -> SkinBone:
    """On a line along X, `aside` of it along Z."""
    off = np.array([0.0, 0.0, aside])
    return SkinBone(name, ancestors, head * ALONG + off, tail * ALONG + off, of_arm)


def test_an_arm_goes_on_from_bone_to_bone_whatever_its_working_bones_are() -> None:
    bones = [
        bone("chest", -1.0, -0.4, "root", of_arm=False),
        bone("skin.hand.L", 0.6, 0.8, "fk.hand.L", "fk.forearm.L", "chest"),
        bone("skin.forearm.L", 0.3, 0.6, "aux.forearm.L", "chest"),
        bone("skin.upper_arm.L", 0.0, 0.3, "aux.upper_arm.L", "fk.upper_arm.L", "chest"),
        bone("skin.clavicle.L", -0.2, 0.0, "fk.clavicle.L", "chest"),
    ]
    assert skin_parents(bones) == {
        "chest": "",
        "skin.clavicle.L": "chest",
        "skin.upper_arm.L": "skin.clavicle.L",
        "skin.forearm.L": "skin.upper_arm.L",
        "skin.hand.L": "skin.forearm.L",
    }


def test_parents_come_first() -> None:
    bones = [bone(f"b{place}", place, place + 1.0) for place in reversed(range(6))]
    order = list(skin_parents(bones))
    assert order == [f"b{place}" for place in range(6)]


def test_bones_that_share_a_roll_stand_in_a_row_though_all_hang_on_the_first() -> None:
    bones = [
        bone("skin.upper_arm.L", 0.0, 0.1, "skin.clavicle.L"),
        bone("skin.upper_arm.1.L", 0.1, 0.2, "skin.upper_arm.L"),
        bone("skin.upper_arm.2.L", 0.2, 0.3, "skin.upper_arm.L"),
        bone("skin.forearm.L", 0.3, 0.5, "aux.elbow.L"),
    ]
    assert skin_parents(bones) == {
        "skin.upper_arm.L": "",
        "skin.upper_arm.1.L": "skin.upper_arm.L",
        "skin.upper_arm.2.L": "skin.upper_arm.1.L",
        "skin.forearm.L": "skin.upper_arm.2.L",
    }


def test_a_finger_hangs_on_the_hand_and_then_on_itself() -> None:
    bones = [
        bone("skin.hand.L", 0.0, 0.1, "fk.hand.L"),
        bone("skin.index.1.L", 0.11, 0.15, "fk.index.1.L", "aux.index.1.L", "skin.hand.L", aside=0.02),
        bone("skin.index.2.L", 0.15, 0.18, "fk.index.2.L", "aux.index.2.L", "fk.index.1.L", "skin.hand.L", aside=0.02),
        bone("skin.thumb.1.L", 0.03, 0.06, "fk.thumb.1.L", "skin.hand.L", aside=-0.03),
    ]
    assert skin_parents(bones) == {
        "skin.hand.L": "",
        "skin.index.1.L": "skin.hand.L",
        "skin.index.2.L": "skin.index.1.L",
        "skin.thumb.1.L": "skin.hand.L",
    }


def test_of_several_bones_that_end_in_one_place_the_one_in_line_goes_on() -> None:
    across = SkinBone("across", (), np.array([1.0, 0.0, -1.0]), np.array([1.0, 0.0, 0.0]), True)
    bones = [across, bone("along", 0.0, 1.0), bone("next", 1.0, 2.0)]
    assert skin_parents(bones)["next"] == "along"


def test_the_characters_own_bones_keep_their_own_parents() -> None:
    bones = [
        bone("hips", 0.0, 1.0, "root", of_arm=False),
        # It starts where the hips end, and hangs on nothing that carries skin.
        bone("lamp", 1.0, 2.0, "hook", of_arm=False),
        bone("chest", 5.0, 6.0, "belly", "hips", "root", of_arm=False),
    ]
    assert skin_parents(bones) == {"hips": "", "lamp": "", "chest": "hips"}


def test_bones_in_a_ring_are_a_tree_all_the_same() -> None:
    corners = [np.array(corner, float) for corner in ((0, 0, 0), (1, 0, 0), (0, 1, 0))]
    bones = [SkinBone(f"r{place}", ("chest",), corners[place], corners[(place + 1) % 3], True) for place in range(3)]
    parents = skin_parents([SkinBone("chest", (), -ALONG, -0.5 * ALONG, False), *bones])
    assert sorted(parents) == ["chest", "r0", "r1", "r2"]
    for name in parents:
        seen, at = set(), name
        while at:
            assert at not in seen
            seen.add(at)
            at = parents[at]


@pytest.mark.parametrize("seed", range(5))
def test_any_order_of_the_bones_gives_the_same_tree(seed: int) -> None:
    print("seed", seed)
    bones = [bone(f"b{place}", place, place + 1.0) for place in range(8)]
    shuffled = [bones[place] for place in np.random.default_rng(seed).permutation(8)]
    assert skin_parents(shuffled) == skin_parents(bones)
