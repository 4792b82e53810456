"""Finished shards on disk, one file each: what an interrupted sweep need not do again."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path

from .. import codec
from ..errors import ProofError
from .job import Job
from .shard import Tally

FORMAT = "armwright.sweep-shard"
VERSION = 1
_WHAT = "shard of a sweep"
_NAME = re.compile(r"shard-(\d{8})-of-(\d{1,10})\.json")


@dataclass(frozen=True)
class _Shard:
    key: str
    shard: int
    poses: int
    tallies: tuple[Tally, ...]


def save(folder: Path, job_key: str, shard: int, poses: int, tallies: tuple[Tally, ...]) -> None:
    """Write a finished shard: under a name of its own first, so that a file of the right name is always whole."""
    data = codec.encode(_Shard(job_key, shard, poses, tallies), ProofError)
    path = folder / _name(shard, poses)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_text(codec.to_text({"format": FORMAT, "version": VERSION, **data}), encoding="utf-8", newline="\n")
        os.replace(part, path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def load(folder: Path, job: Job, job_key: str) -> dict[int, tuple[Tally, ...]]:
    """The shards of `job` that the folder holds, by number; makes the folder if there is none.

    Shards of a longer or shorter sweep of the same kind count as far as they have the same poses.
    Raises ProofError for a folder that holds shards of something else, or a damaged one.
    """
    folder.mkdir(parents=True, exist_ok=True)
    found: dict[int, tuple[Tally, ...]] = {}
    for path in sorted(folder.iterdir()):
        named = _NAME.fullmatch(path.name)
        if named is None:
            continue
        shard = _read(path)
        if shard.key != job_key:
            raise ProofError(
                f"{path}: this shard is of another sweep (another rig, seed or version): name an empty folder, or "
                "remove it"
            )
        if path.name != _name(shard.shard, shard.poses):
            raise ProofError(f"{path}: this file holds shard {shard.shard} of {shard.poses} poses: remove it")
        if shard.shard < job.shards and shard.poses == job.size(shard.shard):
            found[shard.shard] = shard.tallies
    return found


def _name(shard: int, poses: int) -> str:
    return f"shard-{shard:08d}-of-{poses}.json"


def _read(path: Path) -> _Shard:
    try:
        data = codec.parse(codec.read_bytes(path, _WHAT, ProofError), _WHAT, ProofError)
        codec.check_header(data, FORMAT, VERSION, _WHAT, ProofError)
        return codec.decode(_Shard, {k: v for k, v in data.items() if k not in ("format", "version")}, "", ProofError)
    except ProofError as problem:
        raise ProofError(f"{path}: {problem}; remove the file, and the shard is done again") from None
