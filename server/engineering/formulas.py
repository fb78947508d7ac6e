"""One line of arithmetic: read, held against a white list, and turned into numpy operations.

    expression = plain arithmetic: + - * / **, brackets, names, decimal numbers, pi, and the functions
                 sqrt exp ln log10 sin cos tan atan abs min max parallel

Everything else is refused before anything runs: strings, attributes, comparisons, other calls, characters outside
ASCII. Text, depth, size and constant powers are bounded, so hostile input costs no time. No Python code is generated
or evaluated: the checked syntax tree becomes nested numpy calls.

Values are in SI base units (kg, m, s, A, K): floats or float arrays that broadcast together. Angles are in radians,
plain numbers. `parallel(a, b, ...)` is 1 / (1/a + 1/b + ...) and 0 where one of them is 0. Dimensions are
`dimensions.py`'s business.

A divisor that is zero, or that is negative for some of the values and positive for others, is refused, as are the
root of a negative value, the logarithm of one that is not positive, a fractional power of a negative one and a
tangent across its pole. A divisor that only touches zero between the values handed in cannot be seen.
"""

import ast
import keyword
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache, reduce

import numpy as np
from numpy.typing import NDArray

from server.engineering.errors import (
    CalculationError,
    DivisionByZero,
    ForbiddenFormula,
    FormulaError,
    FormulaTooLarge,
    OutOfDomain,
    UnreadableFormula,
)

Value = float | NDArray[np.float64]
Values = Mapping[str, Value]
Run = Callable[[Values], Value]

LONGEST = 500
DEEPEST = 30
MOST_NODES = 200
HIGHEST_POWER = 16.0
CONSTANTS = {"pi": float(np.pi)}
FUNCTIONS = ("sqrt", "exp", "ln", "log10", "sin", "cos", "tan", "atan", "abs", "min", "max", "parallel")
_MANY = ("min", "max", "parallel")
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,39}", re.ASCII)
_STRANGE = re.compile(r"[^A-Za-z0-9_+\-*/(). ,]")
_HINTS = {
    "^": "a power is written **",
    "×": "multiplication is written *",
    "·": "multiplication is written *",
    "÷": "division is written /",
    "−": "this is not the minus of the keyboard",
    "–": "this is not the minus of the keyboard",
    "=": "only the right-hand side is written here",
    "√": "a root is written sqrt()",
    "²": "a square is written **2",
}
_NUMBER = re.compile(r"(?<![A-Za-z0-9_.])(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?(?![A-Za-z0-9_.])", re.ASCII)


@dataclass(frozen=True, slots=True)
class Formula:
    """A checked expression. `names` are the names it uses, in order; calling it with their values runs it."""

    expression: str
    names: tuple[str, ...]
    tree: ast.expr = field(repr=False, compare=False)
    _run: Run = field(repr=False, compare=False)

    def __call__(self, values: Values) -> Value:
        """The value in SI base units; arrays in, an array out. Raises DivisionByZero and OutOfDomain for its part."""
        with np.errstate(all="ignore"):
            return self._run(values)


def is_name(text: str) -> bool:
    """Whether a text may name an input or a line: letters, digits, underscores, and not a function's name."""
    return (
        bool(_NAME.fullmatch(text)) and text not in FUNCTIONS and text not in CONSTANTS and not keyword.iskeyword(text)
    )


@lru_cache(maxsize=1024)
def compile_line(expression: str) -> Formula:
    """Read one expression. Raises UnreadableFormula, ForbiddenFormula or FormulaTooLarge, with a `position`."""
    if len(expression) > LONGEST:
        raise FormulaTooLarge(f"A line has at most {LONGEST} characters", text=expression[:LONGEST], position=LONGEST)
    if strange := _STRANGE.search(expression):
        _refuse_character(strange, expression)
    tree = _parsed(expression)
    _check_size(tree, expression)
    for node in ast.walk(tree):
        _check(node, expression)
    names = dict.fromkeys(n.id for n in _in_order(tree) if isinstance(n, ast.Name) and n.id not in CONSTANTS)
    names = {name: None for name in names if name not in FUNCTIONS}
    return Formula(expression, tuple(names), tree, _Builder(expression).build(tree))


def constant(node: ast.expr) -> float | None:
    """The value of a part that holds no names, or None. Overflow and division by zero give None as well."""
    if any(isinstance(n, ast.Name) and n.id not in CONSTANTS for n in ast.walk(node)):
        return None
    try:
        return _folded(node)
    except (ArithmeticError, ValueError, TypeError):
        return None


def _folded(node: ast.expr) -> float:
    match node:
        case ast.Constant(value=number):
            return float(number)  # type: ignore[arg-type]
        case ast.Name(id=name):
            return CONSTANTS[name]
        case ast.UnaryOp(op=ast.USub(), operand=operand):
            return -_folded(operand)
        case ast.UnaryOp(operand=operand):
            return _folded(operand)
        case ast.BinOp(left=left, op=op, right=right):
            return float(_FOLDS[type(op)](_folded(left), _folded(right)))
    raise ValueError(ast.dump(node))


_FOLDS: dict[type[ast.operator], Callable[[float, float], float]] = {
    ast.Add: lambda a, b: a + b,
    ast.Sub: lambda a, b: a - b,
    ast.Mult: lambda a, b: a * b,
    ast.Div: lambda a, b: a / b,
    ast.Pow: lambda a, b: a**b,
}


# --- reading ----------------------------------------------------------------------------------------------------------


def _refuse_character(strange: re.Match[str], expression: str) -> None:
    mark = strange[0]
    hint = _HINTS.get(mark, "a line is plain arithmetic on names and numbers")
    error = UnreadableFormula if mark in _HINTS else ForbiddenFormula
    raise error(f"“{mark}” cannot stand here: {hint}", text=expression, position=strange.start())


def _parsed(expression: str) -> ast.expr:
    stripped = expression.strip()
    if not stripped:
        raise UnreadableFormula("The line is empty", text=expression, position=0)
    if odd := _odd_number(expression):
        raise UnreadableFormula(f"“{odd[0]}” is no decimal number", text=expression, position=odd.start())
    try:
        return ast.parse(expression.strip(), mode="eval").body
    except (SyntaxError, ValueError, RecursionError, MemoryError) as fault:
        at = getattr(fault, "offset", None) or 1
        raise UnreadableFormula(
            f"This is no complete arithmetic near “{stripped[max(at - 6, 0) : at + 6]}”",
            text=expression,
            position=at - 1,
        ) from None


def _odd_number(expression: str) -> re.Match[str] | None:
    """`0x1F`, `1_000`, `2j`, `3R`: Python would take the first three."""
    for word in re.finditer(r"(?<![A-Za-z0-9_.])[0-9.]+(?:[eE][+-]?[0-9]+)?[A-Za-z0-9_.]*", expression, re.ASCII):
        if not _NUMBER.fullmatch(word[0]):
            return word
    return None


def _check_size(tree: ast.expr, expression: str) -> None:
    level, deep, count = [tree], 0, 0
    while level:
        deep, count = deep + 1, count + len(level)
        if deep > DEEPEST or count > MOST_NODES:
            raise FormulaTooLarge(
                "The line is too deep or too long: split it into several", text=expression, position=0
            )
        level = [child for node in level for child in _parts(node)]


def _parts(node: ast.expr) -> Iterator[ast.expr]:
    return (child for child in ast.iter_child_nodes(node) if isinstance(child, ast.expr))


def _in_order(node: ast.expr) -> Iterator[ast.expr]:
    yield node
    for part in _parts(node):
        yield from _in_order(part)


def _check(node: ast.AST, expression: str) -> None:
    match node:
        case ast.Constant(value=int() | float() as number) if not isinstance(number, bool):
            if not np.isfinite(float(number)):
                _forbid(node, expression, "A number is too large", FormulaTooLarge)
        case ast.Name(id=name):
            if not (is_name(name) or name in CONSTANTS or name in FUNCTIONS):
                _forbid(node, expression, f"“{name}” is no name for a value")
        case ast.BinOp(op=ast.Pow(), right=right):
            _check_power(right, expression)
        case ast.BinOp(op=ast.Add() | ast.Sub() | ast.Mult() | ast.Div()) | ast.UnaryOp(op=ast.UAdd() | ast.USub()):
            pass
        case ast.Call(func=ast.Name(id=name), args=args, keywords=[]):
            _check_call(node, name, args, expression)
        case ast.Tuple():
            _forbid(
                node, expression, "A comma parts arguments only; a decimal is written with a point", UnreadableFormula
            )
        case ast.operator() | ast.unaryop() | ast.expr_context():
            pass
        case _:
            _forbid(node, expression, "A line is plain arithmetic on names and numbers")


def _check_power(right: ast.expr, expression: str) -> None:
    if any(isinstance(n, ast.Name) and n.id not in CONSTANTS for n in ast.walk(right)):
        return
    power = constant(right)
    if power is None or abs(power) > HIGHEST_POWER:
        _forbid(right, expression, f"A power goes up to {HIGHEST_POWER:g}", FormulaTooLarge)


def _check_call(node: ast.Call, name: str, args: list[ast.expr], expression: str) -> None:
    if name not in FUNCTIONS:
        _forbid(node, expression, f"There is no function {name}; there are {', '.join(FUNCTIONS)}")
    wanted = "two to twelve values" if name in _MANY else "one value"
    if not (2 <= len(args) <= 12 if name in _MANY else len(args) == 1):
        _forbid(node, expression, f"{name}() takes {wanted}", UnreadableFormula)


def _forbid(node: ast.AST, expression: str, sentence: str, error: type[FormulaError] = ForbiddenFormula) -> None:
    raise error(sentence, text=expression, position=getattr(node, "col_offset", 0))


# --- running ----------------------------------------------------------------------------------------------------------


class _Builder:
    """Turns a checked tree into nested functions of the values; keeps the expression, to quote the part at fault."""

    def __init__(self, expression: str) -> None:
        self.expression = expression.strip()

    def build(self, node: ast.expr, *, divides: bool = False) -> Run:
        """`divides` asks that every factor of this part be held away from zero."""
        fixed = constant(node)
        if fixed is not None and (fixed or not divides):
            return lambda _: fixed
        match node:
            case ast.Name(id=name):
                return self.kept(node, lambda values: values[name], divides)
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                inner = self.build(operand, divides=divides)
                return lambda values: -inner(values)
            case ast.UnaryOp(operand=operand):
                return self.build(operand, divides=divides)
            case ast.BinOp():
                return self.binary(node, divides)
            case ast.Call(func=ast.Name(id=name)):
                return self.call(node, name, divides)
        return self.kept(node, lambda _: 0.0, divides)

    def binary(self, node: ast.BinOp, divides: bool) -> Run:
        match node.op:
            case ast.Mult():
                left, right = self.build(node.left, divides=divides), self.build(node.right, divides=divides)
                return lambda values: left(values) * right(values)
            case ast.Div():
                top, bottom = self.build(node.left, divides=divides), self.build(node.right, divides=True)
                return lambda values: top(values) / bottom(values)
            case ast.Pow():
                return self.power(node, divides)
            case ast.Add():
                left, right = self.build(node.left), self.build(node.right)
                return self.kept(node, lambda values: left(values) + right(values), divides)
        left, right = self.build(node.left), self.build(node.right)
        return self.kept(node, lambda values: left(values) - right(values), divides)

    def power(self, node: ast.BinOp, divides: bool) -> Run:
        fixed = constant(node.right)
        if fixed is None:
            base, power = (
                self.within(node.left, lambda low: low > 0, "can be zero or less under a power"),
                self.build(node.right),
            )
            return lambda values: np.power(base(values), power(values))
        if fixed != int(fixed):
            root = self.within(node.left, lambda low: low >= 0, "can be negative under a fractional power")
            checked = self.kept(node.left, root, divides or fixed < 0)
            return lambda values: np.power(checked(values), fixed)
        inner = self.build(node.left, divides=divides or fixed < 0)
        if fixed == 2:
            return lambda values: np.square(inner(values))
        return lambda values: np.power(inner(values), fixed)

    def call(self, node: ast.Call, name: str, divides: bool) -> Run:
        first = node.args[0]
        match name:
            case "sqrt":
                inner = self.within(first, lambda low: low >= 0, "can be negative under a root")
                return self.kept(first, lambda values: np.sqrt(inner(values)), divides)
            case "ln" | "log10":
                inner = self.within(first, lambda low: low > 0, "can be zero or less in a logarithm")
                function = np.log if name == "ln" else np.log10
                return self.kept(node, lambda values: function(inner(values)), divides)
            case "abs":
                inner = self.build(first, divides=divides)
                return lambda values: np.abs(inner(values))
            case "tan":
                return self.kept(node, self.tangent(first), divides)
            case "min" | "max" | "parallel":
                return self.kept(node, self.many(node, name), divides)
        inner, plain = self.build(first), getattr(np, {"atan": "arctan"}.get(name, name))
        return self.kept(node, lambda values: plain(inner(values)), divides)

    def many(self, node: ast.Call, name: str) -> Run:
        parts = [self.build(arg) for arg in node.args]
        if name != "parallel":
            choose = np.minimum if name == "min" else np.maximum
            return lambda values: reduce(choose, (part(values) for part in parts))

        def joined(a: Value, b: Value) -> Value:
            total = a + b
            self.refuse_zero(node, total)
            return a * b / total

        return lambda values: reduce(joined, (part(values) for part in parts))

    def tangent(self, node: ast.expr) -> Run:
        inner = self.build(node)

        def run(values: Values) -> Value:
            angle = inner(values)
            branches = np.floor(np.asarray([np.min(angle), np.max(angle)]) / np.pi + 0.5)
            if branches[0] != branches[1]:
                raise self.fault(OutOfDomain, node, "can reach a right angle in a tangent")
            return np.tan(angle)

        return run

    def within(self, node: ast.expr, holds: Callable[[float], bool], what: str) -> Run:
        inner = self.build(node)

        def run(values: Values) -> Value:
            value = inner(values)
            if not holds(float(np.min(value))):
                raise self.fault(OutOfDomain, node, what)
            return value

        return run

    def kept(self, node: ast.expr, run: Run, divides: bool) -> Run:
        if not divides:
            return run

        def checked(values: Values) -> Value:
            value = run(values)
            self.refuse_zero(node, value)
            return value

        return checked

    def refuse_zero(self, node: ast.expr, value: Value) -> None:
        if np.min(value) <= 0.0 <= np.max(value):
            raise self.fault(DivisionByZero, node, "is divided by and can be zero")

    def fault(self, error: type[CalculationError], node: ast.expr, what: str) -> CalculationError:
        part = self.expression[node.col_offset : node.end_col_offset]
        names = list(dict.fromkeys(n.id for n in ast.walk(node) if isinstance(n, ast.Name) and is_name(n.id)))
        within = f" within the tolerance of {' and '.join(names)}" if names else ""
        return error(
            f"“{part}” {what}{within}",
            name=names[0] if names else None,
            text=self.expression,
            position=node.col_offset,
        )
