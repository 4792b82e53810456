"""dev.py as its user meets it: one command, one sentence when something is missing, nothing done twice."""

from __future__ import annotations

import ast
import importlib.util
import os
import re
import runpy
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
DEV: dict[str, Any] = runpy.run_path(str(ROOT / "dev.py"), run_name="dev")

STAND_IN = """\
import os, sys, time
if sys.argv[1] == "wait":
    try:
        print("waiting", flush=True)
        time.sleep(60)
    except KeyboardInterrupt:
        sys.exit(7)
print(sys.argv[2:], os.getcwd())
sys.exit(int(sys.argv[1]))
"""


def old_pythons() -> list[Path]:
    """The Pythons of this machine that dev.py does not take, as far as pyenv knows any."""
    versions = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions"
    found = sorted(versions.glob("[23].*/bin/python"))
    return [path for path in found if not re.match(r"3\.1[13]\.", path.parents[1].name)]


def dev(clone: Path, *arguments: str, **variables: str) -> subprocess.CompletedProcess[str]:
    """Run the clone's dev.py from the folder above it."""
    return subprocess.run(
        [sys.executable, str(clone / "dev.py"), *arguments],
        cwd=clone.parent,
        env={**os.environ, **variables},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def one_sentence(text: str) -> str:
    """The last line of `text`, which has to be dev.py's own and the only one of an error."""
    assert "Traceback" not in text, text
    lines = text.strip().splitlines()
    assert sum(line.startswith("dev.py: ") for line in lines) == 1, text
    assert lines[-1].startswith("dev.py: "), text
    return lines[-1]


def set_up(clone: Path, *extras: str) -> Any:
    """An environment that a finished set-up left behind, with a stand-in for the package and without the host."""
    from devtools.environment import Environment

    environment = Environment(clone)
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(environment.folder)], check=True)
    packages = next(environment.folder.glob("lib/python*/site-packages"), environment.folder / "Lib/site-packages")
    (packages / "armwright").mkdir()
    (packages / "armwright" / "__init__.py").touch()
    (packages / "armwright" / "__main__.py").write_text(STAND_IN)
    finish(environment, *extras)
    return environment


def finish(environment: Any, *extras: str) -> None:
    """Leave the stamp of a finished set-up."""
    import json

    environment.stamp.write_text(json.dumps({"digest": environment.digest(), "extras": list(extras)}))


@pytest.mark.parametrize("version", [(2, 7, 18), (3, 6, 15), (3, 10, 13), (3, 12, 1), (3, 14, 0), (4, 11)])
def test_another_python_gets_one_sentence_that_names_those_it_takes(version: tuple[int, ...]) -> None:
    sentence = DEV["version_problem"](version)
    assert "3.11" in sentence and "3.13" in sentence
    assert ".".join(map(str, version)) in sentence
    assert sentence.endswith(".") and "\n" not in sentence


@pytest.mark.parametrize("version", [(3, 11, 0), (3, 11, 15), (3, 13, 0)])
def test_the_pythons_of_the_hosts_are_taken(version: tuple[int, ...]) -> None:
    assert DEV["version_problem"](version) is None


def test_dev_py_refuses_before_it_imports_anything_of_the_checkout(
    monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    monkeypatch.setattr(sys, "version_info", (3, 12, 1))
    monkeypatch.setitem(sys.modules, "devtools", None)
    assert DEV["main"](["demo"]) == 2
    assert "Python 3.12.1" in one_sentence(capsys.readouterr().err)


def test_dev_py_keeps_to_a_syntax_that_old_pythons_parse() -> None:
    tree = ast.parse((ROOT / "dev.py").read_text(encoding="utf-8"), feature_version=(3, 4))
    newer = (ast.JoinedStr, ast.AnnAssign, ast.NamedExpr, ast.AsyncFunctionDef, ast.Match, ast.Starred, ast.Nonlocal)
    assert [node.lineno for node in ast.walk(tree) if isinstance(node, newer)] == []
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    assert all(node.returns is None and not node.args.kwonlyargs for node in functions)
    assert all(argument.annotation is None for node in functions for argument in node.args.args)
    assert (ROOT / "dev.py").read_bytes().isascii()


def test_every_other_python_of_this_machine_says_it_and_exits_with_2() -> None:
    # Without any, the tests above are what remains: the function with the version given, and the syntax.
    for python in old_pythons():
        done = subprocess.run([str(python), str(ROOT / "dev.py"), "demo"], capture_output=True, check=False)
        assert (done.returncode, done.stdout) == (2, b""), python
        assert "3.11" in one_sentence(done.stderr.decode()), python


def test_without_a_network_the_set_up_ends_with_one_sentence_and_a_log(clone: Path) -> None:
    offline = {
        "PIP_CONFIG_FILE": os.devnull,
        "PIP_INDEX_URL": "http://127.0.0.1:9/simple",
        "PIP_EXTRA_INDEX_URL": "",
        "PIP_FIND_LINKS": "",
        "PIP_NO_CACHE_DIR": "1",
        "PIP_RETRIES": "0",
    }
    done = dev(clone, "run", "plan", **offline)
    assert done.returncode == 2, done.stderr
    sentence = one_sentence(done.stderr)
    assert "package index can not be reached" in sentence
    log = re.search(r"said: (.*)\)\.$", sentence)
    assert log and not Path(log[1]).is_absolute()
    assert "127.0.0.1" in (clone.parent / log[1]).read_text()
    # The half-made environment is seen and remade by the next call.
    again = dev(clone, "run", "plan", **offline)
    assert again.returncode == 2
    assert "Removing the unfinished environment" in again.stderr


@pytest.mark.parametrize(
    ("output", "part"),
    [
        ("ERROR: Could not install packages due to an OSError: [Errno 28] No space left on device", "disk is full"),
        ("The virtual environment was not created successfully because ensurepip is not available.", "venv and pip"),
        ("/usr/bin/python3: No module named venv", "venv and pip"),
        (
            "WARNING: Retrying (Retry(total=0)) after connection broken by 'NewConnectionError(...: [Errno -3] "
            "Temporary failure in name resolution')'\nERROR: Could not find a version that satisfies the requirement",
            "can not be reached",
        ),
        ("WARNING: ... 'ProxyError('Cannot connect to proxy.')'\nERROR: No matching distribution found", "can not be"),
        ("ERROR: Could not install packages due to an OSError: [Errno 13] Permission denied: 'x'", "may not write"),
        ("ERROR: No matching distribution found for bpy==5.2.*", "no version of a needed package"),
    ],
)
def test_the_cause_is_read_from_what_pip_and_venv_say(output: str, part: str) -> None:
    from devtools.problems import from_output

    assert part in (from_output(output) or "")


def test_an_unknown_failure_of_pip_is_not_guessed_at() -> None:
    from devtools.problems import from_output

    assert from_output("ERROR: metadata-generation-failed") is None


@pytest.mark.parametrize(
    ("code", "part"), [(28, "disk is full"), (30, "may not write"), (13, "may not write"), (5, "Input/output")]
)
def test_a_disk_that_refuses_ends_the_set_up_with_one_sentence(
    clone: Path, code: int, part: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from devtools.environment import Environment
    from devtools.problems import SetUpError

    def refuse(*_: object, **__: object) -> None:
        raise OSError(code, os.strerror(code), "x")

    monkeypatch.setattr(Path, "write_text", refuse)
    with pytest.raises(SetUpError, match=part):
        Environment(clone).ensure(frozenset({"host"}))


def test_a_disk_that_fills_up_under_pip_is_named(clone: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from devtools import environment
    from devtools.problems import SetUpError

    said = "print('Collecting numpy'); raise SystemExit('ERROR: [Errno 28] No space left on device')"
    with (clone / "log").open("w") as log, pytest.raises(SetUpError, match=r"disk is full.*said: .*setup\.log"):
        environment.Environment(clone)._call([sys.executable, "-c", said], log)
    assert "Collecting numpy" in (clone / "log").read_text()


@pytest.mark.parametrize("code", [0, 1, 2, 77])
def test_run_passes_arguments_exit_code_and_directory_through(clone: Path, code: int) -> None:
    set_up(clone, "host")
    done = dev(clone, "run", str(code), "--help", "a b", "", "*")
    assert done.returncode == code
    assert done.stdout == f"{['--help', 'a b', '', '*']} {clone.parent.resolve()}\n"
    assert done.stderr == "", "a second run sets nothing up and says nothing"


def test_a_file_in_the_current_directory_does_not_stand_in_for_a_module(clone: Path) -> None:
    set_up(clone, "host")
    (clone.parent / "armwright.py").write_text("raise SystemExit(99)")
    assert dev(clone, "run", "0").returncode == 0


def test_demo_writes_beside_the_checkout_s_own_files(clone: Path) -> None:
    environment = set_up(clone, "host")
    package = next(environment.folder.rglob("armwright/__main__.py"))
    package.write_text("import os, sys; print(sys.argv[1:], os.getcwd())")
    assert dev(clone, "demo").stdout == f"{['demo', '--out', 'out/demo']} {clone.resolve()}\n"


def test_a_set_up_environment_calls_neither_venv_nor_pip(clone: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    environment = set_up(clone, "dev", "host")
    monkeypatch.setattr(environment, "_call", lambda *_: pytest.fail("a set-up ran"))
    environment.ensure(frozenset({"host"}))
    environment.ensure(frozenset({"host", "dev"}))


@pytest.mark.parametrize("reason", ["extras", "pyproject", "moved"])
def test_pip_runs_again_when_what_it_installed_is_no_longer_enough(
    clone: Path, reason: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    environment = set_up(clone, "host")
    if reason == "pyproject":
        with (clone / "pyproject.toml").open("a") as file:
            file.write("# changed\n")
    if reason == "moved":
        from devtools.environment import Environment

        environment = Environment(clone.rename(clone.with_name("elsewhere")))
    calls: list[list[str]] = []
    monkeypatch.setattr(environment, "_call", lambda command, log: calls.append(command))
    wanted = frozenset({"host", "dev"} if reason == "extras" else {"host"})
    environment.ensure(wanted)
    assert [command[1:5] for command in calls] == [["-I", "-m", "pip", "install"]]
    assert calls[0][-1].endswith("[dev,host]" if reason == "extras" else "[host]")
    assert environment.ready(wanted)


def test_an_interrupted_set_up_is_remade_from_nothing(clone: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    environment = set_up(clone, "host")
    environment.unfinished.touch()
    leftover = environment.folder / "half a package"
    leftover.touch()
    calls: list[list[str]] = []

    def pretend(command: list[str], log: object) -> None:
        calls.append(command)
        environment.folder.mkdir(exist_ok=True)

    monkeypatch.setattr(environment, "_call", pretend)
    environment.ensure(frozenset({"host"}))
    assert not leftover.exists()
    assert [command[3] for command in calls] == ["venv", "pip"] and calls[0][2] == "-m"


def interruptible(clone: Path, argument: str) -> subprocess.Popen[str]:
    """`dev.py run` in a session of its own that listens to interrupts, even where who started the tests does not."""
    return subprocess.Popen(
        [sys.executable, str(clone / "dev.py"), "run", argument],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )


def test_an_interrupted_command_cleans_up_and_ends_with_130_and_no_trace(clone: Path) -> None:
    set_up(clone, "host")
    process = interruptible(clone, "wait")
    assert process.stdout is not None and process.stdout.readline() == "waiting\n"
    os.killpg(process.pid, signal.SIGINT)
    _, errors = process.communicate(timeout=30)
    assert (process.returncode, errors) == (130, "")


def test_an_interrupted_set_up_ends_with_130_and_is_not_taken_for_finished(clone: Path) -> None:
    process = interruptible(clone, "0")
    unfinished = clone / ".venv" / f"{sys.version_info[0]}.{sys.version_info[1]}.unfinished"
    for _ in range(600):
        if unfinished.exists():
            break
        time.sleep(0.05)
    os.killpg(process.pid, signal.SIGINT)
    _, errors = process.communicate(timeout=30)
    assert process.returncode == 130
    assert "Traceback" not in errors
    assert unfinished.exists()


@pytest.mark.parametrize("arguments", [[], ["dance"]])
def test_a_wrong_call_shows_the_commands_and_exits_with_2(clone: Path, arguments: list[str]) -> None:
    done = dev(clone, *arguments)
    assert done.returncode == 2 and done.stdout == ""
    for command in ("demo", "test", "run", "bench", "package", "lint"):
        assert f"\n  {command} " in done.stderr


def test_the_type_stubs_of_the_host_do_not_stand_in_for_the_host() -> None:
    spec = importlib.util.find_spec("bpy")
    assert spec is not None and spec.origin is not None
    binaries = [path for path in Path(spec.origin).parent.iterdir() if path.suffix in (".so", ".pyd", ".dylib")]
    assert binaries, spec.origin


def test_a_failed_static_check_fails_the_whole_test_command(monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    from devtools import commands
    from devtools.static_checks import Check

    class Ready:
        python = Path(sys.executable)

        def ensure(self, extras: frozenset[str]) -> None:
            pass

    for lint, expected in ((0, 0), (1, 1)):
        check = Check("a check", (sys.executable, "-c", f"raise SystemExit({lint})"), ROOT)
        monkeypatch.setattr(commands, "static_checks", lambda _, check=check: (check,))
        assert commands._test(Ready(), ["--version"]) == expected  # type: ignore[arg-type]
    assert "Failed besides the tests: a check" in capsys.readouterr().err
