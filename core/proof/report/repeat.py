"""What is needed to make the same proof again, as a section of the page."""

from __future__ import annotations

import html
import shlex

from ... import arm_words
from ..results import MadeWith, Results
from .summary import clean


def repeat(results: Results) -> str:
    """What is needed to make the same proof again."""
    checks = results.checks
    motions = list(dict.fromkeys(check.motion for check in checks if check.samples))
    cases = {check.case for check in checks if check.samples}
    arms = ", ".join(f"{clean(arm_words.words(arm))} {length:.4g} m" for arm, length in results.arm_lengths)
    rate = f"{results.frames_per_second:,.0f} frames a second" if results.frames_per_second else "not measured"
    rows = {
        "Rig": results.rig,
        "Host": f"Blender {results.host}" if results.host else "unknown",
        "Plan": results.plan_digest or "none: the rig was not built from a plan",
        "Seed": str(results.seed),
        "Made with": _versions(results.made_with),
        "L, the arm's length": arms,
        "Motions": ", ".join(motions) or "none",
        "Cases": f"{len(cases)} (what is held, isolate, lift, stretch)",
        "Posed, evaluated and read": rate,
    }
    code = {"Plan", "Seed"} if results.plan_digest else {"Seed"}
    items = "".join(
        f"<dt>{_text(name)}</dt><dd>{f'<code>{_text(value)}</code>' if name in code else _text(value)}</dd>\n"
        for name, value in rows.items()
    )
    return (
        '<section aria-labelledby="repeat">\n<h2 id="repeat">To repeat this proof</h2>\n'
        "<p>The same plan, seed and host give the same figures. A value holds when it is not above its limit; frames "
        f"count from 0; L is the arm from shoulder to wrist.</p>\n<dl>\n{items}</dl>\n"
        f"<p><code>{_text(command(results))}</code></p>\n</section>\n"
    )


def command(results: Results) -> str:
    """The command line that makes the same proof; names of files are for the reader to fill in."""
    made = results.made_with
    card = " --card CARD.json" if made.card_digest else ""
    motion = f" --motion {shlex.quote(clean(made.recorded))}" if made.recorded else ""
    if made.sheet_digest:
        # It names the recording.
        motion = " --sheet SHEET.toml"
    return f"python -m armwright proof FILE.blend{card}{motion} --seed {results.seed} --html report.html"


def _versions(made: MadeWith) -> str:
    parts = [
        f"{name} {version}"
        for name, version in (("Armwright", made.armwright), ("Python", made.python), ("numpy", made.numpy))
        if version
    ]
    recorded = [f"recorded motion {made.recorded} (SHA-256 {made.recorded_digest[:12]})"] if made.recorded else []
    card = [f"rig card (SHA-256 {made.card_digest[:12]})"] if made.card_digest else []
    sheet = [f"requirement sheet (SHA-256 {made.sheet_digest[:12]})"] if made.sheet_digest else []
    return ", ".join([*parts, *recorded, *card, *sheet]) or "unknown versions"


def _text(text: str) -> str:
    return html.escape(clean(text), quote=True)
