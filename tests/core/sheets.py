"""Requirement sheets for the tests: the keeper's at the sill, and random ones."""

from __future__ import annotations

from hypothesis import strategies as st

from armwright.core.sheet.check import HOLDING
from armwright.core.sheet.model import (
    HAND,
    HOLDS,
    REQUIREMENTS,
    THING,
    WITH_MOST,
    ArmSheet,
    Need,
    Orders,
    Recording,
    Sheet,
    Space,
    TorsoRange,
)

LEFT = ArmSheet(
    "L",
    0.58,
    (
        Need("swing", "twice", ((0, 40), (90, 99))),
        Need("hold-hand", "the sill, for a while", ((41, 60), (70, 80))),
        Need("stretch", "the rope", ((75, 75),), 1.12),
        Need("shoulder", "it shrugs", ((50, 50),)),
    ),
    (Space("hand", HAND, "R", "both on the rope", ((70, 80),)), Space("hand", THING, "lantern")),
    Orders(forearm="ZXY"),
)
RIGHT = ArmSheet("R", 0.58, (Need("hold-elbow"),))
RECORDING = Recording("sill.bvh", "0a" * 32, 24.0, 100, "torso.bvh", "1b" * 32, 3)
TORSO = TorsoRange((-2.0, 20.0), (-5.0, 5.5), (-10.0, 12.0), 0.15)
SHEET = Sheet("Wren at the sill", (LEFT, RIGHT), RECORDING, TORSO)

_NUMBERS = st.floats(0.0, 170.0)
_SPANS = st.lists(
    st.tuples(st.integers(0, 99), st.integers(0, 99)).map(lambda pair: (min(pair), max(pair))), max_size=3
).map(tuple)
_TEXTS = st.text(st.characters(exclude_categories=("Cs",)), max_size=20)
_NAMES = _TEXTS.filter(lambda text: bool(text.strip()))


@st.composite
def _arm(draw: st.DrawFn, name: str, other: str) -> ArmSheet:
    names = draw(st.lists(st.sampled_from(REQUIREMENTS), unique=True, max_size=6))
    needs = tuple(
        Need(item, draw(_TEXTS), draw(_SPANS), draw(st.floats(1.0, 4.0)) if item in WITH_MOST else 0.0)
        for item in names
    )
    spaces = []
    for hold in HOLDS:
        if set(HOLDING[hold]) & set(names):
            spaces += [Space(hold, THING, thing) for thing in draw(st.lists(_NAMES, unique=True, max_size=2))]
            spaces += [Space(hold, HAND, other, draw(_TEXTS), draw(_SPANS))] if draw(st.booleans()) else []
    orders = Orders(*draw(st.tuples(*[st.sampled_from(("", "XYZ", "ZYX"))] * 4)))
    return ArmSheet(name, draw(_NUMBERS), needs, tuple(spaces), orders)


@st.composite
def sheets(draw: st.DrawFn) -> Sheet:
    """Any sheet that can be worked by."""
    turns = [tuple(sorted(draw(st.tuples(_NUMBERS, _NUMBERS)))) for _ in range(3)]
    return Sheet(
        draw(_NAMES),
        (draw(_arm("L", "lower.R")), draw(_arm("lower.R", "L"))),
        draw(st.sampled_from((None, RECORDING))),
        draw(st.sampled_from((None, TorsoRange(*turns, draw(_NUMBERS))))),
    )
