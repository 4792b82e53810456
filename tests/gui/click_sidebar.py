"""Clicks the real buttons of the sidebar in a real window, by the X server's mouse, and reads the pose back.

    python3 tests/gui/click_sidebar.py --host BLENDER               on a display with xdotool
    python3 tests/gui/click_sidebar.py --tool SHOT                  where a tool brings the display

BLENDER is a full graphical host. SHOT is a program called as `SHOT [--size WxH] [--bind DIR] [--after COMMAND] SCRIPT
PICTURE -- ARGUMENTS`, which starts the host with SCRIPT, waits for the file named in BLENDER_GUI_DONE, runs COMMAND on
that display and takes a picture. A line a click; exit code 0 if every click did what it says, 1 if not, 2 without a
window. `--only PART,PART` runs some of the parts.
"""

from __future__ import annotations

import argparse
import os
import shlex
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.dont_write_bytecode = True
HERE = Path(__file__).resolve().parent
SIZE = "1600x1400"
START = 60.0


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--host", help="full graphical host to start on this display")
    parser.add_argument("--tool", default=os.environ.get("ARMWRIGHT_GUI_TOOL"), help="tool that brings a display")
    parser.add_argument("--bind", action="append", default=[], help="folder that the tool has to show the host as well")
    parser.add_argument("--picture", default="", help="where the tool writes its last picture")
    parser.add_argument("--only", default="", help="only these parts, separated by commas")
    parser.add_argument("--drive", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.drive:
        return _drive(Path(options.drive), options.only)
    if not options.tool and (not options.host or not os.environ.get("DISPLAY")):
        print("No window: name a graphical host (--host) on a display, or a tool that brings one (--tool).")
        return 2
    if shutil.which("xdotool") is None:
        print("xdotool is missing: install it, it moves the mouse.")
        return 2
    with tempfile.TemporaryDirectory() as folder:
        exchange = Path(folder)
        parent = exchange / "parent"
        parent.mkdir()
        (parent / "armwright").symlink_to(HERE.parents[1], target_is_directory=True)
        return _with_tool(options, exchange, parent) if options.tool else _with_host(options, exchange, parent)


def _with_tool(options: argparse.Namespace, exchange: Path, parent: Path) -> int:
    drive = [sys.executable, str(Path(__file__).resolve()), "--drive", str(exchange), "--only", options.only]
    binds = [argument for folder in (HERE.parents[1], exchange, *options.bind) for argument in ("--bind", str(folder))]
    command = [options.tool, "--size", SIZE, *binds, "--log", str(exchange / "host.log")]
    after = f"{shlex.join(drive)}; echo $? > {shlex.quote(str(exchange / 'code'))}"
    picture = options.picture or str(exchange / "last.png")
    done = subprocess.run([*command, "--after", after, str(HERE / "sidebar_job.py"), picture, "--", exchange, parent])
    code = exchange / "code"
    if not code.exists():
        print(f"The host did not come up (exit code {done.returncode}):\n{_tail(exchange / 'host.log')}")
        return 2
    return _end(int(code.read_text()), exchange / "host.log")


def _with_host(options: argparse.Namespace, exchange: Path, parent: Path) -> int:
    signal, log = exchange / "signal", exchange / "host.log"
    size = SIZE.split("x")
    command = [
        options.host,
        "--factory-startup",
        "--window-geometry",
        "0",
        "0",
        *size,
        "--python",
        HERE / "sidebar_job.py",
    ]
    with log.open("w") as out:
        host = subprocess.Popen(
            [*command, "--", exchange, parent],
            env={**os.environ, "BLENDER_GUI_DONE": str(signal)},
            stdout=out,
            stderr=subprocess.STDOUT,
        )
    try:
        until = time.monotonic() + START
        while not signal.exists():
            if host.poll() is not None or time.monotonic() > until:
                print(f"The host did not come up:\n{_tail(log)}")
                return 2
            time.sleep(0.2)
        return _end(_drive(exchange, options.only), log)
    finally:
        host.kill()


def _end(code: int, log: Path) -> int:
    """A Python error in a panel or an operator fails the run, even where every click did what it says."""
    if "Traceback" in log.read_text(errors="replace"):
        print(f"The host printed an error:\n{_tail(log)}")
        return 1
    return code


def _tail(log: Path) -> str:
    return "\n".join(log.read_text(errors="replace").splitlines()[-30:]) if log.exists() else ""


def _drive(exchange: Path, only: str) -> int:
    sys.path.insert(0, str(HERE))
    import sidebar_parts
    from window_driver import Window

    return sidebar_parts.run(Window(exchange), only)


if __name__ == "__main__":
    sys.exit(main())
