"""A proof as a text that a file keeps, and which of its checks come first."""

from __future__ import annotations

import base64
import zlib
from collections.abc import Callable
from dataclasses import replace

import pytest

from armwright.core.errors import ProofError
from armwright.core.proof import kept, results_json
from armwright.core.proof.cases import Case
from armwright.core.proof.nearest import headline, nearest, share, worst_of_each
from armwright.core.proof.results import FAIL, OUT_OF_REACH, PASS, Check, Results


def results(count: int = 2500) -> Results:
    checks = tuple(
        Check(
            f"hold-hand/wiggle/{number}/L/slide", "hold-hand", "wiggle", Case("hand", 0.0, 1.0, 0.5), "L", "slide", "L",
            number * 1e-9, 2e-6, PASS if number < 2000 else FAIL, number % 240, 240,
        )
        for number in range(count)
    )  # fmt: skip
    return Results("4.5.15", "Wren", "ab" * 32, 7, (("L", 0.56),), checks, frames_per_second=900.0)


@pytest.mark.parametrize("count", [0, 1, 999, 1000, 1001, 2500])
def test_a_proof_comes_back_from_its_text(count: int) -> None:
    proof = results(count)
    assert kept.together(list(kept.parts(kept.joined(list(kept.pieces(proof)))))) == proof


def test_the_text_is_short_and_of_plain_lines() -> None:
    text = kept.joined(list(kept.pieces(results())))
    assert text.isascii()
    assert len(text) < len(results_json.to_text(results())) / 10
    assert len(text.splitlines()) == 4


def test_a_kept_proof_of_a_newer_version_says_so() -> None:
    text = kept.joined(list(kept.pieces(results(3)))).replace('"version": 1', '"version": 2')
    with pytest.raises(ProofError, match=r"newer Armwright .*update the extension"):
        list(kept.parts(text))


def test_results_of_a_newer_version_inside_say_so() -> None:
    inside = results_json.to_text(results(3)).replace('"version": 1', '"version": 9')
    piece = base64.b85encode(zlib.compress(inside.encode())).decode()
    with pytest.raises(ProofError, match=r"newer Armwright .*update the extension"):
        list(kept.parts(kept.joined([piece])))


@pytest.mark.parametrize(
    "spoil",
    [lambda text: text[:-20] + "\n", lambda text: text.rsplit("\n", 2)[0] + "\n", lambda text: text + "x\n"],
    ids=["cut off", "a piece is gone", "a piece too many"],
)
def test_a_damaged_text_is_refused_with_what_to_do(spoil: Callable[[str], str]) -> None:
    text = kept.joined(list(kept.pieces(results())))
    with pytest.raises(ProofError, match="damaged: run the proof again"):
        kept.together(list(kept.parts(spoil(text))))


@pytest.mark.parametrize("text", ["", "lantern", '{"format": "other", "version": 1, "pieces": 1}\nx\n'])
def test_what_is_no_kept_proof_is_refused(text: str) -> None:
    with pytest.raises(ProofError):
        list(kept.parts(text))


def test_parts_of_two_proofs_do_not_make_one() -> None:
    with pytest.raises(ProofError, match="damaged"):
        kept.together([results(3), replace(results(3), seed=8)])
    with pytest.raises(ProofError, match="damaged"):
        kept.together([results(3), results(3)])


def test_the_nearest_are_the_worst_first_and_those_out_of_reach_last() -> None:
    proof = results()
    far = replace(proof.checks[0], id="far", verdict=OUT_OF_REACH, value=0.3)
    proof = replace(proof, checks=(far, *proof.checks))
    found = nearest(proof, "hold-hand")
    assert [check.value for check in found] == [pytest.approx(number * 1e-9) for number in range(2499, 2479, -1)]
    assert nearest(proof, "hold-hand", 3000)[-1] is far
    assert nearest(proof, "lift") == ()
    assert worst_of_each(proof) == (proof.checks[-1],)
    assert headline(proof) == "2501 checks: 500 failed, 1 out of reach"


def test_no_number_comes_before_every_number() -> None:
    proof = results(3)
    lost = replace(proof.checks[1], id="lost", verdict=FAIL, value=float("nan"))
    assert nearest(replace(proof, checks=(*proof.checks, lost)), "hold-hand")[0] is lost


def test_a_failing_check_comes_before_one_that_passes_with_a_larger_share() -> None:
    proof = results(3)
    excused = replace(proof.checks[0], id="small and wrong", verdict=FAIL, value=1e-9)
    nearly = replace(proof.checks[1], id="nearly", value=1.9e-6)
    assert [item.id for item in nearest(replace(proof, checks=(nearly, excused)), "hold-hand")] == [
        "small and wrong",
        "nearly",
    ]


@pytest.mark.parametrize(
    ("value", "verdict", "words"),
    [
        (2e-7, PASS, "10 % of limit"),
        (8e-5, FAIL, "40 times limit"),
        (0.5, FAIL, "200,000 times limit"),
        (float("nan"), FAIL, "no number"),
        (0.1, OUT_OF_REACH, "out of reach"),
    ],
)
def test_the_share_of_a_limit_is_short(value: float, verdict: str, words: str) -> None:
    assert share(replace(results(1).checks[0], value=value, verdict=verdict)) == words
