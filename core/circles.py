"""Circles in a graph that is found while it is walked: what needs what, until it needs itself."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Hashable, Iterable, Iterator
from typing import TypeVar

Node = TypeVar("Node", bound=Hashable)
Needs = Callable[[Node], Iterable[Node]]


def reached_from(starts: Iterable[Node], needs: Needs[Node]) -> dict[Node, tuple[Node, ...]]:
    """Everything that `starts` need, themselves first, with what each of it needs; time is linear in the result."""
    graph: dict[Node, tuple[Node, ...]] = {}
    waiting = deque(starts)
    while waiting:
        node = waiting.popleft()
        if node not in graph:
            graph[node] = tuple(dict.fromkeys(needs(node)))
            waiting.extend(graph[node])
    return graph


def circles(graph: dict[Node, tuple[Node, ...]]) -> list[tuple[Node, ...]]:
    """A circle for each set of nodes that all need each other, its first node repeated at its end. Linear time.

    Circles that share a node are in one set, for which one of them stands: there can be exponentially many. It is the
    shortest through the set's first node in the order of `graph`. Sets come in the order of these nodes.
    """
    place = {node: index for index, node in enumerate(graph)}
    found = []
    for group in _groups(graph):
        first = min(group, key=place.__getitem__)
        if len(group) > 1 or first in graph[first]:
            found.append((place[first], _shortest(graph, first, set(group))))
    return [circle for _, circle in sorted(found, key=lambda item: item[0])]


def _groups(graph: dict[Node, tuple[Node, ...]]) -> Iterator[list[Node]]:
    """Strongly connected sets (Tarjan 1972, SIAM J Comput 1:146), without recursion: chains of bones can be long."""
    number: dict[Node, int] = {}
    lowest: dict[Node, int] = {}
    open_nodes: list[Node] = []
    is_open: set[Node] = set()
    for start in graph:
        if start in number:
            continue
        walk: list[tuple[Node, Iterator[Node]]] = []

        def enter(node: Node, walk: list[tuple[Node, Iterator[Node]]] = walk) -> None:
            number[node] = lowest[node] = len(number)
            open_nodes.append(node)
            is_open.add(node)
            walk.append((node, iter(graph[node])))

        enter(start)
        while walk:
            node, further = walk[-1]
            needed = next(further, None)
            if needed is not None:
                if needed not in number:
                    enter(needed)
                elif needed in is_open:
                    lowest[node] = min(lowest[node], number[needed])
                continue
            walk.pop()
            if walk:
                above = walk[-1][0]
                lowest[above] = min(lowest[above], lowest[node])
            if lowest[node] == number[node]:
                group: list[Node] = []
                while not group or group[-1] != node:
                    group.append(open_nodes.pop())
                    is_open.discard(group[-1])
                yield group


def _shortest(graph: dict[Node, tuple[Node, ...]], first: Node, group: set[Node]) -> tuple[Node, ...]:
    """The shortest way from `first` back to it within its set, breadth first."""
    came_from: dict[Node, Node] = {}
    layer = [first]
    while layer:
        following = []
        for node in layer:
            for needed in graph[node]:
                if needed == first:
                    way = [node]
                    while way[-1] != first:
                        way.append(came_from[way[-1]])
                    return (*reversed(way), first)
                if needed in group and needed not in came_from:
                    came_from[needed] = node
                    following.append(needed)
        layer = following
    raise AssertionError("every node of such a set is on a circle")
