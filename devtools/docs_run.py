"""Which test runs each command that the documentation tells people to run.

`tests/host/host_docs.py` runs all that `python -m armwright` gets, but those that another test runs already, at length.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from .docs_commands import Command


@dataclass(frozen=True)
class Runner:
    """A test file that runs commands.

    Attributes:
        command: pattern at the start of the command's words, joined by spaces; dev.py's have `dev.py ` in front.
        file: pattern of its path in the checkout.
        shows: what stands in that file because it runs them.
    """

    command: str
    file: str
    shows: str


HERE = Runner("", "tests/host/host_docs.py", "docs_commands")
ELSEWHERE = (
    Runner(r"dev\.py test .*--(all-hosts|host)\b", "tests/dev/test_hosts.py", "--all-hosts"),
    Runner(r"dev\.py test .*--smoke", "tests/dev/test_hosts.py", "SMOKE"),
    Runner(r"dev\.py test\b", "tests/dev/test_dev.py", '"test"'),
    Runner(r"dev\.py lint\b", "tests/dev/test_dev.py", '"lint"'),
    Runner(r"dev\.py package\b", "tests/dev/test_package.py", "package.build("),
    Runner(r"dev\.py reference\b", "tests/dev/test_reference.py", "reference"),
    Runner(r"dev\.py fuzz\b", "tests/**/*fuzz*.py", "fuzz"),
    Runner(r"bench\b", "tests/**/*bench*.py", "bench"),
    Runner(r"proof .*--(workers|time-limit|memory-limit)\b", "tests/host/host_farm.py", '"--workers"'),
    Runner(r"(build|proof) .*--sheet\b", "tests/host/host_sheet.py", '"--sheet"'),
    Runner(r"transfer .*out/study/keeper\.blend", "tests/host/host_sheet.py", '"transfer"'),
)


def runner_of(command: Command) -> Runner | None:
    """The test file that runs `command`; None if none does."""
    given = command.armwright()
    line = " ".join(given) if given is not None else " ".join(("dev.py", *command.words))
    for item in ELSEWHERE:
        if re.match(item.command, line):
            return item
    return HERE if given is not None else None
