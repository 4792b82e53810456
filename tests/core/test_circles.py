"""Circles of needs: found where there are any, one for each set, and in long chains without a deep stack."""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest

from armwright.core.circles import circles, reached_from

SEED = 5309


def found_in(graph: dict[str, tuple[str, ...]]) -> list[tuple[str, ...]]:
    return circles(reached_from(graph, lambda node: graph.get(node, ())))


@pytest.mark.parametrize(
    ("graph", "expected"),
    [
        ({"a": ("b",), "b": ("c",)}, []),
        ({"a": ("a",)}, [("a", "a")]),
        ({"a": ("b",), "b": ("a",)}, [("a", "b", "a")]),
        ({"a": ("b",), "b": ("c", "a"), "c": ("a",)}, [("a", "b", "a")]),
        ({"a": ("a", "b"), "b": ("c",), "c": ("b",)}, [("a", "a"), ("b", "c", "b")]),
        ({"a": ("b", "c"), "b": ("d",), "c": ("d",), "d": ()}, []),
    ],
)
def test_each_set_that_needs_itself_gives_one_circle(
    graph: dict[str, tuple[str, ...]], expected: list[tuple[str, ...]]
) -> None:
    assert found_in(graph) == expected


def test_only_what_is_needed_is_looked_at() -> None:
    graph = {"a": ("b",), "b": (), "c": ("c",)}
    assert list(reached_from(["a"], lambda node: graph[node])) == ["a", "b"]


def test_a_chain_of_a_hundred_thousand_is_walked() -> None:
    last = 100_000
    graph = {number: (number + 1,) for number in range(last)} | {last: (last - 1,)}
    assert circles(graph) == [(last - 1, last, last - 1)]


def test_random_graphs_have_the_circles_that_another_way_finds() -> None:
    print("seed", SEED)
    rng = random.Random(SEED)
    met = 0
    for _ in range(300):
        size = rng.randint(1, 14)
        graph = {
            node: tuple(sorted({rng.randrange(size) for _ in range(rng.choice((0, 0, 1, 1, 2)))}))
            for node in range(size)
        }
        reach = np.zeros((size, size), bool)
        for node, needs in graph.items():
            reach[node, list(needs)] = True
        for middle in range(size):
            # Warshall 1962: ways through one more node.
            reach |= np.outer(reach[:, middle], reach[middle])
        sets = {
            frozenset(np.flatnonzero(reach[node] & reach[:, node]).tolist())
            for node in range(size)
            if reach[node, node]
        }
        found = circles(graph)
        assert len(found) == len(sets)
        for circle in found:
            assert circle[0] == circle[-1]
            assert all(needed in graph[node] for node, needed in itertools.pairwise(circle))
            assert any(set(circle) <= part for part in sets)
            assert len(set(circle)) == len(circle) - 1
        met += len(found)
    assert met > 100
