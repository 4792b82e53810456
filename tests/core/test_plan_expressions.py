"""Driver expressions: what is accepted, what is refused and why, and what they mean."""

from __future__ import annotations

import math
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from armwright.core.errors import PlanError
from armwright.core.plan.expressions import DEEPEST, MOST_CHARACTERS, check, evaluate

# expression, variables, value. Source: evaluated by drivers in the `bpy` wheels 4.5 and 5.2, all "simple" there.
ACCEPTED = [
    ("1", {}, 1.0),
    ("1e3", {}, 1000.0),
    ("5.", {}, 5.0),
    (" a ", {"a": 2.0}, 2.0),
    ("-(-3)", {}, 3.0),
    ("- - 1", {}, 1.0),
    ("round(2.5)", {}, 3.0),
    ("round(-2.5)", {}, -3.0),
    ("int(-2.5)", {}, -2.0),
    ("trunc(-2.7)", {}, -2.0),
    ("floor(-2.5)", {}, -3.0),
    ("ceil(-2.5)", {}, -2.0),
    ("log(8, 2)", {}, 3.0),
    ("log(8)", {}, math.log(8)),
    ("clamp(2)", {}, 1.0),
    ("clamp(2, 0, 5)", {}, 2.0),
    ("clamp(3, 2, 1)", {}, 1.0),
    ("clamp(0, 2, 1)", {}, 2.0),
    ("lerp(1, 3, 2)", {}, 5.0),
    ("smoothstep(0, 2, 0.5)", {}, 0.15625),
    ("smoothstep(2, 0, 0.5)", {}, 0.84375),
    ("fmod(-5, 3)", {}, -2.0),
    ("min(3, 2, 1)", {}, 1.0),
    ("max(1)", {}, 1.0),
    ("2 and 3", {}, 3.0),
    ("0 and 3", {}, 0.0),
    ("0 or 3", {}, 3.0),
    ("2 or 3", {}, 2.0),
    ("not 2", {}, 0.0),
    ("(1 < 2) * 5", {}, 5.0),
    ("1 if 0 else 2", {}, 2.0),
    ("1 if 1 else 2 if 0 else 3", {}, 1.0),
    ("not 1 < 2", {}, 0.0),
    ("pow(2, 3) + sqrt(4) + abs(-1)", {}, 11.0),
    ("radians(180) == pi", {}, 1.0),
    ("degrees(pi)", {}, 180.0),
    ("exp(0) + sin(0) + cos(0) + acos(1) + atan2(0, 1)", {}, 2.0),
]

REFUSED = [
    ("", (), "not a complete expression"),
    ("a b", ("a", "b"), "not a complete expression"),
    ("a +", ("a",), "not a complete expression"),
    ("a**2", ("a",), "use pow"),
    ("a % 2", ("a",), "'%'"),
    ("a // 2", ("a",), "floordiv|not allowed"),
    ("__import__('os')", (), "not allowed"),
    ("__import__(os)", ("os",), "__import__"),
    ("a.real", ("a",), "not allowed"),
    ("1 .real", (), "not allowed"),
    ("a[0]", ("a",), "not allowed"),
    ('"a"', (), "not allowed"),
    ("lambda: 1", (), "not allowed"),
    ("a if a else lambda", ("a",), "not a complete"),
    ("(a := 1)", ("a",), "not allowed"),
    ("[a]", ("a",), "not allowed"),
    ("{a}", ("a",), "not allowed"),
    ("(a, a)", ("a",), "tuple"),
    ("a,", ("a",), "tuple"),
    ("()", (), "tuple"),
    ("sin(a, a)", ("a",), "takes 1 arguments, found 2"),
    ("min()", (), "takes 1 or more arguments"),
    ("clamp(a, 1)", ("a",), "takes 1 or 3"),
    ("log(a, 2, 3)", ("a",), "takes 1 or 2"),
    ("sin(x=a)", ("a", "x"), "not allowed"),
    ("sin(*a)", ("a",), "one by one"),
    ("max(**a)", ("a",), "not allowed|one by one"),
    ("max(a for a in a)", ("a",), "generator|not allowed"),
    ("tan(a)", ("a",), "tan"),
    ("eval(a)", ("a",), "eval"),
    ("pi(a)", ("a",), "pi"),
    ("sin(a)(a)", ("a",), "this call"),
    ("sin", (), "without its arguments"),
    ("sin + 1", (), "without its arguments"),
    ("a < 1 < 2", ("a",), "chained"),
    ("a is 1", ("a",), "comparison"),
    ("a in a", ("a",), "comparison"),
    ("a <> 1", ("a",), "not a complete"),
    ("True", (), "write 1 or 0"),
    ("None", (), "write 1 or 0"),
    ("1e999", (), "finite"),
    ("1j", (), "not allowed"),
    ("1_000", (), "not allowed"),
    ("0x10", (), "not allowed"),
    ("007", (), "not a complete"),
    ("1if 1 else 2", (), "not allowed"),
    (".5", (), "not allowed"),
    ("1\n+1", (), "not allowed"),
    ("1 # a", (), "not allowed"),
    ("1; 2", (), "not allowed"),
    ("ａ", ("a",), "not allowed"),
    ("a", ("a", "b"), '"b" is not used'),
    ("a + b", ("a",), '"b" is not defined'),
    ("sin(1)", ("sin",), "means something else"),
    ("pi", ("pi",), "means something else"),
    ("1", ("if",), "means something else"),
    ("1", ("a b",), "not usable"),
    ("1", ("é",), "not usable"),
    ("1", ("a" * 64,), "not usable"),
    ("1+" * 127 + "11", (), f"the most is {MOST_CHARACTERS}"),
    ("-" * 200 + "1", (), "nested too deeply"),
    ("abs(" * 51 + ")" * 51, (), "arguments|nested"),
    ("(" * 250, (), "not a complete|nested"),
    ("await a", ("a",), "not a complete|not allowed"),
    ("yield", (), "not a complete|not allowed"),
]


@pytest.mark.parametrize(("expression", "values", "expected"), ACCEPTED)
def test_an_expression_of_the_subset_has_the_host_s_value(
    expression: str, values: dict[str, float], expected: float
) -> None:
    check(expression, values.keys())
    assert evaluate(expression, values) == pytest.approx(expected, rel=1e-15, abs=0.0)


@pytest.mark.parametrize(("expression", "names", "words"), REFUSED)
def test_an_expression_outside_the_subset_is_refused_with_the_reason(
    expression: str, names: tuple[str, ...], words: str
) -> None:
    with pytest.raises(PlanError, match=words):
        check(expression, names)


def test_brackets_and_long_whole_numbers_that_the_host_takes_are_taken() -> None:
    check("(" * 120 + "1" + ")" * 120, ())
    check("9" * MOST_CHARACTERS, ())


def test_the_longest_and_the_deepest_expression_are_just_accepted() -> None:
    check("1+" * 20 + "1" * (MOST_CHARACTERS - 40), ())
    check("-" * (DEEPEST - 1) + "1", ())
    with pytest.raises(PlanError, match="nested too deeply"):
        check("-" * DEEPEST + "1", ())


def test_a_check_works_near_the_end_of_the_interpreter_s_stack() -> None:
    def descend(depth: int) -> None:
        if depth:
            descend(depth - 1)
        else:
            with pytest.raises(PlanError):
                check("-" * 250 + "1", ())

    descend(sys.getrecursionlimit() // 2)


@pytest.mark.parametrize(
    "expression",
    ["1/a", "sqrt(a-1)", "acos(a+2)", "log(a)", "pow(a, -1)", "exp(1000+a)", "(a+1)*1e308*10", "fmod(1, a)"],
)
def test_an_expression_without_a_value_says_to_clamp(expression: str) -> None:
    with pytest.raises(PlanError, match="clamp"):
        evaluate(expression, {"a": 0.0})


_numbers = st.floats(-1e3, 1e3)
_leaves = st.sampled_from(["a", "b", "c", "1.5", "2", "pi"])


def _combine(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    pairs = st.tuples(inner, st.sampled_from(["+", "-", "*", "/", "<", "<=", ">", ">=", "==", "!="]), inner)
    return st.one_of(
        pairs.map(lambda p: f"({p[0]} {p[1]} {p[2]})"),
        st.tuples(st.sampled_from(["min", "max", "pow", "atan2"]), inner, inner).map(
            lambda p: f"{p[0]}({p[1]}, {p[2]})"
        ),
        inner.map(lambda e: f"abs(-{e})"),
        inner.map(lambda e: f"sin({e})"),
        st.tuples(inner, inner, inner).map(lambda p: f"({p[0]} if {p[1]} else {p[2]})"),
        st.tuples(inner, st.sampled_from(["and", "or"]), inner).map(lambda p: f"({p[0]} {p[1]} {p[2]})"),
    )


@given(st.recursive(_leaves, _combine, max_leaves=12), _numbers, _numbers, _numbers)
def test_the_interpreter_agrees_with_python(expression: str, a: float, b: float, c: float) -> None:
    expression = f"a - a + b - b + c - c + {expression}"
    if len(expression) > MOST_CHARACTERS:
        with pytest.raises(PlanError, match="most"):
            check(expression, ("a", "b", "c"))
        return
    names = {name: getattr(math, name) for name in ("pow", "atan2", "sin", "pi")}
    values = {"a": a, "b": b, "c": c}
    try:
        expected = float(eval(expression, {"__builtins__": {}, "min": min, "max": max, "abs": abs, **names}, values))
    except (ArithmeticError, ValueError):
        expected = math.nan
    if math.isfinite(expected):
        assert evaluate(expression, values) == expected
    else:
        with pytest.raises(PlanError, match="clamp"):
            evaluate(expression, values)


@given(st.text(max_size=40))
def test_any_text_is_accepted_or_refused_with_a_plan_error(text: str) -> None:
    try:
        check(text, ())
    except PlanError as problem:
        assert "expression" in str(problem)
    else:
        assert text.isascii()
