"""Run in the host's Python: installs a zip for a user who has nothing yet, enables it, builds arms and proves them.

    python -I package_trial.py ZIP FOLDER

FOLDER is empty and becomes the user's. The last line on standard output is JSON with what was found. It fails on the
first connection, on the first file that Python opens for writing outside FOLDER, and where anything of the extension
comes from elsewhere than the installed copy.
"""

from __future__ import annotations

import importlib
import json
import os
import sys
import sysconfig
import zipfile
from collections.abc import Sequence
from importlib.abc import MetaPathFinder
from pathlib import Path
from typing import Any

REPOSITORY, EXTENSION = "user_default", "armwright"
MODULE = f"bl_ext.{REPOSITORY}.{EXTENSION}"
NETWORK = ("socket.connect", "socket.getaddrinfo", "socket.sendto", "socket.sendmsg")
# The host asks in this way whether the machine knows IPv6, and closes it again; the extension has no reason to.
LISTENS = "socket.bind"
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT


class NotHere(MetaPathFinder):
    """Refuses packages of the environment: what the extension needs has to come with it."""

    def __init__(self, names: Sequence[str], folder: Path) -> None:
        self.names, self.folder = frozenset(names), folder

    def find_spec(self, name: str, path: Any = None, target: Any = None) -> Any:
        """Search the user's folder alone for the packages that are refused elsewhere."""
        if name.split(".")[0] not in self.names:
            return None
        if path is None:
            path = [entry for entry in sys.path if Path(entry).is_relative_to(self.folder)]
        found = importlib.import_module("importlib.machinery").PathFinder.find_spec(name, path)
        if found is None:
            raise ModuleNotFoundError(f"{name} does not come with the extension", name=name)
        return found


def watch(folder: Path) -> list[str]:
    """From now on, a connection and a write outside `folder` raise RuntimeError, and stay in the list that is given."""
    null, seen = Path(os.devnull), list[str]()

    def refuse(words: str) -> None:
        seen.append(words)
        raise RuntimeError(words)

    def outside(path: object) -> bool:
        if not isinstance(path, (str, bytes, os.PathLike)):
            return False  # a file that is open already
        there = Path(os.fsdecode(path)).absolute()
        return there != null and not there.resolve().is_relative_to(folder)

    def is_asked_by_the_extension() -> bool:
        frame: Any = sys._getframe(2)
        while frame is not None:
            if Path(frame.f_code.co_filename).is_relative_to(folder):
                return True
            frame = frame.f_back
        return False

    def look(event: str, arguments: tuple[Any, ...]) -> None:
        if event in NETWORK or (event == LISTENS and is_asked_by_the_extension()):
            refuse(f"a connection ({event}): {arguments[1:]!r}")
        if event == "open":
            path, mode, flags = arguments
            to_write = any(letter in mode for letter in "wax+") if isinstance(mode, str) else bool(flags & WRITES)
            if to_write and outside(path):
                refuse(f"written outside the user's folder: {path!r}")
        if event in ("os.mkdir", "os.remove", "os.rmdir", "os.truncate", "shutil.rmtree") and outside(arguments[0]):
            refuse(f"{event} outside the user's folder: {arguments[0]!r}")
        if event in ("os.rename", "os.link", "os.symlink") and outside(arguments[1]):
            refuse(f"{event} outside the user's folder: {arguments[1]!r}")

    sys.addaudithook(look)
    return seen


def wheel_packages(package: Path) -> list[str]:
    """The packages in the wheels of the extension."""
    found = set()
    with zipfile.ZipFile(package) as archive:
        for name in archive.namelist():
            if name.endswith(".whl"):
                with archive.open(name) as file, zipfile.ZipFile(file) as wheel:
                    found |= {entry.split("/")[0] for entry in wheel.namelist() if entry.endswith("/__init__.py")}
    return sorted(found)


def tried(package: Path, folder: Path) -> dict[str, Any]:
    """Install, enable, build, prove and report; what was found. Raises RuntimeError where one of them fails."""
    user, out = folder / "user", folder / "out"
    temporary = folder / "temporary"
    for made in (user, out, temporary):
        made.mkdir()
    os.environ.update(BLENDER_USER_RESOURCES=str(user), HOME=str(user), TMPDIR=str(temporary), TEMP=str(temporary))
    sys.dont_write_bytecode = True
    brought = wheel_packages(package)
    seen = watch(folder)
    sys.meta_path.insert(0, NotHere([EXTENSION, *brought], user))
    bpy: Any = importlib.import_module("bpy")

    bpy.ops.extensions.package_install_files(filepath=str(package), repo=REPOSITORY, enable_on_install=True)
    if seen or MODULE not in bpy.context.preferences.addons:
        raise RuntimeError("; ".join(seen) or f"the host did not enable {MODULE}")
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=False)
    bpy.context.scene.armwright_build.source = "stature"
    bpy.ops.armwright.build_arms()
    rig = bpy.context.view_layer.objects.active
    bpy.ops.armwright.run_proof("EXEC_DEFAULT")
    bpy.ops.armwright.save_report(filepath=str(out / "report.html"))
    results = json.loads((out / "report.results.json").read_text(encoding="utf-8"))

    modules = {name: module for name, module in sys.modules.items() if name.split(".")[0] in (EXTENSION, *brought)}
    modules |= {name: module for name, module in sys.modules.items() if name.startswith(MODULE)}
    places = {name: getattr(module, "__file__", None) for name, module in modules.items()}
    elsewhere = sorted(name for name, file in places.items() if file and not is_own(Path(file), user))
    if elsewhere:
        raise RuntimeError(f"not from the installed copy: {', '.join(elsewhere)}")
    # What somebody caught on the way.
    if seen:
        raise RuntimeError("; ".join(seen))
    summary = results["summary"]
    if summary["fail"] or not summary["pass"] or sorted(results["arms"]) != ["L", "R"]:
        raise RuntimeError(f"the proof of the arms {sorted(results['arms'])} says {summary}")
    return {
        "host": bpy.app.version_string,
        "modules": sum(name.startswith(MODULE) for name in places),
        "brought": brought,
        "drew_with": sorted(name for name in places if name in brought),
        "bones": len(rig.data.bones),
        "arms": sorted(results["arms"]),
        "summary": summary,
        "written": sorted(path.name for path in out.iterdir()),
        "in_user_folder": sorted(path.relative_to(user).as_posix() for path in user.glob("*/*")),
        "temporary": sorted(path.name for path in temporary.rglob("*") if path.is_file()),
    }


def is_own(file: Path, user: Path) -> bool:
    """Whether a module's file is in the user's folder, or the standard library's, which zipp copies a module of."""
    library = Path(sysconfig.get_path("stdlib"))
    return file.is_relative_to(user) or (file.is_relative_to(library) and "site-packages" not in file.parts)


def main(arguments: Sequence[str]) -> int:
    """Exit code 0 with JSON where everything worked, 1 with one sentence where something did not."""
    try:
        found = tried(Path(arguments[0]).resolve(), Path(arguments[1]).resolve())
    except RuntimeError as problem:
        print(f"package_trial: {problem}", file=sys.stderr)
        return 1
    print(json.dumps(found))
    return 0


if __name__ == "__main__":
    code = main(sys.argv[1:])
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)  # the host can hang when its process ends normally
