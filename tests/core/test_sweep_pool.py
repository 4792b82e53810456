"""The sweep's process pool: a worker never outlives the process that handed out the work."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from test_farm import is_there, until

posix = pytest.mark.skipif(sys.platform == "win32", reason="it sends SIGKILL")

# Each worker writes its process into a file and then works for longer than the test waits, or waits for more work.
PARENT = """
import sys
import time
from armwright.core.sweep.pool import process_pool
from pool_work import work

with process_pool(2) as pool:
    for place in range(2):
        pool.submit(work, sys.argv[1], place, sys.argv[2])
    time.sleep(3600)
"""
WORK = """
import os
import time
from pathlib import Path


def work(folder, place, what):
    part = Path(folder) / f"{place}.part"
    part.write_text(str(os.getpid()), encoding="utf-8")
    os.replace(part, part.with_suffix(".pid"))
    # The other worker has to take the other piece.
    while len(list(Path(folder).glob("*.pid"))) < 2:
        time.sleep(0.01)
    while what == "busy":
        sum(range(100_000))
"""


@posix
@pytest.mark.parametrize("what", ["busy", "idle"])
def test_workers_end_when_their_parent_is_killed(what: str, tmp_path: Path) -> None:
    (tmp_path / "pool_work.py").write_text(WORK, encoding="utf-8")
    folder = tmp_path / "workers"
    folder.mkdir()
    parent = subprocess.Popen(
        [sys.executable, "-c", PARENT, str(folder), what],
        env={**os.environ, "PYTHONPATH": os.pathsep.join((str(tmp_path), *filter(None, sys.path)))},
    )
    workers: list[int] = []
    try:
        until(lambda: parent.poll() is not None or len(list(folder.glob("*.pid"))) == 2)
        workers = [int(path.read_text(encoding="utf-8")) for path in folder.glob("*.pid")]
        assert len(set(workers)) == 2 and all(is_there(pid) for pid in workers)
        parent.kill()
        parent.wait()
        until(lambda: not any(is_there(pid) for pid in workers))
    finally:
        parent.kill()
        parent.wait()
        for pid in workers:
            if is_there(pid):
                os.kill(pid, 9)
