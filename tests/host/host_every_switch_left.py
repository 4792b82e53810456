"""Thousands of switches of the left arm: every pair of modes and of spaces under every setting of the dials."""

from __future__ import annotations

from typing import Any

from every_walk import walked_everywhere


def test_no_switch_of_the_left_arm_pops(empty_file: Any) -> None:
    walked_everywhere("L", seed=90210, spaces=7)
