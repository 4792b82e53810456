"""The study as one page that stands alone: no network, no script, readable on a screen, a phone and on paper."""

from __future__ import annotations

import html
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from .. import arm_words
from ..anatomy import RANGES
from ..proof.cases import CORNERS
from ..proof.report.plot import plot
from ..proof.report.style import EMBLEM
from ..proof.report.style import STYLE as REPORT_STYLE
from ..proof.report.summary import clean
from ..proof.results import FAIL, PASS, Check, Trace
from ..sheet.from_study import asks
from ..sheet.model import ArmSheet, Frames, Sheet
from ..study.measures import ArmStudy, Extent
from ..study.phases import KINDS, SWING, Phase
from ..study.ranges import READING_ERROR, SOURCE
from ..study.study import Study
from . import words
from .style import STYLE

Array = NDArray[np.float64]

# Spans that a line of evidence names; the sheet has more.
MOST_SPANS = 6
# Degrees below which a joint does not move in a direction.
LEAST_SHOWN = 0.5
HIGHEST = max(item.degrees for item in RANGES if item.joint == "shoulder")
RISE_SOURCE = "Holzbaur et al. 2005, as packaged in myo-sim"


def page(study: Study, sheet: Sheet) -> str:
    """The whole page of a study and of the sheet that was drawn up from it.

    Raises ProofError where pygal, which draws the plots, is not installed.
    """
    return "".join(parts(study, sheet))


def parts(study: Study, sheet: Sheet) -> Iterator[str]:
    """The page piece by piece."""
    title = _text(f"Study of {sheet.name}")
    yield '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
    yield f"<title>{title}</title>\n<style>{REPORT_STYLE}{STYLE}</style>\n</head>\n<body>\n<main>\n"
    yield _header(study, sheet)
    yield from _needs(sheet)
    yield from _timeline(study)
    for arm in study.arms:
        yield from _arm(study, arm)
    yield from _torso(study, sheet)
    yield from _notes(study, sheet)
    yield "</main>\n</body>\n</html>\n"


def _header(study: Study, sheet: Sheet) -> str:
    motion = study.motion
    seconds = motion.frames / motion.rate
    facts = [f"{motion.frames:,} frames", f"{motion.rate:.4g} a second", f"{seconds:.3g} s"]
    facts += [f"{arm_words.name(arm.arm)} {arm.length:.3g} m" for arm in study.arms]
    items = "".join(f"<li>{_text(fact)}</li>" for fact in facts)
    return (
        f'<header style="--lamp:var(--far)">\n{EMBLEM}\n<p class="kind">Armwright study of recorded motion</p>\n'
        f'<h1>{_text(_sentence(words.headline(sheet)))}</h1>\n<ul class="tally">{items}</ul>\n</header>\n'
    )


def _needs(sheet: Sheet) -> Iterator[str]:
    yield '<section aria-labelledby="needs">\n<h2 id="needs">What it asks of the arms</h2>\n'
    yield "<p>The same lines are in the requirement sheet, where they can be edited.</p>\n"
    yield '<div class="two">\n'
    for arm in sheet.arms:
        yield f"<div><h3>{_text(_sentence(arm_words.name(arm.arm)))}</h3>\n"
        yield from _lines(arm)
        yield "</div>\n"
    yield "</div>\n</section>\n"


def _lines(arm: ArmSheet) -> Iterator[str]:
    if not (arm.needs or arm.spaces):
        yield "<p>Nothing.</p>\n"
        return
    yield '<ul class="needs">\n'
    for need in arm.needs:
        figure = f" to {need.most:g} arm lengths" if need.most else ""
        yield _line(f"{need.requirement}{figure}", words.advice(need), need.why, need.frames)
    for space in arm.spaces:
        advice = "Let it carry the hold over these frames: the hand then follows it."
        yield _line(f"{space.hold} on {space.on}", advice, space.why, space.frames)
    yield "</ul>\n"


def _line(what: str, advice: str, why: str, frames: Frames) -> str:
    shown = ", ".join(f"{first} to {last}" if last > first else str(first) for first, last in frames[:MOST_SPANS])
    more = f" and {len(frames) - MOST_SPANS} more" if len(frames) > MOST_SPANS else ""
    noun = "frame" if len(frames) == 1 and frames[0][0] == frames[0][1] else "frames"
    evidence = f"{why}; {noun} {shown}{more}" if shown else why
    return (
        f'<li><strong>{_text(what)}</strong>{_text(advice)}<span class="why">{_text(_sentence(evidence))}</span></li>\n'
    )


def _timeline(study: Study) -> Iterator[str]:
    motion = study.motion
    seconds = motion.frames / motion.rate
    yield '<section aria-labelledby="time">\n<h2 id="time">What each arm does</h2>\n'
    yield "<p>An outline is a hold while the body stands still as well: it asks nothing of a rig.</p>\n"
    for arm in study.arms:
        mine = [phase for phase in study.phases if phase.arm == arm.arm]
        yield f'<h3>{_text(_sentence(arm_words.name(arm.arm)))}</h3>\n<div class="rows">\n'
        for kind in KINDS:
            for on in dict.fromkeys(phase.on for phase in mine if phase.kind == kind):
                yield _row(kind, on, [phase for phase in mine if (phase.kind, phase.on) == (kind, on)], motion.frames)
        ticks = "".join(f"<span>{share * seconds:.3g}{' s' if share == 1.0 else ''}</span>" for share in (0, 0.5, 1.0))
        yield f'</div>\n<div class="scale">{ticks}</div>\n'
    yield "</section>\n"


def _row(kind: str, on: str, phases: Sequence[Phase], frames: int) -> str:
    name = words.KIND_WORDS[kind]
    if kind == "held":
        name = f"{name} {arm_words.words(on) + ' hand' if on in ('L', 'R') else on}"
    bars = "".join(
        f'<i{"" if kind == SWING or asks(phase) else " class=idle"} style="left:{100.0 * phase.first / frames:.2f}%;'
        f'width:{100.0 * (phase.last - phase.first + 1) / frames:.2f}%"></i>'
        for phase in phases
    )
    share = sum(phase.last - phase.first + 1 for phase in phases) / frames
    label = _text(f"{name}: {len(phases)} spans, {100.0 * share:.0f} % of the time")
    track = f'<div class="track" role="img" aria-label="{label}">{bars}</div>'
    return f'<div class="row {kind}"><b>{_text(name)}</b>{track}</div>\n'


def _arm(study: Study, arm: ArmStudy) -> Iterator[str]:
    name = _text(_sentence(arm_words.name(arm.arm)))
    anchor = f"arm-{study.arms.index(arm)}"
    yield f'<section aria-labelledby="{anchor}">\n<h2 id="{anchor}">{name}</h2>\n<div class="pair">\n'
    reach, elevation = _curves(study, arm)
    yield _figure(study, "Reach, from shoulder to wrist", "reach", "L", reach, 1.0, arm.reach, "the arm's length")
    limit = f"{HIGHEST:.0f} degrees, a person's most"
    yield _figure(study, "Elevation of the upper arm", "elevation", "deg", elevation, HIGHEST, arm.elevation, limit)
    yield "</div>\n"
    yield from _ranges(study, arm)
    yield from _rhythm(arm)
    yield from _orders(study, arm)
    yield "</section>\n"


def _curves(study: Study, arm: ArmStudy) -> tuple[Array, Array]:
    """Reach (N,), arm lengths, and elevation (N,), degrees, as measures.py has them."""
    motion = study.motion
    joints = next(item for item in motion.arms if item.arm == arm.arm)
    reach = np.linalg.norm(joints.wrist - joints.shoulder, axis=1) / arm.length
    upper, down = joints.elbow - joints.shoulder, -motion.torso[:, :3, 2]
    across = np.linalg.norm(np.cross(upper, down), axis=1)
    return reach, np.degrees(np.arctan2(across, np.sum(upper * down, axis=1)))


def _figure(
    study: Study, caption: str, measure: str, unit: str, values: Array, limit: float, extent: Extent, words_of: str
) -> str:
    frame = extent.most_frame
    value = float(values[frame])
    check = Check(
        *(measure, measure, "", CORNERS[0], "", measure, unit, value, limit),
        PASS if value <= limit else FAIL,
        frame,
        len(values),
    )
    none = np.zeros((0, 3))
    drawing = plot(check, Trace(measure, values, none, none, none), study.motion.left_out, linear=True)
    return (
        f"<figure><figcaption>{_text(caption)}</figcaption>{drawing}"
        f'<p class="key"><span class="limit-key">{_text(words_of)}</span><span class="mark-key">the most</span></p>'
        "</figure>\n"
    )


def _ranges(study: Study, arm: ArmStudy) -> Iterator[str]:
    if not arm.ranges:
        return
    yield f"<h3>Range of motion</h3>\n<p>Beside a person's ({_text(SOURCE)}); what is more than {READING_ERROR:.0f} "
    yield "degrees beyond is marked.</p>\n"
    rows = [
        (
            f"{item.joint} {item.direction}",
            f"{item.degrees:.0f}°",
            f"{item.limit:.0f}°",
            str(item.frame + study.motion.left_out),
            f"{item.degrees - item.limit:.0f}° beyond" if item.beyond else "",
        )
        for item in arm.ranges
        if item.degrees >= LEAST_SHOWN
    ]
    yield _table(("joint", "most", "a person's", "frame", ""), rows)


def _rhythm(arm: ArmStudy) -> Iterator[str]:
    yield "<h3>Rhythm of the shoulder</h3>\n"
    if not arm.rhythm:
        yield "<p>The arm is not raised far enough, or not for long enough, to say.</p>\n"
        return
    yield "<p>How far the shoulder rises in the torso with the raised arm, over the upper arm's length, beside "
    yield f"published figures ({_text(RISE_SOURCE)}).</p>\n"
    rows = [
        (f"{angle:.0f}°", f"{round(rise, 3) + 0.0:.3f}", f"{published:.3f}") for angle, rise, published in arm.rhythm
    ]
    yield _table(("arm raised to", "recorded rise", "published rise"), rows)
    if max(abs(rise) for _, rise, _ in arm.rhythm) < 1e-6:
        yield "<p>The recorded shoulder does not move in the torso at all: its skeleton has a fixed one.</p>\n"
    if arm.ratio is not None:
        yield f"<p>The arm turns by {arm.ratio:.2g} degrees in the shoulder girdle for each of the girdle's own; "
        yield "published are 2 (Inman et al. 1944) and 2.3 (Braman et al. 2009).</p>\n"


def _orders(study: Study, arm: ArmStudy) -> Iterator[str]:
    if not arm.orders:
        return
    yield "<h3>Rotation orders</h3>\n<p>The least angle from gimbal lock over the motion, in the rig's order and in "
    yield "the one that keeps furthest.</p>\n"
    rows = [
        (
            f"{item.joint}, {item.rest}",
            f"{item.order} {item.margin:.0f}°",
            f"{item.best} {item.best_margin:.0f}°" if item.best != item.order else "the same",
            str(item.frame + study.motion.left_out),
        )
        for item in arm.orders
    ]
    yield _table(("joint and rest pose", "the rig's", "furthest", "frame"), rows)


def _torso(study: Study, sheet: Sheet) -> Iterator[str]:
    torso, out = study.torso, study.motion.left_out
    yield '<section aria-labelledby="torso">\n<h2 id="torso">The torso</h2>\n'
    yield "<p>Away from its own slow heading and path, with what a proof by the sheet plays of it.</p>\n"
    rows = []
    for name, extent in (("tilt", torso.tilt), ("side", torso.side), ("twist", torso.twist)):
        played = "" if sheet.torso is None else "{:.0f}° to {:.0f}°".format(*getattr(sheet.torso, name))
        frames = f"{extent.least_frame + out}, {extent.most_frame + out}"
        rows.append((name, f"{extent.least:.0f}° to {extent.most:.0f}°", frames, played))
    played = "" if sheet.torso is None else f"up to {sheet.torso.travel:.2f} L"
    rows.append(("travel", f"up to {torso.travel:.2f} L", "", played))
    yield _table(("", "recorded", "frames", "played"), rows)
    yield "</section>\n"


def _notes(study: Study, sheet: Sheet) -> Iterator[str]:
    motion = study.motion
    source = (
        "" if sheet.recording is None else f"{sheet.recording.source}, SHA-256 {sheet.recording.source_sha256[:12]}"
    )
    yield '<section aria-labelledby="notes">\n<h2 id="notes">About this study</h2>\n<dl>\n'
    yield f"<dt>Recording</dt><dd>{_text(source or motion.name)}</dd>\n"
    yield "<dt>Frames</dt><dd>counted from 0 in the recording</dd>\n"
    yield "<dt>L</dt><dd>the arm from shoulder to wrist, along the bones</dd>\n</dl>\n"
    if motion.notes:
        yield "<ul>\n"
        yield from (f"<li>{_text(_sentence(note))}</li>\n" for note in motion.notes)
        yield "</ul>\n"
    yield "<p>Next: build the arms by the sheet, then prove them by it.</p>\n"
    yield "<p><code>python -m armwright build CHARACTER.blend --sheet sheet.toml --out ARMS.blend</code></p>\n"
    yield "<p><code>python -m armwright proof ARMS.blend --sheet sheet.toml --html report.html</code></p>\n</section>\n"


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    head = "".join(f'<th scope="col">{_text(text)}</th>' for text in heads)
    body = "".join(
        "<tr>"
        + "".join(f"<td{' class=beyond' if cell.endswith(' beyond') else ''}>{_text(cell)}</td>" for cell in row)
        + "</tr>\n"
        for row in rows
    )
    return f'<table class="plain"><thead><tr>{head}</tr></thead>\n<tbody>{body}</tbody></table>\n'


def _sentence(text: str) -> str:
    """With a capital letter."""
    return text[:1].upper() + text[1:]


def _text(text: str) -> str:
    return html.escape(clean(text), quote=True)
