"""The extension as one zip: built and validated by the host's own builder, with the same bytes wherever it is built.

The builder takes every file of a folder that the manifest does not exclude, in the order and with the dates of the
disk. So it gets a copy of what is under version control, and what it has made is packed again, sorted and undated.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
import zipfile
from pathlib import Path
from typing import Any

from .environment import Environment, say, shown
from .problems import SetUpError

MANIFEST = "blender_manifest.toml"
BUILDER = Path("scripts", "addons_core", "bl_pkg", "cli", "blender_ext.py")
# The earliest that a zip can say, unless the variable that packagers use for it says otherwise.
NO_DATE, DATE_VARIABLE = (1980, 1, 1, 0, 0, 0), "SOURCE_DATE_EPOCH"
PLAIN_FILE = 0o100644 << 16
ON_UNIX = 3
PATIENCE_SECONDS, TRIAL_SECONDS = 120, 1800
TRIAL = Path(__file__).with_name("package_trial.py")
# What a checkout without version control may hold besides the sources.
NOT_SOURCES = {"out", "build", "__pycache__"}


def build(environment: Environment, out: Path) -> Path:
    """Build and validate the zip of the environment's checkout in the folder `out`; its path.

    Raises SetUpError where the host has no builder, or where the builder refuses, with what it says.
    """
    builder = builder_of(environment)
    first, second = _built(environment, builder), _built(environment, builder)
    if first != second:
        raise SetUpError("two builds of the same files gave different bytes: nothing was written")
    name, content = first
    out.mkdir(parents=True, exist_ok=True)
    path = out / name
    part = path.with_name(f"{path.name}.part")
    part.write_bytes(content)
    part.replace(path)
    said = _call(environment, builder, "validate", str(path))
    say(f"{shown(path)}: {len(content)} bytes, {len(entries(path))} files, the same in two builds; {said}")
    print(f"{hashlib.sha256(content).hexdigest()}  {path.name}", flush=True)
    return path


def try_out(environment: Environment, package: Path) -> dict[str, Any]:
    """Install the zip for a user who has nothing yet, build arms with it and prove them; what was found.

    Raises SetUpError with what went wrong.
    """
    say(f"Installing it in {environment.host.name} for a new user, building arms and proving them ...")
    with tempfile.TemporaryDirectory(prefix="armwright-") as folder:
        try:
            done = subprocess.run(
                [str(environment.python), "-I", "-B", str(TRIAL), str(package), folder],
                stdin=subprocess.DEVNULL,
                capture_output=True,
                encoding="utf-8",
                errors="replace",
                timeout=TRIAL_SECONDS,
                check=False,
            )
        except subprocess.TimeoutExpired as problem:
            raise SetUpError(f"the installed copy was not done after {TRIAL_SECONDS} seconds") from problem
    lines = done.stdout.strip().splitlines()
    if done.returncode or not lines:
        sys.stderr.write(done.stdout + done.stderr)
        raise SetUpError(f"the installed copy does not work in {environment.host.name}: what it said is above")
    found: dict[str, Any] = json.loads(lines[-1])
    counts = ", ".join(f"{count} {verdict.replace('_', ' ')}" for verdict, count in found["summary"].items())
    say(
        f"{environment.host.name} ({found['host']}): installed and enabled, {found['modules']} modules of the installed"
        f" copy, arms {' and '.join(found['arms'])} built and proven: {counts}; its Python opened no connection and"
        " wrote nothing outside the new user's folder and the report's"
    )
    return found


def builder_of(environment: Environment) -> Path:
    """The program that builds extensions in the host of an environment. Raises SetUpError where it has none."""
    found = sorted(environment.folder.glob(f"[Ll]ib/**/site-packages/bpy/*/{BUILDER.as_posix()}"))
    if not found:
        raise SetUpError(
            f"{environment.host.name} in {shown(environment.folder)} has no builder of extensions (bl_pkg): "
            "take another host with --host"
        )
    return found[0]


def entries(path: Path) -> list[str]:
    """The names of what is in a zip, in its order."""
    with zipfile.ZipFile(path) as archive:
        return archive.namelist()


def _built(environment: Environment, builder: Path) -> tuple[str, bytes]:
    """File name and content of the zip."""
    with tempfile.TemporaryDirectory(prefix="armwright-") as folder:
        source, made = Path(folder, "armwright"), Path(folder, "made")
        for name in sources(environment.root):
            (source / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(environment.root / name, source / name)
        made.mkdir()
        _call(environment, builder, "build", "--source-dir", str(source), "--output-dir", str(made))
        (zipped,) = made.iterdir()
        packed = Path(folder, "packed.zip")
        pack_again(zipped, packed)
        return zipped.name, packed.read_bytes()


def sources(root: Path) -> list[str]:
    """Every file under version control that is there, or, without version control, every file that may be a source."""
    listed = _git(root, "ls-files")
    if listed is None:
        say("This checkout is not under version control: everything that the manifest does not exclude is packed")
        files = [path.relative_to(root) for path in root.rglob("*") if path.is_file()]
        return sorted(
            path.as_posix()
            for path in files
            if not any(part in NOT_SOURCES or part.startswith(".") for part in path.parts)
        )
    others = [name for name in _git(root, "ls-files", "--others", "--exclude-standard") or () if name.endswith(".py")]
    for name in others:
        if name.split("/")[0] in ("addon", "core"):
            say(f"Left out, as it is not under version control: {name}")
    return sorted(name for name in listed if (root / name).is_file())


def _git(root: Path, *arguments: str) -> list[str] | None:
    """The names that git lists in a folder; None where there is no git or no repository of its own."""
    command = ["git", "-C", str(root), *arguments, "-z"]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_SECONDS, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return None
    names = [name for name in done.stdout.split("\0") if name]
    return names if done.returncode == 0 and (names or len(arguments) > 1) else None


def pack_again(source: Path, target: Path) -> None:
    """Write what is in the zip `source` as the zip `target`: sorted, with one date and plain permissions."""
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w") as new:
        for name in sorted(old.namelist()):
            entry = zipfile.ZipInfo(name, date())
            entry.create_system, entry.external_attr = ON_UNIX, PLAIN_FILE
            # A wheel is a zip already.
            entry.compress_type = zipfile.ZIP_STORED if name.endswith(".whl") else zipfile.ZIP_DEFLATED
            new.writestr(entry, old.read(name), compresslevel=9)


def date() -> tuple[int, int, int, int, int, int]:
    """The date of every entry. Raises SetUpError where the variable for it holds no number that a zip can say."""
    given = os.environ.get(DATE_VARIABLE)
    if given is None:
        return NO_DATE
    try:
        found = time.gmtime(int(given))
    except (ValueError, OverflowError, OSError) as problem:
        raise SetUpError(f"{DATE_VARIABLE} is {given!r}: it has to be a number of seconds since 1970") from problem
    return max(NO_DATE, (found.tm_year, found.tm_mon, found.tm_mday, found.tm_hour, found.tm_min, found.tm_sec))


def _call(environment: Environment, builder: Path, *arguments: str) -> str:
    """Run the builder; the last line that it says. Raises SetUpError with all of it where it refuses."""
    done = subprocess.run(
        [str(environment.python), "-I", "-B", str(builder), *arguments],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        errors="replace",
        timeout=PATIENCE_SECONDS,
        check=False,
    )
    lines = done.stdout.strip().splitlines()
    if done.returncode:
        raise SetUpError(f"the host's builder refuses to {arguments[0]} the extension: {'; '.join(lines)}")
    # It names files of a temporary folder; what it thinks of them is the first word of its last line.
    return f"the host's builder says {lines[-1].split()[0].lower()!r}" if lines else "the host's builder says nothing"
