"""`proof --baseline`: the earlier proof, refused where it can not be one before anything is measured."""

from __future__ import annotations

import argparse
from pathlib import Path

from ...core.errors import ProofError
from ...core.proof import results_json
from ...core.proof.history import check_growth
from ...core.proof.results import Results


def read(options: argparse.Namespace) -> Results | None:
    """The earlier proof that the options name; None where they name none. Raises ProofError."""
    if options.baseline is None:
        return None
    check_growth(options.growth)
    check_kept(options, options.baseline)
    try:
        return results_json.read(options.baseline)
    except ProofError as problem:
        raise ProofError(f"--baseline {options.baseline}: {problem}") from None


def check_kept(options: argparse.Namespace, baseline: Path) -> None:
    """Refuse an output that would be written over the baseline: the next proof would compare with the worse one."""
    for name in ("json", "junit", "html"):
        path = getattr(options, name)
        if path is not None and path.resolve() == baseline.resolve():
            raise ProofError(f"--{name} would write over the baseline {str(path)!r}: choose another name")
