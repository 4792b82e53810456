"""Work in steps: the same outcome with turns in between, and the time of others is not its own."""

from __future__ import annotations

from collections.abc import Generator

from armwright.core.pace import UNBROKEN, Pace, told, whole


class Clock:
    """A clock that stands still until it is told."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def _counting(closed: list[str]) -> Generator[int, None, str]:
    try:
        yield from range(5)
        return "counted"
    finally:
        closed.append("closed")


def test_work_as_a_whole_gives_what_its_steps_return() -> None:
    assert whole(_counting([])) == "counted"


def test_a_turn_is_over_after_its_seconds_and_begins_anew() -> None:
    clock = Clock()
    pace = Pace(0.5, clock)
    assert not pace.due()
    clock.now += 0.5
    assert pace.due()
    pace.begin()
    assert not pace.due()
    assert not UNBROKEN.due()


def test_the_turns_of_others_are_counted_from_when_this_one_was_over() -> None:
    clock = Clock()
    pace = Pace(0.5, clock)
    clock.now += 0.75
    assert pace.due()
    clock.now += 2.0
    assert pace.due()
    pace.begin()
    assert pace.away == 2.0
    clock.now += 0.25
    pace.begin()
    assert pace.away == 2.0


def test_only_steps_at_which_a_turn_is_over_are_told() -> None:
    clock = Clock()
    pace = Pace(1.0, clock)
    steps = told(_counting([]), pace, str)
    clock.now += 1.0
    assert next(steps) == "0"
    pace.begin()
    assert whole(steps) == "counted"
    every = told(_counting([]), Pace(0.0, clock), str)
    assert [next(every) for _ in range(5)] == ["0", "1", "2", "3", "4"]


def test_closing_what_is_told_closes_the_work() -> None:
    closed: list[str] = []
    steps = told(_counting(closed), Pace(0.0, Clock()), str)
    next(steps)
    steps.close()
    assert closed == ["closed"]
