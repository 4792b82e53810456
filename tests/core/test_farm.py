"""Many files at once: each in a process of its own, whatever becomes of the others, and one report of all of them."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from report_cases import check, failing, results
from test_report_html import Tree

from armwright.addon import farm_run
from armwright.addon.cli import farm as command
from armwright.addon.cli.main import parser
from armwright.addon.farm_run import Limits
from armwright.core.errors import ProofError
from armwright.core.proof import farm, results_json
from armwright.core.proof.farm import Outcome
from armwright.core.proof.report.farm_junit import farm_junit
from armwright.core.proof.report.farm_page import farm_page
from armwright.core.proof.report.html import page

HERE = Path(__file__).parent
PATIENCE = 60  # seconds after which a test gives up on what never comes
posix = pytest.mark.skipif(sys.platform == "win32", reason="the stand-ins fork and send signals")
linux = pytest.mark.skipif(not farm_run.can_watch_memory(), reason="no /proc to read memory from")


def stand_in(file: str, written: Path, page_file: Path | None) -> Sequence[str]:
    return [sys.executable, str(HERE / "farm_children.py"), file, str(written), str(page_file or "")]


@pytest.fixture(autouse=True)
def stand_ins_find_the_package(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join((str(HERE), *filter(None, sys.path))))
    monkeypatch.setenv("PYTHONDONTWRITEBYTECODE", "1")


def run(files: Sequence[str], limits: Limits | None = None, with_pages: bool = False) -> tuple[Outcome, ...]:
    return farm_run.run_files(files, stand_in, limits or Limits(2, PATIENCE), with_pages)


def until(is_so: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE
    while not is_so():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.05)


def is_there(pid: int) -> bool:
    """Whether the process runs; one that nobody has waited for yet has ended too."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    status = Path("/proc") / str(pid) / "stat"
    return not (status.exists() and status.read_text().rpartition(")")[2].split()[0] == "Z")


def processes_of(file: Path) -> Iterator[int]:
    """The processes of a file that hangs."""
    for suffix in (".parent", ".child"):
        path = file.with_suffix(suffix)
        until(lambda path=path: path.exists() and path.read_text() != "")  # type: ignore[misc]
        yield int(path.read_text())


@posix
def test_whatever_becomes_of_one_file_the_others_finish_and_all_are_in_order() -> None:
    files = [
        "segfault.blend",
        "good.blend",
        "refused.blend",
        "traceback.blend",
        "bad.blend",
        "silent.blend",
        "cut.blend",
    ]
    found = run(files)
    assert [outcome.file for outcome in found] == files
    kinds = [farm.CRASHED, farm.DONE, farm.REFUSED, farm.CRASHED, farm.FAILED, farm.CRASHED, farm.CRASHED]
    assert [outcome.kind for outcome in found] == kinds
    assert [outcome.code for outcome in found] == [-signal.SIGSEGV, 0, 2, 1, 1, 0, 0]
    assert "SIGSEGV" in found[0].detail and "the last words of this file" in found[0].detail
    assert found[2].detail == "this file has no arms: build them first"
    assert "something that nobody expected" in found[3].detail
    assert "exit code 0 and left no results. It said nothing" in found[5].detail
    assert "results file" in found[6].detail


@posix
def test_a_file_that_hangs_is_ended_with_all_that_it_started(tmp_path: Path) -> None:
    hanging = tmp_path / "hangs.blend"
    # The good one has the same limit, which is long for it.
    found = run([str(hanging), "good.blend"], Limits(2, 10.0))
    assert [outcome.kind for outcome in found] == [farm.TIMED_OUT, farm.DONE]
    assert "time limit of 10 s" in found[0].detail and "30 %" in found[0].detail
    until(lambda: not any(map(is_there, processes_of(hanging))))


@posix
@linux
def test_a_file_that_takes_too_much_memory_is_ended() -> None:
    found = run(["large.blend", "good.blend"], Limits(2, PATIENCE, 0.25))
    assert [outcome.kind for outcome in found] == [farm.TOO_LARGE, farm.DONE]
    assert "the limit is 0.25 GiB" in found[0].detail


@posix
def test_no_more_processes_run_at_once_than_workers(tmp_path: Path) -> None:
    files = [tmp_path / f"hangs-{index}.blend" for index in range(3)]
    started: list[list[int]] = []

    def tell(outcome: Outcome, seconds: float, done: int) -> None:
        started.append([index for index, file in enumerate(files) if file.with_suffix(".parent").exists()])

    found = farm_run.run_files([str(file) for file in files], stand_in, Limits(1, 3.0), False, tell)
    assert [outcome.kind for outcome in found] == [farm.TIMED_OUT] * 3
    # Each had begun when its time was up, and the next had not.
    assert started == [[0], [0, 1], [0, 1, 2]]


INTERRUPTED = """
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
from armwright.addon import farm_run
from armwright.addon.cli import main, proof
import test_farm
farm_run.proof_command = lambda arguments: test_farm.stand_in
main.main(["proof", *sys.argv[1:]])
"""


@posix
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_an_interruption_leaves_no_process_and_writes_nothing(tmp_path: Path, number: int) -> None:
    files = [tmp_path / name for name in ("hangs-a.blend", "hangs-b.blend", "hangs-c.blend")]
    for file in files:
        file.write_bytes(b"")
    out = tmp_path / "merged.json"
    started = subprocess.Popen(
        [sys.executable, "-c", INTERRUPTED, *map(str, files), "--workers", "2", "--json", str(out)],
        stderr=subprocess.PIPE,
        text=True,
    )
    pids = [pid for file in files[:2] for pid in processes_of(file)]
    assert all(map(is_there, pids))
    started.send_signal(number)
    _, said = started.communicate(timeout=PATIENCE)
    assert started.returncode == 130, said
    assert "stopped; nothing was written" in said
    until(lambda: not any(map(is_there, pids)))
    assert not files[2].with_suffix(".parent").exists()
    assert not out.exists()


def merged() -> tuple[Outcome, ...]:
    """One outcome of each kind."""
    good, bad = (
        results([check(), check("hold-hand", "hand")]),
        results([check(), failing("hold-hand", "hand")], rig="<b>"),
    )
    return (
        farm.outcome_of("a/wren.blend", 0, "", good, page(good)),
        farm.outcome_of("b/wren.blend", 1, "", bad, page(bad)),
        farm.outcome_of("segfault.blend", -signal.SIGSEGV, "Fatal <error> & \x1b[31mmore", None),
        farm.timed_out("hangs.blend", -9, 2.0, "proof:  30 %  torso-wiggle"),
        farm.too_large("large.blend", -9, 0.39, 0.25, ""),
        farm.outcome_of("refused.blend", 2, "armwright: no arms", None),
    )


def matrix_rows() -> dict[str, list[str]]:
    """The cells' texts by character, in the order of the page."""
    matrix = Tree(farm_page(merged())).root.all("table")[0]
    return {row.all("a")[0].text: [cell.text for cell in row.all("td")] for row in matrix.all("tr") if row.all("td")}


def test_the_page_has_a_row_for_every_file_and_the_gravest_first() -> None:
    assert list(matrix_rows()) == ["segfault", "hangs", "large", "refused", "b/wren.blend", "a/wren.blend"]


def test_the_requirements_that_fail_are_the_first_columns() -> None:
    found = results([check("swing", "none"), check(), failing("twist", "none")])
    matrix = Tree(farm_page([farm.outcome_of("wren.blend", 1, "", found, page(found))])).root.all("table")[0]
    assert [head.text for head in matrix.all("thead")[0].all("th")] == ["character", "twist", "swing", "hold-elbow"]


def test_a_cell_says_the_share_of_the_limit_and_a_file_without_results_what_became_of_it() -> None:
    rows = matrix_rows()
    # Columns: hold-hand, hold-elbow. The figures are those of report_cases: half of the limit, and 40 times.
    assert rows["a/wren.blend"] == ["✓ 50 %", "✓ 50 %"]
    assert rows["b/wren.blend"] == ["✗ 40 times", "✓ 50 %"]
    (trouble,) = rows["segfault"]
    assert "crashed" in trouble and "SIGSEGV" in trouble
    assert "0.39 GiB" in rows["large"][0] and "2 s" in rows["hangs"][0] and "no arms" in rows["refused"][0]


def test_every_place_of_the_page_is_there_once_and_every_link_leads_to_one() -> None:
    text = farm_page(merged())
    places = re.findall(r' id="([^"]*)"', text)
    assert len(places) == len(set(places))
    links = re.findall(r' href="#([^"]*)"', text)
    assert len(links) > 8
    assert set(links) <= set(places)
    named = {
        place for found in re.findall(r' aria-(?:labelledby|describedby)="([^"]*)"', text) for place in found.split()
    }
    assert named and named <= set(places)
    assert "character-0-requirement-0" in links


def test_the_page_holds_each_report_with_its_curves_and_fetches_nothing() -> None:
    text = farm_page(merged())
    alone = [outcome.page for outcome in merged() if outcome.page]
    assert text.count("To repeat this proof") == len(alone) == 2
    # The page has an emblem of its own.
    curves = sum(report.count("<svg") for report in alone)
    assert curves > 4 and text.count("<svg") == curves + 1
    assert text.count("<!DOCTYPE") == text.count("<main>") == text.count("<title>") == 1
    assert not re.search(r"<script|<iframe|<link|src=\"http|url\(http", text)
    assert "\x1b" not in text and "Fatal &lt;error&gt; &amp;" in text


def test_a_page_without_any_results_still_says_what_happened() -> None:
    root = Tree(farm_page(merged()[2:])).root
    assert (
        root.all("h1")[0].text
        == "0 of 4 characters hold; 1 crashed, 1 over the time limit, 1 over the memory limit, 1 refused."
    )
    assert [cell.text for cell in root.all("table")[0].all("th")[:2]] == ["character", "what happened"]


def test_junit_has_the_suites_of_each_character_and_an_error_for_each_without_results() -> None:
    root = ET.fromstring(farm_junit(merged()).encode("utf-8"))
    suites = [suite.get("name") for suite in root]
    assert suites[:4] == [
        "a/wren.blend: hold-hand", "a/wren.blend: hold-elbow", "b/wren.blend: hold-hand", "b/wren.blend: hold-elbow"
    ]  # fmt: skip
    assert suites[4:] == ["segfault", "hangs", "large", "refused"]
    errors = {case.get("name"): case[0] for case in root.iter("testcase") if case.find("error") is not None}
    assert list(errors) == [f"proof of {name}.blend" for name in suites[4:]]
    assert [error.get("type") for error in errors.values()] == ["crashed", "timed_out", "too_large", "refused"]
    assert "SIGSEGV" in (errors["proof of segfault.blend"].get("message") or "")
    assert "30 %" in (errors["proof of hangs.blend"].text or "")


def test_junit_counts_what_it_holds() -> None:
    root = ET.fromstring(farm_junit(merged()).encode("utf-8"))
    for tag, name in (("testcase", "tests"), ("failure", "failures"), ("error", "errors")):
        assert int(root.get(name, "")) == len(list(root.iter(tag)))
        for suite in root:
            assert int(suite.get(name, "")) == len(list(suite.iter(tag)))
    classes = [case.get("classname") for case in root.iter("testcase")]
    assert classes[0] == "a/wren.blend.hold-hand"


def test_the_merged_json_holds_every_outcome_and_the_whole_of_each_results_file() -> None:
    data = json.loads(farm.to_text(merged()))
    assert (data["format"], data["version"]) == ("armwright.farm", 1)
    assert [item["kind"] for item in data["files"]] == [outcome.kind for outcome in merged()]
    for item, outcome in zip(data["files"], merged(), strict=True):
        assert (item["file"], item["code"], item["detail"]) == (outcome.file, outcome.code, outcome.detail)
        if outcome.results is None:
            assert item["results"] is None
        else:
            assert results_json.from_text(json.dumps(item["results"])) == replace(outcome.results, traces=())


def test_only_files_that_all_hold_give_code_0() -> None:
    good, *others = merged()
    good = replace(good, file="a.blend")
    assert farm.exit_code([good, good]) == 0
    assert [farm.exit_code([good, other]) for other in others] == [1] * len(others)


def test_an_earlier_proof_that_was_better_is_told_though_no_check_fails() -> None:
    found = farm.outcome_of("wren.blend", 1, "", results([check()]))
    assert found.kind == farm.FAILED and "got worse" in found.detail
    root = ET.fromstring(farm_junit([found]).encode("utf-8"))
    assert (root.get("tests"), root.get("errors")) == ("2", "1")


def test_results_belong_to_what_was_proved_alone() -> None:
    with pytest.raises(ProofError, match="results belong"):
        Outcome("wren.blend", farm.CRASHED, 1, "crashed", results([check()]))
    with pytest.raises(ProofError, match="no outcome"):
        Outcome("wren.blend", "sang", 0, "")


@posix
def test_pages_come_along_when_they_are_asked_for() -> None:
    (without,), (with_page,) = run(["good.blend"]), run(["good.blend"], with_pages=True)
    assert without.page == ""
    assert "<main>" in with_page.page


def test_patterns_that_the_shell_left_are_filled_in_and_a_file_is_taken_once(tmp_path: Path) -> None:
    for name in ("wren.blend", "finch.blend", "note.txt", "odd[1].blend"):
        (tmp_path / name).write_bytes(b"")
    given = [tmp_path / "wren.blend", tmp_path / "*.blend", tmp_path / "." / "wren.blend", tmp_path / "odd[1].blend"]
    assert [Path(name).name for name in command.expanded(given)] == ["wren.blend", "finch.blend", "odd[1].blend"]


@pytest.mark.parametrize(
    ("name", "words"), [("gone.blend", "no file 'X'"), ("*.blend", "no file fits 'X'"), (".", "is a folder")]
)
def test_a_file_that_is_not_there_is_told_before_any_is_proved(tmp_path: Path, name: str, words: str) -> None:
    with pytest.raises(ProofError, match=re.escape(words.replace("'X'", repr(str(tmp_path / name))))):
        command.expanded([tmp_path / name])


REFUSED = {
    "no workers": (["--workers", "0"], "--workers 0"),
    "no time": (["--time-limit", "0"], "--time-limit 0"),
    "no number": (["--time-limit", "nan"], "--time-limit nan"),
    "no memory": (["--memory-limit=-1"], "--memory-limit -1"),
    "a case": (["--case", "case.json"], "--case looks at one pose in one file"),
    "an earlier proof": (["--baseline", "results.json"], "--baseline holds the results of one character"),
    "a folder to write": (["--json", "."], "is a folder"),
}


@pytest.mark.parametrize(("arguments", "words"), REFUSED.values(), ids=REFUSED.keys())
def test_arguments_that_do_not_go_with_several_files_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], words: str
) -> None:
    files = [str(tmp_path / name) for name in ("a.blend", "b.blend")]
    for file in files:
        Path(file).write_bytes(b"")
    monkeypatch.setattr(farm_run, "run_files", lambda *_: pytest.fail("a process would have been started"))
    options = parser().parse_args(["proof", *files, *arguments])
    with pytest.raises(ProofError, match=re.escape(words)):
        options.run(options)


def test_what_was_asked_of_the_proof_is_asked_of_every_file() -> None:
    given = ["--seed", "7", "--armature=-odd", "--no-pictures", "--workers", "2", "--html", "page.html"]
    options = parser().parse_args(["proof", "a.blend", "b.blend", *given])
    passed = options.passed(options)
    assert sorted(passed) == ["--armature=-odd", "--no-pictures", "--seed=7"]
    again = parser().parse_args(["proof", "a.blend", *passed])
    assert (again.seed, again.armature, again.no_pictures, again.workers) == (7, "-odd", True, None)


def test_one_file_without_limits_stays_in_this_process() -> None:
    alone, limited = (parser().parse_args(["proof", "a.blend", *more]) for more in ([], ["--time-limit", "9"]))
    assert not command.is_wanted(alone, ["a.blend"])
    assert command.is_wanted(limited, ["a.blend"])
    assert command.is_wanted(alone, ["a.blend", "b.blend"])
