"""A proof's results as files: data, a suite of tests, and the page. Needs no host."""

from __future__ import annotations

from pathlib import Path

from ..core.proof import results_json
from .text_files import write_text


def write_results(  # type: ignore[no-untyped-def]
    results, json: Path | None, junit: Path | None, html: Path | None, pictures=(), shots=(), compared=None
) -> None:
    """Write the forms of the results that were asked for."""
    from ..core.proof.report import html as page
    from ..core.proof.report import junit as suite

    for path, text in (
        (json, lambda: results_json.to_text(results)),
        (junit, lambda: suite.junit(results, compared)),
        (html, lambda: page.page(results, pictures, shots, compared)),
    ):
        if path is not None:
            write_text(path, text())
