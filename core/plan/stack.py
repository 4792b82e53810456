"""The order of a bone's constraints when a plan's are brought up to date among a user's."""

from __future__ import annotations

from collections.abc import Collection, Sequence


def merged(current: Sequence[str], ours: Collection[str], planned: Sequence[str]) -> list[str]:
    """Names of all constraints of a bone in their new order.

    `current`: names as they are now; `ours`: those of them that a build made; `planned`: those that it is to have, in
    order. A user's constraint stays behind the one of ours that it stood behind, as far as that stays; one that stood
    behind all of ours, or where there were none, stays behind all of them; among each other they keep their order.
    """
    staying = [name for name in current if name in ours and name in planned]
    last = current.index(staying[-1]) if staying else -1
    end = len(planned)
    # What stands before and behind each of the plan's: place 0 is before all of them.
    behind: list[list[str]] = [[] for _ in range(end + 1)]
    anchor = lowest = 0
    for place, name in enumerate(current):
        if name in ours:
            anchor = planned.index(name) + 1 if name in planned else anchor
            continue
        lowest = end if place > last else max(anchor, lowest)
        behind[lowest].append(name)
    return [*behind[0], *(name for at, one in enumerate(planned, 1) for name in (one, *behind[at]))]
