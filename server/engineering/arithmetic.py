"""A checked syntax tree as nested numpy calls: what a formula does once it has been let through.

It trusts the tree to hold only what `formulas.py` lets through, and makes sure that no number comes of what has none:
a divisor that is zero, or negative for some of the values and positive for others; the root of a negative value; the
logarithm of one that is not positive; a fractional power of a negative one; a tangent across its pole. A divisor that
only touches zero between the values handed in cannot be seen. No Python code is generated or evaluated.

Values are in SI base units: floats or float arrays that broadcast together. Angles are in radians, plain numbers.
`parallel(a, b, ...)` is 1 / (1/a + 1/b + ...), and 0 where one of them is 0.

Raises DivisionByZero and OutOfDomain with the part at fault in the sentence, its first `name`, the `text` and the
`position`.
"""

import ast
from collections.abc import Callable, Mapping
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from server.engineering.errors import CalculationError, DivisionByZero, OutOfDomain

Value = float | NDArray[np.float64]
Values = Mapping[str, Value]
Run = Callable[[Values], Value]

CONSTANTS = {"pi": float(np.pi)}
FUNCTIONS = ("sqrt", "exp", "ln", "log10", "sin", "cos", "tan", "atan", "abs", "min", "max", "parallel")
_PLAIN: Mapping[str, Callable[[Value], Value]] = {"exp": np.exp, "sin": np.sin, "cos": np.cos, "atan": np.arctan}
_OPERATORS: Mapping[type[ast.operator], Callable[[float, float], float]] = {
    ast.Add: lambda a, b: a + b,
    ast.Sub: lambda a, b: a - b,
    ast.Mult: lambda a, b: a * b,
    ast.Div: lambda a, b: a / b,
    ast.Pow: lambda a, b: a**b,
}


def names_in(node: ast.expr) -> tuple[str, ...]:
    """The names of inputs and lines in a part, each once, in order of writing."""
    found = [part for part in ast.walk(node) if isinstance(part, ast.Name)]
    found.sort(key=lambda name: (name.lineno, name.col_offset))
    return tuple(dict.fromkeys(name.id for name in found if name.id not in CONSTANTS and name.id not in FUNCTIONS))


def constant(node: ast.expr) -> float | None:
    """The value of a part made of numbers and operators, or None; overflow and division by zero give None as well."""
    try:
        return _folded(node)
    except (ArithmeticError, ValueError, TypeError):
        return None


def _folded(node: ast.expr) -> float:
    match node:
        case ast.Constant(value=int() | float() as number):
            return float(number)
        case ast.Name(id=name) if name in CONSTANTS:
            return CONSTANTS[name]
        case ast.UnaryOp(op=ast.USub(), operand=operand):
            return -_folded(operand)
        case ast.UnaryOp(operand=operand):
            return _folded(operand)
        case ast.BinOp(left=left, op=op, right=right):
            return float(_OPERATORS[type(op)](_folded(left), _folded(right)))
    raise ValueError(type(node).__name__)


class Arithmetic:
    """Builds the functions of one expression, which it keeps in order to quote the part at fault."""

    def __init__(self, expression: str) -> None:
        self.expression = expression

    def build(self, node: ast.expr, *, divides: bool = False) -> Run:
        """The function of a part; `divides` asks that every factor of it be held away from zero."""
        fixed = constant(node)
        if fixed is not None and (fixed or not divides):
            number = np.float64(fixed)
            return lambda _: number
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
            base = self.within(node.left, lambda low: low > 0, "under a varying power", "zero or less")
            power = self.build(node.right)
            return lambda values: np.power(base(values), power(values))
        divides = divides or fixed < 0
        if not fixed.is_integer():
            base = self.within(node.left, lambda low: low >= 0, "under a fractional power", "negative")
            base = self.kept(node.left, base, divides)
        else:
            base = self.build(node.left, divides=divides)
        if fixed == 2:
            return lambda values: np.square(base(values))
        return lambda values: np.power(base(values), fixed)

    def call(self, node: ast.Call, name: str, divides: bool) -> Run:
        first = node.args[0]
        match name:
            case "sqrt":
                inner = self.within(first, lambda low: low >= 0, "under a root", "negative")
                return self.kept(first, lambda values: np.sqrt(inner(values)), divides)
            case "ln" | "log10":
                inner = self.within(first, lambda low: low > 0, "in a logarithm", "zero or less")
                logarithm = np.log if name == "ln" else np.log10
                return self.kept(node, lambda values: logarithm(inner(values)), divides)
            case "abs":
                inner = self.build(first, divides=divides)
                return lambda values: np.abs(inner(values))
            case "tan":
                return self.kept(node, self.tangent(first), divides)
            case "parallel":
                return self.kept(node, self.parallel(node), divides)
            case "min" | "max":
                parts, choose = [self.build(arg) for arg in node.args], np.minimum if name == "min" else np.maximum
                return self.kept(node, lambda values: reduce(choose, (part(values) for part in parts)), divides)
        inner, plain = self.build(first), _PLAIN[name]
        return self.kept(node, lambda values: plain(inner(values)), divides)

    def parallel(self, node: ast.Call) -> Run:
        parts = [self.build(arg) for arg in node.args]

        def joined(a: Value, b: Value) -> Value:
            total = a + b
            self.refuse_zero(node, total)
            return a * b / total

        return lambda values: reduce(joined, (part(values) for part in parts))

    def tangent(self, node: ast.expr) -> Run:
        inner = self.build(node)

        def run(values: Values) -> Value:
            angle = inner(values)
            first, last = (np.floor(end / np.pi + 0.5) for end in (np.min(angle), np.max(angle)))
            if first != last:
                raise self.fault(OutOfDomain, node, angle, "in a tangent", "across a right angle")
            return np.tan(angle)

        return run

    def within(self, node: ast.expr, holds: Callable[[float], bool], role: str, flaw: str) -> Run:
        """A part whose smallest value must hold."""
        inner = self.build(node)

        def run(values: Values) -> Value:
            value = inner(values)
            if not holds(float(np.min(value))):
                raise self.fault(OutOfDomain, node, value, role, flaw)
            return value

        return run

    def kept(self, node: ast.expr, run: Run, divides: bool) -> Run:
        """A part held away from zero, if it is divided by."""
        if not divides:
            return run

        def checked(values: Values) -> Value:
            value = run(values)
            self.refuse_zero(node, value)
            return value

        return checked

    def refuse_zero(self, node: ast.expr, value: Value) -> None:
        if np.min(value) <= 0.0 <= np.max(value):
            raise self.fault(DivisionByZero, node, value, "a divisor", "zero")

    def fault(
        self, error: type[CalculationError], node: ast.expr, value: Value, role: str, flaw: str
    ) -> CalculationError:
        """`“R1 - R2” is a divisor, and can be zero within the tolerance of R1 and R2`."""
        names = names_in(node)
        is_single = np.ndim(value) == 0
        how = "is" if is_single else "can be"
        spread = f" within the tolerance of {' and '.join(names)}" if names else ""
        where = " at the nominal values" if is_single and names else spread
        return error(
            f"“{self.expression[node.col_offset : node.end_col_offset]}” is {role}, and {how} {flaw}{where}",
            name=names[0] if names else None,
            text=self.expression,
            position=node.col_offset,
        )
