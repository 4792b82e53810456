"""An arm's id in words, and its side."""

from __future__ import annotations

import pytest

from armwright.core.arm_words import is_id, names, partner, side_of, words
from armwright.core.guide import mirrored
from armwright.core.stature import guide_from_stature


@pytest.mark.parametrize(
    ("arm", "side", "said"),
    [
        ("L", "L", "left"),
        ("R", "R", "right"),
        ("lower.L", "L", "lower left"),
        ("mid_low.R", "R", "mid low right"),
        ("l.R", "R", "l right"),
        ("boathook", "L", "boathook"),
        ("boathook.3", "L", "boathook.3"),
        ("ARM", "L", "ARM"),
    ],
)
def test_an_id_says_its_side_and_its_words(arm: str, side: str, said: str) -> None:
    assert (side_of(arm), words(arm)) == (side, said)


def test_the_side_of_a_guides_arm_is_read_back_from_its_id() -> None:
    from dataclasses import replace

    for arm in guide_from_stature(1.7, "Wren").arms:
        for pair in ("", "lower", "r", "l_r"):
            renamed = replace(arm, pair=pair)
            assert side_of(renamed.id) == renamed.side
            assert partner(renamed.id, [renamed.id, mirrored(renamed).id]) == mirrored(renamed).id


@pytest.mark.parametrize(
    ("arms", "of", "said"),
    [
        (("R",), ("R",), "right arm"),
        (("L", "R"), ("L", "R"), "both arms"),
        (("L", "lower.L"), ("L", "R", "lower.L", "lower.R"), "left and lower left arms"),
        (("L", "R", "lower.L"), ("L", "R", "lower.L", "lower.R"), "left, right and lower left arms"),
        (("L", "R", "lower.L", "lower.R"), ("L", "R", "lower.L", "lower.R"), "all 4 arms"),
        (tuple("abcd"), tuple("abcde"), "4 of 5 arms"),
    ],
)
def test_several_arms_are_called_both_only_where_there_are_two(
    arms: tuple[str, ...], of: tuple[str, ...], said: str
) -> None:
    assert names(arms, of) == said


def test_an_arm_has_no_partner_where_the_other_side_has_none() -> None:
    assert partner("R", ("R",)) is None
    assert partner("lower.R", ("L", "R", "lower.R")) is None
    assert partner("boathook", ("L", "R", "boathook")) is None


def test_an_id_is_one_printable_line() -> None:
    assert all(is_id(text) for text in ("L", "lower.L", "Ärmel 2", "arm/2"))
    assert not any(is_id(text) for text in ("", "  ", "L\n", "\x1b[31mL", "a" * 64, "\u202eL"))
