"""Dependency cycles are found where the host prints one, and nowhere else: the host is the reference.

The rigs are made in a process of its own, whose words are kept apart: no other process may make a cycle.
"""

from __future__ import annotations

import json
import random
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent
COUNT = 60
LIMIT_SECONDS = 300


def _heard(out: Path, *what: str) -> dict[str, Any]:
    command = [sys.executable, str(HERE / "cycle_rigs.py"), str(out), *what]
    done = subprocess.run(command, capture_output=True, text=True, timeout=LIMIT_SECONDS, check=False)
    assert done.returncode == 0, done.stderr[-2000:].replace("ependency", "")
    return dict(json.loads(out.read_text()))


@pytest.fixture(scope="module")
def named(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What the host says of each rig of `cycle_cases.py`, and what is found."""
    return _heard(tmp_path_factory.mktemp("cycles") / "named.json", "named")


def _differ(results: dict[str, Any]) -> tuple[list[str], list[str]]:
    """Names of rigs whose cycle is missed, and of those that are accused of one."""
    missed = [name for name, one in results.items() if one["host"] and not one["found"]]
    accused = [name for name, one in results.items() if one["found"] and not one["host"]]
    return missed, accused


def test_each_way_to_wait_is_a_cycle_just_where_the_host_says_so(named: dict[str, Any]) -> None:
    assert _differ(named) == ([], [])
    # Neither answer would do by itself.
    assert sum(one["host"] for one in named.values()) >= 25
    assert sum(not one["host"] for one in named.values()) >= 25


def test_a_pole_below_its_own_chain_is_a_cycle_that_names_the_pole(named: dict[str, Any]) -> None:
    (what,) = named["pole below the chain"]["found"]
    assert " d" in what and " b" in what


def test_random_rigs_have_a_cycle_just_where_the_host_says_so(tmp_path: Path) -> None:
    first = random.SystemRandom().randrange(1_000_000)
    print(f"seeds {first} to {first + COUNT - 1}")
    results = _heard(tmp_path / "random.json", "random", str(first), str(COUNT))
    assert len(results) == COUNT
    assert _differ(results) == ([], [])
    assert 0 < sum(one["host"] for one in results.values()) < COUNT
