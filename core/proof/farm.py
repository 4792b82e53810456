"""What became of many files that were each proved in a process of its own, and its merged JSON form."""

from __future__ import annotations

import json
import signal
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePath

from .. import codec
from ..errors import ProofError
from . import results_json
from .results import FAIL, Results

FORMAT = "armwright.farm"
VERSION = 1

DONE, FAILED, CRASHED, TIMED_OUT, TOO_LARGE, REFUSED = "done", "failed", "crashed", "timed_out", "too_large", "refused"
KINDS = (DONE, FAILED, CRASHED, TIMED_OUT, TOO_LARGE, REFUSED)
# The gravest first, as a page lists them: without results there is no verdict at all.
GRAVITY = (CRASHED, TIMED_OUT, TOO_LARGE, REFUSED, FAILED, DONE)
KIND_WORDS = {
    DONE: "holds",
    FAILED: "fails",
    CRASHED: "crashed",
    TIMED_OUT: "over the time limit",
    TOO_LARGE: "over the memory limit",
    REFUSED: "refused",
}
# Exit codes of the command that proves one file: see addon/cli/main.py.
CODE_HELD, CODE_FAILED, CODE_REFUSED = 0, 1, 2


@dataclass(frozen=True)
class Outcome:
    """What became of one file.

    Attributes:
        file: its path, as it was given.
        kind: one of KINDS.
        code: exit code of its process; below 0 the number of the signal that ended it.
        detail: for people; a sentence, then for what has no results the last lines of what the process said.
        results: there for `done` and `failed`, and only there.
        page: its report page, if one was asked for.
    """

    file: str
    kind: str
    code: int
    detail: str
    results: Results | None = None
    page: str = ""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ProofError(f"{self.file}: {self.kind!r} is no outcome; expected one of {', '.join(KINDS)}")
        if (self.results is not None) != (self.kind in (DONE, FAILED)):
            raise ProofError(f"{self.file}: results belong to what is {DONE} or {FAILED}, and to nothing else")


def outcome_of(file: str, code: int, said: str, results: Results | None, page: str = "") -> Outcome:
    """What a process was that ended by itself with `code`; `said` are the last lines of its standard error.

    Without readable results only a refusal is what it says it is: a host that dies and Python's own traceback both use
    codes that a proof uses too.
    """
    from .report.summary import verdict_sentence

    if code == CODE_REFUSED:
        return Outcome(file, REFUSED, code, _refusal(said))
    if code in (CODE_HELD, CODE_FAILED) and results is not None:
        sentence = verdict_sentence(results)
        worse = code == CODE_FAILED and not any(check.verdict == FAIL for check in results.checks)
        sentence += " Exit code 1: it got worse since the earlier proof." if worse else ""
        return Outcome(file, FAILED if code == CODE_FAILED else DONE, code, sentence, results, page)
    sentence = f"The process {ending(code)} and left no results."
    return Outcome(file, CRASHED, code, _with_lines(sentence, said))


def timed_out(file: str, code: int, seconds: float, said: str) -> Outcome:
    """A process that was ended because it took more than `seconds`."""
    return Outcome(file, TIMED_OUT, code, _with_lines(f"Ended after the time limit of {seconds:g} s.", said))


def too_large(file: str, code: int, used: float, limit: float, said: str) -> Outcome:
    """A process that was ended because it used more memory than `limit`; both in GiB."""
    sentence = f"Ended at {used:.2f} GiB of memory; the limit is {limit:g} GiB."
    return Outcome(file, TOO_LARGE, code, _with_lines(sentence, said))


def ending(code: int) -> str:
    """`ended with exit code 3`, `was killed by SIGSEGV`."""
    if code >= 0:
        return f"ended with exit code {code}"
    try:
        return f"was killed by {signal.Signals(-code).name}"
    except ValueError:
        return f"was killed by signal {-code}"


def _refusal(said: str) -> str:
    """The sentence of a refusal among the lines that came with it."""
    start = "armwright: "
    found = [line.removeprefix(start) for line in said.splitlines() if line.startswith(start)]
    return found[-1] if found else _with_lines("The file was refused.", said)


def _with_lines(sentence: str, said: str) -> str:
    return f"{sentence}\n{said}" if said else f"{sentence} It said nothing on standard error."


def exit_code(outcomes: Sequence[Outcome]) -> int:
    """0 if every file was proved and holds, otherwise 1."""
    return CODE_HELD if all(outcome.kind == DONE for outcome in outcomes) else CODE_FAILED


def names(outcomes: Sequence[Outcome]) -> tuple[str, ...]:
    """A name per outcome, each once: the file's without its ending, and where two share that, the whole path."""
    stems = [PurePath(outcome.file).stem for outcome in outcomes]
    return tuple(
        stem if stems.count(stem) == 1 else outcome.file for stem, outcome in zip(stems, outcomes, strict=True)
    )


def line(outcome: Outcome) -> str:
    """One line for a terminal."""
    return f"{outcome.file}: {KIND_WORDS[outcome.kind]}. {outcome.detail.splitlines()[0]}"


def sentence(outcomes: Sequence[Outcome]) -> str:
    """All of them in one sentence: `2 of 4 characters hold; 1 fails, 1 crashed.`"""
    counts = {kind: sum(outcome.kind == kind for outcome in outcomes) for kind in KINDS}
    count = len(outcomes)
    start = f"{counts[DONE]:,} of {count:,} character{'' if count == 1 else 's'} hold{'s' if counts[DONE] == 1 else ''}"
    words = {**KIND_WORDS, FAILED: "fails" if counts[FAILED] == 1 else "fail"}
    others = [f"{counts[kind]:,} {words[kind]}" for kind in KINDS if kind != DONE and counts[kind]]
    return f"{start}; {', '.join(others)}." if others else f"{start}."


def to_text(outcomes: Sequence[Outcome]) -> str:
    """The merged JSON: a line per file, each with the whole of its results.json as `results`, null where it has none.

    Raises ProofError for results that have no written form.
    """
    files = [
        {
            "file": outcome.file,
            "kind": outcome.kind,
            "code": outcome.code,
            "detail": outcome.detail,
            "results": None if outcome.results is None else json.loads(results_json.to_text(outcome.results)),
        }
        for outcome in outcomes
    ]
    return codec.to_text({"format": FORMAT, "version": VERSION, "files": files})
