"""What can go wrong on the user's machine, as one sentence each."""

from __future__ import annotations

import errno

_FULL = (errno.ENOSPC, errno.EDQUOT)
_REFUSED = (errno.EACCES, errno.EPERM, errno.EROFS)

FULL_DISK = "the disk is full: free about 3 GB where the checkout and the temporary folder are, and run this again"
NO_NETWORK = (
    "the package index can not be reached: check the network, the proxy and pip's index settings, and run this again"
)
NO_VENV = "this Python can not make virtual environments: install its venv and pip modules, and run this again"
NO_PERMISSION = "this user may not write where the environment goes: make the checkout writable, and run this again"
NO_MATCH = "the package index has no version of a needed package for this Python and machine"

# Texts of pip 23 to 26, urllib3 and the standard library. The order matters: a full disk and a dead network both end
# in further complaints, so the first cause comes first, and "no version found" counts only when the index answered.
_SIGNS = (
    (FULL_DISK, ("no space left on device", "[errno 28]", "disk quota exceeded", "not enough space on the disk")),
    (
        NO_VENV,
        ("ensurepip is not available", "no module named venv", "no module named ensurepip", "no module named pip"),
    ),
    (
        NO_NETWORK,
        (
            "failed to establish a new connection",
            "newconnectionerror",
            "name resolution",
            "connection refused",
            "connection broken",
            "connecttimeout",
            "readtimeout",
            "read timed out",
            "proxyerror",
            "cannot connect to proxy",
            "network is unreachable",
            "no route to host",
            "connection reset",
            "remotedisconnected",
            "certificate verify failed",
            "max retries exceeded",
            # Every index has setuptools, the first thing asked for; with retries turned off pip says no more than this.
            "requirement setuptools>=68 (from versions: none)",
        ),
    ),
    (
        NO_PERMISSION,
        ("permission denied", "read-only file system", "[errno 13]", "[errno 30]", "operation not permitted"),
    ),
    (NO_MATCH, ("no matching distribution found", "could not find a version that satisfies")),
)


class SetUpError(Exception):
    """The environment can not be made. The message is one sentence: what is wrong and what to do."""


def from_output(text: str) -> str | None:
    """The sentence for the output of a failed `venv` or `pip`, or None when nothing in it is known."""
    low = text.lower()
    return next((sentence for sentence, signs in _SIGNS if any(sign in low for sign in signs)), None)


def from_os_error(problem: OSError) -> str:
    """The sentence for an OSError met while setting up."""
    if problem.errno in _FULL:
        return FULL_DISK
    if problem.errno in _REFUSED:
        return NO_PERMISSION
    return f"{problem.strerror or problem}: {problem.filename or 'the environment'}"
