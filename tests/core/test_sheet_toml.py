"""A requirement sheet reads back as it was written, and each mistake in one is told with its line and field."""

from __future__ import annotations

import hashlib
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from sheets import LEFT, RECORDING, SHEET, sheets

from armwright.core.errors import SheetError
from armwright.core.sheet import sheet_toml
from armwright.core.sheet.model import ArmSheet, Need, Sheet

TEXT = sheet_toml.to_text(SHEET)


def line_of(text: str, start: str, count: int = 1) -> int:
    """The number of the `count`th line of `text` that starts so."""
    return [at for at, line in enumerate(text.split("\n"), 1) if line.startswith(start)][count - 1]


@settings(deadline=None)
@given(sheets())
def test_any_sheet_reads_back_as_it_was_and_the_standard_librarys_reader_agrees(sheet: Sheet) -> None:
    text = sheet_toml.to_text(sheet)
    found, places = sheet_toml.from_text(text)
    assert found == sheet
    data = tomllib.loads(text)
    lines = text.split("\n")
    for path, line in places.lines.items():
        value = data
        for step in path:
            value = value[step]
        if path and isinstance(path[-1], str) and not isinstance(value, dict):
            assert lines[line - 1].startswith(f"{path[-1]} = ")


def test_what_a_person_changes_in_form_changes_nothing() -> None:
    edited = TEXT.replace("frames = [[0, 40], [90, 99]]", "frames = [\n  [0, 40], # a bracket: ]\n  [90, 99],\n]")
    edited = edited.replace('requirement = "hold-hand"', "  'requirement'   = 'hold-hand' # held")
    edited = edited.replace('why = "it shrugs"', 'why = """it \\\n  shrugs"""')
    edited = "\ufeff" + edited.replace("\n", "\r\n")
    found, places = sheet_toml.from_text(edited.encode())
    assert found == SHEET
    plain = edited.replace("\r\n", "\n").removeprefix("\ufeff")
    assert places.line(("arms", 0, "needs", 1, "requirement")) == line_of(plain, "  'requirement'")
    assert places.line(("arms", 1, "needs", 0, "requirement")) == line_of(plain, 'requirement = "hold-elbow"')


WRONG = [
    ("a key", ('requirement = "swing"', 'reqirement = "swing"'), 'unknown field "reqirement", perhaps "requirement"'),
    ("a table", ("[torso]", "[troso]"), 'unknown field "troso", perhaps "torso"'),
    ("a requirement", ('"hold-elbow"', '"hold-elbwo"'), r"arms\[1\].needs\[0\].requirement: .*perhaps 'hold-elbow'"),
    (
        "a span",
        ("[70, 80]]\n\n[[arms.needs]]", "[80, 70]]\n\n[[arms.needs]]"),
        r"needs\[1\].frames\[1\]: frames 80 to 70",
    ),
    ("a late span", ("[90, 99]", "[90, 100]"), r"frames 90 to 100, of 0 to 99"),
    ("no most", ("most = 1.12", "# most = 1.12"), r"needs\[2\]: 'stretch' needs to know how far"),
    ("a most too many", ('"swing"', '"swing"\nmost = 1.2'), r"needs\[0\].most: 'swing' has no most"),
    ("a small most", ("most = 1.12", "most = 0.9"), r"most: 0.9 arm lengths"),
    ("not a number", ("most = 1.12", "most = nan"), r"most: expected a finite number"),
    ("an order", ('"ZXY"', '"ZXZ"'), r"orders.forearm: 'ZXZ' is no rotation order"),
    ("its own hand", ('on = "R"', 'on = "L"'), "can not hold on to its own hand"),
    ("an arm that is not there", ('on = "R"', 'on = "lower.R"'), "no arm 'lower.R'; other arms are: R"),
    ("twice", ('"shoulder"', '"swing"'), "'swing' is there twice"),
    ("a turned range", ("[-2.0, 20.0]", "[20.0, -2.0]"), "torso.tilt: its least, 20, is above its most"),
    ("a range of three", ("[-2.0, 20.0]", "[-2.0, 0.0, 20.0]"), "torso.tilt: expected 2 items, found 3"),
    ("outside", ('"torso.bvh"', '"../torso.bvh"'), r"recording.torso: '../torso.bvh': name a file beside"),
    ("anywhere", ('"torso.bvh"', '"/torso.bvh"'), "recording.torso: '/torso.bvh'"),
    ("a digest", ("1b1b", "1b1"), "torso_sha256: it is no SHA-256"),
    ("a rate", ("rate = 24.0", "rate = 0"), "recording.rate: 0 frames a second"),
    ("a date", ("rate = 24.0", "rate = 2026-01-01"), "recording.rate: expected a number"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "words"), [row[1:] for row in WRONG], ids=[row[0] for row in WRONG])
def test_a_mistake_is_told_with_the_line_it_is_on(change: tuple[str, str], words: str) -> None:
    old, new = change
    assert old in TEXT
    text = TEXT.replace(old, new, 1)
    with pytest.raises(SheetError, match=words) as told:
        sheet_toml.from_text(text, "wren.toml")
    said = str(told.value)
    assert said.startswith("wren.toml, line ")
    at = int(said.split("line ")[1].split(",")[0]) - 1
    if "needs to know how far" in said:
        assert text.split("\n")[at] == "[[arms.needs]]"
    else:
        assert text.split("\n")[at] != TEXT.split("\n")[at]


def test_everything_that_is_wrong_is_told_at_once_in_the_order_of_the_lines() -> None:
    text = TEXT.replace('"hold-elbow"', '"hold-elbwo"').replace('on = "R"', 'on = "Q"').replace("[0, 40]", "[40, 0]")
    with pytest.raises(SheetError) as told:
        sheet_toml.from_text(text, "wren.toml")
    lines = [int(said.split("line ")[1].split(",")[0]) for said in str(told.value).split("\n")]
    assert len(lines) == 3
    assert lines == sorted(lines)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (TEXT.replace("version = 1", "version = 2"), r"written by a newer Armwright \(version 2; .*update"),
        (TEXT.replace("armwright.sheet", "armwright.card"), 'its format is "armwright.card"'),
        (TEXT.replace("version = 1", ""), '"version" is missing'),
        ("", '"format" is missing'),
        (TEXT[:-40], "not TOML: .*line|not TOML: .*end of document"),
        (TEXT + "name = 1\nname = 2\n", "not TOML"),
        ("x = " + "[" * 5000, "nests too deeply|not TOML"),
        ("x = " + "9" * 5000, "too many digits|not TOML"),
        ("x" * (sheet_toml.MOST_BYTES + 1), "too large"),
    ],
)
def test_a_file_that_is_no_sheet_of_ours_is_refused_in_a_sentence(text: str, words: str) -> None:
    with pytest.raises(SheetError, match=words):
        sheet_toml.from_text(text)
    with pytest.raises(SheetError, match="not UTF-8"):
        sheet_toml.from_text(b"\xff\xfe")


def test_a_sheet_that_asks_for_nothing_is_legal_and_says_so() -> None:
    for sheet in (Sheet("Wren", ()), Sheet("Wren", (ArmSheet("L"), ArmSheet("R")))):
        text = sheet_toml.to_text(sheet)
        assert "# Nothing is asked of any arm" in text
        assert sheet_toml.from_text(text)[0] == sheet
    text = sheet_toml.to_text(Sheet("Wren", (LEFT, ArmSheet("R"))))
    assert "# Nothing is asked of any arm" not in text
    assert text.endswith("# Nothing is asked of this arm.\n")


def test_what_could_not_be_read_is_not_written() -> None:
    for arm in (replace(LEFT, needs=(Need("singing"),)), replace(LEFT, length=float("inf"))):
        with pytest.raises(SheetError):
            sheet_toml.to_text(replace(SHEET, arms=(arm,)))


def test_a_recording_that_has_changed_is_refused(tmp_path: Path) -> None:
    torso = b"the torso's motion"
    named = replace(SHEET, recording=replace(RECORDING, torso_sha256=hashlib.sha256(torso).hexdigest()))
    path = tmp_path / "sheet.toml"
    path.write_text(sheet_toml.to_text(named), encoding="utf-8")
    file = sheet_toml.read(path)
    assert file.digest == hashlib.sha256(path.read_bytes()).hexdigest()
    with pytest.raises(SheetError, match=r"torso\.bvh can not be read"):
        file.recording()
    (tmp_path / "torso.bvh").write_bytes(torso)
    assert file.recording() == torso
    (tmp_path / "torso.bvh").write_bytes(torso + b" ")
    line = line_of(path.read_text(encoding="utf-8"), "torso_sha256")
    with pytest.raises(SheetError, match=rf"sheet\.toml, line {line}: torso\.bvh has changed"):
        file.recording()
    with pytest.raises(SheetError, match="names no recording"):
        replace(file, sheet=replace(SHEET, recording=None)).recording()
