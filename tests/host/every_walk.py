"""The walk over all modes, spaces and dials that the two host_every_switch files do, one for each arm."""

from __future__ import annotations

import itertools

from every_switch import CORNERS, HELD, MODES, POP, TURN, Walk, circuit

ROUNDS = {"L": 3, "R": 4}
# Changes of space between two changes of mode, each held hold.
AT_ONCE = 5
LEAST = {"L": 2700, "R": 2800}
# Poses that no setting of a mode makes: segments that an elbow hold may not stretch to, an elbow past its fold.
MOST_INEXACT = 0.05
# Arms that a wandering hold has stretched out by chance.
MOST_STRAIGHT = 0.02


def walked_everywhere(arm: str, seed: int, spaces: int) -> None:
    """Walk, print, and assert the limits and that everything was there."""
    walk = Walk(seed, arm)
    print(f"seed {seed}, arm {arm}, spaces {walk.keys}")
    for _ in range(ROUNDS[arm]):
        for corner in CORNERS:
            _corner(walk, corner)
    tally = walk.tally
    print(f"{tally.count} changes")
    print(f"{len(tally.inexact)} of poses that can not be kept, {len(tally.straight)} next to straight")
    for what, (value, case) in tally.worst.items():
        print(f"worst {what} {value:.2e}: {case}")
    for line in tally.failed[:40]:
        print("FAILED", line)
    off = [max((abs(item[place]) for item in tally.inexact), default=0.0) for place in (0, 1)]
    print(f"poses that can not be kept, against what the match said: {off[0]:.1e} L, {off[1]:.1e} degrees")
    share = max((max(item[:2]) for item in tally.straight), default=0.0)
    print(f"next to straight: at most {share:.1e} of what single precision allows there")
    assert tally.failed == []
    assert tally.count >= LEAST[arm]
    assert 0 < len(tally.inexact) < MOST_INEXACT * tally.count
    assert off[0] < POP
    assert off[1] < TURN
    assert len(tally.straight) < MOST_STRAIGHT * tally.count
    assert share < 1.0
    # From what was recorded, not from what was meant to happen.
    for corner in CORNERS:
        for first, second in itertools.permutations(MODES, 2):
            assert ("mode", corner, first, second) in tally.seen, (corner, first, second)
        for hold, keys in walk.keys.items():
            assert len(keys) == spaces
            for first, second in itertools.permutations(keys, 2):
                assert ("space", hold, corner, first, second) in tally.seen, (hold, corner, first, second)
    assert len({entry for entry in tally.seen if entry[0] == "corner"}) >= len(CORNERS)


def _corner(walk: Walk, corner: tuple[float, float, float]) -> None:
    """One setting of the dials: taken up by a switch, then every pair of modes and of each hold's spaces once."""
    from armwright.addon import spaces

    walk.switch(**dict(zip(("isolate", "lift", "stretch"), corner, strict=True)))
    walk.grabs()
    _lost(walk)
    ways = {}
    for hold, keys in walk.keys.items():
        ways[hold] = circuit(walk.rng, keys, spaces.active_space(walk.subject, walk.arm, hold).key)
    left = set(ways)
    while left:
        walk.pose()
        for mode in circuit(walk.rng, list(MODES), "none"):
            walk.switch(**dict(zip(("ik", "elbow"), MODES[mode], strict=True)))
            for hold in [hold for hold in HELD[mode] if hold in left]:
                for _ in range(AT_ONCE):
                    key = next(ways[hold], None)
                    if key is None:
                        left.discard(hold)
                        break
                    walk.space(hold, key)
            if walk.rng.uniform() < 0.3:
                walk.nudge()


def _lost(walk: Walk) -> None:
    """An upper arm that is shorter, or longer, than a held elbow makes it: the nearest pose is the one promised."""
    for factor in (0.3, 0.45, 2.3):
        walk.pose()
        walk.dials["upper_length"] = factor
        walk.update()
        walk.switch(ik=float(walk.rng.integers(2)), elbow=1.0)
        walk.switch(ik=0.0, elbow=0.0)
