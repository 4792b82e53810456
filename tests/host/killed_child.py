"""One command of the command line, ended by the system at a moment: `killed_child.py WHEN SECONDS ARGUMENTS...`.

WHEN is "never", "any" (SECONDS after the command begins, the host being loaded) or "writing" (SECONDS after it begins
to write its file). The alarm's default action ends the process at once: nothing in it can clean up or object.
"""

from __future__ import annotations

import os
import signal
import sys
import time
from typing import Any


def arm(seconds: float) -> None:
    """End this process in so many seconds."""
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    signal.setitimer(signal.ITIMER_REAL, max(seconds, 1e-6))


def timed(owner: Any, name: str, when: str, seconds: float) -> None:
    """Time a writing function; the alarm is set as it begins."""
    real = getattr(owner, name)

    def writes(*args: Any, **options: Any) -> Any:
        begun = time.perf_counter()
        if when == "writing":
            arm(seconds)
        out = real(*args, **options)
        print(f"wrote in {time.perf_counter() - begun:.4f}", flush=True)
        return out

    setattr(owner, name, writes)


def main() -> None:
    when, seconds, arguments = sys.argv[1], float(sys.argv[2]), sys.argv[3:]
    import bpy  # noqa: F401  the host is loaded before the time counts

    from armwright.addon import hand_over_stage
    from armwright.addon.cli import files
    from armwright.addon.cli import main as cli

    timed(files, "save_blend", when, seconds)
    timed(hand_over_stage, "_export", when, seconds)
    begun = time.perf_counter()
    if when == "any":
        arm(seconds)
    code = int((options := cli.parser().parse_args(arguments)).run(options))
    print(f"ran in {time.perf_counter() - begun:.4f}", flush=True)
    os._exit(code)


main()
