"""Processes that stand in for the proof of a file, as the name of the file asks; run as a script."""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path


def main(file: str, results: str, page: str) -> int:
    what = Path(file).stem.partition("-")[0]
    if what in ("good", "bad"):
        from report_cases import check, failing
        from report_cases import results as results_of

        from armwright.core.proof import results_json
        from armwright.core.proof.report.html import page as page_of

        made = results_of([check(), failing("hold-hand", "hand") if what == "bad" else check("hold-hand", "hand")])
        Path(results).write_text(results_json.to_text(made), encoding="utf-8")
        if page:
            Path(page).write_text(page_of(made), encoding="utf-8")
        return 1 if what == "bad" else 0
    if what == "segfault":
        print("the last words of this file", file=sys.stderr, flush=True)
        os.kill(os.getpid(), signal.SIGSEGV)
    if what == "traceback":
        raise ValueError("something that nobody expected")
    if what == "silent":
        return 0
    if what == "cut":
        Path(results).write_text('{"format": "armwright.results"', encoding="utf-8")
        return 0
    if what == "refused":
        print("a line of the host\narmwright: this file has no arms: build them first", file=sys.stderr)
        return 2
    if what == "large":
        # Written to, or the system would not count it.
        held = bytearray(b"x" * (400 * 1024 * 1024))
        print(f"holds {len(held)} bytes", file=sys.stderr, flush=True)
    if what == "hangs":
        # What it started hangs with it, and is to go with it.
        if os.fork() == 0:
            Path(file).with_suffix(".child").write_text(str(os.getpid()), encoding="utf-8")
        else:
            Path(file).with_suffix(".parent").write_text(str(os.getpid()), encoding="utf-8")
            print("proof:  30 %  torso-wiggle", file=sys.stderr, flush=True)
    while True:
        time.sleep(0.1)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
