"""Comparing a proof with an earlier one of the same rig: what got worse although it may still hold.

A value that holds is told as grown only where it matters. Rounding differs by more than any factor where there is
nothing but rounding (1e-9 against 3e-9 of an arm), so a value that uses less than FLOOR of its limit is left alone
however it grew: it would still have to grow tenfold before it failed. Measured on one rig: with the same seed, the
hosts 4.5.15 and 5.2.3 give the same 7,956 values over a thousandth of their limits to 1e-8 of themselves; another seed,
which is as good, makes 1 in 90 values over the floor grow more than twofold, and none that uses more than 0.3 of its
limit. Values of other seeds are therefore not compared at all.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

from ..errors import ProofError, shown
from . import switch
from .results import FAIL, NOT_APPLICABLE, OUT_OF_REACH, PASS, Check, Results
from .run_plan import standard_motions

# A share of the limit: see above.
FLOOR = 0.1
GROWTH = 2.0

# Regressions, the gravest first.
FAILS, VANISHED, UNMEASURED, GREW = "fails now", "vanished", "no longer measured", "grew"
REGRESSIONS = (FAILS, VANISHED, UNMEASURED, GREW)
# What is told beside them.
HOLDS, CHANGED, NEW, GONE = "holds now", "other verdict", "new", "gone"
TOLD = (HOLDS, CHANGED, NEW, GONE)

RECORDED = "recorded"


@dataclass(frozen=True)
class Change:
    """One check that is not as it was.

    Attributes:
        kind: one of REGRESSIONS or TOLD.
        before, after: the check in the earlier proof and in this one; None where it is in one of them only.
    """

    kind: str
    before: Check | None
    after: Check | None

    @property
    def check(self) -> Check:
        """The check as it is, or as it was where it is no more."""
        found = self.after or self.before
        assert found is not None, "a change is of a check"
        return found


@dataclass(frozen=True)
class Comparison:
    """A proof beside an earlier one.

    Attributes:
        rig: its name.
        host: the earlier proof's host.
        growth, floor: a value is told as grown if it is more than `growth` times what it was and uses more than the
            share `floor` of its limit.
        compared: number of checks that are in both and were made alike.
        apart: number of checks of either proof that are left out, for they were not made alike; notes say why.
        regressions: in the order of REGRESSIONS, the worst of each first.
        told: what else is different, in the order of TOLD.
        notes: sentences about differences between the two proofs as a whole.
    """

    rig: str
    host: str
    growth: float
    floor: float
    compared: int
    apart: int
    regressions: tuple[Change, ...]
    told: tuple[Change, ...]
    notes: tuple[str, ...]


def compare(before: Results, after: Results, growth: float = GROWTH, floor: float = FLOOR) -> Comparison:
    """`after` beside the earlier `before`.

    Raises ProofError for another rig, for no arm in common, and for a growth that is not more than 1.
    """
    check_growth(growth)
    check_same_rig(before, after.rig, tuple(arm for arm, _ in after.arm_lengths))
    old = {check.id: check for check in before.checks}
    new = {check.id: check for check in after.checks}
    unlike = {name for name in old.keys() | new.keys() if not _alike(old.get(name) or new[name], before, after)}
    # A limit in another unit measures something else.
    unlike |= {name for name in old.keys() & new.keys() if old[name].unit != new[name].unit}
    changes = [
        change
        for name in dict.fromkeys((*old, *new))
        if name not in unlike and (change := _change(old.get(name), new.get(name), growth, floor)) is not None
    ]
    return Comparison(
        rig=after.rig,
        host=before.host,
        growth=growth,
        floor=floor,
        compared=len((old.keys() & new.keys()) - unlike),
        apart=len(unlike),
        regressions=_ordered(changes, REGRESSIONS),
        told=_ordered(changes, TOLD),
        notes=_notes(before, after, old, new),
    )


def check_growth(growth: float) -> None:
    """Refuse a factor by which nothing can grow."""
    if not (math.isfinite(growth) and growth > 1.0):
        raise ProofError(f"--growth {growth:g}: give the factor by which a value may grow, a number above 1")


def check_same_rig(before: Results, rig: str, arms: tuple[str, ...]) -> None:
    """Refuse an earlier proof that is not of the rig with this name and of at least one of these arms."""
    if before.rig != rig:
        raise ProofError(
            f"the baseline is of the rig {shown(before.rig)}, and this is {shown(rig)}: give a proof of the same rig"
        )
    earlier = [arm for arm, _ in before.arm_lengths]
    if not set(earlier) & set(arms):
        raise ProofError(
            f"the baseline has none of the arms of {shown(rig)}: it has {', '.join(earlier[:40]) or 'none'}, and this "
            f"rig has {', '.join(arms) or 'none'}; give a proof of the same rig"
        )


def growth_of(change: Change) -> float:
    """How many times its earlier value a change's value is; infinite from nothing, or where there is no number."""
    if change.before is None or change.after is None:
        return math.inf
    now, then = change.after.value, change.before.value
    if not math.isfinite(now):
        return math.inf if math.isfinite(then) else 1.0
    if not math.isfinite(then):
        return 0.0
    if then == 0.0:
        return math.inf if now > 0.0 else 1.0
    return now / then


def _change(before: Check | None, after: Check | None, growth: float, floor: float) -> Change | None:
    """What became of one check; None where it is as before."""
    if before is None or after is None:
        # A requirement that had nothing to measure loses nothing with its entry.
        kind = NEW if before is None else GONE if before.verdict == NOT_APPLICABLE else VANISHED
        return Change(kind, before, after)
    then, now = before.verdict, after.verdict
    if then != now:
        if now == FAIL:
            kind = FAILS
        elif now == NOT_APPLICABLE or (now == OUT_OF_REACH and then != NOT_APPLICABLE):
            # Also of a failure: what is no longer looked at has not been mended.
            kind = UNMEASURED
        else:
            kind = HOLDS if now == PASS else CHANGED
        return Change(kind, before, after)
    change = Change(GREW, before, after)
    # A limit that was raised since must not raise what matters with it.
    matters = not after.value <= floor * min(before.limit, after.limit)
    return change if now != NOT_APPLICABLE and matters and growth_of(change) > growth else None


def _alike(check: Check, before: Results, after: Results) -> bool:
    """Whether both proofs made this check from the same motion."""
    base, mid_motion = _base(check), check.requirement == switch.ID
    if before.seed != after.seed and (mid_motion or base in seeded_motions()):
        return False
    if _recording(before) == _recording(after) != "?":
        return True
    # A change of what is held is made in the middle of the recording where there is one.
    return base != RECORDED and not (mid_motion and base != switch.REST)


@functools.cache
def seeded_motions() -> frozenset[str]:
    """Names of the motions that depend on a proof's seed."""
    return frozenset(clip.name for clip in standard_motions(seed=1) if clip.seed)


def _recording(results: Results) -> str:
    """What tells recordings apart; "?" where a recording was played and its file is not known."""
    if not any(_base(check) == RECORDED for check in results.checks):
        return ""
    return results.made_with.recorded_digest or "?"


def _base(check: Check) -> str:
    return check.motion.partition("+")[0]


def _ordered(changes: list[Change], kinds: tuple[str, ...]) -> tuple[Change, ...]:
    found = [change for change in changes if change.kind in kinds]
    return tuple(sorted(found, key=lambda change: (kinds.index(change.kind), -_weight(change))))


def _weight(change: Change) -> float:
    """How much of its limit a change's value uses; no number is most."""
    check = change.check
    if not math.isfinite(check.value):
        return math.inf
    return check.value / check.limit if check.limit > 0.0 else check.value


def _notes(before: Results, after: Results, old: dict[str, Check], new: dict[str, Check]) -> tuple[str, ...]:
    """What differs between the proofs as a whole."""
    notes = []
    if before.plan_digest != after.plan_digest:
        notes.append(
            f"the plan changed since: {before.plan_digest[:12] or 'none'} then, {after.plan_digest[:12] or 'none'} now"
        )
    made, then = after.made_with, before.made_with
    for what, earlier, now in (
        ("host", before.host, after.host),
        ("Armwright", then.armwright, made.armwright),
        ("rig card", then.card_digest[:12], made.card_digest[:12]),
        ("requirement sheet", then.sheet_digest[:12], made.sheet_digest[:12]),
    ):
        if earlier != now:
            notes.append(f"another {what}: {earlier or 'unknown'} then, {now or 'unknown'} now")
    if before.seed != after.seed:
        notes.append(
            f"the seed was {before.seed} and is {after.seed}: checks of {', '.join(sorted(seeded_motions()))} and "
            f"of {switch.ID} can not be compared"
        )
    earlier, now = _recording(before), _recording(after)
    if earlier != now or now == "?":
        why = "another recording, or none" if "?" not in (earlier, now) else "the recording's file is not known"
        notes.append(f"{why}: checks of {RECORDED} and of {switch.ID} in motion can not be compared")
    both = old.keys() & new.keys()
    if moved := [name for name in both if old[name].limit != new[name].limit]:
        notes.append(f"{len(moved):,} checks have another limit; growth is judged by the smaller one")
    if units := [name for name in both if old[name].unit != new[name].unit]:
        notes.append(f"{len(units):,} checks are in another unit and can not be compared")
    return tuple(notes)
