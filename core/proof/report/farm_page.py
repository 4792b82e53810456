"""Many characters on one page: a matrix of characters and requirements, and below it each one's own report."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator, Sequence

from .. import farm
from ..farm import Outcome
from ..results import FAIL, NOT_APPLICABLE
from .style import EMBLEM, STYLE
from .summary import MARKS, TITLES, WORDS, Group, by_requirement, clean, share

_STYLE = """
main{max-width:96rem;padding:0 1.8rem 2rem}.wide-table{overflow-x:auto}
.farm{width:100%;table-layout:auto}.farm th:first-child{width:auto;white-space:nowrap;padding-right:1rem}
.farm td{padding:.3rem .3rem;text-align:center;font-size:.88rem}
.farm thead th{padding:.3rem .2rem;font-size:.78rem;text-align:center}
.farm thead th:first-child{text-align:left}
.farm td b,.farm td span{white-space:nowrap}.farm td a{font-weight:400;text-decoration:none}
.farm td.trouble{text-align:left}.farm td.trouble span{white-space:normal}
.character{margin-top:2rem}.character>summary{font:600 1.3rem/1.3 Georgia,'Times New Roman',serif;color:var(--ink)}
.character article{padding-left:1rem;border-left:3px solid var(--rule)}
pre{white-space:pre-wrap;overflow-wrap:anywhere;font:.86em ui-monospace,'DejaVu Sans Mono',Menlo,Consolas,monospace}
@media (max-width:44rem){.farm th small{display:none}.character article{padding-left:.4rem}
main{padding:0 1rem 2rem}}
@media print{.wide-table{overflow:visible}.farm td,.farm thead th{font-size:6.5pt;padding:.1rem}}
"""
_ADVICE = {
    farm.CRASHED: "Prove this file alone, to see all that it says; then open it in the host: it may name the damage.",
    farm.TIMED_OUT: "The last lines say how far it was. Give a higher --time-limit, or fewer --workers.",
    farm.TOO_LARGE: "Give a higher --memory-limit, or take what the arms do not need out of the file.",
    farm.REFUSED: "Mend what the sentence names, or leave this file out.",
}
_LAMPS = {farm.CODE_HELD: "var(--good)", farm.CODE_FAILED: "var(--bad)"}
# What in a tag refers to a place in the page. Text has its quotes escaped, so that none of this is found in it.
_PLACES = re.compile(r' (id|aria-labelledby|aria-describedby|href)="(#?)([^"]*)"')


def farm_page(outcomes: Sequence[Outcome]) -> str:
    """The whole page; it stands alone, as those of single characters do."""
    return "".join(_parts(outcomes))


def _parts(outcomes: Sequence[Outcome]) -> Iterator[str]:
    # What went wrong comes first.
    named = list(enumerate(zip(farm.names(outcomes), outcomes, strict=True)))
    named.sort(key=lambda item: farm.GRAVITY.index(item[1][1].kind))
    yield '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
    yield f"<title>Proof of {len(outcomes)} characters</title>\n<style>{STYLE}{_STYLE}</style>\n"
    yield "</head>\n<body>\n<main>\n"
    yield (
        f'<header style="--lamp:{_LAMPS[farm.exit_code(outcomes)]}">\n{EMBLEM}\n<p class="kind">Armwright proof, '
        f"each file in a process of its own</p>\n<h1>{_text(farm.sentence(outcomes))}</h1>\n</header>\n"
    )
    groups = {index: _groups(outcome) for index, (_, outcome) in named}
    found = {requirement for held in groups.values() for requirement in held}
    columns = [name for name in TITLES if name in found] + sorted(found - set(TITLES))
    # What fails comes first here too: on a narrow screen the last columns are out of sight.
    failing = {name for held in groups.values() for name, group in held.items() if group.verdict == FAIL}
    columns.sort(key=lambda name: name not in failing)
    yield (
        '<div class="wide-table" role="region" tabindex="0" aria-label="characters and requirements">\n'
        '<table class="matrix farm">\n<caption>How the worst check of each requirement did: '
        "the part of its limit that it used, or how many times it went over.</caption>\n<thead><tr>"
        '<th scope="col">character</th>'
    )
    yield "".join(f'<th scope="col" title="{_text(TITLES.get(name, ""))}">{_text(name)}</th>' for name in columns)
    yield "" if columns else '<th scope="col">what happened</th>'
    yield "</tr></thead>\n<tbody>\n"
    for index, (name, outcome) in named:
        yield _row(index, name, outcome, groups[index], columns)
    yield "</tbody>\n</table>\n</div>\n"
    for index, (name, outcome) in named:
        yield from _character(index, name, outcome)
    yield "</main>\n</body>\n</html>\n"


def _groups(outcome: Outcome) -> dict[str, Group]:
    return {} if outcome.results is None else by_requirement(outcome.results.checks)


def _row(index: int, name: str, outcome: Outcome, groups: dict[str, Group], columns: Sequence[str]) -> str:
    words = farm.KIND_WORDS[outcome.kind]
    head = (
        f'<th scope="row"><a href="#character-{index}">{_text(name)}</a>'
        f'<small class="{"pass" if outcome.kind == farm.DONE else "fail"}">{_text(words)}</small></th>'
    )
    if outcome.results is None:
        first = _text(outcome.detail.splitlines()[0])
        span = f' colspan="{len(columns)}"' if len(columns) > 1 else ""
        mark = MARKS["fail"]
        return f'<tr>{head}<td class="fail trouble"{span}><b>{mark} {words}</b><span>{first}</span></td></tr>\n'
    order = list(groups)
    cells = "".join(
        _cell(groups[column], _place(index, order.index(column), outcome))
        if column in groups
        else f'<td class="{NOT_APPLICABLE}" title="not measured">{MARKS[NOT_APPLICABLE]}</td>'
        for column in columns
    )
    return f"<tr>{head}{cells}</tr>\n"


def _place(index: int, requirement: int, outcome: Outcome) -> str:
    """Where the character's report tells of its `requirement`th requirement."""
    inside = f"requirement-{requirement}"
    return f"character-{index}-{inside}" if f' id="{inside}"' in outcome.page else f"character-{index}"


def _cell(found: Group, place: str) -> str:
    verdict = found.verdict
    if verdict == NOT_APPLICABLE:
        return f'<td class="{verdict}" title="{WORDS[verdict]}">{MARKS[verdict]}</td>'
    text = f"{MARKS[verdict]} {_text(share(found.worst))}"
    return f'<td class="{verdict}" title="{WORDS[verdict]}"><b><a href="#{place}">{text}</a></b></td>'


def _character(index: int, name: str, outcome: Outcome) -> Iterator[str]:
    kind = "pass" if outcome.kind == farm.DONE else "fail"
    mark = MARKS[kind]
    is_open = " open" if outcome.results is None else ""
    yield f'<details class="character"{is_open}>\n<summary>{_text(name)} <span class="badge {kind}">{mark} '
    # The anchor is inside, because a browser opens what a link's end is in, not what it is.
    yield f'{_text(farm.KIND_WORDS[outcome.kind])}</span></summary>\n<article id="character-{index}">\n'
    yield f"<p><code>{_text(outcome.file)}</code></p>\n"
    first, *rest = outcome.detail.splitlines()
    yield f"<p>{_text(first)}</p>\n"
    if outcome.kind in _ADVICE:
        yield f'<p class="advice">{_text(_ADVICE[outcome.kind])}</p>\n'
    if rest:
        yield "<pre>" + "\n".join(_text(line) for line in rest) + "</pre>\n"
    yield from _report(index, outcome)
    yield "</article>\n</details>\n"


def _report(index: int, outcome: Outcome) -> Iterator[str]:
    """The character's own page, without its frame, with places that no other character has."""
    if outcome.results is None:
        return
    start, end = outcome.page.find("<main>"), outcome.page.rfind("</main>")
    if start < 0 or end < start:
        yield "<p>It has no report page of its own.</p>\n"
        return
    yield _PLACES.sub(lambda found: _moved(found, f"character-{index}-"), outcome.page[start + len("<main>") : end])


def _moved(found: re.Match[str], prefix: str) -> str:
    kind, hash_sign, value = found.groups()
    if kind == "href" and not hash_sign:
        return found.group()
    places = " ".join(prefix + place for place in value.split())
    return f' {kind}="{hash_sign}{places}"'


def _text(text: str) -> str:
    return html.escape(clean(text), quote=True)
