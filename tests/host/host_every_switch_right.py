"""Thousands of switches of the right arm: every pair of modes and of spaces under every setting of the dials."""

from __future__ import annotations

from typing import Any

from every_walk import walked_everywhere


def test_no_switch_of_the_right_arm_pops(empty_file: Any) -> None:
    walked_everywhere("R", seed=61803, spaces=6)
