"""What the engineering core says when it refuses: one root, one tree, one sentence for the keeper each.

    EngineeringError (ValueError)
    ├── QuantityError           a value as typed: `text` and the `position` of the fault in it
    │   ├── UnreadableQuantity      no number, two units, two tolerances, a tolerance left out
    │   ├── AmbiguousQuantity       more than one reading; `readings` lists them
    │   ├── UnknownUnit             `text` is the unit
    │   ├── WrongDimension          `found` and `expected` units
    │   └── ImpossibleValue         NaN, infinite, limits reversed, a negative resistance
    ├── FormulaError            an expression as typed: `text` and `position`
    │   ├── UnreadableFormula       not arithmetic at all, or a look-alike character
    │   ├── ForbiddenFormula        anything but arithmetic, names and the known functions
    │   └── FormulaTooLarge         longer, deeper or of a higher power than is let through
    ├── CalculationError        a sheet of lines: `line` and `name`, the line and the input or name at fault
    │   ├── BadInput                an input of a method missing, of another kind, or outside its range
    │   ├── BadName                 not a plain name, or one that a function already has
    │   ├── UnknownName, DuplicateName, CircularLines
    │   ├── DimensionMismatch       volts added to amperes
    │   ├── DivisionByZero          at the nominal values or anywhere inside the tolerances
    │   ├── OutOfDomain             the root or logarithm of a value that can go below zero
    │   ├── NotFinite               the result is too large, or no number
    │   └── BadLimit                a limit on no line, or in another dimension
    └── MethodError             a ready-made method's file: `file` and `key`

Each carries its facts as attributes, so a page can set the message beside the field and mark the place.
Other modules of the core hang their own branches on the root, beside the code that raises them.
"""

from typing import Self


class EngineeringError(ValueError):
    """A sum that is refused. `field` names the input at fault, `text` and `position` where in its text."""

    def __init__(
        self, sentence: str, *, field: str | None = None, text: str | None = None, position: int | None = None
    ) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.field = field
        self.text = text
        self.position = position


class QuantityError(EngineeringError):
    """A value that cannot be taken as typed."""


class UnreadableQuantity(QuantityError):
    """The text is no value with a unit and a tolerance."""


class AmbiguousQuantity(QuantityError):
    """The text has several readings, listed in `readings`; the keeper must say which."""

    def __init__(
        self,
        sentence: str,
        *,
        field: str | None = None,
        text: str | None = None,
        position: int | None = None,
        readings: tuple[str, ...] = (),
    ) -> None:
        super().__init__(sentence, field=field, text=text, position=position)
        self.readings = readings


class UnknownUnit(QuantityError):
    """A unit outside the list in `units.txt`."""


class WrongDimension(QuantityError):
    """A unit of another dimension than the one asked for."""

    def __init__(
        self,
        sentence: str,
        *,
        field: str | None = None,
        text: str | None = None,
        position: int | None = None,
        found: str = "",
        expected: str = "",
    ) -> None:
        super().__init__(sentence, field=field, text=text, position=position)
        self.found = found
        self.expected = expected


class ImpossibleValue(QuantityError):
    """A value that no part can have, or that is no number."""


class FormulaError(EngineeringError):
    """An expression that is not let through; `text` is the expression."""


class UnreadableFormula(FormulaError):
    """Not arithmetic."""


class ForbiddenFormula(FormulaError):
    """Something other than arithmetic on names and numbers."""


class FormulaTooLarge(FormulaError):
    """Past a bound on length, depth, size or power."""


class CalculationError(EngineeringError):
    """A calculation that is refused; `line` is the line at fault and `name` the input or name in it."""

    def __init__(
        self,
        sentence: str,
        *,
        line: str | None = None,
        name: str | None = None,
        text: str | None = None,
        position: int | None = None,
    ) -> None:
        super().__init__(sentence, field=name or line, text=text, position=position)
        self.line = line
        self.name = name

    def on_line(self, line: str) -> Self:
        """The same refusal, told of the line it happened on."""
        return type(self)(
            f"Line {line}: {self.sentence}", line=line, name=self.name, text=self.text, position=self.position
        )


class BadInput(CalculationError):
    """A method's input that is not given, is of another dimension, or lies outside the method's range."""


class BadName(CalculationError):
    """A name that is not letters, digits and underscores, or that is already a function's."""


class UnknownName(CalculationError):
    """A line uses a name that is neither an input nor a line."""


class DuplicateName(CalculationError):
    """Two inputs or lines share a name."""


class CircularLines(CalculationError):
    """Lines that wait for one another."""


class DimensionMismatch(CalculationError):
    """Quantities that cannot be added, compared or put into a function."""


class DivisionByZero(CalculationError):
    """A divisor that is zero, or can be within the tolerances."""


class OutOfDomain(CalculationError):
    """A function asked for a value it does not have."""


class NotFinite(CalculationError):
    """A result too large to be written, or no number."""


class BadLimit(CalculationError):
    """A limit that cannot be held against its line."""


class MethodError(EngineeringError):
    """A method's file that is not as it should be; `file` and `key` say where."""

    def __init__(self, sentence: str, *, file: str, key: str = "") -> None:
        super().__init__(sentence, field=key)
        self.file = file
        self.key = key
