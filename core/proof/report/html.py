"""The proof as one page that stands alone: no network, no script, readable on a screen, a phone and on paper."""

from __future__ import annotations

import base64
import html
from collections.abc import Iterator, Mapping, Sequence

from ... import arm_words
from ...errors import ProofError
from ..cases import MODES
from ..history import Comparison
from ..results import FAIL, NOT_APPLICABLE, OUT_OF_REACH, PASS, VERDICTS, Check, Finding, Results, Trace
from ..results_json import summary
from ..verdicts import is_near
from . import history
from .advice import advice
from .figures import figure
from .plot import key, plot
from .repeat import repeat
from .shot import Shot
from .shot import figure as shot_figure
from .style import EMBLEM, STYLE
from .summary import (
    HOLDING,
    MARKS,
    TITLES,
    WORDS,
    Group,
    arm_name,
    badness,
    by_requirement,
    clean,
    group,
    number_of,
    quantity,
    reason,
    setting,
    share,
    verdict_sentence,
)

MODE_TITLES = {
    "none": ("none", "free FK arm"),
    "hand": ("hand", "hand held"),
    "elbow": ("elbow", "elbow planted"),
    "both": ("both", "elbow and hand"),
}
_LAMPS = {PASS: "var(--good)", FAIL: "var(--bad)", OUT_OF_REACH: "var(--far)", NOT_APPLICABLE: "var(--rule)"}
_NOT_MEASURED = '<td class="not_applicable"><span>not measured</span></td>'
_PNG = b"\x89PNG\r\n\x1a\n"


def page(
    results: Results,
    pictures: Sequence[tuple[str, bytes]] = (),
    shots: Sequence[Shot] = (),
    compared: Comparison | None = None,
) -> str:
    """The whole page; `pictures` are (caption, PNG bytes), put before the settings, `shots` go to their requirements.

    `compared` is the proof beside an earlier one.

    Raises ProofError for a picture that is no PNG.
    """
    return "".join(parts(results, pictures, shots, compared))


def parts(
    results: Results,
    pictures: Sequence[tuple[str, bytes]] = (),
    shots: Sequence[Shot] = (),
    compared: Comparison | None = None,
) -> Iterator[str]:
    """The page piece by piece, for a writer that need not hold all of it. Raises ProofError as `page` does."""
    for caption, data in (*pictures, *((shot.check, shot.png) for shot in shots)):
        if not data.startswith(_PNG):
            raise ProofError(f"the picture {clean(caption)!r} is no PNG file: save it as PNG")
    groups = by_requirement(results.checks)
    title = _text(f"Proof of {results.rig}")
    yield '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
    yield f"<title>{title}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<main>\n"
    yield _header(results)
    yield from _findings(results.findings)
    yield _matrix(groups)
    if compared is not None:
        yield from history.section(compared)
    traces = {trace.check: trace for trace in results.traces}
    lengths = dict(results.arm_lengths)
    # What failed comes first; the matrix above keeps the usual order.
    order = (FAIL, OUT_OF_REACH, PASS, NOT_APPLICABLE)
    numbered = enumerate(groups.items())
    for index, (name, found) in sorted(numbered, key=lambda item: order.index(item[1][1].verdict)):
        yield from _requirement(index, name, found, traces, lengths, shots)
    yield from _orders(results)
    yield from _pictures(pictures)
    yield repeat(results)
    yield "</main>\n</body>\n</html>\n"


def _header(results: Results) -> str:
    counts = summary(results.checks)
    overall = next((verdict for verdict in (FAIL, PASS, OUT_OF_REACH) if counts[verdict]), NOT_APPLICABLE)
    tally = {PASS: "hold", FAIL: "failed", OUT_OF_REACH: "out of reach", NOT_APPLICABLE: "do not apply"}
    items = "".join(
        # A count of none has no colour: nothing should look like a warning that is none.
        f'<li class="{verdict if counts[verdict] else NOT_APPLICABLE}">{MARKS[verdict]} {counts[verdict]:,} '
        f"{tally[verdict]}</li>"
        for verdict in VERDICTS
    )
    host = f"Blender {_text(results.host)}" if results.host else "a host of unknown version"
    # No line break between a number and what it counts.
    headline = _text(verdict_sentence(results)).replace(" check", "\u00a0check")
    return (
        f'<header style="--lamp:{_LAMPS[overall]}">\n{EMBLEM}\n'
        f'<p class="kind">Armwright proof, measured in {host}</p>\n'
        f'<h1>{headline}</h1>\n<ul class="tally">{items}</ul>\n</header>\n'
    )


def _findings(findings: Sequence[Finding]) -> Iterator[str]:
    """What is wrong with the file itself: before the verdicts, which it may explain."""
    if not findings:
        return
    yield '<section aria-labelledby="findings">\n<h2 id="findings">Found in the file</h2>\n<ol class="findings">\n'
    for found in findings:
        yield f"<li><strong>{_text(found.where)}</strong> ({_text(found.kind.replace('-', ' '))}): {_text(found.what)}"
        yield f"<em>{_text(found.advice)}</em></li>\n"
    yield "</ol>\n</section>\n"


def _matrix(groups: Mapping[str, Group]) -> str:
    heads = "".join(
        f'<th scope="col">{name}<small>{meaning}</small></th>'
        for name, meaning in (MODE_TITLES[mode] for mode in MODES)
    )
    rows = "".join(_matrix_row(index, name, found) for index, (name, found) in enumerate(groups.items()))
    return (
        '<table class="matrix">\n<caption>What was held, and how the worst check of each requirement did: '
        "the part of its limit that it used, or how many times it went over; – where it does not apply.</caption>\n"
        f'<thead><tr><th scope="col">requirement</th>{heads}</tr></thead>\n<tbody>\n{rows}</tbody>\n</table>\n'
    )


def _matrix_row(index: int, name: str, found: Group) -> str:
    promise = f"<small>{TITLES[name]}</small>" if name in TITLES else ""
    cells = []
    for mode in MODES:
        checks = [check for check in found.checks if check.case.mode == mode]
        cells.append(_cell(group(checks)) if checks else _NOT_MEASURED)
    head = f'<th scope="row"><a href="#requirement-{index}">{_text(name)}</a>{promise}</th>'
    return f"<tr>{head}{''.join(cells)}</tr>\n"


def _cell(found: Group) -> str:
    verdict = found.verdict
    if verdict == NOT_APPLICABLE:
        return f'<td class="{verdict}"><span>{MARKS[verdict]} <span class="wide">{WORDS[verdict]}</span></span></td>'
    words = [f"<b>{MARKS[verdict]} {WORDS[verdict]}</b>", f"<span>{_share_cell(found.worst)}</span>"]
    if verdict == FAIL:
        failing = [check for check in found.checks if check.verdict == FAIL]
        of = list(dict.fromkeys(check.arm for check in found.checks))
        whose = arm_words.names([arm for arm in of if any(check.arm == arm for check in failing)], of)
        words.append(f"<span>{len(failing):,} of {found.applicable:,}, {_text(whose)}</span>")
    beyond = found.counts[OUT_OF_REACH]
    if beyond and verdict != OUT_OF_REACH:
        words.append(f'<span class="more">{beyond:,} out of reach</span>')
    return f'<td class="{verdict}">{"".join(words)}</td>'


def _share_cell(check: Check) -> str:
    """The share; what it is a share of stands in the caption too, so that a narrow screen can leave it out."""
    text, full = share(check), _of_limit(check)
    rest = full.removeprefix(text)
    return _text(text) + (f'<span class="wide">{_text(rest)}</span>' if rest else "")


def _of_limit(check: Check) -> str:
    """A share in full: `6 % of limit`, `40 times the limit`, `by 0.12 L`."""
    text = share(check)
    if text.endswith("%"):
        return f"{text} of limit"
    return f"{text} the limit" if text.endswith(("times", "over")) else text


def _requirement(
    index: int,
    name: str,
    found: Group,
    traces: Mapping[str, Trace],
    lengths: Mapping[str, float],
    shots: Sequence[Shot],
) -> Iterator[str]:
    verdict = found.verdict
    yield f'<section id="requirement-{index}" aria-labelledby="title-{index}">\n'
    yield f'<h2 id="title-{index}">{_text(name)} '
    yield f'<span class="badge {verdict}">{MARKS[verdict]} {WORDS[verdict]}</span></h2>\n'
    if name in TITLES:
        yield f'<p class="promise">{TITLES[name]}.</p>\n'
    if verdict == NOT_APPLICABLE:
        yield f"<p>{number_of(len(found.checks), 'check')}; {_text(reason(found.worst))}.</p>\n"
    else:
        yield f"<p>{_worst_sentence(found)}</p>\n"
    by_id = {check.id: check for check in found.checks} if shots else {}
    yield from (shot_figure(shot, by_id[shot.check]) for shot in shots if shot.check in by_id)
    if verdict == FAIL:
        yield from _failures(index, found, traces, lengths)
        yield from _near(found, traces, lengths)
    elif verdict != NOT_APPLICABLE:
        if found.worst.id in traces:
            yield _evidence(found.worst, traces[found.worst.id], lengths)
        yield from _near(found, traces, lengths)
        beyond = [check for check in found.checks if check.verdict == OUT_OF_REACH]
        if beyond:
            yield _beyond(max(beyond, key=badness), len(beyond))
    yield from _list(found)
    yield "</section>\n"


def _dials(check: Check) -> str:
    return setting(check).partition(", ")[2]


def _worst_sentence(found: Group) -> str:
    worst = found.worst
    value, limit = quantity(worst.value, worst.unit), quantity(worst.limit, worst.unit)
    arm, held = arm_name(worst.arm), HOLDING[worst.case.mode]
    where = f"{arm}, {worst.motion}, {held}, {_dials(worst)}, frame {worst.worst_frame}"
    if found.verdict == OUT_OF_REACH:
        return _text(f"All {number_of(found.applicable, 'check')} out of reach, the furthest by {value}: {where}.")
    start = number_of(found.applicable, "check")
    if found.verdict == FAIL:
        start += f", {found.counts[FAIL]:,} failed"
    return _text(f"{start}. Worst {worst.measure}: {value}, limit {limit} ({_of_limit(worst)}); {where}.")


def _failures(index: int, found: Group, traces: Mapping[str, Trace], lengths: Mapping[str, float]) -> Iterator[str]:
    """Failing checks by what to do about them, worst first: advice, the worst in full, the others folded."""
    failing = sorted((check for check in found.checks if check.verdict == FAIL), key=badness, reverse=True)
    by_advice: dict[str, list[Check]] = {}
    for check in failing:
        by_advice.setdefault(advice(check), []).append(check)
    for number, (words, checks) in enumerate(by_advice.items()):
        measures = list(dict.fromkeys(check.measure for check in checks))
        anchor = f"advice-{index}-{number}"
        yield f"<h3>{_text(', '.join(measures))}: {number_of(len(checks), 'check')} failed</h3>\n"
        yield f'<p class="advice" id="{anchor}">{_text(words)}</p>\n'
        shown = [check for check in checks if check.id in traces]
        if shown:
            yield _evidence(shown[0], traces[shown[0].id], lengths, anchor)
        if len(shown) > 1:
            yield f"<details><summary>{number_of(len(shown) - 1, 'more failing check')}, with curves</summary>\n"
            for check in shown[1:]:
                yield _evidence(check, traces[check.id], lengths, anchor)
            yield "</details>\n"
        if len(shown) < len(checks):
            hidden = number_of(len(checks) - len(shown), "failing check")
            yield f"<p>Curves are kept for the worst only: {hidden} more in the list below.</p>\n"


def _near(found: Group, traces: Mapping[str, Trace], lengths: Mapping[str, float]) -> Iterator[str]:
    """Folded: the checks that hold but come near their limit, other than the one that is shown in full."""
    near = [check for check in found.checks if is_near(check) and check is not found.worst]
    shown = sorted((check for check in near if check.id in traces), key=badness, reverse=True)
    if not shown:
        return
    more = f", the nearest {len(shown)}" if len(shown) < len(near) else ""
    yield f"<details><summary>{number_of(len(near), 'more check')} over half of the limit{more} with curves</summary>\n"
    for check in shown:
        yield _evidence(check, traces[check.id], lengths)
    yield "</details>\n"


def _evidence(check: Check, trace: Trace, lengths: Mapping[str, float], anchor: str = "") -> str:
    """Curve and pose of one check."""
    described = f' aria-describedby="{anchor}"' if anchor else ""
    note = f"<p>{_text(check.note)}</p>" if check.note else ""
    pose = figure(check, trace, lengths.get(check.arm, 0.0)) or "<p>The pose holds no numbers that could be drawn.</p>"
    return (
        f'<figure data-check="{_text(check.id)}"{described}>\n<figcaption>{MARKS[check.verdict]} '
        f"{_text(check.measure)}, {quantity(check.value, check.unit)}, {_text(arm_name(check.arm))}<br>"
        f'<code>{_text(check.id)}</code>{note}</figcaption>\n<div class="pair">'
        f"<div>{key(check)}{plot(check, trace)}</div>{pose}</div>\n"
        "</figure>\n"
    )


def _beyond(furthest: Check, count: int) -> str:
    verb = "is" if count == 1 else "are"
    return (
        f'<p class="advice out_of_reach">{number_of(count, "check")} {verb} {WORDS[OUT_OF_REACH]}, the furthest '
        f"{_text(share(furthest))} ({_text(setting(furthest))}). {_text(advice(furthest))}</p>\n"
    )


def _list(found: Group) -> Iterator[str]:
    """Every check, folded: what failed first, the nearest to its limit first."""
    order = {FAIL: 0, OUT_OF_REACH: 1, PASS: 2, NOT_APPLICABLE: 3}
    ordered = sorted(found.checks, key=lambda check: (order[check.verdict], -badness(check)))
    heads = ("verdict", "of limit", "measure", "value", "limit", "arm", "motion", "case", "frame", "note")
    yield f"<details><summary>Every check, worst first ({len(ordered):,})</summary>\n"
    label = _text(f"Every check of {found.worst.requirement}")
    yield f'<div class="scroll" role="region" tabindex="0" aria-label="{label}">\n'
    yield f"<table><thead><tr>{''.join(f'<th scope=col>{head}</th>' for head in heads)}</tr></thead>\n<tbody>\n"
    for check in ordered:
        yield _row(check)
    yield "</tbody></table>\n</div>\n</details>\n"


def _row(check: Check) -> str:
    applies = check.verdict != NOT_APPLICABLE
    cells = (
        share(check),
        check.measure,
        quantity(check.value, check.unit) if applies else "",
        quantity(check.limit, check.unit) if applies else "",
        check.arm,
        check.motion,
        setting(check),
        str(check.worst_frame) if applies else "",
    )
    body = "".join(f"<td>{_text(cell)}</td>" for cell in cells)
    verdict = f'<td class="{check.verdict}">{MARKS[check.verdict]} {WORDS[check.verdict]}</td>'
    return f'<tr>{verdict}{body}<td class="note">{_text(check.note)}</td></tr>\n'


def _orders(results: Results) -> Iterator[str]:
    """The margins of the rotation orders: advice for a choice, no verdict."""
    if not results.orders:
        return
    yield '<section aria-labelledby="orders">\n<h2 id="orders">Rotation orders</h2>\n'
    yield "<p>How far the middle channel of each joint keeps from 90 degrees, where an order locks.</p>\n<ul>\n"
    yield from (f"<li>{_text(order.sentence)}</li>\n" for order in results.orders)
    yield "</ul>\n</section>\n"


def _pictures(pictures: Sequence[tuple[str, bytes]]) -> Iterator[str]:
    if not pictures:
        return
    yield '<section aria-labelledby="pictures">\n<h2 id="pictures">Pictures</h2>\n<div class="shots">\n'
    for caption, data in pictures:
        code = base64.b64encode(data).decode("ascii")
        words = _text(caption)
        yield f'<figure><img src="data:image/png;base64,{code}" alt="{words}">'
        yield f"<figcaption>{words}</figcaption></figure>\n"
    yield "</div>\n</section>\n"


def _text(text: str) -> str:
    return html.escape(clean(text), quote=True)
