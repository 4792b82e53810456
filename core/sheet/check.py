"""What a requirement sheet must fulfil to be worked by: everything that is wrong, each with its place."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterable, Iterator
from pathlib import PurePosixPath, PureWindowsPath

from .. import arm_words
from ..card.places import Path
from ..card.problems import Problem
from ..errors import shown
from ..proof.order_margin import ORDERS
from .model import (
    HAND,
    HOLDS,
    KINDS,
    REQUIREMENTS,
    TURNS,
    WITH_MOST,
    ArmSheet,
    Frames,
    Orders,
    Recording,
    Sheet,
    Space,
    TorsoRange,
)

# A reach beyond this many arm lengths is a slip: no dial of a segment's length goes further.
LARGEST_MOST = 4.0
# Degrees beyond which a torso has turned over.
LARGEST_TURN = 180.0
# Requirements that hold what a space carries, by the hold.
HOLDING = {"hand": ("hold-hand", "hold-both", "plant"), "elbow": ("hold-elbow", "hold-both")}
_DIGEST = re.compile("[0-9a-f]{64}")


def problems_of(sheet: Sheet) -> tuple[Problem, ...]:
    """Everything that is wrong with a well-formed sheet; empty for one that can be worked by."""
    return tuple(_problems(sheet))


def _problems(sheet: Sheet) -> Iterator[Problem]:
    if not sheet.name.strip():
        yield Problem(("name",), "it is empty: name the character or the motion")
    if sheet.recording is not None:
        yield from _recording(sheet.recording)
    if sheet.torso is not None:
        yield from _torso(sheet.torso)
    frames = None if sheet.recording is None else sheet.recording.frames
    ids = [arm.arm for arm in sheet.arms]
    for place, arm in enumerate(sheet.arms):
        path: Path = ("arms", place)
        if not arm_words.is_id(arm.arm):
            yield Problem((*path, "arm"), f"{shown(arm.arm)} is no arm's id: give a name such as L or lower.L")
        elif arm.arm in ids[:place]:
            yield Problem((*path, "arm"), f"the arm {shown(arm.arm)} is there twice: put what it needs into one")
        if arm.length < 0.0:
            yield Problem((*path, "length"), f"{arm.length:g} m is no length: leave it out, or give more than 0")
        yield from _needs(arm, path, frames)
        yield from _spaces(arm, path, ids, frames)
        yield from _orders(arm.orders, (*path, "orders"))


def _recording(recording: Recording) -> Iterator[Problem]:
    if not recording.rate > 0.0:
        yield Problem(("recording", "rate"), f"{recording.rate:g} frames a second: give more than 0")
    if recording.frames < 2:
        yield Problem(("recording", "frames"), f"{recording.frames} frames hold no motion: give 2 or more")
    for field in ("source_sha256", "torso_sha256"):
        if not _DIGEST.fullmatch(getattr(recording, field)):
            yield Problem(("recording", field), "it is no SHA-256: 64 of the digits 0 to 9 and a to f")
    name = recording.torso
    posix, windows = PurePosixPath(name), PureWindowsPath(name)
    if not name or not name.isprintable() or posix.is_absolute() or windows.anchor or ".." in windows.parts:
        yield Problem(("recording", "torso"), f"{shown(name)}: name a file beside the sheet, or in a folder below it")


def _torso(torso: TorsoRange) -> Iterator[Problem]:
    for field in TURNS:
        low, high = getattr(torso, field)
        if low > high:
            yield Problem(("torso", field), f"its least, {low:g}, is above its most, {high:g}: swap them")
        if max(abs(low), abs(high)) > LARGEST_TURN:
            yield Problem(
                ("torso", field), f"{low:g} to {high:g} degrees turn the torso over: give -180 to 180 at most"
            )
    if torso.travel < 0.0:
        yield Problem(("torso", "travel"), f"{torso.travel:g} arm lengths: give 0 or more")


def _needs(arm: ArmSheet, path: Path, frames: int | None) -> Iterator[Problem]:
    seen: set[str] = set()
    for place, need in enumerate(arm.needs):
        here = (*path, "needs", place)
        yield from _known(need.requirement, REQUIREMENTS, (*here, "requirement"), "requirement")
        if need.requirement in seen:
            yield Problem((*here, "requirement"), f"{shown(need.requirement)} is there twice for this arm: keep one")
        seen.add(need.requirement)
        yield from _spans(need.frames, (*here, "frames"), frames)
        if need.requirement in WITH_MOST:
            if need.most == 0.0:
                yield Problem(here, f"{shown(need.requirement)} needs to know how far: add most = 1.1, arm lengths")
            elif not 1.0 <= need.most <= LARGEST_MOST:
                yield Problem((*here, "most"), f"{need.most:g} arm lengths: give 1 to {LARGEST_MOST:g}")
        elif need.most != 0.0:
            yield Problem((*here, "most"), f"{shown(need.requirement)} has no most: leave it out")


def _spaces(arm: ArmSheet, path: Path, ids: list[str], frames: int | None) -> Iterator[Problem]:
    seen: set[tuple[str, str, str]] = set()
    needed = {need.requirement for need in arm.needs}
    for place, space in enumerate(arm.spaces):
        here = (*path, "spaces", place)
        wrong = [
            *_known(space.hold, HOLDS, (*here, "hold"), "hold"),
            *_known(space.kind, KINDS, (*here, "kind"), "kind"),
        ]
        yield from wrong
        yield from _spans(space.frames, (*here, "frames"), frames)
        if wrong:
            continue
        yield from _carrier(space, arm, ids, here)
        if (space.hold, space.kind, space.on) in seen:
            yield Problem(here, f"the {space.hold} on {shown(space.on)} is there twice: keep one")
        seen.add((space.hold, space.kind, space.on))
        if not needed.intersection(HOLDING[space.hold]):
            wanted = HOLDING[space.hold][0]
            yield Problem(
                (*here, "hold"), f"nothing holds the {space.hold} of this arm: add the requirement {wanted!r}"
            )


def _carrier(space: Space, arm: ArmSheet, ids: list[str], here: Path) -> Iterator[Problem]:
    if space.kind == HAND:
        if space.on == arm.arm:
            yield Problem((*here, "on"), "an arm can not hold on to its own hand: name another arm")
        elif space.on not in ids:
            known = ", ".join(other for other in ids if other != arm.arm) or "none"
            yield Problem((*here, "on"), f"the sheet has no arm {shown(space.on)}; other arms are: {known[:200]}")
    elif not space.on.strip():
        yield Problem((*here, "on"), "it is empty: name the thing")


def _orders(orders: Orders, path: Path) -> Iterator[Problem]:
    for joint, order in vars(orders).items():
        if order:
            yield from _known(order, ORDERS, (*path, joint), "rotation order")


def _known(found: str, known: Iterable[str], path: Path, what: str) -> Iterator[Problem]:
    """A problem where `found` is none of `known`, with the nearest of them."""
    known = tuple(known)
    if found in known:
        return
    like = difflib.get_close_matches(found[:80], known, 1)
    meant = f"; perhaps {like[0]!r} is meant" if like else ""
    yield Problem(path, f"{found[:80]!r} is no {what}{meant}; there are: {', '.join(known)}")


def _spans(spans: Frames, path: Path, frames: int | None) -> Iterator[Problem]:
    last = math.inf if frames is None else frames - 1
    for place, (first, end) in enumerate(spans):
        if not 0 <= first <= end <= last:
            within = "" if frames is None else f", of 0 to {frames - 1}"
            yield Problem((*path, place), f"frames {first} to {end}{within}: give the first and the last of a span")
