"""Dependencies between the plan's values, and the circle among them that the host could not evaluate.

A node is a bone's final pose (parent, channels and constraints done), one of its channels or one of its properties.
The edges follow what was measured in the host: a driver that reads a channel or a property depends on that value alone,
so a descendant's channel may drive an ancestor; one that reads a distance or a swing depends on whole final poses.
"""

from __future__ import annotations

from typing import NamedTuple

from ..errors import PlanError
from .model import Driver, Plan, Variable

# A longer circle is shown by its beginning and its end.
MOST_SHOWN = 12


class Node(NamedTuple):
    """A value: `part` is "" for the bone's final pose, otherwise "property" or a channel; `key` tells which."""

    bone: str
    part: str = ""
    key: str | int = ""

    def label(self) -> str:
        """For people: the bone, and which of its properties or channels."""
        if not self.part:
            return self.bone
        return f'{self.bone}["{self.key}"]' if self.part == "property" else f"{self.bone}.{self.part}[{self.key}]"


Graph = dict[Node, list[Node]]


def check_cycles(plan: Plan) -> None:
    """Refuse, with PlanError, a plan whose values need each other in a circle."""
    circle = find_cycle(plan)
    if circle:
        raise PlanError(
            f"these values need each other in a circle, which no host can evaluate: {describe(circle)}; "
            "remove one of these parents, constraints or drivers"
        )


def find_cycle(plan: Plan) -> tuple[Node, ...]:
    """A circle, its first node repeated at the end, each node needing the next; () if there is none. Linear time."""
    graph = dependencies(plan)
    done: set[Node] = set()
    for start in graph:
        if start in done:
            continue
        # A walk of its own: a chain of bones may be far longer than the interpreter's stack.
        path = [start]
        place = {start: 0}
        waiting = [iter(graph[start])]
        while path:
            needed = next(waiting[-1], None)
            if needed is None:
                waiting.pop()
                finished = path.pop()
                del place[finished]
                done.add(finished)
            elif needed in place:
                return (*path[place[needed] :], needed)
            elif needed not in done:
                place[needed] = len(path)
                path.append(needed)
                waiting.append(iter(graph.get(needed, ())))
    return ()


def describe(circle: tuple[Node, ...]) -> str:
    """A circle as "a → b → a"."""
    labels = [node.label() for node in circle]
    if len(labels) > MOST_SHOWN:
        half = MOST_SHOWN // 2
        labels = [*labels[:half], f"… ({len(labels) - 2 * half} more) …", *labels[-half:]]
    return " → ".join(labels)


def dependencies(plan: Plan) -> Graph:
    """What each value needs. Values that need nothing may be left out."""
    graph: Graph = {Node(bone.name): [Node(bone.parent)] if bone.parent else [] for bone in plan.bones}
    for constraint in plan.constraints:
        graph.setdefault(Node(constraint.bone), []).append(Node(constraint.target))
        if constraint.space:
            graph[Node(constraint.bone)].append(Node(constraint.space))
    for driver in plan.drivers:
        graph.setdefault(_driven(driver), []).extend(
            node for variable in driver.variables for node in _read_by(variable)
        )
        if not driver.constraint and driver.channel != "property":
            graph.setdefault(Node(driver.bone), []).append(_driven(driver))
    return graph


def _driven(driver: Driver) -> Node:
    """The value that a driver writes; a constraint's is part of the owner's final pose."""
    if driver.constraint:
        return Node(driver.bone)
    if driver.channel == "property":
        return Node(driver.bone, "property", driver.key)
    return Node(driver.bone, driver.channel, driver.index)


def _read_by(variable: Variable) -> tuple[Node, ...]:
    """The values that a variable reads."""
    if variable.kind == "property":
        return (Node(variable.bone, "property", variable.channel),)
    if variable.kind == "channel":
        return (Node(variable.bone, variable.channel, variable.index),)
    if variable.kind == "distance":
        return (Node(variable.bone), Node(variable.other))
    return (Node(variable.bone),) if variable.kind == "swing" else ()
