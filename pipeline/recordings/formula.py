"""Conversion formulas that a recording brings along, applied without giving them to anything that runs code.

A file comes from anywhere, so its formula is a text like any other. It is parsed, not run: numbers, the raw value `X1`,
+ - * / and powers, brackets and a few functions that mean one thing everywhere are accepted, and the arithmetic is done
here on floating-point numbers, which overflow instead of growing. Everything else is refused, for a formula left
out in silence is a wrong number: `^` is a power to some and an exclusive or to others, `log` has two bases.
"""

from __future__ import annotations

import ast
import operator
from collections.abc import Callable

import numpy as np

from pipeline.archive.scan import printable
from pipeline.errors import InputError

LONGEST = 200
RAW = ("X1", "X", "x1", "x")
OPERATORS: dict[type, Callable[[np.ndarray, np.ndarray], np.ndarray]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: np.power,
}
FUNCTIONS: dict[str, tuple[int, Callable[..., np.ndarray]]] = {
    "sqrt": (1, np.sqrt),
    "exp": (1, np.exp),
    "abs": (1, np.abs),
    "log10": (1, np.log10),
    "pow": (2, np.power),
}

Applied = Callable[[np.ndarray], np.ndarray]


def applied(text: str) -> Applied:
    """The formula as a function of raw values, float (n,) -> float (n,); not finite where it has no value.

    Raises InputError for a formula that is not read with one meaning.
    """
    try:
        if len(text) > LONGEST:
            raise ValueError(f"is longer than {LONGEST} characters")
        function = _node(ast.parse(text.strip(), mode="eval").body)
        if not np.ndim(_quietly(function, np.zeros(1))):
            raise ValueError("does not use the raw value X1")
    except (SyntaxError, ValueError, RecursionError, MemoryError, OverflowError) as error:
        why = str(error) if isinstance(error, ValueError) and not isinstance(error, SyntaxError) else "is no formula"
        raise InputError(f"conversion formula {printable(text[:60])!r}: {why}; export the channel as numbers") from None
    return lambda raw: _quietly(function, raw)


def _quietly(function: Applied, raw: np.ndarray) -> np.ndarray:
    with np.errstate(all="ignore"):
        return function(np.asarray(raw, dtype=float))


def _node(node: ast.AST) -> Applied:
    """The function of a node of the parsed text; ValueError for what is not in the grammar."""
    match node:
        case ast.Constant(value=int() | float() as value) if not isinstance(value, bool):
            number = np.asarray(float(value))
            return lambda raw: number
        case ast.Name(id=name) if name in RAW:
            return lambda raw: raw
        case ast.UnaryOp(op=ast.USub() | ast.UAdd() as sign, operand=inner):
            part = _node(inner)
            return (lambda raw: -part(raw)) if isinstance(sign, ast.USub) else part
        case ast.BinOp(left=left, op=op, right=right) if type(op) in OPERATORS:
            first, second, joined = _node(left), _node(right), OPERATORS[type(op)]
            return lambda raw: joined(first(raw), second(raw))
        case ast.Call(func=ast.Name(id=name), args=inner, keywords=[]) if name in FUNCTIONS:
            count, function = FUNCTIONS[name]
            if len(inner) != count:
                raise ValueError(f"{name} takes {count} value{'s' if count > 1 else ''}")
            parts = [_node(part) for part in inner]
            return lambda raw: function(*(part(raw) for part in parts))
    raise ValueError("only numbers, X1, + - * / **, brackets, " + ", ".join(FUNCTIONS) + " are applied")
