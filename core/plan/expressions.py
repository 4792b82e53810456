"""Driver expressions: the host's simple subset, as an allow-list, and a small interpreter of it for tests.

The host evaluates this subset without Python, also where automatic scripts are off. The subset, the number of arguments
and the semantics (such as `round` away from zero) were measured in the `bpy` wheels 4.5 and 5.2. Expressions come from
files of strangers: text is matched against an allow-list of characters and tokens before it is parsed, and never run.
"""

from __future__ import annotations

import ast
import keyword
import math
import re
from collections.abc import Callable, Collection, Mapping

from ..errors import PlanError

# The host cuts an expression off after this many characters.
MOST_CHARACTERS = 255
# Deeper nesting is refused: no person can read it.
DEEPEST = 64
MANY = MOST_CHARACTERS

# Fewest and most arguments of each function.
FUNCTIONS: Mapping[str, tuple[int, int]] = {
    "min": (1, MANY),
    "max": (1, MANY),
    "abs": (1, 1),
    "sqrt": (1, 1),
    "pow": (2, 2),
    "sin": (1, 1),
    "cos": (1, 1),
    "acos": (1, 1),
    "atan2": (2, 2),
    "exp": (1, 1),
    "log": (1, 2),
    "clamp": (1, 3),
    "lerp": (3, 3),
    "smoothstep": (3, 3),
    "floor": (1, 1),
    "ceil": (1, 1),
    "round": (1, 1),
    "trunc": (1, 1),
    "int": (1, 1),
    "fmod": (2, 2),
    "radians": (1, 1),
    "degrees": (1, 1),
}
CONSTANTS: Mapping[str, float] = {"pi": math.pi}

_NUMBER = r"\d+(?:\.\d*)?(?:[eE][+-]?\d+)?(?![\w.])"
_TOKEN = re.compile(rf" +|{_NUMBER}|[A-Za-z_][A-Za-z0-9_]*|[<>=!]=|[-+*/()<>,]")
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]{0,62}")


def check(expression: str, names: Collection[str]) -> None:
    """Refuse, with PlanError, an expression outside the subset, or whose variables are not exactly `names`."""
    tree = _parse(expression)
    for name in names:
        check_name(name)
    used = {node.id for node in _nodes(tree) if isinstance(node, ast.Name) and node.id not in (*FUNCTIONS, *CONSTANTS)}
    for name in sorted(used - set(names)):
        raise _refuse(expression, f'the variable "{name}" is not defined; add it to the driver\'s variables')
    for name in sorted(set(names) - used):
        raise _refuse(expression, f'the variable "{name}" is not used; remove it')


def check_name(name: str) -> None:
    """Refuse, with PlanError, a name that a driver's variable can not have."""
    if not _NAME.fullmatch(name):
        raise PlanError(
            f"the variable name {_short(name)} is not usable: take letters, digits and underscores, at most 63, "
            "not a digit first"
        )
    if name in FUNCTIONS or name in CONSTANTS or keyword.iskeyword(name):
        raise PlanError(f'the variable name "{name}" means something else in an expression: choose another')


def evaluate(expression: str, values: Mapping[str, float]) -> float:
    """The value of `expression` in the host's semantics, double precision.

    Raises PlanError as `check` does, and where the host would find no value (a division by zero, `sqrt(-1)`).
    """
    check(expression, values.keys())
    try:
        value = float(_value(_parse(expression).body, values))
    except (ArithmeticError, ValueError) as problem:
        raise _refuse(expression, f"no value at {dict(values)} ({problem}); clamp the arguments") from None
    if not math.isfinite(value):
        raise _refuse(expression, f"the value at {dict(values)} is {value}; clamp the arguments")
    return value


def _parse(expression: str) -> ast.Expression:
    """The checked syntax tree of an expression, whatever its variables."""
    if len(expression) > MOST_CHARACTERS:
        raise _refuse(expression, f"{len(expression)} characters, the most is {MOST_CHARACTERS}; split it in two")
    place = 0
    while place < len(expression):
        token = _TOKEN.match(expression, place)
        if token is None:
            raise _refuse(expression, f"{expression[place]!r} at column {place + 1} is not allowed in a driver")
        place = token.end()
    try:
        tree = ast.parse(expression.strip(" "), mode="eval")
    except SyntaxError as problem:
        raise _refuse(expression, f"not a complete expression ({problem.msg})") from None
    except (RecursionError, MemoryError, ValueError):
        raise _refuse(expression, "nested too deeply; split it in two") from None
    nodes = _nodes(tree)
    called = {id(node.func) for node in nodes if isinstance(node, ast.Call)}
    for node in nodes:
        if isinstance(node, ast.Name) and node.id in FUNCTIONS and id(node) not in called:
            raise _refuse(expression, f'the function "{node.id}" is used without its arguments')
        _check_node(expression, node)
    return tree


def _nodes(tree: ast.Expression) -> list[ast.expr]:
    """All expression nodes of a tree, without recursion.

    Raises PlanError if it is nested deeper than DEEPEST.
    """
    found: list[ast.expr] = []
    waiting: list[tuple[ast.AST, int]] = [(tree.body, 1)]
    while waiting:
        node, depth = waiting.pop()
        if depth > DEEPEST:
            raise PlanError(f"an expression is nested too deeply (more than {DEEPEST} levels): split it in two")
        if isinstance(node, ast.expr):
            found.append(node)
        waiting.extend((child, depth + 1) for child in ast.iter_child_nodes(node))
    return found


def _check_node(expression: str, node: ast.expr) -> None:
    match node:
        case ast.Constant(value=bool() | None as word):
            raise _refuse(expression, f'"{word}" is not allowed; write 1 or 0')
        case ast.Constant(value=int() | float() as value):
            if not _is_finite(value):
                raise _refuse(expression, "a number is not finite")
        case ast.Name():
            pass
        case ast.BinOp(op=ast.Add() | ast.Sub() | ast.Mult() | ast.Div()):
            pass
        case ast.UnaryOp(op=ast.USub() | ast.UAdd() | ast.Not()) | ast.BoolOp() | ast.IfExp():
            pass
        case ast.Compare(ops=ops):
            if len(ops) != 1:
                raise _refuse(expression, "a chained comparison is not allowed; join two with `and`")
            if not isinstance(ops[0], ast.Lt | ast.LtE | ast.Gt | ast.GtE | ast.Eq | ast.NotEq):
                raise _refuse(expression, "this comparison is not allowed; use < <= > >= == !=")
        case ast.Call():
            _check_call(expression, node)
        case ast.BinOp(op=ast.Pow()):
            raise _refuse(expression, "** is not allowed; use pow")
        case _:
            raise _refuse(expression, f"this is not allowed in a driver: {type(node).__name__.lower()}")


def _check_call(expression: str, call: ast.Call) -> None:
    if not isinstance(call.func, ast.Name) or call.func.id not in FUNCTIONS:
        called = f'the function "{call.func.id}"' if isinstance(call.func, ast.Name) else "this call"
        raise _refuse(expression, f"{called} is not allowed; known are {', '.join(FUNCTIONS)}")
    if call.keywords or any(isinstance(argument, ast.Starred) for argument in call.args):
        raise _refuse(expression, f'the function "{call.func.id}" takes its arguments one by one, without names')
    name, count = call.func.id, len(call.args)
    fewest, most = FUNCTIONS[name]
    if not fewest <= count <= most or (name == "clamp" and count == 2):
        wanted = "1 or 3" if name == "clamp" else str(fewest) if fewest == most else f"{fewest} or more"
        wanted = "1 or 2" if name == "log" else wanted
        raise _refuse(expression, f'the function "{name}" takes {wanted} arguments, found {count}')


def _value(node: ast.expr, values: Mapping[str, float]) -> float:
    """Value of a checked node; its depth is at most DEEPEST."""
    match node:
        case ast.Constant():
            return float(node.value)  # type: ignore[arg-type]  # checked to be a number
        case ast.Name(id=name):
            return CONSTANTS[name] if name in CONSTANTS else float(values[name])
        case ast.BinOp(left=left, op=op, right=right):
            return _BINARY[type(op)](_value(left, values), _value(right, values))
        case ast.UnaryOp(op=op, operand=operand):
            value = _value(operand, values)
            return float(not value) if isinstance(op, ast.Not) else -value if isinstance(op, ast.USub) else value
        case ast.BoolOp(op=op, values=parts):
            value = 0.0
            for part in parts:
                value = _value(part, values)
                if bool(value) != isinstance(op, ast.And):
                    break
            return value
        case ast.IfExp(test=test, body=body, orelse=other):
            return _value(body if _value(test, values) else other, values)
        case ast.Compare(left=left, ops=[op], comparators=[right]):
            return _BINARY[type(op)](_value(left, values), _value(right, values))
        case ast.Call(func=ast.Name(id=name), args=args):
            return _MEANING[name](*(_value(argument, values) for argument in args))
    raise PlanError(f"this is not allowed in a driver: {type(node).__name__.lower()}")


def _round(value: float) -> float:
    """To the nearest whole number, halves away from zero, as the host does (Python goes to the even one)."""
    return math.copysign(math.floor(abs(value) + 0.5), value)


def _clamp(value: float, low: float = 0.0, high: float = 1.0) -> float:
    # The lower limit first: what the host does when the limits are crossed.
    return low if value < low else high if value > high else value


def _smoothstep(low: float, high: float, value: float) -> float:
    part = _clamp((value - low) / (high - low))
    return part * part * (3.0 - 2.0 * part)


_BINARY: Mapping[type[ast.AST], Callable[[float, float], float]] = {
    ast.Add: lambda a, b: a + b,
    ast.Sub: lambda a, b: a - b,
    ast.Mult: lambda a, b: a * b,
    ast.Div: lambda a, b: a / b,
    ast.Lt: lambda a, b: float(a < b),
    ast.LtE: lambda a, b: float(a <= b),
    ast.Gt: lambda a, b: float(a > b),
    ast.GtE: lambda a, b: float(a >= b),
    ast.Eq: lambda a, b: float(a == b),
    ast.NotEq: lambda a, b: float(a != b),
}

_MEANING: Mapping[str, Callable[..., float]] = {
    "min": lambda *values: min(values),
    "max": lambda *values: max(values),
    "abs": abs,
    "sqrt": math.sqrt,
    "pow": math.pow,
    "sin": math.sin,
    "cos": math.cos,
    "acos": math.acos,
    "atan2": math.atan2,
    "exp": math.exp,
    "log": math.log,
    "clamp": _clamp,
    "lerp": lambda a, b, t: a + t * (b - a),
    "smoothstep": _smoothstep,
    "floor": math.floor,
    "ceil": math.ceil,
    "round": _round,
    "trunc": math.trunc,
    "int": math.trunc,
    "fmod": math.fmod,
    "radians": math.radians,
    "degrees": math.degrees,
}


def _is_finite(value: int | float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:
        return False


def _short(text: str) -> str:
    shown = repr(text)
    return shown if len(shown) <= 60 else f"{shown[:57]}..."


def _refuse(expression: str, reason: str) -> PlanError:
    return PlanError(f"the expression {_short(expression)}: {reason}")
