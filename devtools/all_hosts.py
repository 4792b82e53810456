"""The test suite on every host, each by a `dev.py` of the host's own Python, one after the other or some at a time."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from .environment import say, shown
from .hosts import HOSTS, Host
from .problems import SetUpError
from .pythons import python_of

LOGS = Path("out") / "tests"
LAST_LINES = 200
# Seconds between two lines that say how far a host is whose words go to a file.
TELL_EVERY = 120.0


def test_all_hosts(
    root: Path, arguments: Sequence[str], *, smoke: Sequence[Host] = (), at_once: int = 1, hosts: Sequence[Host] = HOSTS
) -> int:
    """Run the suite of the checkout `root` on each host; the exit code of the first that failed, 0 if none did.

    arguments: for pytest. smoke: the hosts that get the smoke selection only. at_once: how many run at the same time;
    with more than one, what each says goes to a file of its own.
    """

    def run(host: Host) -> tuple[int, str]:
        began = time.monotonic()
        chosen = ["--smoke"] if host in smoke else []
        kind = "smoke test" if chosen else "all"
        try:
            command = [python_of(host.python), str(root / "dev.py"), "test", "--host", host.version, *chosen]
        except SetUpError as problem:
            return 2, f"{host.name}: not run: {problem}"
        code = _run(root, host, [*command, *arguments], at_once > 1)
        minutes = (time.monotonic() - began) / 60.0
        said = "passed" if code == 0 else f"failed with exit code {code}"
        return code, f"{host.name}, Python {host.python[0]}.{host.python[1]}, {kind}: {said} after {minutes:.1f} min"

    # The long ones first, so that none of them starts when the others are done.
    order = sorted(hosts, key=lambda host: host in smoke) if at_once > 1 else list(hosts)
    found = dict(zip(order, _each(run, order, at_once), strict=True))
    say("\n" + "\n".join(found[host][1] for host in hosts))
    return next((found[host][0] for host in hosts if found[host][0]), 0)


def _each(run: Callable[[Host], tuple[int, str]], hosts: Sequence[Host], at_once: int) -> list[tuple[int, str]]:
    if at_once == 1:
        return [run(host) for host in hosts]
    pool = ThreadPoolExecutor(at_once)
    try:
        return list(pool.map(run, hosts))
    finally:
        # What waits for its turn does not start after an interrupt.
        pool.shutdown(cancel_futures=True)


def _run(root: Path, host: Host, command: Sequence[str], to_file: bool) -> int:
    if not to_file:
        say(f"\n==== {host.name}, Python {host.python[0]}.{host.python[1]} ====")
        return _code(subprocess.run(command, stdin=subprocess.DEVNULL, cwd=root, check=False).returncode)
    log = root / LOGS / f"{host.version}.log"
    log.parent.mkdir(parents=True, exist_ok=True)
    say(f"{host.name} started: {shown(log)}")
    with log.open("w", encoding="utf-8") as file:
        code = _wait(subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=file, stderr=file, cwd=root), host, log)
    if code:
        last = log.read_text(encoding="utf-8", errors="replace").splitlines()[-LAST_LINES:]
        sys.stderr.write("\n".join([f"---- the end of {shown(log)}", *last, ""]))
    return _code(code)


def _wait(process: subprocess.Popen[bytes], host: Host, log: Path) -> int:
    """Wait for a process, and say now and then how far its log is."""
    try:
        while True:
            try:
                return process.wait(TELL_EVERY)
            except subprocess.TimeoutExpired:
                done = re.findall(r"\[ *(\d+)%\]", log.read_text(encoding="utf-8", errors="replace"))
                say(f"{host.name}: {done[-1] if done else 0} % of the tests done")
    except BaseException:
        process.kill()
        process.wait()
        raise


def _code(code: int) -> int:
    """As a shell would give it."""
    return code if code >= 0 else 128 - code
