"""The lines that a narrow sidebar has for the checks of a requirement: which they are, and that no two are alike."""

from __future__ import annotations

from itertools import product

import pytest

from armwright.core.proof import nearest
from armwright.core.proof.cases import CORNERS, Case
from armwright.core.proof.results import FAIL, PASS, Check


def check(
    case: Case, arm: str = "L", motion: str = "torso-wiggle", measure: str = "wrist-slide", value: float = 1e-6
) -> Check:
    verdict = PASS if value <= 2e-6 else FAIL
    name = f"hold-hand/{motion}/mode={case.mode},{case.label}/{arm}/{measure}"
    return Check(name, "hold-hand", motion, case, arm, measure, "L", value, 2e-6, verdict, 7, 240)


@pytest.mark.parametrize(
    ("case", "said"),
    [
        (Case("hand", 0.0, 0.0, 0.0), ""),
        (Case("hand", 1.0, 0.0, 0.0), "iso"),
        (Case("hand", 1.0, 1.0, 1.0), "iso lift str"),
        (Case("hand", 0.0, 0.5, 1.0), "lift 0.5 str"),
    ],
)
def test_the_dials_that_are_turned_up_are_named_and_no_others(case: Case, said: str) -> None:
    assert case.turned == said


def test_lines_that_differ_only_in_dials_can_be_told_apart() -> None:
    cases = [case for case in CORNERS if case.mode == "hand"]
    rows = nearest.rows([check(case) for case in cases])
    assert rows[0] == "L torso-wiggle"
    assert rows[-1] == "L torso-wiggle iso lift str"
    assert len(set(rows)) == len(cases) == 8


def test_every_line_is_its_own_whatever_the_checks_differ_in() -> None:
    between = (Case("hand", 0.0, 0.5, 0.0), Case("none", 0.25, 1.0, 0.0))
    kinds = product((*CORNERS, *between), "LR", ("torso-wiggle", "shrug"), ("wrist-slide", "hand-drift"))
    checks = [check(case, arm, motion, measure) for case, arm, motion, measure in kinds]
    rows = nearest.rows(checks)
    assert len(set(rows)) == len(checks) > 250
    assert "R shrug wrist-slide both iso" in rows


def test_a_line_has_its_mode_and_measure_only_where_they_are_needed() -> None:
    plain = Case("hand", 0.0, 1.0, 0.0)
    rows = nearest.rows(
        [check(plain), check(Case("both", 0.0, 1.0, 0.0)), check(plain, "R"), check(plain, "R", measure="drift")]
    )
    assert rows == (
        "L torso-wiggle hand lift",
        "L torso-wiggle both lift",
        "R torso-wiggle wrist-slide lift",
        "R torso-wiggle drift lift",
    )
