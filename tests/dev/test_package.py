"""The extension's zip: what is in it, the same bytes again, and a new user who installs it."""

from __future__ import annotations

import hashlib
import json
import os
import runpy
import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
TRIAL = ROOT / "devtools" / "package_trial.py"
TRIAL_SECONDS = 1500
# Those of `__init__.py` go here, for an extension that does one thing.
MANIFEST = """\
schema_version = "1.0.0"
id = "armwright"
version = "1.0.0"
name = "Armwright"
tagline = "Does one thing"
maintainer = "Nobody"
type = "add-on"
blender_version_min = "4.2.0"
license = ["SPDX:GPL-3.0-or-later"]
"""


def environment_of(root: Path) -> Any:
    """The environment that runs this, for the checkout `root`."""
    from devtools.environment import Environment

    environment = Environment(root)
    environment.folder = Path(sys.prefix)
    return environment


def sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def git(folder: Path, *arguments: str) -> None:
    subprocess.run(["git", "-C", str(folder), *arguments], check=True, capture_output=True)


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The zip of this checkout."""
    sys.path.insert(0, str(ROOT))
    from devtools import package

    return package.build(environment_of(ROOT), tmp_path_factory.mktemp("package"))


def test_the_zip_holds_what_the_manifest_lets_through_of_what_is_under_version_control(built: Path) -> None:
    contracts = runpy.run_path(str(ROOT / "tests" / "core" / "test_contracts.py"))
    manifest = tomllib.loads((ROOT / "blender_manifest.toml").read_text(encoding="utf-8"))
    names = [path.relative_to(ROOT).as_posix() for path in contracts["tracked_files"]()]
    wanted = [name for name in names if contracts["shipped"](name, manifest["build"]["paths_exclude_pattern"])]
    with zipfile.ZipFile(built) as archive:
        assert archive.namelist() == sorted(wanted) and len(wanted) > 100
        for name in wanted:
            assert archive.read(name) == (ROOT / name).read_bytes(), name
    assert built.name == f"armwright-{manifest['version']}.zip"


def test_every_module_in_the_zip_is_one_that_the_window_can_reach_and_none_is_missing(built: Path) -> None:
    """From `register` on, over every import in every function."""
    import grimp

    graph = grimp.build_graph("armwright", cache_dir=None)
    reached, ahead = set(), ["armwright"]
    while ahead:
        module = ahead.pop()
        if module not in reached:
            reached.add(module)
            ahead += graph.find_modules_directly_imported_by(module)
            ahead += [module.rpartition(".")[0]] if "." in module else []
    with zipfile.ZipFile(built) as archive:
        files = {Path(name).with_suffix("") for name in archive.namelist() if name.endswith(".py")}
    names = {".".join(["armwright", *path.parts]).removesuffix(".__init__") for path in files}
    assert sorted(names - reached) == [], "in the zip, and of no use there"
    assert sorted(reached - names) == [], "not in the zip, and asked for there"


def test_another_copy_of_the_files_gives_the_same_bytes(built: Path, tmp_path: Path) -> None:
    from devtools import package

    copy = tmp_path / "elsewhere"
    for age, name in enumerate(reversed(package.sources(ROOT))):
        (copy / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(ROOT / name, copy / name)
        os.utime(copy / name, (1e9 + 86400 * age, 1e9 + 86400 * age))
        (copy / name).chmod(0o600 if age % 2 else 0o755)
    # Without version control, and with what a user's checkout has besides.
    for name in ("out/old.py", ".venv/x.py", "addon/__pycache__/host.cpython-311.pyc"):
        (copy / name).parent.mkdir(parents=True, exist_ok=True)
        (copy / name).touch()
    again = package.build(environment_of(copy), tmp_path)
    assert sha256(again) == sha256(built)


def test_packing_again_forgets_order_dates_and_permissions(tmp_path: Path) -> None:
    from devtools.package import pack_again

    files = {"b.py": b"b = 1\n" * 99, "a/c.py": b"", "w.whl": b"PK\5\6" + bytes(18)}
    made = []
    for number, names in enumerate((list(files), list(reversed(files)))):
        source, target = tmp_path / f"{number}.zip", tmp_path / f"{number}.again.zip"
        with zipfile.ZipFile(source, "w") as archive:
            for name in names:
                entry = zipfile.ZipInfo(name, (2001 + number, 2, 3, 4, 5, 6))
                entry.external_attr = (0o100600, 0o100755)[number] << 16
                archive.writestr(entry, files[name])
        pack_again(source, target)
        made.append(target.read_bytes())
    assert (tmp_path / "0.zip").read_bytes() != (tmp_path / "1.zip").read_bytes()
    assert made[0] == made[1]
    with zipfile.ZipFile(tmp_path / "0.again.zip") as archive:
        assert {name: archive.read(name) for name in archive.namelist()} == files
        assert archive.namelist() == sorted(files)


def test_the_date_is_the_packager_s_where_one_is_given(monkeypatch: pytest.MonkeyPatch) -> None:
    from devtools import package
    from devtools.problems import SetUpError

    monkeypatch.delenv(package.DATE_VARIABLE, raising=False)
    assert package.date() == (1980, 1, 1, 0, 0, 0)
    monkeypatch.setenv(package.DATE_VARIABLE, "1000000000")
    assert package.date() == (2001, 9, 9, 1, 46, 40)
    monkeypatch.setenv(package.DATE_VARIABLE, "0")
    assert package.date() == (1980, 1, 1, 0, 0, 0), "a zip knows no earlier one"
    monkeypatch.setenv(package.DATE_VARIABLE, "yesterday")
    with pytest.raises(SetUpError, match="number of seconds"):
        package.date()


def test_a_module_that_is_not_under_version_control_is_left_out_and_named(tmp_path: Path, capsys: Any) -> None:
    from devtools.package import sources

    for name in ("addon/host.py", "addon/gone.py", "addon/new.py", "notes.py"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    git(tmp_path, "init", "-q")
    git(tmp_path, "add", "addon/host.py", "addon/gone.py")
    (tmp_path / "addon" / "gone.py").unlink()
    assert sources(tmp_path) == ["addon/host.py"]
    said = capsys.readouterr().err
    assert "addon/new.py" in said and "notes.py" not in said


def test_what_the_builder_refuses_is_said_and_nothing_is_written(tmp_path: Path) -> None:
    from devtools import package
    from devtools.problems import SetUpError

    source, out = tmp_path / "source", tmp_path / "out"
    source.mkdir()
    (source / "__init__.py").touch()
    (source / "blender_manifest.toml").write_text(MANIFEST.replace('tagline = "Does one thing"', 'tagline = "Dotted."'))
    with pytest.raises(SetUpError, match=r"refuses to build.*tagline"):
        package.build(environment_of(source), out)
    assert not out.exists()


def test_a_host_without_a_builder_is_said(tmp_path: Path) -> None:
    from devtools import package
    from devtools.problems import SetUpError

    environment = environment_of(ROOT)
    environment.folder = tmp_path
    with pytest.raises(SetUpError, match="no builder of extensions"):
        package.build(environment, tmp_path / "out")


def trial(package: Path, folder: Path) -> subprocess.CompletedProcess[str]:
    folder.mkdir()
    return subprocess.run(
        [sys.executable, "-I", "-B", str(TRIAL), str(package), str(folder)],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=TRIAL_SECONDS,
        check=False,
    )


def test_a_new_user_installs_it_builds_arms_and_proves_them(built: Path, tmp_path: Path) -> None:
    done = trial(built, tmp_path / "new")
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    found = json.loads(done.stdout.strip().splitlines()[-1])
    print(found)
    assert found["arms"] == ["L", "R"]
    assert found["summary"]["fail"] == 0 and found["summary"]["pass"] > 1000
    assert found["written"] == ["report.html", "report.junit.xml", "report.results.json"]
    assert found["brought"] == ["importlib_metadata", "pygal", "zipp"]
    assert found["modules"] > 100
    # The host's own folders alone: the extension keeps nothing with the user.
    assert {name.split("/")[0] for name in found["in_user_folder"]} <= {"extensions", "config", "scripts", ".cache"}
    # The host's own empty folder is gone when it ends as usual.
    assert found["temporary"] == [], "pictures and parts are cleared away"


@pytest.mark.parametrize(
    ("register", "part"),
    [
        ("raise ValueError('not today')", "not today"),
        ("import socket; socket.create_connection(('127.0.0.1', 9), 1)", "a connection"),
        ("import socket; socket.socket().bind(('127.0.0.1', 0))", "a connection (socket.bind)"),
        ("open('{elsewhere}', 'w')", "written outside"),
        ("try: open('{elsewhere}', 'a')\n    except Exception: pass", "written outside"),
        ("import os; os.mkdir('{elsewhere}')", "os.mkdir outside"),
        ("import armwright", "armwright does not come with the extension"),
    ],
)
def test_an_extension_that_does_what_it_may_not_fails_the_trial(register: str, part: str, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    package = tmp_path / "armwright-1.0.0.zip"
    with zipfile.ZipFile(package, "w") as archive:
        archive.writestr("blender_manifest.toml", MANIFEST)
        lines = f"def register():\n    {register.format(elsewhere=elsewhere)}\n\n\ndef unregister():\n    pass\n"
        archive.writestr("__init__.py", lines)
    done = trial(package, tmp_path / "new")
    assert done.returncode == 1, done.stdout + done.stderr
    (line,) = [line for line in done.stderr.splitlines() if line.startswith("package_trial: ")]
    assert part in line
    assert not elsewhere.exists()
