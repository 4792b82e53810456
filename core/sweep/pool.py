"""The process pool that a sweep takes by default."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
import types
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from typing import Any, TypeVar

T = TypeVar("T")

# Exit code of a worker whose parent has ended: nobody reads it.
ORPHANED = 1


class _Pool(ProcessPoolExecutor):
    """A pool whose workers know nothing of the program that started it."""

    def submit(self, fn: Callable[..., T], /, *args: Any, **kwargs: Any) -> Future[T]:
        # Workers start while something is handed in, and a new one would run the main program's file again: a script
        # without a guard, text from standard input, or the host's own. What they work on is imported by name.
        with _plain_main():
            return super().submit(fn, *args, **kwargs)


@contextmanager
def process_pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    """A pool of `workers` processes, each started afresh; what is not begun when the block is left is dropped."""
    pool = _Pool(workers, mp_context=multiprocessing.get_context("spawn"), initializer=_begin_worker)
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _begin_worker() -> None:
    """Ctrl-C reaches every process of a terminal: the one that hands out work decides. With that one a worker ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """End this process when its parent is gone, however that came: nobody else would tell it, and it waits for work
    on a pipe that it holds open itself."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(ORPHANED)


@contextmanager
def _plain_main() -> Iterator[None]:
    main = sys.modules.get("__main__")
    sys.modules["__main__"] = types.ModuleType("__main__")
    try:
        yield
    finally:
        if main is not None:
            sys.modules["__main__"] = main
