"""What the documentation's pages say, read as text: links, anchors, pictures, words, and places on somebody's machine.

Each check takes the folder of a checkout and gives its problems, a sentence each with page and line, so that it can be
tried on a broken sample. No link to elsewhere is followed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

PICTURES, SOURCES = Path("docs", "pictures"), Path("docs", "pictures", "SOURCES.md")
PICTURE_TYPES = {".jpg", ".png", ".svg"}
LARGEST_PICTURE = 250_000  # bytes
_FENCE = re.compile(r"^ {0,3}(```|~~~)")
_CODE = re.compile(r"(`+)(?!`).+?(?<!`)\1(?!`)")
_LINK = re.compile(r"(!?)\[((?:[^\[\]]|\[[^\]]*\])*)\]\(([^()\s]+)\)")
_HEADING = re.compile(r"^#{1,6} +(.*?) *#*$")
_ELSEWHERE = re.compile(r"^[a-z][a-z0-9+.-]*:")
_WORD = re.compile(r"[A-Za-z]+(?:['’][a-z]+)?")
# Folders that are somebody's own: of users, of this system, of drives.
_MACHINE = re.compile(
    r"(?<![\w.~/$}<-])/(?:home|root|work|tmp|usr|opt|mnt|srv|var|etc|Users|Applications)/[\w.]|\b[A-Z]:\\\w"
)


@dataclass(frozen=True)
class Line:
    """A line of a page outside its fenced blocks (or, `fenced`, within one); `code` leaves nothing of inline code."""

    page: Path
    number: int
    text: str
    fenced: bool = False

    def prose(self) -> str:
        """The line without inline code, links' targets and bare marks."""
        return "" if self.fenced else _LINK.sub(r"\2", _CODE.sub(" ", self.text))

    def place(self) -> str:
        """Page and line, for people."""
        return f"{self.page.as_posix()}, line {self.number}"


def pages(root: Path) -> list[Path]:
    """The pages of a checkout, relative to it, sorted."""
    found = [path for name in ("README.md", "DEVELOPERS.md") if (path := root / name).is_file()]
    return sorted(path.relative_to(root) for path in (*found, *(root / "docs").rglob("*.md")))


def lines(root: Path, page: Path) -> Iterator[Line]:
    """The lines of a page; the fences themselves are left out."""
    fence = ""
    for number, text in enumerate((root / page).read_text(encoding="utf-8").splitlines(), 1):
        found = _FENCE.match(text)
        if found and fence in ("", found[1]):
            fence = "" if fence else found[1]
        else:
            yield Line(page, number, text, bool(fence))


def anchors(root: Path, page: Path) -> set[str]:
    """The anchors of a page's headings, as sites that show Markdown make them."""
    seen: dict[str, int] = {}
    out = set()
    for line in lines(root, page):
        heading = None if line.fenced else _HEADING.match(line.text)
        if heading is None:
            continue
        words = _LINK.sub(r"\2", heading[1]).replace("`", "")
        anchor = re.sub(r"[^\w\- ]", "", words.lower()).replace(" ", "-")
        count = seen.get(anchor, 0)
        seen[anchor] = count + 1
        out.add(f"{anchor}-{count}" if count else anchor)
    return out


def links(root: Path) -> Iterator[tuple[Line, bool, str]]:
    """Every link and picture of every page: its line, whether it is a picture, and its target."""
    for page in pages(root):
        for line in lines(root, page):
            if not line.fenced:
                for found in _LINK.finditer(_CODE.sub(lambda code: "`" * len(code[0]), line.text)):
                    yield line, bool(found[1]), found[3]


def broken_links(root: Path) -> list[str]:
    """Links whose file or anchor is not there."""
    out = []
    for line, _, target in links(root):
        if _ELSEWHERE.match(target):
            continue
        name, _, anchor = target.partition("#")
        file = root / line.page.parent / name if name else root / line.page
        if not file.exists():
            out.append(f"{line.place()}: there is no {target}")
        elif root.resolve() not in (file.resolve(), *file.resolve().parents):
            out.append(f"{line.place()}: {target} is outside the checkout")
        elif anchor and (
            file.suffix != ".md" or anchor not in anchors(root, file.resolve().relative_to(root.resolve()))
        ):
            out.append(f"{line.place()}: {name or 'this page'} has no heading #{anchor}")
    return out


def lost_pages(root: Path) -> list[str]:
    """Pages that no chain of links from the README leads to."""
    leads: dict[Path, set[Path]] = {page: set() for page in pages(root)}
    for line, picture, target in links(root):
        if not picture and not _ELSEWHERE.match(target) and target.partition("#")[0]:
            file = (root / line.page.parent / target.partition("#")[0]).resolve()
            if root.resolve() in file.parents:
                leads[line.page].add(file.relative_to(root.resolve()))
    seen: set[Path] = set()
    ahead = [Path("README.md")]
    while ahead:
        page = ahead.pop()
        if page in leads and page not in seen:
            seen.add(page)
            ahead.extend(leads[page])
    # What the pictures are made with is for those who make them.
    return [f"{page.as_posix()}: no link leads here from the README" for page in leads if page not in {*seen, SOURCES}]


def picture_problems(root: Path) -> list[str]:
    """Pictures that no page shows, without a row of source, too large, or without words for those who do not see."""
    folder = root / PICTURES
    there = {path.name for path in folder.iterdir() if path.suffix in PICTURE_TYPES}
    shown: set[str] = set()
    out = []
    for line, is_picture, target in links(root):
        file = (root / line.page.parent / target.partition("#")[0]).resolve()
        if file.parent == folder.resolve():
            shown.add(file.name)
        if is_picture and f"![]({target})" in line.text:
            out.append(f"{line.place()}: {target} has no words for those who do not see it")
    text = (root / SOURCES).read_text(encoding="utf-8") if (root / SOURCES).is_file() else ""
    listed = set(
        re.findall(r"`([\w.-]+)`", "\n".join(row.split("|")[1] for row in text.splitlines() if row[:1] == "|"))
    )
    out += [f"{PICTURES.as_posix()}/{name}: no page shows it" for name in sorted(there - shown)]
    out += [f"{PICTURES.as_posix()}/{name}: {SOURCES.name} has no row for it" for name in sorted(there - listed)]
    gone = sorted(name for name in listed - there if Path(name).suffix in PICTURE_TYPES)
    out += [f"{SOURCES.as_posix()}: there is no {name}" for name in gone]
    large = sorted(name for name in there if (folder / name).stat().st_size > LARGEST_PICTURE)
    return out + [f"{PICTURES.as_posix()}/{name}: more than {LARGEST_PICTURE} bytes" for name in large]


def machine_places(root: Path) -> list[str]:
    """Absolute paths of somebody's machine."""
    return [
        f"{line.place()}: {found[0]}… is a place on one machine"
        for page in pages(root)
        for line in lines(root, page)
        for found in _MACHINE.finditer(line.text)
    ]


def words(text: str) -> Iterator[str]:
    """The words of prose, without what is no word: parts of names with digits, underscores or dots within."""
    for piece in re.split(r"[\s/|—–…-]+", text):
        if not re.search(r"[\d_=]|\w\.\w|[a-z][A-Z]", piece):
            yield from (found[0].replace("’", "'") for found in _WORD.finditer(piece))
