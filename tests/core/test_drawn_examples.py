"""A drawn example may take as long as a busy machine makes it take."""

from __future__ import annotations

from hypothesis import settings


def test_no_example_has_a_limit_of_time() -> None:
    assert settings().deadline is None and settings().print_blob
