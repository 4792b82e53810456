"""Rules that the whole tree keeps: where the host may be imported, file sizes, the package list, the manifest."""

from __future__ import annotations

import ast
import hashlib
import re
import subprocess
import sys
import tempfile
import tomllib
import zipfile
from collections.abc import Iterator
from fnmatch import fnmatch
from pathlib import Path
from typing import Any

import pytest

from armwright.core.version import ARMWRIGHT

ROOT = Path(__file__).resolve().parents[2]
LARGEST_FILE = 400  # lines
HOST_MODULES = ("bpy", "mathutils", "bmesh", "gpu", "blf", "bl_math", "idprop", "imbuf", "aud", "freestyle")
# The one file of core that uses a package besides numpy.
DRAWS_WITH_PYGAL = "core/proof/report/plot.py"
# Folders with Python files that belong to no package.
OUTSIDE_THE_PACKAGE = ("tests", "devtools")

REFUSE_THE_HOST = """
import importlib, sys
from importlib.abc import MetaPathFinder

class Refuse(MetaPathFinder):
    def find_spec(self, name, path, target=None):
        if name.split(".")[0] in {refused!r}:
            raise ImportError("refused: " + name)

sys.meta_path.insert(0, Refuse())
for name in {modules!r}:
    importlib.import_module(name)
"""

# The manifest's rules as the host states them (Blender manual, "Getting Started" of the extensions chapter, and the
# list of add-on tags beside it; from memory).
TAGLINE_MOST = 64
PERMISSIONS = {"files", "network", "clipboard", "camera", "microphone"}
TAGS = {"Animation", "Rigging", "Object", "Pipeline", "User Interface"}


def tracked_files() -> list[Path]:
    """The files under version control that are there, or every file of a checkout that came without its history."""
    listed = subprocess.run(["git", "-C", str(ROOT), "ls-files", "-z"], capture_output=True, text=True, check=False)
    if listed.returncode == 0 and listed.stdout:
        files = [ROOT / name for name in listed.stdout.split("\0") if name]
    else:
        skipped = {"out", "build", "__pycache__"}
        files = [
            path
            for path in ROOT.rglob("*")
            if not any(
                part in skipped or (part.startswith(".") and part != ".ci") for part in path.relative_to(ROOT).parts
            )
        ]
    return [path for path in files if path.is_file()]


def text_files() -> Iterator[tuple[str, str]]:
    """Path from the checkout and content of every tracked text file."""
    for path in tracked_files():
        content = path.read_bytes()
        if b"\0" not in content:
            yield path.relative_to(ROOT).as_posix(), content.decode("utf-8")


def core_modules() -> list[str]:
    """Every module under core, by its name in the package."""
    names = []
    for path in sorted((ROOT / "core").rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        names.append(".".join(("armwright", *(parts[:-1] if parts[-1] == "__init__" else parts))))
    return names


def imports_of(source: str, package: str) -> set[str]:
    """Absolute names of the modules that a file imports, with relative imports resolved from `package`."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        if isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parts = package.split(".")
                above = ".".join(parts[: len(parts) - node.level + 1])
                base = f"{above}.{base}".rstrip(".")
            found.update({base} | {f"{base}.{alias.name}" for alias in node.names})
    return found


def broken(source: str, package: str, forbidden: tuple[str, ...]) -> set[str]:
    """Which of its imports a file may not have."""
    return {
        name
        for name in imports_of(source, package)
        if any(name == bad or name.startswith(bad + ".") for bad in forbidden)
    }


def python_files(folder: str) -> list[Path]:
    return sorted((ROOT / folder).rglob("*.py"))


def package_of(path: Path) -> str:
    return ".".join(("armwright", *path.relative_to(ROOT).parts[:-1]))


def import_without(refused: tuple[str, ...], modules: list[str]) -> subprocess.CompletedProcess[str]:
    """Import modules in a new interpreter that refuses some others."""
    code = REFUSE_THE_HOST.format(refused=set(refused), modules=modules)
    return subprocess.run([sys.executable, "-I", "-c", code], capture_output=True, text=True, check=False, timeout=120)


def test_every_module_of_core_imports_without_the_host() -> None:
    modules = core_modules()
    assert len(modules) > 20
    done = import_without(HOST_MODULES, modules)
    assert done.returncode == 0, done.stderr


def test_an_interpreter_that_refuses_the_host_does_refuse_it() -> None:
    done = import_without(HOST_MODULES, ["bpy"])
    assert done.returncode == 1 and "refused: bpy" in done.stderr


def test_every_module_of_core_needs_numpy_and_the_standard_library_only() -> None:
    allowed = set(sys.stdlib_module_names) | {"numpy", "armwright"}
    for path in python_files("core"):
        roots = {name.split(".")[0] for name in imports_of(path.read_text(encoding="utf-8"), package_of(path))}
        name = path.relative_to(ROOT).as_posix()
        assert roots <= allowed | ({"pygal"} if name == DRAWS_WITH_PYGAL else set()), path


def test_every_module_of_core_imports_without_the_library_of_the_plots() -> None:
    done = import_without(("pygal", "importlib_metadata", "zipp"), core_modules())
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    ("folder", "forbidden"),
    [
        ("core", (*HOST_MODULES, "armwright.addon", "armwright.demo_blend_scripts")),
        ("core/solve", ("armwright.core.plan", "armwright.core.arm")),
    ],
)
def test_no_file_imports_what_its_layer_may_not_see(folder: str, forbidden: tuple[str, ...]) -> None:
    files = python_files(folder)
    assert files
    wrong = {path: broken(path.read_text(encoding="utf-8"), package_of(path), forbidden) for path in files}
    assert {path.as_posix(): names for path, names in wrong.items() if names} == {}


@pytest.mark.parametrize(
    ("source", "package"),
    [
        ("import bpy", "armwright.core"),
        ("def f():\n    from bpy.types import Object", "armwright.core"),
        ("from ..addon import host", "armwright.core"),
        ("from ...addon.host import mode", "armwright.core.proof"),
        ("from ... import addon", "armwright.core.proof"),
    ],
)
def test_the_import_contract_sees_every_way_to_write_an_import(source: str, package: str) -> None:
    assert broken(source, package, ("bpy", "armwright.addon"))


def test_everything_inside_the_package_is_a_relative_import() -> None:
    # As an extension the package has another name, so an absolute import of it works in tests only.
    for folder in ("core", "addon"):
        for path in python_files(folder):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
                if isinstance(node, ast.ImportFrom) and not node.level:
                    names = [node.module or ""]
                assert not any(name.split(".")[0] == "armwright" for name in names), path


def test_no_python_file_is_longer_than_400_lines() -> None:
    lengths = {name: text.count("\n") for name, text in text_files() if name.endswith(".py")}
    assert len(lengths) > 50
    assert {name: length for name, length in lengths.items() if length >= LARGEST_FILE} == {}


def absolute_machine_paths(text: str) -> list[str]:
    """Paths that exist on one machine only: homes, work and temporary folders, drives."""
    homes = "|".join(("root", "work", "home", "tmp", "Users", "var", "mnt", "opt"))
    return re.findall(rf"(?<![\w.~}}$*/)<-])/(?:{homes})/[\w.]+|\b[A-Z]:\\\w+", text)


def test_no_tracked_file_names_a_path_of_one_machine() -> None:
    found = {name: absolute_machine_paths(text) for name, text in text_files() if name != "LICENSE"}
    assert {name: paths for name, paths in found.items() if paths} == {}


def test_a_path_of_one_machine_is_seen_where_there_is_one() -> None:
    slash = "/"
    assert absolute_machine_paths(f'open("{slash}home{slash}wren{slash}a.blend")')
    assert absolute_machine_paths(f"cd {slash}work{slash}lighthouse")
    assert not absolute_machine_paths("docs/home/page, out/tmp/x, ${HOME}/x and a plain / too")


def project() -> dict[str, Any]:
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def manifest() -> dict[str, Any]:
    return tomllib.loads((ROOT / "blender_manifest.toml").read_text(encoding="utf-8"))


def test_every_folder_of_the_package_is_listed_in_pyproject() -> None:
    listed = project()["tool"]["setuptools"]["packages"]
    folders = {path.parent.relative_to(ROOT) for path in tracked_files() if path.suffix == ".py"}
    inside = {folder for folder in folders if not folder.parts or folder.parts[0] not in OUTSIDE_THE_PACKAGE}
    assert sorted(listed) == sorted(".".join(("armwright", *folder.parts)) for folder in inside)
    assert [folder.as_posix() for folder in inside if not (ROOT / folder / "__init__.py").exists()] == []


def test_manifest_and_pyproject_agree() -> None:
    assert manifest()["id"] == project()["project"]["name"] == "armwright"
    assert manifest()["version"] == project()["project"]["version"] == ARMWRIGHT
    assert manifest()["license"] == [f"SPDX:{project()['project']['license']['text']}"]
    assert (ROOT / "LICENSE").read_text(encoding="utf-8").lstrip().startswith("GNU GENERAL PUBLIC LICENSE")


def test_the_manifest_keeps_the_rules_of_the_host() -> None:
    found = manifest()
    assert found["schema_version"] == "1.0.0" and found["type"] == "add-on"
    assert re.fullmatch(r"\d+\.\d+\.\d+", found["version"]) and found["blender_version_min"] == "4.2.0"
    assert 0 < len(found["tagline"]) < TAGLINE_MOST
    assert found["tagline"][-1].isalnum()
    assert set(found["tags"]) <= TAGS
    for permission, reason in found["permissions"].items():
        assert permission in PERMISSIONS
        assert 0 < len(reason) < TAGLINE_MOST and reason[-1].isalnum()


def test_the_extension_opens_no_connection_and_so_asks_for_no_such_permission() -> None:
    assert "network" not in manifest()["permissions"]
    network = ("socket", "urllib.request", "http.client", "ftplib", "smtplib", "ssl", "requests")
    for path in (*python_files("core"), *python_files("addon"), ROOT / "__init__.py"):
        assert not broken(path.read_text(encoding="utf-8"), package_of(path), network), path


def test_the_wheels_are_pure_python_named_in_the_manifest_and_in_the_list_of_terms() -> None:
    wheels = {path.relative_to(ROOT).as_posix(): path for path in tracked_files() if path.suffix == ".whl"}
    assert sorted(manifest()["wheels"]) == sorted(f"./{name}" for name in wheels)
    terms = (ROOT / "wheels" / "SOURCES.md").read_text(encoding="utf-8")
    for name, path in wheels.items():
        assert name.startswith("wheels/") and name.endswith("-py3-none-any.whl")
        (row,) = (line for line in terms.splitlines() if f"`{path.name}`" in line)
        assert hashlib.sha256(path.read_bytes()).hexdigest() in row, name
        with zipfile.ZipFile(path) as archive:
            assert [entry for entry in archive.namelist() if "LICENSE" in entry], name


def test_the_wheels_draw_a_plot_by_themselves() -> None:
    # Without the environment's own packages: what the host installs must be enough.
    code = (
        "import sys; sys.path.insert(0, sys.argv[1])\nimport pygal\nchart = pygal.XY(js=())\n"
        "chart.add(None, [(0, 1), (1, 2)])\nassert '<path' in chart.render(is_unicode=True)"
    )
    # pygal reads its style sheets as files, so it is unpacked as the host does.
    with tempfile.TemporaryDirectory() as folder:
        for wheel in manifest()["wheels"]:
            with zipfile.ZipFile(ROOT / wheel) as archive:
                archive.extractall(folder)
        command = [sys.executable, "-I", "-S", "-c", code, folder]
        done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stderr


def shipped(name: str, patterns: list[str]) -> bool:
    """Whether a file ships: the manifest's patterns follow .gitignore, as far as they are used here."""
    parts = name.split("/")
    for pattern in patterns:
        asked = pattern.strip("/").split("/")
        # A pattern with a folder in it is from the root on, as one that begins with a slash.
        from_root = pattern.startswith("/") or len(asked) > 1
        for depth in range(1 if from_root else len(parts)):
            found = parts[depth : depth + len(asked)]
            if pattern.endswith("/") and depth + len(asked) >= len(parts):
                continue
            if len(found) == len(asked) and all(map(fnmatch, found, asked)):
                return False
    return True


def test_only_what_runs_ships() -> None:
    patterns = manifest()["build"]["paths_exclude_pattern"]
    ships = [
        name.relative_to(ROOT).as_posix()
        for name in tracked_files()
        if shipped(name.relative_to(ROOT).as_posix(), patterns)
    ]
    tops = {name.split("/")[0] for name in ships}
    assert {"__init__.py", "blender_manifest.toml", "LICENSE", "core", "addon", "wheels"} <= tops
    assert tops <= {*("__init__.py", "blender_manifest.toml", "LICENSE", "core", "addon", "wheels")}
    assert not shipped(".venv/3.11/bin/python", patterns) and not shipped("core/__pycache__/x.pyc", patterns)
    assert not shipped("out/demo/demo.blend", patterns) and not shipped(".ci/run", patterns)
