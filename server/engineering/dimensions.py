"""What a line measures: the dimensions of its parts, checked once and before any number is put in.

It walks the checked tree of a `Formula` with a `Measure` for each name. Sums, differences, min, max and parallel need
one dimension; powers need a plain number, and a dimensioned base a constant one; sin, exp, ln and the like need plain
numbers. A literal 0 has any dimension, so that `max(0, Vin - Vz)` can be written.

Temperatures given in °C are points on a scale. A point may be shifted by an amount in K, and the difference of two
points is an amount; two points are never added, and a point is never multiplied, since the result would hang on where
the scale begins. To use an absolute temperature, give it in K, or take its difference from -273.15 °C.

Raises DimensionMismatch with `name`, the part's `text` and `position`.
"""

import ast
from collections.abc import Mapping
from fractions import Fraction
from typing import NamedTuple, NoReturn

from server.engineering.arithmetic import CONSTANTS, constant, names_in
from server.engineering.errors import DimensionMismatch
from server.engineering.formulas import Formula
from server.engineering.units import Dimension, scale


class Measure(NamedTuple):
    """A dimension, whether it is a point on the °C scale, and whether it is the literal 0 that fits any dimension."""

    dimension: Dimension
    is_point: bool = False
    is_any: bool = False

    def __str__(self) -> str:
        return "a temperature in °C" if self.is_point else str(self.dimension)


NUMBER = Measure(Dimension())


def measure_of_unit(unit: str) -> Measure:
    """What a unit measures; °C alone is a point."""
    worth = scale(unit)
    return Measure(worth.dimension, worth.is_point)


def measure(formula: Formula, names: Mapping[str, Measure]) -> Measure:
    """What a formula measures, given what its names measure. Raises DimensionMismatch."""
    return _Walk(formula.expression, names).of(formula.tree)


class _Walk:
    def __init__(self, expression: str, names: Mapping[str, Measure]) -> None:
        self.expression = expression
        self.names = names

    def of(self, node: ast.expr) -> Measure:
        match node:
            case ast.Constant(value=number):
                return NUMBER._replace(is_any=not number)
            case ast.Name(id=name):
                return NUMBER if name in CONSTANTS else self.names[name]
            case ast.UnaryOp(op=op, operand=operand):
                inner = self.of(operand)
                if isinstance(op, ast.USub):
                    self.refuse_point(inner, operand)
                return inner
            case ast.BinOp(op=ast.Add()):
                return self.sum(node)
            case ast.BinOp(op=ast.Sub()):
                return self.difference(node)
            case ast.BinOp(op=ast.Pow()):
                return self.power(node)
            case ast.BinOp():
                return self.product(node)
            case ast.Call(func=ast.Name(id=name), args=args):
                return self.call(node, name, args)
        raise AssertionError(ast.dump(node))

    def sum(self, node: ast.BinOp) -> Measure:
        left, right = self.alike(node, "added to")
        if left.is_point and right.is_point:
            self.fail(node, "Two temperatures in °C cannot be added; give the rise in K")
        return left if left.is_point or not right.is_point else right

    def difference(self, node: ast.BinOp) -> Measure:
        left, right = self.alike(node, "taken together with")
        if right.is_point and not left.is_point:
            self.fail(node, "A temperature in °C cannot be taken from an amount in K")
        return left._replace(is_point=left.is_point and not right.is_point)

    def alike(self, node: ast.BinOp, how: str) -> tuple[Measure, Measure]:
        left, right = self.of(node.left), self.of(node.right)
        if left.is_any or right.is_any:
            known = right if left.is_any else left
            return known._replace(is_point=left.is_point), known._replace(is_point=right.is_point)
        if left.dimension != right.dimension:
            self.fail(
                node, f"{self.part(node.left)} is {left} and cannot be {how} {self.part(node.right)}, which is {right}"
            )
        return left, right

    def product(self, node: ast.BinOp) -> Measure:
        left, right = self.of(node.left), self.of(node.right)
        self.refuse_point(left, node.left)
        self.refuse_point(right, node.right)
        if isinstance(node.op, ast.Div):
            return Measure(left.dimension / right.dimension)
        return Measure(left.dimension * right.dimension)

    def power(self, node: ast.BinOp) -> Measure:
        base, power = self.of(node.left), self.of(node.right)
        self.refuse_point(base, node.left)
        self.need_number(power, node.right, "A power")
        fixed = constant(node.right)
        if base.dimension.is_number:
            return NUMBER
        if fixed is None:
            self.fail(node, f"{self.part(node.left)} is {base}: only a plain number can have a power that varies")
        return Measure(base.dimension ** Fraction(fixed).limit_denominator(1000))

    def call(self, node: ast.Call, name: str, args: list[ast.expr]) -> Measure:
        parts = [self.of(arg) for arg in args]
        if name in ("min", "max"):
            return self.same(node, parts)
        for part, arg in zip(parts, args, strict=True):
            self.refuse_point(part, arg)
        match name:
            case "parallel":
                return self.same(node, parts)
            case "abs":
                return parts[0]
            case "sqrt":
                return Measure(parts[0].dimension ** Fraction(1, 2))
        self.need_number(parts[0], args[0], f"{name}()")
        return NUMBER

    def same(self, node: ast.Call, parts: list[Measure]) -> Measure:
        known = [part for part in parts if not part.is_any] or parts[:1]
        for part in known[1:]:
            if part != known[0]:
                self.fail(node, f"{self.part(node)} compares {known[0]} with {part}")
        if len(known) < len(parts) and known[0].is_point:
            self.fail(node, f"{self.part(node)} compares {known[0]} with a plain 0")
        return known[0]

    def need_number(self, measure: Measure, node: ast.expr, what: str) -> None:
        if not measure.dimension.is_number:
            self.fail(node, f"{what} needs a plain number, and {self.part(node)} is {measure}")

    def refuse_point(self, measure: Measure, node: ast.expr) -> None:
        if measure.is_point:
            self.fail(
                node,
                f"{self.part(node)} is a temperature in °C, which can be shifted or compared but not multiplied: "
                "take a difference first, or give it in K",
            )

    def part(self, node: ast.expr) -> str:
        return f"“{self.expression[node.col_offset : node.end_col_offset]}”"

    def fail(self, node: ast.expr, sentence: str) -> NoReturn:
        names = names_in(node)
        raise DimensionMismatch(
            sentence, name=names[0] if names else None, text=self.expression, position=node.col_offset
        )
