"""A card of forty arms is proved to its end, and says of each what it says of one of two."""

from __future__ import annotations

from collections import Counter
from typing import Any

import foreign_arms as made

ROWS = tuple(f"row{row}.{side}" for row in range(20) for side in made.SIDES)


def _of_arm(results: Any, arm: str) -> Counter[tuple[str, str, str]]:
    return Counter((check.requirement, check.measure, check.verdict) for check in results.checks if check.arm == arm)


def test_forty_arms_of_native_ik_get_the_verdicts_of_two(empty_file: Any) -> None:
    from armwright.addon import any_arm
    from armwright.core.proof.results_json import summary
    from armwright.core.proof.verdicts import uncovered

    pair = made.native_ik()
    two = any_arm.prove_card_whole(pair, made.native_ik_card(pair))
    assert Counter(check.verdict for check in two.checks)["fail"] > 0
    crowd = made.native_ik("Forty", sides=ROWS)
    results = any_arm.prove_card_whole(crowd, made.native_ik_card(crowd, sides=ROWS))
    assert [arm for arm, _ in results.arm_lengths] == list(ROWS)
    assert uncovered(results.checks, ROWS) == ()
    assert len({check.id for check in results.checks}) == len(results.checks) == 20 * len(two.checks)
    for arm in ROWS:
        assert _of_arm(results, arm) == _of_arm(two, arm.rpartition(".")[2])
    assert summary(results.checks) == {verdict: 20 * count for verdict, count in summary(two.checks).items()}
