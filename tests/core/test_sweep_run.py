"""A whole sweep: the same result whoever works, nothing finished is lost, and the worst is made worse by the search."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sweep_jobs import SEED, job, look

from armwright.core.errors import ProofError
from armwright.core.sweep import refine, result, run, shard, state
from armwright.core.sweep.job import SHARD, key
from armwright.core.sweep.measure import read
from armwright.core.sweep.measures.catalogue import MEASURES, measure_named
from armwright.core.sweep.run import Progress, sweep
from armwright.core.sweep.sequence import points
from armwright.core.sweep.space import DIMENSIONS

POSES = 2 * SHARD + 300
ROUNDS = 2


@cache
def alone() -> str:
    """The sweep by this process alone."""
    print("seed", SEED)
    return result.to_text(sweep(job(POSES, rounds=ROUNDS)))


class Backwards(Executor):
    """Does its work when the last piece has been handed in, the last first."""

    def __init__(self, pieces: int) -> None:
        self.pieces, self.waiting = pieces, []

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        self.waiting.append((future, fn, args))
        if len(self.waiting) == self.pieces:
            while self.waiting:
                future_of, of, arguments = self.waiting.pop()
                future_of.set_result(of(*arguments))
        return future


def test_the_result_does_not_depend_on_who_works() -> None:
    assert result.to_text(sweep(job(POSES, rounds=ROUNDS), workers=2)) == alone()
    with ThreadPoolExecutor(3) as threads:
        assert result.to_text(sweep(job(POSES, rounds=ROUNDS), threads)) == alone()


def test_the_result_does_not_depend_on_the_order_in_which_shards_end() -> None:
    ordered = result.to_text(sweep(job(POSES)))
    assert result.to_text(sweep(job(POSES), Backwards(job(POSES).shards))) == ordered


def test_another_seed_is_another_sweep() -> None:
    assert key(job(POSES)) != key(job(POSES, seed=SEED + 1))
    one, other = (sweep(job(1500, seed=seed)) for seed in (SEED, SEED + 1))
    assert [item.value for item in one.worst] != [item.value for item in other.worst]


def test_shards_together_are_the_whole() -> None:
    # One block of poses without shards, read by the measures alone.
    poses, sound = 1200, look(1200)
    found = {(item.measure, item.arm): item for item in shard.tally_shard(job(poses), 0)}
    for measure in MEASURES:
        values, looked, left_out = read(measure, sound)
        half = np.arange(0, poses, 2)  # the other half is the other arm's
        tally = found[measure.name, "L"]
        assert tally.looked == (values[half] > -np.inf).sum()
        if measure.search:
            assert tally.worst[0].value == pytest.approx(values[half].max(), rel=1e-9)
            assert values[tally.worst[0].pose] == pytest.approx(values[half].max(), rel=1e-9)
        assert looked + left_out >= tally.looked + tally.left_out


def test_a_search_ends_no_better_than_it_began_within_the_cube_and_outside_the_singular_sets() -> None:
    of = job(1500, rounds=6)
    outcome = sweep(of)
    grown = 0
    for item in outcome.worst:
        measure = measure_named(item.measure)
        if not measure.search:
            continue
        assert item.value is not None and item.drawn is not None and item.value >= item.drawn
        grown += item.value > 1.05 * item.drawn
        tally = next(t for t in shard.tally_shard(of, 0) if (t.measure, t.arm) == (item.measure, item.arm))
        end = refine.refine(of, item.measure, item.arm, tally.worst)
        assert end.value == item.value
        assert end.cube.min() >= 0.0 and end.cube.max() <= 1.0
        # Looked at again, alone, it is the same: it is not left out.
        again = refine.values_at(of, measure, item.arm, end.cube, end.way)
        assert again[0] == pytest.approx(item.value, rel=1e-9)
    assert grown >= 3


def test_a_search_finds_the_top_of_a_hill(monkeypatch: pytest.MonkeyPatch) -> None:
    top = points(99, 5, 1, DIMENSIONS)

    def hill(of: Any, measure: Any, arm: str, cube: np.ndarray, way: np.ndarray) -> np.ndarray:
        return 10.0 - np.linalg.norm(cube - top, axis=1)

    monkeypatch.setattr(refine, "values_at", hill)
    end = refine.refine(job(1500, rounds=200), "lift-range", "L", (shard.Found(3, 1.0), shard.Found(4, 1.0)))
    assert np.abs(end.cube - top).max() < 2.0 * refine.LAST_STEP
    assert end.moved


class Stop(Exception):
    """Somebody has had enough."""


def interrupted(of: Any, folder: Path, after: int, problem: type[BaseException] = KeyboardInterrupt) -> None:
    """Sweep until `after` poses are done."""

    def report(progress: Progress) -> None:
        if progress.what == "poses" and progress.done >= after:
            raise problem

    with pytest.raises(problem):
        sweep(of, resume=folder, report=report)


@pytest.mark.parametrize("problem", [KeyboardInterrupt, Stop])
def test_an_interrupted_sweep_goes_on_and_ends_with_the_same_bytes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, problem: type[BaseException]
) -> None:
    of, folder = job(POSES, rounds=ROUNDS), tmp_path / "shards"
    interrupted(of, folder, SHARD, problem)
    kept = {path.name: path.stat().st_mtime_ns for path in folder.iterdir()}
    assert len(kept) == 1
    done = []
    tally_shard = run.tally_shard
    monkeypatch.setattr(run, "tally_shard", lambda *given: done.append(given[1]) or tally_shard(*given))
    begun: list[Progress] = []
    text = result.to_text(sweep(of, resume=folder, report=begun.append))
    assert text == alone()
    assert done == [1, 2]
    assert begun[0] == Progress("poses", SHARD, POSES, SHARD)
    assert {name: (folder / name).stat().st_mtime_ns for name in kept} == kept
    assert sorted(path.suffix for path in folder.iterdir()) == [".json"] * 3


def test_a_longer_sweep_uses_the_whole_shards_of_a_shorter_one(tmp_path: Path) -> None:
    sweep(job(SHARD + 10), resume=tmp_path)
    begun: list[Progress] = []
    text = result.to_text(sweep(job(POSES), resume=tmp_path, report=begun.append))
    assert begun[0].kept == SHARD
    assert text == result.to_text(sweep(job(POSES)))


def test_a_folder_of_another_sweep_is_refused_and_left_alone(tmp_path: Path) -> None:
    sweep(job(300), resume=tmp_path)
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    with pytest.raises(ProofError, match="this shard is of another sweep"):
        sweep(job(300, seed=SEED + 1), resume=tmp_path)
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_a_damaged_shard_is_refused_with_its_name(tmp_path: Path) -> None:
    sweep(job(300), resume=tmp_path)
    (path,) = tmp_path.iterdir()
    whole = path.read_text(encoding="utf-8")
    for text in (whole[: len(whole) // 2], whole.replace('"looked"', '"seen"'), "[]"):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(ProofError, match=rf"{path.name}: .*remove the file, and the shard is done again"):
            sweep(job(300), resume=tmp_path)
    path.write_text(whole, encoding="utf-8")
    path.rename(path.with_name("shard-00000007-of-300.json"))
    with pytest.raises(ProofError, match="this file holds shard 0 of 300 poses"):
        sweep(job(300), resume=tmp_path)


def test_other_files_in_the_folder_do_no_harm(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("the lamp is lit", encoding="utf-8")
    sweep(job(300), resume=tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["notes.txt", "shard-00000000-of-300.json"]
    assert len(state.load(tmp_path, job(300), key(job(300)))) == 1


def test_a_worker_that_dies_is_told_and_what_was_finished_is_kept(tmp_path: Path) -> None:
    class Dies(Executor):
        def __init__(self) -> None:
            self.given = 0

        def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
            from concurrent.futures.process import BrokenProcessPool

            self.given += 1
            future: Future[Any] = Future()
            if self.given == 3:
                future.set_exception(BrokenProcessPool("gone"))
            else:
                future.set_result(fn(*args))
            return future

    with pytest.raises(ProofError, match="a worker ended by itself"):
        sweep(job(POSES), Dies(), resume=tmp_path)
    assert len(list(tmp_path.iterdir())) == 2


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"poses": 0}, "--poses 0: expected a whole number from 1"),
        ({"seed": -1}, "--seed -1: expected"),
        ({"rounds": -3}, "--rounds -3: expected"),
    ],
)
def test_numbers_that_can_not_be_are_refused(change: dict[str, int], message: str) -> None:
    with pytest.raises(ProofError, match=message):
        job(**{"poses": 10, **change})
    with pytest.raises(ProofError, match="--workers 0: expected 1 or more"):
        sweep(job(10), workers=0)


def test_the_result_says_what_was_looked_at_and_has_no_times() -> None:
    data = json.loads(alone())
    assert (data["format"], data["version"], data["poses"], data["seed"]) == ("armwright.sweep", 1, POSES, SEED)
    assert len(data["worst"]) == 2 * len(MEASURES)
    told = 2 * sum(measure.limit is None for measure in MEASURES)
    assert told == 6
    judged = {"pass": 2 * len(MEASURES) - told, "fail": 0, "out_of_reach": told, "not_applicable": 0}
    assert data["summary"] == judged
    for item in data["worst"]:
        assert item["looked"] > 0 and item["id"].endswith(f"/{item['arm']}/{item['measure']}")
        assert {setting["name"] for setting in item["case"]["settings"]} >= {"torso", "hand_hold", "ik"}
    assert "second" not in alone() and "time" not in alone()


def test_verdicts_follow_value_and_limit() -> None:
    assert result.verdict(1.0, 2.0, 5) == "pass"
    assert result.verdict(2.1, 2.0, 5) == "fail"
    assert result.verdict(None, 2.0, 5) == "fail"
    assert result.verdict(None, 2.0, 0) == "not_applicable"
    assert result.verdict(0.3, None, 5) == "out_of_reach"
    assert result.verdict(0.0, None, 5) == "pass"


SCRIPT = """
import sys
from armwright.core.stature import guide_from_stature
from armwright.core.sweep.job import job_of_guide
from armwright.core.sweep.result import to_text
from armwright.core.sweep.run import sweep
print(len(to_text(sweep(job_of_guide(guide_from_stature(1.7, "Wren"), 1, 5000, 0), workers=2))))
"""


@pytest.mark.parametrize("how", ["standard input", "a script without a guard"])
def test_a_pool_starts_whatever_the_main_program_is(how: str, tmp_path: Path) -> None:
    script = tmp_path / "script.py"
    script.write_text(SCRIPT, encoding="utf-8")
    from_input = how == "standard input"
    done = subprocess.run(
        [sys.executable, "-" if from_input else str(script)],
        input=SCRIPT if from_input else None,
        capture_output=True,
        text=True,
        timeout=200,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert int(done.stdout) > 10_000
    assert done.stderr == ""
