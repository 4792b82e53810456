"""The page: whole HTML, nothing from outside, right cells, a plot and advice for what fails, names escaped."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from report_cases import check, failing, not_asked, results

from armwright.core.errors import ProofError
from armwright.core.proof.cases import CORNERS, MODES
from armwright.core.proof.report.advice import advice
from armwright.core.proof.report.camera import camera
from armwright.core.proof.report.html import page, parts
from armwright.core.proof.report.repeat import command
from armwright.core.proof.report.shot import Shot, worth_a_picture
from armwright.core.proof.report.shot import figure as shot_figure
from armwright.core.proof.results import OUT_OF_REACH, Check, Finding, MadeWith, Results

VOID = {"meta", "br", "img"}
PNG = b"\x89PNG\r\n\x1a\n" + b"picture"
BEYOND = check(value=0.12, verdict=OUT_OF_REACH, motion="far")


@dataclass
class Node:
    tag: str
    attributes: dict[str, str | None]
    children: list[Node] = field(default_factory=list)
    words: list[str] = field(default_factory=list)

    def all(self, tag: str) -> list[Node]:
        """Descendants of that tag, in order."""
        return [found for child in self.children for found in ([child] if child.tag == tag else []) + child.all(tag)]

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


class Tree(HTMLParser):
    """Builds nodes; asserts that every element is closed by its own end tag, in order."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Node("", {})
        self.open = [self.root]
        self.feed(text)
        self.close()
        assert self.open == [self.root], f"still open: {[node.tag for node in self.open[1:]]}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        node = Node(tag, dict(attrs))
        assert len(node.attributes) == len(attrs), f"an attribute of {tag} is there twice"
        self.open[-1].children.append(node)
        if tag not in VOID:
            self.open.append(node)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open[-1].children.append(Node(tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        for node in self.open:
            node.words.append(data)


def tree(of: Results, pictures: tuple[tuple[str, bytes], ...] = ()) -> Node:
    return Tree(page(of, pictures)).root


def cells(root: Node) -> dict[tuple[str, str], Node]:
    """Cells of the matrix by requirement and mode."""
    matrix = next(table for table in root.all("table") if table.attributes.get("class") == "matrix")
    rows = [row for row in matrix.all("tr") if row.all("td")]
    return {(row.all("a")[0].text, mode): cell for row in rows for mode, cell in zip(MODES, row.all("td"), strict=True)}


MIXED = (
    check("swing", "none"),
    check("swing", "hand", value=2e-9),
    failing("hold-elbow", measure="wrist-slide"),
    failing("hold-elbow", measure="elbow-slide", value=0.24),
    check("hold-elbow", arm="R"),
    BEYOND,
    check("hold-both", "both", value=0.12, verdict=OUT_OF_REACH),
    not_asked("hold-both", "hand"),
)


def test_the_page_is_balanced_and_needs_nothing_from_outside() -> None:
    text = page(results(MIXED), (("Wren at the rail", PNG),))
    root = Tree(text).root
    assert not re.search(r"https?:|//[a-z]|@import|url\(", text)
    assert not root.all("script") and not root.all("link") and not root.all("iframe")
    for tag, name in (("img", "src"), ("a", "href")):
        assert all((node.attributes[name] or "").startswith(("#", "data:image/png;base64,")) for node in root.all(tag))


def test_the_first_heading_is_the_verdict() -> None:
    (heading,) = tree(results(MIXED)).all("h1")
    assert heading.text.startswith("The left arm of Wren fails: 2 of 7")
    assert tree(results([check(), check(arm="R")])).all("h1")[0].text == "Both arms of Wren hold: 2 checks, 0 failed."


def test_each_cell_says_its_verdict_by_word_mark_and_colour_and_its_share() -> None:
    found = cells(tree(results(MIXED)))
    expected = {
        ("swing", "none"): ("pass", "✓ holds 50 % of limit"),
        ("swing", "hand"): ("pass", "✓ holds under 1 % of limit"),
        ("swing", "elbow"): ("not_applicable", "not measured"),
        ("hold-elbow", "elbow"): ("fail", "✗ fails 120,000 times the limit 2 of 4, left arm 1 out of reach"),
        ("hold-both", "both"): ("out_of_reach", "◇ out of reach by 0.12 L"),
        ("hold-both", "hand"): ("not_applicable", "– does not apply"),
    }
    for place, (kind, words) in expected.items():
        assert (found[place].attributes["class"], found[place].text) == (kind, words), place


def test_the_matrix_has_headers_for_rows_and_columns() -> None:
    matrix = tree(results(MIXED)).all("table")[0]
    assert [head.attributes["scope"] for head in matrix.all("thead")[0].all("th")] == ["col"] * 5
    assert all(head.attributes["scope"] == "row" for head in matrix.all("tbody")[0].all("th"))
    targets = {section.attributes.get("id") for section in tree(results(MIXED)).all("section")}
    assert {(link.attributes["href"] or "")[1:] for link in matrix.all("a")} <= targets


def test_every_failing_check_has_a_plot_a_pose_and_advice() -> None:
    fails = [failing(name, mode, arm) for name in ("hold-elbow", "of-its-own") for mode in MODES for arm in "LR"]
    fails.append(failing("hold-hand", value=math.nan))
    root = tree(results(fails))
    by_id = {node.attributes.get("id"): node for node in root.all("p")}
    figures = {node.attributes.get("data-check"): node for node in root.all("figure")}
    for item in fails:
        shown = figures[item.id]
        assert [svg.attributes["class"] for svg in shown.all("svg")] == ["plot", "pose"]
        assert by_id[shown.attributes["aria-describedby"]].text == advice(item)


def test_failing_checks_without_a_curve_are_counted() -> None:
    fails = [failing(motion=f"wiggle-{index}") for index in range(5)]
    text = page(results(fails, results(fails[:2]).traces))
    assert "Curves are kept for the worst only: 3 failing checks more in the list below." in text
    assert all(f"wiggle-{index}" in text for index in range(5))


def test_pictures_of_vectors_have_names_for_those_who_do_not_see_them() -> None:
    for svg in tree(results(MIXED)).all("svg"):
        assert svg.attributes.get("aria-hidden") == "true" or (
            svg.attributes["role"] == "img" and svg.attributes["aria-label"]
        )


def test_what_fails_comes_before_what_holds() -> None:
    headings = [heading.text for heading in tree(results(MIXED)).all("h2")]
    assert headings == ["hold-elbow ✗ fails", "hold-both ◇ out of reach", "swing ✓ holds", "To repeat this proof"]


def test_a_requirement_that_holds_shows_its_worst_check() -> None:
    near, far = check("swing", "none", value=1e-6), check("swing", "hand", value=1.9e-6)
    shown = [node.attributes["data-check"] for node in tree(results([near, far])).all("figure")]
    assert shown == [far.id]


def test_checks_near_their_limit_have_curves_too_the_nearest_first() -> None:
    items = [check("swing", "none", motion=f"lean-{n}", value=n * 2e-7) for n in (1, 6, 9, 7)]
    root = tree(results(items))
    shown = [node.attributes["data-check"] for node in root.all("figure")]
    assert shown == [items[2].id, items[3].id, items[1].id]
    assert "2 more checks over half of the limit" in root.all("summary")[0].text
    part = tree(results(items, results([items[2], items[3]]).traces))
    assert "2 more checks over half of the limit, the nearest 1 with curves" in part.all("summary")[0].text


def test_a_failing_requirement_shows_what_came_near_after_what_failed() -> None:
    items = [failing(), check(value=1.5e-6, motion="shrug"), check(value=0.5e-6, motion="lean")]
    shown = [node.attributes["data-check"] for node in tree(results(items)).all("figure")]
    assert shown == [items[0].id, items[1].id]


def test_every_check_is_listed_once_worst_first() -> None:
    rows = [row for details in tree(results(MIXED)).all("details") for row in details.all("tr") if row.all("td")]
    assert len(rows) == len(MIXED)
    marks = [row.all("td")[0].text for row in rows if "elbow, isolate" in row.text]
    assert marks == ["✗ fails", "✗ fails", "◇ out of reach", "✓ holds"]


def test_what_is_needed_to_repeat_the_proof_is_on_the_page() -> None:
    (terms,) = tree(results(MIXED)).all("dl")
    known = dict(zip((node.text for node in terms.all("dt")), (node.text for node in terms.all("dd")), strict=True))
    assert (known["Host"], known["Plan"], known["Seed"]) == ("Blender 4.5.15", "ab12cd", "3")
    assert known["L, the arm's length"] == "left 0.58 m, right 0.58 m"
    assert known["Motions"] == "torso-wiggle, far"


FINDING = Finding("scaled-object", "Wren <b>", "The armature object is scaled by 2.", "Apply its scale.")


def test_what_is_wrong_with_the_file_stands_before_the_matrix_with_what_to_do() -> None:
    text = page(replace(results(MIXED), findings=(FINDING,)))
    root = Tree(text).root
    assert text.index("Found in the file") < text.index("<table")
    (item,) = (node for found in root.all("ol") for node in found.all("li"))
    assert item.text == "Wren <b> (scaled object): The armature object is scaled by 2. Apply its scale."
    assert "Found in the file" not in page(results(MIXED))


def test_the_command_line_names_all_that_the_proof_was_made_with() -> None:
    plain = results([check()])
    assert command(plain) == "python -m armwright proof FILE.blend --seed 3 --html report.html"
    made = replace(plain, made_with=MadeWith(recorded="a walk.bvh", recorded_digest="12", card_digest="34"))
    assert "--card CARD.json --motion 'a walk.bvh' --seed 3" in command(made)
    text = tree(made).text
    assert command(made) in text and "rig card (SHA-256 34)" in text


CAMERA = camera(
    np.array([[0.0, 0.0, 1.0], [0.5, 0.1, 1.4]]), np.array([0.6, -0.7, 0.3]), np.array([0, 0, 1.0]), 0.2, 90, 70
)


def shot(of: Check, slide: float | None) -> Shot:
    """A picture of a check; the held point is off by `slide` metres."""
    wanted = np.array([0.2, 0.0, 1.2])
    if slide is None:
        return Shot(of.id, PNG, CAMERA, None, None)
    return Shot(of.id, PNG, CAMERA, wanted, wanted + slide * CAMERA.right)


def test_a_rendered_pose_stands_in_the_section_of_its_requirement() -> None:
    items = [failing(), failing("swing", "none", unit="deg")]
    root = Tree(page(results(items), (), (shot(items[1], None), shot(items[0], 1e-4)))).root
    places = {
        node.attributes["data-shot"]: section.attributes.get("id")
        for section in root.all("section")
        for node in section.all("figure")
        if "data-shot" in node.attributes
    }
    assert places == {items[0].id: "requirement-1", items[1].id: "requirement-0"}
    with pytest.raises(ProofError, match="is no PNG"):
        page(results(items), (), (replace(shot(items[0], None), png=b"GIF89a"),))


@pytest.mark.parametrize(("slide", "size"), [(1e-4, "0.1 mm"), (3e-3, "2 mm"), (1e-6, "0.001 mm")])
def test_a_small_slide_is_magnified_on_the_picture_to_the_scale_of_its_bar(slide: float, size: str) -> None:
    drawn = shot_figure(shot(failing(), slide), failing())
    ring, dot = (re.search(rf'class="{name}" cx="([\d.]+)"', drawn) for name in ("wanted", "found"))
    width, label = re.findall(r'h([\d.]+)m.*?middle">([^<]+)<', drawn)[1]
    value, unit = label.split()
    metres = float(value.replace("×10⁻⁴", "e-4")) * {"cm": 0.01, "mm": 0.001}[unit]
    assert ring and dot and "lens" in drawn
    assert (float(dot[1]) - float(ring[1])) / float(width) * metres == pytest.approx(slide, rel=0.02)


def test_a_large_slide_is_drawn_where_it_is_and_a_turn_has_no_ring() -> None:
    assert 'class="lens"' not in shot_figure(shot(failing(), 0.3), failing())
    assert 'class="wanted"' not in shot_figure(shot(failing(), None), failing())


def test_the_worst_of_each_failing_requirement_is_worth_a_picture_or_else_the_nearest_to_its_limit() -> None:
    names = ("swing", "hold-hand", "hold-elbow", "hold-both", "shoulder", "lift", "isolate", "switch")
    bad = [failing(name, value=8e-5 * (n + 1), motion=f"m{m}") for n, name in enumerate(names) for m in range(2)]
    chosen = worth_a_picture([*bad, check()])
    assert [item.requirement for item in chosen] == [
        "isolate",
        "lift",
        "shoulder",
        "hold-both",
        "hold-elbow",
        "hold-hand",
    ]
    good = [check(value=1e-6), check(value=1.9e-6, motion="shrug"), check("switch", value=2e-6), BEYOND]
    assert worth_a_picture(good) == (good[1],)
    assert worth_a_picture([not_asked("swing", "none")]) == ()


@settings(deadline=None)  # a page is made of each name, and how long that takes is no verdict
@given(name=st.text(min_size=1))
def test_no_text_of_a_file_becomes_markup(name: str) -> None:
    plain = tree(results([failing(), BEYOND]))
    hostile = tree(results([failing(name, motion=name, measure=name, note=name), replace(BEYOND, note=name)], rig=name))
    assert {node.tag for node in walk(hostile)} == {node.tag for node in walk(plain)}
    page(results([failing(name)], rig=name)).encode("utf-8")


def walk(node: Node) -> list[Node]:
    return [found for child in node.children for found in [child, *walk(child)]]


def test_a_script_in_a_name_is_shown_and_not_run() -> None:
    name = "<script>alert('Wren')</script>\" onload=\"x"
    hostile = failing(name, motion=name, measure=name, note=name, id=name)
    root = tree(results([hostile], rig=name), ((name, PNG),))
    assert not root.all("script")
    assert not [node for node in walk(root) if "onload" in node.attributes]
    assert "<script>alert('Wren')</script>" in root.all("h1")[0].text


def test_pictures_are_part_of_the_file_with_their_captions() -> None:
    (picture,) = tree(results([check()]), (("Wren at the rail", PNG),)).all("img")
    assert picture.attributes["src"] == "data:image/png;base64,iVBORw0KGgpwaWN0dXJl"
    assert picture.attributes["alt"] == "Wren at the rail"
    with pytest.raises(ProofError, match="'rail' is no PNG"):
        page(results([]), (("rail", b"GIF89a"),))


def test_an_empty_proof_says_that_nothing_is_known() -> None:
    assert "Nothing is known" in tree(results([])).all("h1")[0].text


def test_the_page_comes_in_pieces_and_is_the_same_each_time() -> None:
    of = results(MIXED)
    assert "".join(parts(of)) == page(of) == page(of)
    assert max(len(part) for part in parts(of)) < len(page(of)) / 2


def test_twenty_thousand_checks_stay_under_six_megabytes() -> None:
    def numbered(index: int) -> Check:
        case = CORNERS[index % len(CORNERS)]
        given = {"motion": f"torso-wiggle+far-{index}", "case": case, "arm": "LR"[index % 2]}
        verdict = {"verdict": OUT_OF_REACH, "note": f"out of reach by up to 0.123456 L, at frame {index % 40}"}
        return check("hold-hand", **(given | (verdict if index % 4 == 0 else {})))

    many = [numbered(index) for index in range(20_000)]
    pieces = list(parts(results(many, [])))
    assert sum(len(piece.encode("utf-8")) for piece in pieces) < 6_000_000
    assert len(pieces) > 20_000


def test_arms_of_any_id_have_figures_of_their_own_and_their_words() -> None:
    arms = ("R", "lower.L", "p_1.R", "boathook", '"<&>"')
    items = [failing(arm=arm) for arm in arms]
    root = tree(replace(results(items), arm_lengths=tuple((arm, 0.5) for arm in arms)))
    figures = {node.attributes.get("data-check"): node for node in root.all("figure")}
    assert set(figures) == {item.id for item in items}
    said = {item.arm: figures[item.id].all("figcaption")[0].text for item in items}
    for arm, words in zip(
        arms, ("right arm", "lower left arm", "p 1 right arm", "boathook arm", '"<&>" arm'), strict=True
    ):
        assert words in said[arm]
    # A pose is seen from the arm's own side.
    seen = {item.arm: figures[item.id].all("svg")[1].attributes["aria-label"] for item in items}
    assert "from the left side" in str(seen["lower.L"])
    assert "from the right side" in str(seen["p_1.R"])


def test_the_page_counts_the_arms_of_a_cell() -> None:
    four = ("L", "R", "lower.L", "lower.R")
    bad = [failing(arm=arm) if arm != "R" else check(arm=arm) for arm in four]
    assert "3 of 4, left, lower left and lower right arms" in cells(tree(results(bad)))["hold-elbow", "elbow"].text
    assert "4 of 4, all 4 arms" in cells(tree(results([failing(arm=arm) for arm in four])))["hold-elbow", "elbow"].text
