"""Inputs that once broke a reader, each with the reader that has to refuse it in words, or to take it."""

from __future__ import annotations

import io
import signal
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pytest
from fuzz_readers import BVH, CSV, LAYOUT, MAPPING, reader, readers, tried

from armwright.core.study import from_table

# Of processor time: an input for which the work grows with the square of its size would take hours.
PATIENCE_SECONDS = 20.0


class Hangs(AssertionError):
    """The reader does not come back."""


@contextmanager
def patience() -> Iterator[None]:
    """Ends what does not end by itself, where the system can."""
    if not hasattr(signal, "SIGVTALRM"):
        yield
        return

    def stop(*_: Any) -> None:
        raise Hangs

    before = signal.signal(signal.SIGVTALRM, stop)
    signal.setitimer(signal.ITIMER_VIRTUAL, PATIENCE_SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
        signal.signal(signal.SIGVTALRM, before)


def said(name: str, data: str | bytes) -> str:
    with patience():
        return tried(reader(name), data.encode("utf-8", "surrogatepass") if isinstance(data, str) else data)


@pytest.mark.parametrize("of", readers(), ids=lambda item: item.name)
def test_every_reader_takes_what_the_program_writes(of: Any) -> None:
    for data in of.seeds:
        assert tried(of, data) == ""


def sheet_text() -> str:
    return reader("sheet").seeds[0].decode()


@pytest.mark.parametrize("key", ['"\\U0001F9AD"', '"a\tb"', "'\"'", '"\\t"', '""', "''", "'\\U'"])
def test_a_sheets_key_is_anything_that_toml_allows(key: str) -> None:
    for text in (f"{key} = 1\n" + sheet_text(), sheet_text() + f"\n[{key}]\nx = 1\n", sheet_text() + f"[[x.{key}]]\n"):
        assert "unknown field" in said("sheet", text)


@pytest.mark.parametrize("form", ["{} = 1", "[{}]", "[[{}]]", "x = {{{} = 1}}", "x = [{{y = {{{} = 1}}}}]"])
@pytest.mark.parametrize("part", ["a", '"a"', "'a'"])
def test_a_key_of_very_many_parts_is_refused_before_it_is_read(form: str, part: str) -> None:
    key = ".".join([part] * 200_000)
    assert "parts" in said("sheet", form.format(key) + "\n" + sheet_text())
    assert "parts" in said("layout", LAYOUT + form.format(key) + "\n")


def test_dots_in_a_sheets_texts_are_no_parts_of_a_key() -> None:
    text = sheet_text()
    why = next(line for line in text.split("\n") if line.startswith("why = "))
    assert said("sheet", text.replace(why, f'why = "{"a." * 5_000}"')) == ""
    assert said("sheet", text.replace(why, f"why = '''{'a.' * 5_000}'''  # {'b.' * 5_000}")) == ""
    assert said("sheet", text.replace(why, f'why = """\n{"a." * 5_000}=1\n"""')) == ""


@pytest.mark.parametrize(
    "value", ["[]", "{}", "0x" + "f" * 6000, "1" * 5000, "1979-05-27", "nan", "inf", "true", "[" * 5000, "''"]
)
@pytest.mark.parametrize("key", ["rate", "unit", "up", "facing", "columns", "nonsense"])
def test_a_tables_head_holds_values_of_every_type_and_is_refused(key: str, value: str) -> None:
    layout = "\n".join(line for line in LAYOUT.split("[c")[0].split("\n") if not line.startswith(key))
    if (key, value) != ("columns", "{}"):
        assert said("layout", f"{key} = {value}\n{layout}")


def test_words_of_a_table_are_shown_short_and_harmless() -> None:
    long = "x" * 100_000
    for head in (
        LAYOUT.replace('"cm"', f'"{long}"'),
        LAYOUT.replace('"Z"', f'"{long}"'),
        LAYOUT.replace("L.tip.x", long),
    ):
        assert "x" * 20 in said("layout", head)
    for word in (long, "\x1b[2J", "\ufeff"):
        assert said("csv", CSV.replace("L.wrist.x", f"L.{word}.x"))
        assert said("csv", CSV.replace("L.elbow", f"{word}.elbow"))
        assert said("csv", CSV.replace("torso.turn.w", f"{word}.hand.w"))


@pytest.mark.parametrize("unit", ["5e-324", "1e-322", "1e308", "0", "-1", "NaN"])
def test_a_cards_unit_of_any_size_is_refused(unit: str) -> None:
    text = reader("card").seeds[0].decode()
    assert "unit" in said("card", text.replace('"unit_m": 1.0', f'"unit_m": {unit}'))


def test_the_name_of_an_arm_is_shown_harmless_wherever_it_is_wrong() -> None:
    text = reader("results").seeds[0].decode()
    for name in ("a\\u0000b", "a\\nb", "\\u001b[2J", "x" * 100_000):
        assert said("results", text.replace('{"L": {', f'{{"{name}": 1, "L": {{', 1))
        assert said("results", text.replace('"L"', f'"{name}"', 1))


@pytest.mark.parametrize("name", ["case", "shard", "mapping", "baseline", "results", "card", "study", "plan", "guide"])
def test_long_and_hostile_texts_are_shown_short_in_every_message(name: str) -> None:
    of = reader(name)
    for seed in of.seeds:
        text = seed.decode()
        words = sorted({word for word in text.split('"')[1::2] if word and "\\" not in word})
        # Every word is tried, one of the hostile texts in its place.
        for at, word in enumerate(words):
            for hostile in ("x" * 100_000, ("\\u001b[2J", "a\\nb", "\\ufeff", "\\ud800")[at % 4]):
                said(name, text.replace(f'"{word}"', f'"{hostile}"', 1))


def test_a_mapping_of_nested_lists_is_refused() -> None:
    for depth in (900, 980, 5_000, 9_990, 100_000):
        assert said("mapping", MAPPING.replace('"hand.L"', "[" * depth + "]" * depth))


@pytest.mark.parametrize("depth", [900, 960, 975, 985, 990, 995, 3_000, 9_990, 100_000])
def test_nesting_of_any_depth_ends_in_a_sentence(depth: int) -> None:
    for name, old in (("results", '"pass": 2'), ("plan", '"torso": "torso.1"'), ("card", '"rig": "Keeper"')):
        text = reader(name).seeds[0].decode()
        field = old.split(":")[0]
        start = text.index(field) + len(field) + 1
        end = min(place for place in (text.find(mark, start) for mark in ",}\n") if place > 0)
        assert said(name, text[:start] + "[" * depth + "0" + "]" * depth + text[end:])


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("Frames: 4", "Frames" + " " * 1_000_000 + "4 x"),
        ("Frame Time: 0", "Frame" + " " * 1_000_000 + "Time" + " " * 1_000_000 + "x 0"),
        ("HIERARCHY\n", "HIERARCHY\n" + "{ " * 400_000 + "\n"),
        ("HIERARCHY\n", "HIERARCHY\nX " + "{ " * 400_000 + "\n"),
        ("HIERARCHY\n", "HIERARCHY\n" + "} " * 400_000 + "\n"),
    ],
    ids=["frames", "frame time", "opening", "behind a word", "closing"],
)
def test_a_bvh_line_of_millions_of_blanks_or_braces_is_refused(old: str, new: str) -> None:
    assert "line" in said("bvh", BVH.replace(old, new))


@pytest.mark.parametrize("seconds", ["1e7", "1e-300", "1e-5"])
def test_frame_times_far_from_any_recordings_fill_no_memory(seconds: str) -> None:
    for name in ("bvh", "torso"):
        text = reader(name).seeds[0].decode()
        line = next(line for line in text.split("\n") if line.startswith("Frame Time"))
        answer = said(name, text.replace(line, f"Frame Time: {seconds}"))
        assert answer or (name, seconds) in (("torso", "1e-300"), ("torso", "1e-5"))


def archive(members: dict[str, bytes], method: int = zipfile.ZIP_STORED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(reader("npz").seeds[0])) as good, zipfile.ZipFile(out, "w", method) as made:
        for item in good.infolist():
            made.writestr(item.filename, members.pop(item.filename) if item.filename in members else good.read(item))
        for name, content in members.items():
            made.writestr(name, content)
    return out.getvalue()


def npy(header: str, content: bytes = bytes(192)) -> bytes:
    line = header.encode() + b"\n"
    return b"\x93NUMPY\x01\x00" + len(line).to_bytes(2, "little") + line + content


@pytest.mark.parametrize(
    "member",
    [
        npy("{'descr': '<f8', 'fortran_order': False, 'shape': (1000000000000, 3), }"),
        npy("{'descr': '<f8', 'fortran_order': False, 'shape': (60000000, 3), }"),
        npy("{'descr': '<f8', 'fortran_order': False, 'shape': (9223372036854775807, 3), }"),
        npy("{'descr': '<f8', 'fortran_order': False, 'shape': (-1, 3), }"),
        npy("{'descr': '<U500000000', 'fortran_order': False, 'shape': (), }"),
        npy("{'descr': '|O', 'fortran_order': False, 'shape': (8, 3), }"),
        npy("[" * 200),
        npy("{" * 60_000),
        npy("\x00"),
        npy("__import__('os')"),
        npy("{'descr': '<c16', 'fortran_order': False, 'shape': (), }"),
        npy("{'descr': '<m8[ns]', 'fortran_order': False, 'shape': (), }"),
        npy("{'descr': [('a', '<f8')], 'fortran_order': False, 'shape': (), }"),
        b"no array",
        b"",
    ],
    ids=lambda data: repr(data[9:50]),
)
@pytest.mark.parametrize("name", ["L.wrist.npy", "L.wrist", "rate.npy", "unit.npy", "up.npy", "hips", "columns.npy"])
def test_an_archive_that_lies_about_its_arrays_is_refused(name: str, member: bytes) -> None:
    assert said("npz", archive({name: member}))


def test_an_archive_that_is_encrypted_damaged_or_packed_in_an_unknown_way_is_refused() -> None:
    good = archive({}, zipfile.ZIP_DEFLATED)
    at = good.rfind(b"PK\x01\x02")
    for place, value in (
        (8, b"\x01\x00"),
        (10, b"\x63\x00"),
        (6, b"\xff\x00"),
        (24, b"\xff\xff\xff\x7f"),
        (24, b"\xff\xff\xff\xff"),
    ):
        assert said("npz", good[: at + place] + value + good[at + place + len(value) :])
    for place in range(30, at, 37):
        said("npz", good[:place] + bytes([good[place] ^ 0x55]) + good[place + 1 :])
    for method in (zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA):
        packed = archive({}, method)
        for place in range(30, len(packed), 97):
            said("npz", packed[:place] + bytes([packed[place] ^ 0x55]) + packed[place + 1 :])


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_an_archive_by_a_method_that_numpy_does_not_use_is_refused_before_it_is_unpacked(method: int) -> None:
    assert "another method" in said("npz", archive({}, method))


@pytest.mark.parametrize(
    "word", ["\x1c8", "8\x1f", "\x85", "1_", "\u2003 4", "٣", "１", "8\x00", "\ud800", "1e", "0x1p3"]
)
def test_a_word_of_a_table_that_is_no_number_is_named(word: str) -> None:
    said("csv", CSV.replace("18,0,140", f"{word},0,140"))


def test_an_archive_of_zeros_far_larger_than_itself_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(from_table, "MAX_BYTES", 1 << 20)
    huge = npy("{'descr': '<f8', 'fortran_order': False, 'shape': (100000, 3), }", bytes(2_400_000))
    assert "when unpacked" in said("npz", archive({"hips.npy": huge}, zipfile.ZIP_DEFLATED))


def test_numbers_at_the_edge_of_what_a_double_holds_make_no_mesh() -> None:
    of = reader("mesh")
    count = int.from_bytes(of.seeds[0][:2], "little")
    vertices = np.frombuffer(of.seeds[0][2 : 2 + 24 * count], np.float64)
    for factor in (0.0, 1e-320, 1e-200, 1e-9, 1e9, 1e100, 1e150, 1e151, 1e160, 1e308):
        said("mesh", of.seeds[0][:2] + (vertices * factor).tobytes() + of.seeds[0][2 + 24 * count :])
