"""A study's written form."""

from __future__ import annotations

import json

import pytest
from made_motions import held_hand, rolling_hand

from armwright.core.errors import MotionError
from armwright.core.study.study import study
from armwright.core.study.study_json import StudyRecord, from_text, record_of, to_text


@pytest.fixture(scope="module")
def record() -> StudyRecord:
    return record_of(study(rolling_hand(30.0, 2, 0.5)[0].motion))


def test_a_study_comes_back_from_its_text_figure_by_figure(record: StudyRecord) -> None:
    assert from_text(to_text(record)) == record
    two_arms = record_of(study(held_hand(30.0, 1, False).motion))
    assert len(two_arms.arms) == 2
    assert from_text(to_text(two_arms).encode()) == two_arms


def test_the_same_motion_gives_the_same_bytes(record: StudyRecord) -> None:
    assert to_text(record) == to_text(record_of(study(rolling_hand(30.0, 2, 0.5)[0].motion)))
    assert json.loads(to_text(record))["format"] == "armwright.study"


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda data: data.update(version=2), "newer Armwright"),
        (lambda data: data.update(format="armwright.plan"), "format"),
        (lambda data: data.pop("torso"), '"torso" is missing'),
        (lambda data: data.update(frames=1), "no motion"),
        (lambda data: data.update(extra=1), "unknown field"),
        (lambda data: data["phases"][0].update(kind="flying"), "phases\\[0\\].kind"),
        (lambda data: data["phases"][0].update(last=10**6), "not within"),
        (lambda data: data["phases"][0].update(arm="tail"), "phases\\[0\\].arm"),
        (lambda data: data["arms"][0].update(length="long"), "arms\\[0\\]"),
    ],
)
def test_what_no_study_writes_is_refused_with_its_place(record: StudyRecord, change, message: str) -> None:
    data = json.loads(to_text(record))
    change(data)
    with pytest.raises(MotionError, match=message):
        from_text(json.dumps(data))
    with pytest.raises(MotionError, match="complete JSON"):
        from_text(to_text(record)[:200])
