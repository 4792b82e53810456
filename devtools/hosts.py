"""The hosts that Armwright is tested on, oldest first: each has an environment of its own."""

from __future__ import annotations

from dataclasses import dataclass

from .problems import SetUpError


@dataclass(frozen=True)
class Host:
    """A version of the host.

    version: as people say it, such as "4.5".
    name: with its kind of support, for people.
    python: the Python that its wheel is for.
    extra: what `pyproject.toml` calls the packages of it.
    folder: its environment in `.venv/`.
    """

    version: str
    name: str
    python: tuple[int, int]
    extra: str
    folder: str

    @property
    def is_usual(self) -> bool:
        """Whether every command of this Python takes it."""
        return self.extra == "host"


HOSTS = (
    Host("4.2", "Blender 4.2 LTS", (3, 11), "host-4-2", "host-4.2"),
    Host("4.5", "Blender 4.5 LTS", (3, 11), "host", "3.11"),
    Host("5.0", "Blender 5.0", (3, 11), "host-5-0", "host-5.0"),
    Host("5.2", "Blender 5.2 LTS", (3, 13), "host", "3.13"),
)

# What a host has to do to be one at all: register, build and build again from a file of before, switch with keys, hold
# on to things, be linked, play a proof. Names of files in tests/host.
SMOKE = (
    "host_registration",
    "host_build",
    "host_upgrade",
    "host_keys",
    "host_spaces",
    "host_linked",
    "host_proof",
    "host_one_check",
)


def usual_host(python: tuple[int, int]) -> Host:
    """The host that every command takes under a Python. Raises SetUpError where there is none."""
    for host in HOSTS:
        if host.is_usual and host.python == python:
            return host
    raise SetUpError(f"there is no host for Python {python[0]}.{python[1]}: take one of {listed()}")


def host_of(version: str) -> Host:
    """The host of a version such as "4.2". Raises SetUpError for one that nothing is tested on."""
    for host in HOSTS:
        if host.version == version:
            return host
    raise SetUpError(f"there is no host {version!r}: take one of {listed()}")


def listed() -> str:
    """Every host with its Python, for people."""
    return ", ".join(f"{host.version} (Python {host.python[0]}.{host.python[1]})" for host in HOSTS)
