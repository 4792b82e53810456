"""A whole sweep: shards and searches handed to whoever works, put together so that nobody can tell who did what."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, as_completed
from contextlib import contextmanager
from dataclasses import dataclass
from functools import reduce
from pathlib import Path
from typing import Any, TypeVar

from ..errors import ProofError
from . import state
from .case import SweepCase, written
from .job import Job, key
from .measures.catalogue import measure_named
from .pool import process_pool
from .refine import Refined, refine, searches, worst_of
from .result import SweepResult, Worst, verdict
from .shard import Tally, beside, drawn, tally_shard, together
from .space import settings_at

T = TypeVar("T")

MOTION = "sweep"


@dataclass(frozen=True)
class Progress:
    """How far a sweep is.

    Attributes:
        what: "poses" or "searches".
        done, total: of them.
        kept: of those done, how many an earlier run had left.
    """

    what: str
    done: int
    total: int
    kept: int = 0


Report = Callable[[Progress], None]


def sweep(
    job: Job,
    executor: Executor | None = None,
    workers: int = 1,
    resume: Path | None = None,
    report: Report | None = None,
) -> SweepResult:
    """The worst of every measure over the job's poses, refined by local search.

    `executor`: anything that takes functions and gives futures, such as `dask.distributed`'s; None is a process pool of
    `workers`, or this very process for one worker. The result is the same, to the last digit, whoever works.
    `resume`: folder in which finished shards are kept, and found again by the next call.
    Raises ProofError where the folder holds something else, or a worker ends by itself.
    """
    say = report or (lambda progress: None)
    with _workers(executor, workers) as hands:
        tallies = _tallies(job, hands, resume, say)
        wanted = searches(tallies) if job.rounds else []
        done = [0]

        def note(place: int, found: Refined) -> None:
            done[0] += 1
            say(Progress("searches", done[0], len(wanted)))

        ends = _all(hands, [(refine, (job, *search)) for search in wanted], note)
    refined = {(name, arm): end for (name, arm, _), end in zip(wanted, ends, strict=True)}
    worst = tuple(_worst(job, tally, refined.get((tally.measure, tally.arm))) for tally in tallies)
    return SweepResult(job.rig, job.plan_digest, job.seed, job.poses, job.rounds, worst)


def _tallies(job: Job, hands: Executor | None, resume: Path | None, say: Report) -> tuple[Tally, ...]:
    """One tally for each measure and arm, over all shards."""
    job_key = key(job)
    known = {} if resume is None else state.load(resume, job, job_key)
    kept = sum(job.size(shard) for shard in known)
    wanted = [shard for shard in range(job.shards) if shard not in known]
    count = [kept]
    say(Progress("poses", kept, job.poses, kept))

    def note(place: int, found: tuple[Tally, ...]) -> None:
        shard = wanted[place]
        if resume is not None:
            state.save(resume, job_key, shard, job.size(shard), found)
        count[0] += job.size(shard)
        say(Progress("poses", count[0], job.poses, kept))

    made = _all(hands, [(tally_shard, (job, shard)) for shard in wanted], note)
    known.update(zip(wanted, made, strict=True))
    ordered = [known[shard] for shard in range(job.shards)]
    return tuple(reduce(together, column) for column in zip(*ordered, strict=True))


def _worst(job: Job, tally: Tally, end: Refined | None) -> Worst:
    """The worst of one measure and arm, with its case."""
    measure = measure_named(tally.measure)
    case, value, first = None, None, None
    if tally.worst:
        first = tally.worst[0]
        as_drawn = Refined(first.pose, first.value, *drawn(job, first.pose), False)
        end = as_drawn if end is None else worst_of([end, as_drawn])
        value = end.value
        geometry = job.geometry(tally.arm)
        case = SweepCase(
            rig=job.rig,
            plan_digest=job.plan_digest,
            arm=tally.arm,
            measure=measure.name,
            unit=measure.unit,
            value=value,
            limit=measure.limit,
            seed=job.seed,
            poses=job.poses,
            pose=end.pose,
            refined=end.moved,
            settings=written(settings_at(geometry, end.cube)),
            beside=written(beside(job, tally.arm, end.cube, end.way)) if measure.pair else (),
        )
    return Worst(
        id=f"{measure.requirement}/{MOTION}/{tally.arm}/{measure.name}",
        requirement=measure.requirement,
        measure=measure.name,
        arm=tally.arm,
        unit=measure.unit,
        limit=measure.limit,
        value=value,
        verdict=verdict(value, measure.limit, tally.looked),
        drawn=None if first is None else first.value,
        looked=tally.looked,
        left_out=tally.left_out,
        case=case,
    )


@contextmanager
def _workers(executor: Executor | None, workers: int) -> Iterator[Executor | None]:
    if workers < 1:
        raise ProofError(f"--workers {workers}: expected 1 or more")
    if executor is not None or workers == 1:
        yield executor
        return
    with process_pool(workers) as pool:
        yield pool


def _all(
    hands: Executor | None, calls: Sequence[tuple[Callable[..., T], tuple[Any, ...]]], note: Callable[[int, T], None]
) -> list[T]:
    """The results of `calls` in their order; `note` hears each with its place as soon as it is there.

    What was finished when something goes wrong, or the user stops, has been noted as well.
    """
    if hands is None:
        found: list[T] = []
        for place, (function, arguments) in enumerate(calls):
            found.append(function(*arguments))
            note(place, found[-1])
        return found
    places: dict[Future[T], int] = {}
    heard: set[Future[T]] = set()
    try:
        for place, (function, arguments) in enumerate(calls):
            places[hands.submit(function, *arguments)] = place
        for future in as_completed(places):
            result = future.result()
            heard.add(future)
            note(places[future], result)
        return [future.result() for future in places]
    except BrokenExecutor as problem:
        raise ProofError(
            "a worker ended by itself, as it does where memory runs out: take fewer --workers; with --resume the "
            "finished shards are kept"
        ) from problem
    finally:
        for future, place in places.items():
            if future not in heard and future.done() and not future.cancelled() and future.exception() is None:
                note(place, future.result())
            future.cancel()
