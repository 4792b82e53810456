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
    behind: dict[str, list[str]] = {name: [] for name in planned}
    first: list[str] = []
    at_end: list[str] = []
    anchor = ""
    for place, name in enumerate(current):
        if name in ours:
            anchor = name if name in planned else anchor
        elif place > last:
            at_end.append(name)
        else:
            (behind[anchor] if anchor else first).append(name)
    return [*first, *(name for one in planned for name in (one, *behind[one])), *at_end]
