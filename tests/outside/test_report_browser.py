"""The report page in a real browser: it opens, fits a screen, a phone and paper, and fetches nothing.

Needs Chromium or Chrome on the search path, driven by playwright. Without one the tests are skipped, unless the
environment variable ARMWRIGHT_NEEDS_BROWSER is 1.
"""

from __future__ import annotations

import os
import re
import shutil
import struct
import zlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from report_cases import CHAIN, check, failing, not_asked, results

from armwright.core.proof.cases import MODES
from armwright.core.proof.report.camera import camera
from armwright.core.proof.report.html import page
from armwright.core.proof.report.shot import Shot
from armwright.core.proof.report.summary import TITLES
from armwright.core.proof.results import OUT_OF_REACH, Finding, Results

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
WIDTHS = (1200, 400)
# Least size of letters, CSS pixels: in the matrix, and in a plot as it is scaled on the page.
LEAST_MATRIX, LEAST_PLOT = 11.0, 10.5
# The printable width of A4 with the browser's own margins of 1 cm, CSS pixels (96 an inch).
SIDES = ("top", "right", "bottom", "left")
PAPER = round((210 - 20) / 25.4 * 96)
# What is too wide, too small or not to be seen, in the page as it is laid out now, as sentences.
LOOK = """([leastMatrix, leastPlot]) => {
  const found = [], root = document.documentElement;
  if (root.scrollWidth > innerWidth) found.push(`overflow: ${root.scrollWidth} of ${innerWidth} px`);
  const matrix = document.querySelector('table.matrix');
  if (!matrix) return [...found, 'no matrix'];
  const walker = document.createTreeWalker(matrix, NodeFilter.SHOW_TEXT);
  for (let node; node = walker.nextNode();) {
    const size = parseFloat(getComputedStyle(node.parentElement).fontSize);
    if (node.data.trim() && size < leastMatrix) found.push(`small: ${node.data} ${size} px`);
  }
  for (const cell of matrix.querySelectorAll('th,td'))
    if (cell.scrollWidth > cell.clientWidth + 1 || cell.getBoundingClientRect().right > innerWidth + 1)
      found.push(`clipped: ${cell.textContent}`);
  for (const closed of document.querySelectorAll('details')) closed.open = true;
  for (const drawing of document.querySelectorAll('svg.plot, svg.pose, .over img')) {
    const box = drawing.getBoundingClientRect();
    if (box.width < 200 || box.height < 90 || box.right > innerWidth + 1) found.push(`hidden: ${drawing.className}`);
  }
  for (const text of document.querySelectorAll('svg.plot text')) {
    const size = parseFloat(getComputedStyle(text).fontSize) * text.getScreenCTM().a;
    if (size < leastPlot) found.push(`small in a plot: ${text.textContent} ${size} px`);
  }
  if (root.scrollWidth > innerWidth) found.push(`overflow of what is folded: ${root.scrollWidth} of ${innerWidth} px`);
  return found;
}"""


def dot() -> bytes:
    """The smallest PNG: one clear pixel."""
    chunks = (
        (b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 6, 0, 0, 0)),
        (b"IDAT", zlib.compress(bytes(5))),
        (b"IEND", b""),
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body)) for name, body in chunks
    )


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """A headless browser."""
    path = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if path is None:
        words = f"no browser: install one of {', '.join(BROWSERS)} (Debian: apt install chromium)"
        if os.environ.get("ARMWRIGHT_NEEDS_BROWSER") == "1":
            pytest.fail(words)
        pytest.skip(words)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        # Its sandbox does not start for the superuser, as which containers run tests; the page is our own.
        started = driver.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield started
        started.close()


def problems(browser: Any, folder: Path, text: str) -> list[str]:
    """Everything wrong with a page: what it says, asks for, cuts off, and how it prints."""
    file = folder / "report.html"
    file.write_text(text, encoding="utf-8")
    found: list[str] = []
    for width in WIDTHS:
        view = browser.new_page(viewport={"width": width, "height": 800})
        view.on("console", lambda message: found.append(f"console: {message.type}: {message.text}"))
        view.on("pageerror", lambda error: found.append(f"script: {error}"))
        view.on("request", lambda request: found.extend(asked(request.url, file)))
        view.goto(file.as_uri())
        found.extend(f"{width}: {item}" for item in view.evaluate(LOOK, [LEAST_MATRIX, LEAST_PLOT]))
        view.close()
    paper = browser.new_page(viewport={"width": PAPER, "height": 1000})
    paper.goto(file.as_uri())
    paper.emulate_media(media="print")
    found.extend(f"paper: {item}" for item in paper.evaluate(LOOK, [LEAST_MATRIX, 0.0]))
    pages = len(re.findall(rb"/Type\s*/Page\b(?!s)", paper.pdf(format="A4", margin=dict.fromkeys(SIDES, "1cm"))))
    found.extend([] if pages else ["paper: no page"])
    paper.close()
    return found


def asked(url: str, file: Path) -> list[str]:
    """A request for anything but the page itself and what is in it."""
    return [] if url == file.as_uri() or url.startswith("data:") else [f"network: {url}"]


def failing_results() -> Results:
    """Every requirement in every mode, most of them failing, long names, and something wrong with the file."""
    names = [*TITLES, "a-requirement-of-a-longer-name"]
    checks = [failing(name, mode, arm, value=8e-1) for name in names for mode in MODES for arm in "LR"]
    checks += [check(name, mode, motion="shrug", value=1.9e-6) for name in names for mode in MODES]
    checks += [check("hold-hand", "hand", value=0.12, verdict=OUT_OF_REACH, motion=f"far-{n}") for n in range(40)]
    checks += [failing(value=float("nan"), motion="A" * 120, note="B" * 200), not_asked("fingers", "none")]
    finding = Finding("scaled-object", "the_armature_" * 12, "The object is scaled by 2.", "Apply its scale.")
    return replace(results(checks, rig="the_lighthouse_keeper_" * 5), findings=(finding,))


def shots(of: Results) -> tuple[Shot, ...]:
    view = camera(CHAIN, np.array([0.6, -0.7, 0.3]), np.array([0.0, 0.0, 1.0]), 0.2, 900, 700)
    return tuple(Shot(item.id, dot(), view, CHAIN[3], CHAIN[3] + 1e-4) for item in of.checks[:3])


def test_a_failing_page_is_in_order_on_screen_phone_and_paper(browser: Any, tmp_path: Path) -> None:
    of = failing_results()
    assert problems(browser, tmp_path, page(of, (("Wren at the rail", dot()),), shots(of))) == []


def test_a_passing_page_is_in_order_on_screen_phone_and_paper(browser: Any, tmp_path: Path) -> None:
    of = results([check(name, mode, arm) for name in TITLES for mode in MODES for arm in "LR"])
    assert problems(browser, tmp_path, page(of, (), shots(of))) == []


@pytest.mark.parametrize(
    ("harm", "seen"),
    [
        ('<div style="width:2000px">wide</div>', "overflow"),
        ("<script>undefinedBeacon()</script>", "script: "),
        ("<script>console.warn('fog')</script>", "console: warning: fog"),
        ('<img src="http://127.0.0.1:9/beacon.png" alt="">', "network: http"),
        ("<style>.matrix td b{font-size:9px!important}</style>", "small: "),
        ("<style>.matrix td b{width:600px}</style>", "clipped: "),
        ("<style>svg.plot{display:none!important}</style>", "hidden: "),
        ("<style>svg.plot text{font-size:6px!important}</style>", "small in a plot: "),
        ("<style>@media print{.matrix{width:1400px}}</style>", "paper: overflow"),
    ],
)
def test_what_harms_the_page_is_seen(browser: Any, tmp_path: Path, harm: str, seen: str) -> None:
    text = page(results([failing(), check("swing", "none")])).replace("</main>", f"{harm}</main>")
    assert any(seen in item for item in problems(browser, tmp_path, text))
