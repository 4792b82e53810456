"""What every report says in the same words: order and titles of requirements, the worst check, numbers, the verdict."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from ... import arm_words
from ..results import FAIL, NOT_APPLICABLE, OUT_OF_REACH, PASS, Check, Results
from ..results_json import summary
from ..verdicts import severity

# The requirements of an arm in the order in which a rigger thinks of them, and what each promises.
TITLES = {
    "swing": "Joints turn by exactly what their channels say",
    "hold-hand": "A held hand stays where it is put",
    "hold-elbow": "A planted elbow stays, and forearm and hand swing from it",
    "hold-both": "A planted elbow and a held hand both stay",
    "shoulder": "The clavicle moves without disturbing what is held",
    "lift": "The shoulder lifts by itself as the arm is raised",
    "isolate": "The arm's rotation keeps clear of torso and clavicle",
    "stretch": "Segments have the lengths that their dials say",
    "blend": "FK and IK blend without a gap",
    "switch": "A change of what is held keeps the pose",
    "plant": "A planted hand rolls over a point that stays put",
    "any-axis": "The elbow does not flip, whichever way the arm points",
    "twist": "Roll spreads along the skin bones",
    "fingers": "Fingers turn by what their channels say and follow the hand",
}
WORDS = {PASS: "holds", FAIL: "fails", OUT_OF_REACH: "out of reach", NOT_APPLICABLE: "does not apply"}
HOLDING = {"none": "nothing held", "hand": "hand held", "elbow": "elbow planted", "both": "elbow and hand held"}
MARKS = {PASS: "\u2713", FAIL: "\u2717", OUT_OF_REACH: "\u25c7", NOT_APPLICABLE: "\u2013"}

# Characters that XML or UTF-8 refuse, that drive a terminal, or that turn the reading direction.
_UNSAFE = re.compile("[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]")
_SUPERSCRIPT = str.maketrans("-0123456789", "\u207b\u2070\u00b9\u00b2\u00b3\u2074\u2075\u2076\u2077\u2078\u2079")


@dataclass(frozen=True)
class Group:
    """Checks that are judged together: those of a requirement, or of a requirement and a mode.

    Attributes:
        checks: in the order in which they were measured.
        counts: how many have each verdict.
        verdict: fails if one fails, otherwise holds if one holds; "out of reach" if nothing else applies.
        worst: the check that comes nearest to its limit, or goes furthest over it, among those of the verdict.
    """

    checks: tuple[Check, ...]
    counts: dict[str, int]
    verdict: str
    worst: Check

    @property
    def applicable(self) -> int:
        """Number of checks that apply."""
        return len(self.checks) - self.counts[NOT_APPLICABLE]


def group(checks: Sequence[Check]) -> Group:
    """`checks`, one at least, judged together."""
    counts = summary(checks)
    verdict = next(verdict for verdict in (FAIL, PASS, OUT_OF_REACH, NOT_APPLICABLE) if counts[verdict])
    worst = max((check for check in checks if check.verdict == verdict), key=badness)
    return Group(tuple(checks), counts, verdict, worst)


def badness(check: Check) -> float:
    """Order of checks: the share of the limit, and among those out of reach the distance that is missing."""
    return check.value if check.verdict == OUT_OF_REACH else severity(check)


def by_requirement(checks: Sequence[Check]) -> dict[str, Group]:
    """Groups by requirement, in the order of TITLES; others follow in the order in which they were measured."""
    found: dict[str, list[Check]] = {}
    for check in checks:
        found.setdefault(check.requirement, []).append(check)
    order = [name for name in TITLES if name in found] + [name for name in found if name not in TITLES]
    return {name: group(found[name]) for name in order}


def verdict_sentence(results: Results) -> str:
    """The whole proof in one sentence."""
    counts = summary(results.checks)
    applicable = len(results.checks) - counts[NOT_APPLICABLE]
    rig = clean(results.rig) or "the rig"
    if not applicable:
        return f"Nothing is known about {rig}: no check was made that applies."
    if not counts[FAIL] and not counts[PASS]:
        return f"Nothing is proved about {rig}: {every(applicable)} out of reach."
    failing = [check for check in results.checks if check.verdict == FAIL]
    arms = [arm for arm, _ in results.arm_lengths] or sorted({check.arm for check in results.checks})
    beyond = f", {counts[OUT_OF_REACH]:,} out of reach" if counts[OUT_OF_REACH] else ""
    if not failing and any(found.makes_fail for found in results.findings):
        kinds = listed(list(dict.fromkeys(found.kind for found in results.findings if found.makes_fail)))
        return (
            f"{rig} fails: {number_of(applicable, 'check')}, 0 failed, but with a {kinds} no figure can be relied on."
        )
    if not failing:
        verb = "hold" if len(arms) > 1 else "holds"
        return f"{_arms(arms, arms)} of {rig} {verb}: {number_of(applicable, 'check')}, 0 failed{beyond}."
    bad = [arm for arm in arms if any(check.arm == arm for check in failing)]
    where = listed(list(by_requirement(failing)))
    score = f"{counts[FAIL]:,} of {number_of(applicable, 'check')} failed in {where}{beyond.replace(',', ';', 1)}"
    good = [arm for arm in arms if arm not in bad and _holds(results, arm)]
    rest = ""
    if good and len(good) + len(bad) == len(arms):
        rest = "; the others hold" if len(good) > 1 else f"; the {arm_name(good[0])} holds"
    return f"{_arms(bad, arms)} of {rig} {'fail' if len(bad) > 1 else 'fails'}: {score}{rest}."


def _holds(results: Results, arm: str) -> bool:
    return any(check.arm == arm and check.verdict == PASS for check in results.checks)


def _arms(arms: Sequence[str], of: Sequence[str]) -> str:
    """The subject of a sentence about some of the arms: "Both arms", "The lower left arm"."""
    whole = len(arms) > 1 and len(arms) == len(of)
    text = clean(arm_words.names(arms, of))
    return text[:1].upper() + text[1:] if whole or text[:1].isdigit() else f"The {text}"


def arm_name(arm: str) -> str:
    """`lower left arm`."""
    return clean(arm_words.name(arm))


def every(count: int) -> str:
    """`count` checks as the subject of a sentence in the past."""
    return "the one check that applies was" if count == 1 else f"every one of {count:,} checks was"


def number_of(count: int, noun: str) -> str:
    """`1 check`, `2,000 checks`."""
    return f"{count:,} {noun}" if count == 1 else f"{count:,} {noun}s"


def listed(names: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    safe = [clean(name) for name in names]
    return safe[0] if len(safe) == 1 else ", ".join(safe[:-1]) + f" and {safe[-1]}"


def quantity(value: float, unit: str, plain: bool = False) -> str:
    """A value for people, two digits: `1.1×10⁻⁷ L`, or `1.1e-07 L` where `plain`; "no number" if not finite."""
    if not math.isfinite(value):
        return "no number"
    text = f"{value:.2g}"
    if not plain and "e" in text:
        digits, power = text.split("e")
        text = f"{digits}\u00d710{superscript(int(power))}"
    return text if unit == "1" else f"{text} {clean(unit)}"


def superscript(power: int) -> str:
    """`power` as it stands on a ten."""
    return str(power).translate(_SUPERSCRIPT)


def share(check: Check) -> str:
    """How much of its limit a check uses: `6 %`, `under 1 %`, `40 times`; a distance if it is out of reach."""
    if check.verdict == NOT_APPLICABLE:
        return ""
    if check.verdict == OUT_OF_REACH:
        return f"by {quantity(check.value, check.unit)}"
    ratio = severity(check)
    if not math.isfinite(check.value):
        return "no number"
    if not math.isfinite(ratio) or check.limit == 0.0:
        return "0 %" if check.value == 0.0 else "over"
    # Rounded down below the limit and up just above it, so that no rounding hides on which side a value is.
    if ratio <= 1.0:
        return f"{math.floor(ratio * 100.0)} %" if ratio == 0.0 or ratio >= 0.01 else "under 1 %"
    if ratio < 10.0:
        return f"{math.ceil(ratio * 10.0) / 10.0:g} times"
    if ratio >= 1e6:
        return f"{quantity(ratio, '1')} times"
    step = 10.0 ** (math.floor(math.log10(ratio)) - 1)
    return f"{round(round(ratio / step) * step):,} times"


def reason(check: Check) -> str:
    """Why a check was not judged: its note, or what its figures say."""
    if check.note:
        return check.note
    if check.verdict == OUT_OF_REACH:
        return f"out of reach by {quantity(check.value, check.unit, plain=True)}"
    return "does not apply to this rig"


def setting(check: Check) -> str:
    """The case in words: `elbow, isolate 0, lift 1, stretch 0`."""
    case = check.case
    return f"{case.mode}, isolate {case.isolate:g}, lift {case.lift:g}, stretch {case.stretch:g}"


def clean(text: str) -> str:
    """`text` on one line, without characters that a file format refuses or that could disguise what is shown."""
    return _UNSAFE.sub("\ufffd", text)
