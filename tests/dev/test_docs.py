"""The documentation is whole: links and pictures are there, words are spelled, no page names a place on a machine."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from spellchecker import SpellChecker

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from devtools import docs_pages  # noqa: E402

# What a person reads in the window and at the prompt.
LABELS = ("addon/panels", "addon/operators", "addon/cli")
FOLDERS = ("core", "addon", "demo_blend_scripts", "devtools", "tests", "docs")
# Mistakes that tests make on purpose, and half of "to and fro".
MEANT = "wast,reqirement,fro"
# A page of this checkout may not name a place on one machine, and neither may this file.
SLASH = "/"
ONE_PIXEL = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108060000001f15c4890000000d49444154789c6360000002000001"
    "e221bc330000000049454e44ae426082"
)


def own_words() -> set[str]:
    """The words of words.txt."""
    lines = (ROOT / "devtools" / "words.txt").read_text(encoding="utf-8").splitlines()
    return {line for line in lines if line and not line.startswith("#")}


def unknown(words: set[str]) -> set[str]:
    """Those of `words` that are neither in the dictionary nor our own, in any case of letters or as an owner's."""
    checker = SpellChecker()
    plain = {re.sub(r"'s$", "", word.lower()) for word in words}
    return set(checker.unknown(plain - own_words()))


def misspelled(root: Path) -> list[str]:
    """Words of the pages that nobody knows."""
    found: dict[str, str] = {}
    for page in docs_pages.pages(root):
        for line in docs_pages.lines(root, page):
            for word in docs_pages.words(line.prose()):
                found.setdefault(re.sub(r"'s$", "", word.lower()), line.place())
    return [f"{found[word]}: {word}" for word in sorted(unknown(set(found)))]


def sentences(path: Path) -> Iterator[tuple[int, str]]:
    """Labels, tooltips, help and messages of a file: its texts with a space in them or a capital in front."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = re.sub(r"`[^`]*`", " ", node.value)
            if " " in text.strip() or re.fullmatch(r"[A-Z][a-z]+", text):
                yield node.lineno, text


CHECKS: dict[str, tuple[Callable[[Path], list[str]], tuple[str, ...]]] = {
    "links": (
        docs_pages.broken_links,
        ("there is no docs/gone.md", "no heading #nowhere", "this page has no heading #here", "outside the checkout"),
    ),
    "ways to a page": (docs_pages.lost_pages, ("docs/alone.md: no link leads here",)),
    "pictures": (
        docs_pages.picture_problems,
        ("unused.png: no page shows it", "shown.png: SOURCES.md has no row", "there is no old.jpg", "large.jpg: more",
         "shown.png has no words"),
    ),
    "machines": (docs_pages.machine_places, (f"{SLASH}home/w", f"C:{chr(92)}U")),
    "spelling": (misspelled, ("lihgthouse",)),
}  # fmt: skip


@pytest.mark.parametrize("check", [check for check, _ in CHECKS.values()], ids=CHECKS.keys())
def test_the_pages_of_this_checkout_have_no_problem(check: Callable[[Path], list[str]]) -> None:
    assert len(docs_pages.pages(ROOT)) > 10
    assert check(ROOT) == []


@pytest.fixture
def broken(tmp_path: Path) -> Path:
    """A small checkout with a mistake of each kind, and beside each something like it that is none."""
    pictures = tmp_path / docs_pages.PICTURES
    pictures.mkdir(parents=True)
    for name in ("shown.png", "unused.png", "fine.png"):
        (pictures / name).write_bytes(ONE_PIXEL)
    (pictures / "large.jpg").write_bytes(bytes(docs_pages.LARGEST_PICTURE + 1))
    (pictures / "SOURCES.md").write_text(
        "| picture | source |\n| --- | --- |\n| `unused.png` | script |\n| `fine.png` | script |\n"
        "| `large.jpg` | script |\n| `old.jpg` | script |\n"
    )
    (tmp_path.parent / "outside.md").write_text("x")
    (tmp_path / "README.md").write_text(
        "# The lihgthouse\n\n## Two words, `code`!\n"
        "[one](docs/page.md#the-rail) [two](docs/gone.md) [three](docs/page.md#nowhere)\n"
        "[four](#two-words-code) [five](#here) [six](../outside.md) [seven](elsewhere:page) `[eight](docs/no.md)`\n"
        "![](docs/pictures/shown.png) ![large](docs/pictures/large.jpg) ![fine](docs/pictures/fine.png)\n"
        "\n```\n[nine](docs/no.md) lihgt\n```\n"
        f"It is in {SLASH}home{SLASH}wren/keeper.blend, or C:{chr(92)}Users, and not in docs/home or a/home/b.\n"
    )
    (tmp_path / "docs" / "page.md").write_text("# The rail\n[back](../README.md)\n")
    (tmp_path / "docs" / "alone.md").write_text("# Alone\n")
    return tmp_path


@pytest.mark.parametrize("name", CHECKS)
def test_a_broken_sample_is_told_mistake_by_mistake(broken: Path, name: str) -> None:
    check, told = CHECKS[name]
    found = check(broken)
    for words in told:
        assert any(words in problem for problem in found), (words, found)
    assert len(found) == len(told), found


def test_labels_tooltips_and_messages_are_spelled() -> None:
    found: dict[str, str] = {}
    for folder in LABELS:
        for path in sorted((ROOT / folder).rglob("*.py")):
            for number, text in sentences(path):
                for word in docs_pages.words(text):
                    found.setdefault(re.sub(r"'s$", "", word.lower()), f"{path.relative_to(ROOT)}, line {number}")
    assert len(found) > 500
    assert [f"{found[word]}: {word}" for word in sorted(unknown(set(found)))] == []


def test_the_figures_are_what_their_script_draws() -> None:
    script = ROOT / "devtools" / "draw_figures.py"
    done = subprocess.run([sys.executable, str(script), "--check"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_a_word_that_is_wrong_in_a_label_is_found(tmp_path: Path) -> None:
    label = tmp_path / "panel.py"
    label.write_text('layout.label(text="Hold over a rnage")\nx = layout.prop("rnage_key")\nbl_label = "Shuolder"\n')
    words = {word.lower() for _, text in sentences(label) for word in docs_pages.words(text)}
    assert unknown(words) == {"rnage", "shuolder"}


def test_common_misspellings_are_nowhere_in_code_or_pages(tmp_path: Path) -> None:
    files = [path for name in FOLDERS for path in (ROOT / name).rglob("*") if path.suffix in (".py", ".md", ".toml")]
    files.remove(Path(__file__).resolve())  # it has mistakes on purpose
    assert len(files) > 300
    wrong = tmp_path / "wrong.py"
    wrong.write_text("# It is recieved by the keeper.\n")
    command = [sys.executable, "-m", "codespell_lib", "--ignore-words-list", MEANT]
    done = subprocess.run([*command, *map(str, files)], capture_output=True, text=True, check=False, cwd=tmp_path)
    assert done.returncode == 0, done.stdout + done.stderr
    # And it would say so.
    done = subprocess.run([*command, str(wrong)], capture_output=True, text=True, check=False, cwd=tmp_path)
    assert done.returncode and "recieved" in done.stdout


def test_the_own_words_are_sorted_and_there_once() -> None:
    lines = (ROOT / "devtools" / "words.txt").read_text(encoding="utf-8").splitlines()[1:]
    assert lines == sorted(set(lines)) and all(re.fullmatch("[a-z']+", line) for line in lines)
