"""The hosts that the suite runs on: one list, one module that knows them apart, one command for all of them."""

from __future__ import annotations

import ast
import runpy
import sys
import threading
import time
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
# What a host has or has not by its version: nothing but addon/host.py asks for one of these or uses one.
ONLY_IN_SOME = {
    *("action_slot", "action_suitable_slots", "channelbag", "channelbags", "slots"),
    *("use_transform_at_custom_shape", "use_transform_around_custom_shape"),
}
ASKED_FOR = {*ONLY_IN_SOME, "layers", "select", "fcurves"}
ABOUT_A_VERSION = {"version", "version_string", "version_file", "version_cycle"}
# One host plays the file of another: it has to say which of them is newer.
MAY_COMPARE = {"tests/host/host_plain_host.py"}


def questions(source: str) -> Iterator[tuple[int, str]]:
    """Line and words of whatever in `source` depends on the version of the host."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Attribute):
            about = ast.unparse(node.value)
            if node.attr in ABOUT_A_VERSION and (about == "app" or about.endswith(".app")):
                yield node.lineno, ast.unparse(node)
            if node.attr in ONLY_IN_SOME:
                yield node.lineno, ast.unparse(node)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("hasattr", "getattr"):
            named = node.args[1] if len(node.args) > 1 else None
            if isinstance(named, ast.Constant) and named.value in ASKED_FOR:
                yield node.lineno, ast.unparse(node)


def files() -> Iterator[Path]:
    for folder in ("core", "addon", "demo_blend_scripts", "tests/host", "tests/gui"):
        yield from sorted((ROOT / folder).rglob("*.py"))


def test_one_module_knows_the_hosts_apart() -> None:
    found = []
    for path in files():
        name = path.relative_to(ROOT).as_posix()
        if name == "addon/host.py" or name in MAY_COMPARE:
            continue
        found += [f"{name}:{line}: {words}" for line, words in questions(path.read_text(encoding="utf-8"))]
    assert found == []
    assert len(list(questions((ROOT / "addon/host.py").read_text(encoding="utf-8")))) > 5


@pytest.mark.parametrize(
    "source",
    [
        "if bpy.app.version >= (5, 0): pass",
        "from bpy import app\nx = app.version_string",
        "hasattr(action, 'layers')",
        "getattr(animation, 'action_slot', None)",
        "animation.action_slot = slot",
        "holder = bone if hasattr(bone, 'select') else bone.bone",
    ],
)
def test_a_question_about_the_version_is_seen_where_there_is_one(source: str) -> None:
    assert list(questions(source))


def test_every_host_has_its_packages_and_an_environment_of_its_own() -> None:
    from devtools.hosts import HOSTS

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    for host in HOSTS:
        wheels = project["optional-dependencies"][host.extra]
        assert any(wheel.startswith(f"bpy=={host.version}.*;") for wheel in wheels), host
        assert host.name.startswith(f"Blender {host.version}")
        assert host.folder == (f"{host.python[0]}.{host.python[1]}" if host.is_usual else f"host-{host.version}")
    assert len({host.folder for host in HOSTS}) == len(HOSTS)
    versions = [tuple(map(int, host.version.split("."))) for host in HOSTS]
    assert versions == sorted(versions)


def test_the_list_begins_with_what_the_manifest_promises_and_dev_py_takes_the_usual_ones() -> None:
    from devtools.hosts import HOSTS

    manifest = tomllib.loads((ROOT / "blender_manifest.toml").read_text(encoding="utf-8"))
    assert manifest["blender_version_min"] == f"{HOSTS[0].version}.0"
    dev = runpy.run_path(str(ROOT / "dev.py"), run_name="dev")
    assert dev["HOSTS"] == {host.python: host.name for host in HOSTS if host.is_usual}


def test_the_smoke_selection_names_files_that_exist() -> None:
    from devtools.hosts import SMOKE

    assert len(set(SMOKE)) == len(SMOKE) >= 5
    assert [name for name in SMOKE if not (ROOT / "tests" / "host" / f"{name}.py").exists()] == []


def test_an_unknown_host_gets_the_list_of_those_there_are() -> None:
    from devtools.hosts import host_of, usual_host
    from devtools.problems import SetUpError

    for wrong in (lambda: host_of("3.6"), lambda: usual_host((3, 12))):
        with pytest.raises(SetUpError, match=r"4\.2 \(Python 3\.11\).*5\.2 \(Python 3\.13\)"):
            wrong()


def test_a_host_s_packages_are_what_its_environment_installs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from devtools.environment import Environment
    from devtools.hosts import host_of

    (tmp_path / "pyproject.toml").touch()
    environment = Environment(tmp_path, host_of("4.2"))
    calls: list[list[str]] = []

    def pretend(command: list[str], log: object) -> None:
        calls.append(command)
        environment.python.parent.mkdir(parents=True, exist_ok=True)
        environment.python.touch()

    monkeypatch.setattr(environment, "_call", pretend)
    environment.ensure(frozenset({"host", "dev"}))
    assert environment.folder == tmp_path / ".venv" / "host-4.2"
    assert calls[-1][-1] == f"{tmp_path}[dev,host-4-2]"
    assert environment.ready(frozenset({"host"}))
    assert not Environment(tmp_path).ready(frozenset({"host"})), "the usual host is not set up by another one"


def test_set_ups_of_two_hosts_take_turns(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    from devtools.environment import Environment
    from devtools.hosts import host_of

    (tmp_path / "pyproject.toml").touch()
    one, other = Environment(tmp_path), Environment(tmp_path, host_of("5.0"))
    started, running, most = threading.Event(), [0], [0]

    def set_up(self: Environment, extras: frozenset[str]) -> None:
        running[0] += 1
        most[0] = max(most[0], running[0])
        started.set()
        waited_for(lambda: "Waiting for another set-up" in capsys.readouterr().err)
        running[0] -= 1

    monkeypatch.setattr(Environment, "_set_up", set_up)
    first = threading.Thread(target=one.ensure, args=(frozenset({"host"}),))
    first.start()
    assert started.wait(30)
    monkeypatch.setattr(Environment, "_set_up", lambda *_: most.append(running[0]))
    other.ensure(frozenset({"host"}))
    first.join(30)
    assert most == [1, 0], "the second one began when none was running"


def waited_for(happened: Callable[[], bool]) -> None:
    for _ in range(600):
        if happened():
            return
        time.sleep(0.05)
    raise AssertionError("it did not happen")


DEV_PY = """\
import sys
print("saw", sys.argv[1:])
sys.exit({"4.2": 0, "4.5": 3, "5.0": 0, "5.2": 4}[sys.argv[3]])
"""


@pytest.mark.parametrize("at_once", [1, 2])
def test_all_hosts_run_whatever_fails_and_the_summary_says_which(
    tmp_path: Path, at_once: int, monkeypatch: pytest.MonkeyPatch, capfd: Any
) -> None:
    from devtools import all_hosts
    from devtools.hosts import HOSTS
    from devtools.problems import SetUpError

    (tmp_path / "dev.py").write_text(DEV_PY)

    def python_of(version: tuple[int, int]) -> str:
        if version == (3, 13):
            raise SetUpError("there is no Python 3.13 on this machine")
        return sys.executable

    monkeypatch.setattr(all_hosts, "python_of", python_of)
    code = all_hosts.test_all_hosts(tmp_path, ["-k", "held"], smoke=HOSTS[1:-1], at_once=at_once)
    assert code == 3
    said, told = capfd.readouterr()
    if at_once > 1:
        said = "".join(path.read_text() for path in sorted((tmp_path / "out" / "tests").iterdir()))
        assert "---- the end of" in told and "'--host', '4.5'" in told
    assert [line for line in said.splitlines() if line.startswith("saw")] == [
        "saw ['test', '--host', '4.2', '-k', 'held']",
        "saw ['test', '--host', '4.5', '--smoke', '-k', 'held']",
        "saw ['test', '--host', '5.0', '--smoke', '-k', 'held']",
    ]
    lines = told.strip().splitlines()[-4:]
    assert [line.split(":")[0].split(",")[0] for line in lines] == [host.name for host in HOSTS]
    assert "all: passed" in lines[0] and "smoke test: failed with exit code 3" in lines[1]
    assert "smoke test: passed" in lines[2] and "not run: there is no Python 3.13" in lines[3]


def test_a_host_that_could_not_run_fails_the_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from devtools import all_hosts
    from devtools.hosts import HOSTS
    from devtools.problems import SetUpError

    def none(version: tuple[int, int]) -> str:
        raise SetUpError("there is none")

    monkeypatch.setattr(all_hosts, "python_of", none)
    assert all_hosts.test_all_hosts(tmp_path, [], hosts=HOSTS[:1]) == 2


def test_hosts_beside_each_other_say_how_far_they_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: Any
) -> None:
    from devtools import all_hosts
    from devtools.hosts import HOSTS

    (tmp_path / "dev.py").write_text(
        "import time, pathlib\n"
        "print('..... [  7%]\\n..... [ 55%]\\n...', flush=True)\n"
        "while not pathlib.Path('seen').exists(): time.sleep(0.01)\n"
    )
    monkeypatch.setattr(all_hosts, "TELL_EVERY", 0.05)
    monkeypatch.setattr(all_hosts, "python_of", lambda version: sys.executable)
    said: list[str] = []

    def say(text: str) -> None:
        said.append(text)
        if "55 %" in text:
            (tmp_path / "seen").touch()

    monkeypatch.setattr(all_hosts, "say", say)
    assert all_hosts.test_all_hosts(tmp_path, [], hosts=HOSTS[:1], at_once=2) == 0
    assert f"{HOSTS[0].name}: 55 % of the tests done" in said


def test_a_python_is_asked_for_its_version(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from devtools.problems import SetUpError
    from devtools.pythons import python_of

    assert python_of((sys.version_info[0], sys.version_info[1])) == sys.executable
    # One that only has the name of another version.
    there = tmp_path / "versions" / "3.99.1" / "bin"
    there.mkdir(parents=True)
    (there / "python").symlink_to(sys.executable)
    monkeypatch.setenv("PYENV_ROOT", str(tmp_path))
    monkeypatch.setenv("PATH", str(there))
    with pytest.raises(SetUpError, match=r"no Python 3\.99 on this machine"):
        python_of((3, 99))


@pytest.fixture
def ready(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[list[str]]]:
    """Every environment is set up; what would run."""
    from devtools import commands
    from devtools.environment import Environment

    calls: list[list[str]] = []
    monkeypatch.setattr(Environment, "ensure", lambda *_: None)
    monkeypatch.setattr(commands, "static_checks", lambda _: ())
    monkeypatch.setattr(commands, "call", lambda command, *_: calls.append(command) or 0)
    yield calls


def test_one_host_runs_in_its_own_environment_by_its_own_python(ready: list[list[str]]) -> None:
    from devtools import commands
    from devtools.hosts import HOSTS
    from devtools.pythons import python_of

    for host in HOSTS:
        ready.clear()
        assert commands.main(["test", "--host", host.version, "-k", "held"]) == 0
        (command,) = ready
        if host.python == sys.version_info[:2]:
            assert Path(command[0]).relative_to(ROOT).parts[:2] == (".venv", host.folder)
            assert command[1:] == ["-m", "pytest", "tests", "--ignore=tests/gui", "-k", "held"]
        else:
            dev_py = str(ROOT / "dev.py")
            assert command == [python_of(host.python), dev_py, "test", "--host", host.version, "-k", "held"]


def test_the_smoke_test_runs_the_selection_and_no_static_check(
    ready: list[list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    from devtools import commands
    from devtools.hosts import SMOKE

    monkeypatch.setattr(commands, "static_checks", lambda _: pytest.fail("a static check ran"))
    assert commands.main(["test", "--smoke"]) == 0
    assert [argument.split("[")[1].rstrip("]") for argument in ready[0] if "[" in argument] == list(SMOKE)


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (["--host", "3.6"], "there is no host '3.6'"),
        (["--ends"], "add --all-hosts"),
        (["--at-once", "2"], "add --all-hosts"),
        (["--host", "4.2", "--all-hosts"], "not allowed with"),
    ],
)
def test_a_wrong_choice_of_hosts_is_said_and_exits_with_2(
    arguments: list[str], part: str, ready: list[list[str]], capsys: Any
) -> None:
    from devtools import commands

    try:
        code = commands.main(["test", *arguments])
    except SystemExit as end:
        code = int(end.code or 0)
    assert code == 2 and ready == []
    assert part in capsys.readouterr().err
