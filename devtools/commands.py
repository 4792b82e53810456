"""The commands of dev.py: each sets up what it needs, runs, and passes the exit code on."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from . import package
from .all_hosts import test_all_hosts
from .environment import Environment, say
from .hosts import HOSTS, SMOKE, host_of
from .problems import SetUpError
from .pythons import python_of
from .static_checks import static_checks

ROOT = Path(__file__).resolve().parent.parent
BAD_INPUT, INTERRUPTED = 2, 130
PATIENCE_SECONDS = 10
IN_HOST = "tests/host/test_in_host.py::test_all_hold_in_a_host_of_their_own"
HOST, EVERYTHING = frozenset({"host"}), frozenset({"host", "dev"})
FUZZ = EVERYTHING | {"fuzz"}

HELP = """\
usage: dev.py COMMAND [ARGS...]

  demo         build the demo character, prove its arms, write out/demo/
  test ARGS    every test that needs no window, and the static checks; ARGS go to pytest (paths from the checkout)
               --host 4.2 takes another host than the usual one of this Python, --all-hosts every one in turn;
               --smoke runs a few host tests only, --ends the oldest and newest in full and the others so;
               --at-once N runs N hosts at the same time
  run ARGS     python -m armwright ARGS, in the current directory
  bench ARGS   python -m armwright bench ARGS
  package      the extension as a zip in out/package/, validated, installed for a new user, and arms proven with it;
               --out FOLDER puts it elsewhere, --host 4.2 takes another host
  lint         the static checks: ruff, mypy, import contract
  fuzz         hostile inputs for every reader of a file; --inputs 100000 --seed 1
  reference    write docs/reference.md from the code; --check only compares

The first time each sets up its environment in .venv/, which takes some minutes and needs the network.
"""


def main(arguments: Sequence[str]) -> int:
    """Run one command; returns its exit code, 2 for a wrong call or a set-up that failed."""
    commands = {
        "demo": _demo,
        "test": _test,
        "run": _run,
        "bench": _bench,
        "package": _package,
        "lint": _lint,
        "fuzz": _fuzz,
        "reference": _reference,
    }
    if arguments and arguments[0] in ("-h", "--help", "help"):
        print(HELP, end="")
        return 0
    if not arguments or arguments[0] not in commands:
        print(HELP, end="", file=sys.stderr)
        if arguments:
            print(f"dev.py: there is no command {arguments[0]!r}; take one of {', '.join(commands)}.", file=sys.stderr)
        return BAD_INPUT
    try:
        return commands[arguments[0]](Environment(ROOT), list(arguments[1:]))
    except SetUpError as problem:
        print(f"dev.py: {problem}", file=sys.stderr)
        return BAD_INPUT


def _run(environment: Environment, arguments: list[str]) -> int:
    environment.ensure(HOST)
    return call(_armwright(environment, arguments))


def _bench(environment: Environment, arguments: list[str]) -> int:
    return _run(environment, ["bench", *arguments])


def _demo(environment: Environment, arguments: list[str]) -> int:
    environment.ensure(HOST)
    return call(_armwright(environment, ["demo", "--out", "out/demo", *arguments]), ROOT)


def _armwright(environment: Environment, arguments: list[str]) -> list[str]:
    # -P: a file of the user's in the current directory must not stand in for a module of ours.
    return [str(environment.python), "-P", "-m", "armwright", *arguments]


def _lint(environment: Environment, arguments: list[str]) -> int:
    argparse.ArgumentParser(prog="dev.py lint", description="Ruff, mypy and the import contract.").parse_args(arguments)
    environment.ensure(EVERYTHING)
    return 1 if _failed_static_checks(environment) else 0


def _reference(environment: Environment, arguments: list[str]) -> int:
    environment.ensure(HOST)
    return call([str(environment.python), str(ROOT / "devtools" / "reference.py"), *arguments])


def _package(environment: Environment, given: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="dev.py package", description="Build, validate and try out the extension.")
    parser.add_argument("--out", type=Path, default=ROOT / "out" / "package", help="folder of the zip: %(default)s")
    parser.add_argument("--host", type=host_of, help="the host that builds and tries it, such as 4.2")
    options = parser.parse_args(given)
    host = options.host
    if host is not None and host.python != sys.version_info[:2]:
        return call([python_of(host.python), str(ROOT / "dev.py"), "package", *given])
    if host is not None:
        environment = Environment(ROOT, host)
    environment.ensure(HOST)
    package.try_out(environment, package.build(environment, options.out))
    return 0


def _fuzz(environment: Environment, arguments: list[str]) -> int:
    environment.ensure(FUZZ)
    return call([str(environment.python), str(ROOT / "devtools" / "fuzz.py"), *arguments], ROOT)


def _test(environment: Environment, given: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="dev.py test", add_help=False, allow_abbrev=False)
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--host", type=host_of)
    which.add_argument("--all-hosts", action="store_true")
    parser.add_argument("--smoke", action="store_true")
    parser.add_argument("--ends", action="store_true")
    parser.add_argument("--at-once", type=int, default=1, choices=range(1, len(HOSTS) + 1))
    options, arguments = parser.parse_known_args(given)
    if options.all_hosts:
        smoke = HOSTS if options.smoke else HOSTS[1:-1] if options.ends else ()
        return test_all_hosts(ROOT, arguments, smoke=smoke, at_once=options.at_once)
    if options.ends or options.at_once > 1:
        parser.error("--ends and --at-once are about several hosts: add --all-hosts")
    host = options.host
    if host is not None and host.python != sys.version_info[:2]:
        return call([python_of(host.python), str(ROOT / "dev.py"), "test", *given], ROOT)
    if host is not None:
        environment = Environment(ROOT, host)
    environment.ensure(EVERYTHING)
    # They read the code, which is the same in every host: once for a Python is enough.
    failed = [] if options.smoke or (host is not None and not host.is_usual) else _failed_static_checks(environment)
    where = [] if any(names_tests(argument) for argument in arguments) else ["tests", "--ignore=tests/gui"]
    if options.smoke:
        where = [f"{IN_HOST}[{name}]" for name in SMOKE]
    code = call([str(environment.python), "-m", "pytest", *where, *arguments], ROOT)
    if failed:
        say(f"Failed besides the tests: {', '.join(failed)}")
    return code or (1 if failed else 0)


def names_tests(argument: str) -> bool:
    """Whether an argument to pytest names a test file, folder or node of the checkout."""
    return not argument.startswith("-") and (ROOT / argument.split("::")[0]).exists()


def _failed_static_checks(environment: Environment) -> list[str]:
    failed = []
    for check in static_checks(environment):
        say(f"{check.name} ...")
        if call(list(check.command), check.folder, {**os.environ, **check.variables}):
            failed.append(check.name)
    return failed


def call(command: list[str], folder: Path | None = None, variables: dict[str, str] | None = None) -> int:
    """Run a command with the user's own input and output; its exit code, as a shell would give it."""
    sys.stdout.flush()
    process = subprocess.Popen(command, cwd=folder, env=variables)
    try:
        code = process.wait()
    except KeyboardInterrupt:
        # A terminal interrupts the command as well: let it clean up, and end it only if it does not.
        for end in (process.terminate, process.kill):
            try:
                process.wait(timeout=PATIENCE_SECONDS)
                return INTERRUPTED
            except subprocess.TimeoutExpired:
                end()
        process.wait()
        return INTERRUPTED
    return code if code >= 0 else 128 - code
