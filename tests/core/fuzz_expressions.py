"""Expressions for the fuzzer: good ones grown from the grammar, and pieces of Python that no driver may hold."""

from __future__ import annotations

import random
from collections.abc import Sequence

from fuzz_mutations import mutated_bytes

_ATOMS = (
    "a",
    "b",
    "c",
    "pi",
    "0",
    "1",
    "2.5",
    "1e300",
    "1e-300",
    ".5",
    "5.",
    "0x1",
    "1j",
    "1_0",
    "True",
    "None",
    "'x'",
)
_WRAPS = (
    "({})",
    "-{}",
    "+{}",
    "not {}",
    "abs({})",
    "sqrt({})",
    "acos({})",
    "exp({})",
    "log({})",
    "round({})",
    "floor({})",
    "int({})",
    "radians({})",
    "clamp({})",
    "trunc({})",
    "ceil({})",
    "degrees({})",
    "~{}",
    "*{}",
    "[{}]",
    "{{{}}}",
    "lambda: {}",
    "({} for a in b)",
    "f'{{{}}}'",
    "{}.real",
    "{}[0]",
    "{}()",
    "eval({})",
    "await {}",
    "yield {}",
    "{}#",
)
_JOINS = (
    "{} + {}",
    "{}-{}",
    "{}*{}",
    "{} / {}",
    "{} and {}",
    "{} or {}",
    "{} if {} else c",
    "min({}, {})",
    "max({},{})",
    "pow({}, {})",
    "fmod({}, {})",
    "atan2({}, {})",
    "{} < {}",
    "{} == {}",
    "{} != {}",
    "clamp({}, {}, 1)",
    "log({}, {})",
    "lerp({}, {}, a)",
    "smoothstep({}, {}, b)",
    "{} ** {}",
    "{} % {}",
    "{} // {}",
    "{} is {}",
    "{} in {}",
    "{}, {}",
    "{} := {}",
    "{} @ {}",
    "{} << {}",
    "{};{}",
    "{}\n{}",
    "{} <= {} <= c",
    "a.{}.{}",
    "{}\\\n{}",
)
STOLEN = (
    "__import__('os').system('true')",
    "().__class__.__base__.__subclasses__()",
    "bpy.ops.wm.quit_blender()",
    "open('x','w')",
    "exec('1')",
    "eval('1')",
    "(lambda: 1)()",
    "f'{a}'",
    "ａ",
    "ｐｉ",
    "аbs(a)",
    "getattr(a, 'b')",
    "self.id",
    "frame",
    "a if (yield) else b",
    "print(a)",
    "a.__class__",
    "globals()",
    "compile('1','','eval')",
    "breakpoint()",
    "a\u2028b",
    "a\x00",
)


def grown(rng: random.Random, depth: int) -> str:
    """An expression of about so many levels, mostly of the allowed grammar."""
    if depth <= 0:
        return rng.choice(_ATOMS[:5] if rng.random() < 0.8 else _ATOMS)
    if rng.random() < 0.5:
        wraps = _WRAPS[:17] if rng.random() < 0.9 else _WRAPS
        return rng.choice(wraps).format(grown(rng, depth - 1))
    joins = _JOINS[:19] if rng.random() < 0.9 else _JOINS
    return rng.choice(joins).format(grown(rng, depth - 1), grown(rng, rng.randrange(depth)))


def mutated_expression(rng: random.Random, data: bytes, seeds: Sequence[bytes]) -> bytes:
    """A hostile or a strange expression, from `data`, one of `seeds`, or nothing."""
    kind = rng.randrange(5)
    if kind <= 1:
        return grown(rng, rng.randrange(6)).encode("utf-8", "surrogatepass")
    if kind == 2:
        count = rng.choice((5, 60, 63, 64, 100, 127, 5_000))
        opening, closing = rng.choice(
            (("(", ")"), ("-", ""), ("not ", ""), ("abs(", ")"), ("[", "]"), ("a+", ""), ("a if b else ", ""))
        )
        return (opening * count + "a" + closing * count).encode()
    text = (data if data and rng.random() < 0.7 else rng.choice(seeds)).decode("utf-8", "replace")
    if kind == 3:
        at = rng.randrange(len(text) + 1)
        return (text[:at] + rng.choice((" ", "", "+", "(")) + rng.choice(STOLEN) + text[at:]).encode("utf-8", "replace")
    return mutated_bytes(rng, text.encode("utf-8", "replace"))
