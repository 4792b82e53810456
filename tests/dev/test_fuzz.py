"""The fuzzer's watch: what is no sentence of ours is kept, once for each place, and inputs are counted."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from types import SimpleNamespace

import pytest

pytest.importorskip("resource")


def test_a_planted_defect_is_found_kept_and_told_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from devtools import fuzz

    def tried(of: SimpleNamespace, data: bytes) -> str:
        if data.startswith(b"!"):
            raise ZeroDivisionError("planted")
        if data.startswith(b"~"):
            raise MemoryError
        return "" if data == b"good" else "refused in words"

    monkeypatch.setattr(fuzz, "CASES", tmp_path)
    options = argparse.Namespace(child=str(tmp_path / "told.json"), inputs=6, seed=1)
    watch = fuzz._Watch(options, SimpleNamespace(name="made plan"), tried)
    for data in (b"good", b"bad", b"!1", b"!2", b"~", b"good", b"after the end"):
        watch.take(data)
    told = json.loads((tmp_path / "told.json").read_text())
    assert (told["inputs"], told["taken"], told["finished"]) == (6, 2, True)
    assert [finding.split(" ")[0] for finding in told["findings"]] == ["ZeroDivisionError", "MemoryError"]
    assert sorted(path.read_bytes() for path in tmp_path.glob("made-plan-*.bin")) == [b"!1", b"~"]


def test_an_input_that_does_not_end_is_stopped_and_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import signal

    from devtools import fuzz

    def stop(*_: object) -> None:
        raise fuzz.TooLong

    def endless(of: SimpleNamespace, data: bytes) -> str:
        while True:
            pass

    monkeypatch.setattr(fuzz, "CASES", tmp_path)
    monkeypatch.setattr(fuzz, "MOST_SECONDS", 0.2)
    before = signal.signal(signal.SIGVTALRM, stop)
    try:
        options = argparse.Namespace(child=str(tmp_path / "told.json"), inputs=1, seed=1)
        watch = fuzz._Watch(options, SimpleNamespace(name="bvh"), endless)
        watch.take(b"round")
    finally:
        signal.signal(signal.SIGVTALRM, before)
    assert watch.told["findings"][0].startswith("TooLong")
    assert [path.read_bytes() for path in tmp_path.glob("bvh-*.bin")] == [b"round"]
