"""One line of arithmetic, read and held against a white list.

    expression = plain arithmetic: + - * / **, brackets, names, decimal numbers, pi, and the functions
                 sqrt exp ln log10 sin cos tan atan abs min max parallel

Everything else is refused before anything runs: strings, attributes, comparisons, other calls, characters outside
ASCII. Text, depth, size and constant powers are bounded, so hostile input costs no time. What is let through runs by
`arithmetic.py`, in SI base units; dimensions are `dimensions.py`'s business.

Raises UnreadableFormula, ForbiddenFormula and FormulaTooLarge, with the expression as `text` and the `position` in it.
"""

import ast
import keyword
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from server.engineering.arithmetic import CONSTANTS, FUNCTIONS, Arithmetic, Run, Value, Values, constant, names_in
from server.engineering.errors import ForbiddenFormula, FormulaError, FormulaTooLarge, UnreadableFormula

LONGEST = 500
DEEPEST = 30
MOST_NODES = 200
HIGHEST_POWER = 16.0
_MANY = ("min", "max", "parallel")
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,39}", re.ASCII)
_STRANGE = re.compile(r"[^A-Za-z0-9_+\-*/(). ,]")
_NUMERIC = re.compile(r"(?<![A-Za-z0-9_.])[0-9.]+(?:[eE][+-]?[0-9]+)?[A-Za-z0-9_.]*", re.ASCII)
_NUMBER = re.compile(r"(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_HINTS = {
    "^": "a power is written **",
    "²": "a square is written **2",
    "×": "multiplication is written *",
    "·": "multiplication is written *",
    "÷": "division is written /",
    "−": "the minus of the keyboard is meant",
    "–": "the minus of the keyboard is meant",
    "=": "only the right-hand side is written here",
    "√": "a root is written sqrt()",
    "π": "it is written pi",
}


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
    taken = text in FUNCTIONS or text in CONSTANTS or keyword.iskeyword(text)
    return bool(_NAME.fullmatch(text)) and not taken


@lru_cache(maxsize=1024)
def compile_line(expression: str) -> Formula:
    """Read one expression. Raises a FormulaError with the `position` at fault."""
    if len(expression) > LONGEST:
        raise FormulaTooLarge(f"A line has at most {LONGEST} characters", text=expression[:LONGEST], position=LONGEST)
    tree = _Reading(expression.strip()).tree()
    return Formula(expression.strip(), names_in(tree), tree, Arithmetic(expression.strip()).build(tree))


class _Reading:
    """The checks of one expression, from characters to syntax to meaning."""

    def __init__(self, expression: str) -> None:
        self.expression = expression
        self.called: list[ast.expr] = []

    def tree(self) -> ast.expr:
        self.check_characters()
        tree = self.parsed()
        self.check_size(tree)
        for node in ast.walk(tree):
            self.check(node)
        return tree

    def check_characters(self) -> None:
        if not self.expression:
            raise self.fault(UnreadableFormula, "The line is empty", 0)
        if strange := _STRANGE.search(self.expression):
            mark = strange[0]
            hint = _HINTS.get(mark, "a line is plain arithmetic on names and numbers")
            error = UnreadableFormula if mark in _HINTS else ForbiddenFormula
            code = "" if mark.isascii() and mark.isprintable() else f" (U+{ord(mark):04X})"
            shown = mark if mark.isprintable() else ""
            raise self.fault(error, f"“{shown}”{code} cannot stand here: {hint}", strange.start())
        for word in _NUMERIC.finditer(self.expression):  # Python would take 0x1F, 1_000 and 2j
            if not _NUMBER.fullmatch(word[0]):
                raise self.fault(UnreadableFormula, f"“{word[0]}” is no decimal number", word.start())

    def parsed(self) -> ast.expr:
        try:
            return ast.parse(self.expression, mode="eval").body
        except (SyntaxError, ValueError, RecursionError, MemoryError) as fault:
            position = max((getattr(fault, "offset", None) or 1) - 1, 0)
            near = self.expression[max(position - 6, 0) : position + 6]
            raise self.fault(UnreadableFormula, f"This is no whole arithmetic near “{near}”", position) from None

    def check_size(self, tree: ast.expr) -> None:
        """Level by level, since a tree not yet bounded must not be walked by recursion."""
        level, deep, count = [tree], 0, 0
        while level:
            deep, count = deep + 1, count + len(level)
            if deep > DEEPEST or count > MOST_NODES:
                raise self.fault(FormulaTooLarge, "The line is too deep or too long: split it into several", 0)
            level = [child for node in level for child in _parts(node)]

    def check(self, node: ast.AST) -> None:
        match node:
            case ast.Constant(value=int() | float() as number) if number is not True and number is not False:
                self.check_number(node)
            case ast.Name(id=name):
                if not (is_name(name) or name in CONSTANTS or node in self.called):
                    raise self.at(node, f"“{name[:40]}” is no name for a value")
            case ast.BinOp(op=ast.Pow(), right=right):
                self.check_power(right)
            case ast.Call(func=ast.Name(id=name), args=args, keywords=[]):
                self.check_call(node, name, args)
                self.called.append(node.func)
            case ast.Tuple():
                raise self.at(node, "A comma parts arguments; a decimal is written with a point", UnreadableFormula)
            case ast.Attribute():
                raise self.at(node, "A dot stands in a number only")
            case ast.BinOp(op=ast.Add() | ast.Sub() | ast.Mult() | ast.Div()):
                pass
            case ast.UnaryOp(op=ast.UAdd() | ast.USub()) | ast.operator() | ast.unaryop() | ast.expr_context():
                pass
            case _:
                raise self.at(node, "A line is plain arithmetic on names and numbers")

    def check_number(self, node: ast.expr) -> None:
        number = constant(node)
        if number is None or not np.isfinite(number):
            raise self.at(node, "A number is too large", FormulaTooLarge)

    def check_power(self, right: ast.expr) -> None:
        """A power of plain numbers is bounded; one that varies is met by arithmetic's own checks."""
        power = constant(right)
        if (power is None and not names_in(right)) or abs(power or 0.0) > HIGHEST_POWER:
            raise self.at(right, f"A power goes up to {HIGHEST_POWER:g}", FormulaTooLarge)

    def check_call(self, node: ast.expr, name: str, args: list[ast.expr]) -> None:
        if name not in FUNCTIONS:
            raise self.at(node, f"There is no function {name[:40]}; there are {', '.join(FUNCTIONS)}")
        wanted = "two to twelve values" if name in _MANY else "one value"
        if not (2 <= len(args) <= 12 if name in _MANY else len(args) == 1):
            raise self.at(node, f"{name}() takes {wanted}", UnreadableFormula)

    def at(self, node: ast.AST, sentence: str, error: type[FormulaError] = ForbiddenFormula) -> FormulaError:
        return self.fault(error, sentence, getattr(node, "col_offset", 0))

    def fault(self, error: type[FormulaError], sentence: str, position: int) -> FormulaError:
        return error(sentence, text=self.expression, position=position)


def _parts(node: ast.expr) -> Iterator[ast.expr]:
    return (child for child in ast.iter_child_nodes(node) if isinstance(child, ast.expr))
