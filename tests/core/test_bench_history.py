"""Runs of the bench are kept whole, and told beside the right one before."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from armwright.core import bench_history
from armwright.core.bench_history import BenchRun, Figure, History, Machine, Versions
from armwright.core.errors import ProofError

SLIDE = Figure("worst slide, arm lengths", 9.5e-7, "<=", 2e-6)
RATE = Figure("proof's rate", 0.41, ">=", 0.5)
PLAIN = Figure("one switch", 92.0, "<=", None)
RUN = BenchRun(
    "2026-11-26",
    Machine("Lamp 3000", 2, 23.5),
    Versions("0.1.0", "4.5.15", "3.11.7", "1.26.4"),
    0.1,
    (SLIDE, RATE, PLAIN),
)
NEWER = replace(RUN, date="2026-11-27", figures=(replace(SLIDE, value=1.25e-6), Figure("fifty", 51.0, "<=", 50.0)))
OTHER_HOST = replace(RUN, versions=replace(RUN.versions, host="5.2.3"))
OTHER_MACHINE = replace(RUN, machine=replace(RUN.machine, cores=64))


def test_runs_read_back_as_they_were_a_line_each() -> None:
    text = bench_history.to_text(History((RUN, OTHER_HOST)))
    assert bench_history.from_text(text) == History((RUN, OTHER_HOST))
    assert sum('"date"' in line for line in text.splitlines()) == 2


def test_verdicts() -> None:
    assert [figure.verdict for figure in (SLIDE, RATE, PLAIN)] == ["reached", "missed", ""]


def test_the_run_before_is_of_the_same_machine_and_host() -> None:
    patch = replace(RUN, versions=replace(RUN.versions, host="4.5.16"))
    assert bench_history.before(History((RUN, OTHER_HOST, OTHER_MACHINE)), patch) == RUN
    assert bench_history.before(History((OTHER_HOST, OTHER_MACHINE)), patch) is None


def test_the_table_says_what_each_was_before() -> None:
    head, slide, fifty = bench_history.table(NEWER, RUN)
    assert head.split() == ["what", "measured", "target", "verdict", "on", "2026-11-26"]
    assert slide.split()[-5:] == ["1.25e-06", "<=", "2e-06", "reached", "9.5e-07"]
    assert fifty.split()[-5:] == ["51", "<=", "50", "missed", "new"]
    assert bench_history.table(RUN)[-1].split() == ["one", "switch", "92"]


def test_runs_stand_beside_each_other_under_their_machines() -> None:
    lines = bench_history.beside(History((RUN, NEWER)))
    assert lines[0].startswith("1  2026-11-26: Lamp 3000, 2 cores, 24 GiB, load 0.1; Armwright 0.1.0, host 4.5.15")
    found = {line.split("  ")[0].strip(): line.split()[-2:] for line in lines[3:]}
    assert found["worst slide, arm lengths"] == ["9.5e-07", "1.25e-06"]
    assert found["fifty"][-1] == "51" and found["one switch"][-1] == "92"
    many = History((RUN,) * 9)
    assert len(bench_history.beside(many)) == bench_history.SHOWN_RUNS + 1 + len(RUN.figures)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda data: data.update(version=2), "newer"),
        (lambda data: data["runs"][0].pop("load"), "runs\\[0\\].*load"),
        (lambda data: data["runs"][0]["figures"][0].update(sign="<"), "sign of 'worst slide, arm lengths'"),
        (lambda data: data["runs"][0]["figures"][0].update(value="fast"), "runs\\[0\\]\\.figures\\[0\\]\\.value"),
        (lambda data: data.update(format="armwright.plan"), "armwright.plan"),
    ],
)
def test_what_is_no_history_is_refused_with_its_place(change, said: str) -> None:  # type: ignore[no-untyped-def]
    data = json.loads(bench_history.to_text(History((RUN,))))
    change(data)
    with pytest.raises(ProofError, match=said):
        bench_history.from_text(json.dumps(data))
