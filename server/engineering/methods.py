"""Ready-made calculations: one TOML file a method in `methods/`, read strictly and handed out as data.

A file holds `title`, `purpose`, `assumptions`, `cautions`, `sources` and these tables, every key needed unless in
brackets:

    [[inputs]]     name, label, unit, usual, where_to_read, [minimum], [maximum]
    [[constants]]  name, label, value, source                                      the whole table may be left out
    [[lines]]      name, label, expression, unit
    [[limits]]     line, kind, value, basis                                        the whole table may be left out

`usual`, `minimum`, `maximum` and `value` are written as a keeper types them (`510 Ω ±5 %`); a limit's value may be
the name of an input, a constant or another line instead. An assumption is a sentence that a person can go and test. A
constant becomes an exact input of the calculation. The file's name is the method's slug.

Units make the arithmetic: a formula fitted to numbers in given units (mil, °C, oz/ft²) divides by constants of one
such unit first.

`load_methods` raises MethodError with the `file` and the `key`; a method that does not work out at its usual values
is not handed out. `Method.calculation` raises BadInput. It knows files of this one folder and nothing of records or
pages.
"""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any
from uuid import UUID

from server.engineering.calculations import DRAWS, Calculation, Input, Kind, Limit, Line, check
from server.engineering.errors import BadInput, EngineeringError, MethodError
from server.engineering.quantities import Toleranced, check_unit, convert, parse, same_dimension, show
from server.engineering.units import scale

FOLDER = Path(__file__).with_name("methods")
_SLUG = re.compile(r"[a-z][a-z0-9_]*")
_TEXTS = ("title", "purpose")
_SENTENCES = ("assumptions", "cautions", "sources")
_TABLES = ("inputs", "constants", "lines", "limits")
_INPUT_KEYS = ("name", "label", "unit", "usual", "where_to_read")
_INPUT_RANGE = ("minimum", "maximum")
_CONSTANT_KEYS = ("name", "label", "value", "source")
_LINE_KEYS = ("name", "label", "expression", "unit")
_LIMIT_KEYS = ("line", "kind", "value", "basis")
_KINDS: Mapping[str, Kind] = {"at_least": "at_least", "at_most": "at_most", "between": "between"}
_TRIAL_DRAWS = 100


@dataclass(frozen=True, slots=True)
class MethodInput:
    """What a method asks for: its unit, a usual value, and where a restorer reads it off."""

    name: str
    label: str
    unit: str
    usual: Toleranced
    where_to_read: str
    minimum: Toleranced | None = None
    maximum: Toleranced | None = None

    def accept(self, value: Toleranced) -> Toleranced:
        """The value as the method takes it. Raises BadInput for another dimension or a value outside the range."""
        if not same_dimension(value.unit, self.unit):
            asked = self.unit or "a plain number"
            raise BadInput(f"{self.label} is asked for in {asked}, not in {value.unit}", name=self.name)
        if scale(value.unit).is_point and not scale(self.unit).is_point:
            raise BadInput(f"{self.label} is an amount of temperature: give it in K, not in °C", name=self.name)
        taken = convert(value, self.unit) if scale(self.unit).is_point else value
        if self.minimum and convert(taken, self.unit).low < convert(self.minimum, self.unit).nominal:
            raise BadInput(f"{self.label} is {show(value)}: at least {show(self.minimum)} is needed", name=self.name)
        if self.maximum and convert(taken, self.unit).high > convert(self.maximum, self.unit).nominal:
            raise BadInput(f"{self.label} is {show(value)}: at most {show(self.maximum)} will do", name=self.name)
        return taken


@dataclass(frozen=True, slots=True)
class MethodConstant:
    """A value that the method brings itself, with where it is from."""

    name: str
    label: str
    value: Toleranced
    source: str


@dataclass(frozen=True, slots=True)
class Method:
    """A ready-made calculation with what a restorer needs in order to use and to doubt it."""

    slug: str
    title: str
    purpose: str
    inputs: tuple[MethodInput, ...]
    lines: tuple[Line, ...]
    limits: tuple[Limit, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    constants: tuple[MethodConstant, ...] = ()

    def usual_values(self) -> dict[str, Toleranced]:
        """A usual value for every input."""
        return {given.name: given.usual for given in self.inputs}

    def calculation(self, values: Mapping[str, Toleranced], seed: UUID | int = 0, draws: int = DRAWS) -> Calculation:
        """The method with a value for every input. Raises BadInput for one missing, unknown, or out of its range."""
        unknown = [name for name in values if name not in self.usual_values()]
        if unknown:
            raise BadInput(f"{self.title} has no input “{unknown[0]}”", name=unknown[0])
        inputs = []
        for given in self.inputs:
            if given.name not in values:
                raise BadInput(f"{given.label} is not given", name=given.name)
            inputs.append(Input(given.name, given.accept(values[given.name]), given.label))
        inputs += [Input(fixed.name, fixed.value, fixed.label) for fixed in self.constants]
        return Calculation(tuple(inputs), self.lines, self.limits, seed, draws)


@cache
def load_methods(folder: Path = FOLDER) -> Mapping[str, Method]:
    """Every method of a folder by slug, in alphabetical order. Raises MethodError for the first file at fault."""
    methods = {path.stem: load_method(path) for path in sorted(folder.glob("*.toml"))}
    return MappingProxyType(methods)


def load_method(path: Path) -> Method:
    """One method's file. Raises MethodError with its file and key."""
    file = _File(path.name, _parsed(path))
    if not _SLUG.fullmatch(path.stem):
        raise MethodError(
            f"{path.name}: a method's file is named in small letters, digits and underscores", file=path.name
        )
    method = file.method(path.stem)
    try:
        check(method.calculation(method.usual_values(), draws=_TRIAL_DRAWS))
    except EngineeringError as fault:
        raise MethodError(f"{path.name}: at the usual values, {fault.sentence}", file=path.name, key="lines") from fault
    return method


def _parsed(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise MethodError(f"{path.name}: this is no TOML: {fault}", file=path.name) from fault


class _File:
    """One file's contents on their way to a method; knows the file's name for its errors."""

    def __init__(self, name: str, contents: dict[str, Any]) -> None:
        self.name = name
        self.contents = contents

    def method(self, slug: str) -> Method:
        self.check_keys(self.contents, (*_TEXTS, *_SENTENCES, "inputs", "lines"), _TABLES, "")
        inputs = tuple(self.input(row, key) for key, row in self.rows("inputs"))
        constants = tuple(self.constant(row, key) for key, row in self.rows("constants"))
        lines = tuple(self.line(row, key) for key, row in self.rows("lines"))
        names = {given.name for given in inputs} | {fixed.name for fixed in constants} | {line.name for line in lines}
        units = {line.name: line.unit for line in lines}
        return Method(
            slug=slug,
            title=self.text(self.contents, "title", ""),
            purpose=self.text(self.contents, "purpose", ""),
            inputs=inputs,
            constants=constants,
            lines=lines,
            limits=tuple(self.limit(row, key, names, units) for key, row in self.rows("limits")),
            assumptions=self.sentences("assumptions"),
            cautions=self.sentences("cautions"),
            sources=self.sentences("sources"),
        )

    def input(self, row: dict[str, Any], key: str) -> MethodInput:
        self.check_keys(row, _INPUT_KEYS, _INPUT_RANGE, key)
        unit = self.unit(row, key)
        ends = {end: self.value(row, end, key, unit) if end in row else None for end in _INPUT_RANGE}
        return MethodInput(
            name=self.text(row, "name", key),
            label=self.text(row, "label", key),
            unit=unit,
            usual=self.value(row, "usual", key, unit),
            where_to_read=self.text(row, "where_to_read", key),
            minimum=ends["minimum"],
            maximum=ends["maximum"],
        )

    def constant(self, row: dict[str, Any], key: str) -> MethodConstant:
        self.check_keys(row, _CONSTANT_KEYS, (), key)
        value = self.value(row, "value", key, None)
        name, label, source = (self.text(row, part, key) for part in ("name", "label", "source"))
        return MethodConstant(name, label, value, source)

    def line(self, row: dict[str, Any], key: str) -> Line:
        self.check_keys(row, _LINE_KEYS, (), key)
        name, expression, label = (self.text(row, part, key) for part in ("name", "expression", "label"))
        return Line(name, expression, self.unit(row, key), label)

    def limit(self, row: dict[str, Any], key: str, names: set[str], units: dict[str, str]) -> Limit:
        self.check_keys(row, _LIMIT_KEYS, (), key)
        line, kind, basis = (self.text(row, part, key) for part in ("line", "kind", "basis"))
        if line not in units:
            raise self.fault(f"{key}.line", f"there is no line “{line}”")
        if kind not in _KINDS:
            raise self.fault(f"{key}.kind", f"a limit is {' or '.join(_KINDS)}, not “{kind}”")
        text = self.text(row, "value", key)
        value = text if text in names else self.value(row, "value", key, units[line])
        return Limit(line, _KINDS[kind], value, basis)

    # --- pieces ---

    def rows(self, table: str) -> list[tuple[str, dict[str, Any]]]:
        rows = self.contents.get(table, [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            raise self.fault(table, "is to be written as [[tables]]")
        if not rows and table in ("inputs", "lines"):
            raise self.fault(table, "is empty")
        return [(f"{table}[{place}]", row) for place, row in enumerate(rows, start=1)]

    def check_keys(self, row: dict[str, Any], needed: tuple[str, ...], allowed: tuple[str, ...], key: str) -> None:
        at = f"{key}." if key else ""
        for name in needed:
            if name not in row:
                raise self.fault(f"{at}{name}", "is missing")
        for name in row:
            if name not in (*needed, *allowed):
                raise self.fault(f"{at}{name}", "is not a key that a method has")

    def text(self, row: dict[str, Any], name: str, key: str) -> str:
        text = row[name]
        if not isinstance(text, str) or not text.strip():
            raise self.fault(f"{key}.{name}".lstrip("."), "is to be a text that is not empty")
        return text.strip()

    def unit(self, row: dict[str, Any], key: str) -> str:
        """A unit may be empty: a plain number."""
        text = row["unit"]
        try:
            return check_unit(text)
        except (EngineeringError, AttributeError) as fault:
            raise self.fault(f"{key}.unit", f"is no unit: {fault}") from fault

    def value(self, row: dict[str, Any], name: str, key: str, unit: str | None) -> Toleranced:
        try:
            return parse(self.text(row, name, key), unit)
        except MethodError:
            raise
        except EngineeringError as fault:
            raise self.fault(f"{key}.{name}", f"cannot be read: {fault.sentence}") from fault

    def sentences(self, name: str) -> tuple[str, ...]:
        rows = self.contents[name]
        if not isinstance(rows, list) or not all(isinstance(row, str) and row.strip() for row in rows):
            raise self.fault(name, "is to be a list of sentences")
        if not rows and name != "cautions":
            raise self.fault(name, "is empty")
        return tuple(row.strip() for row in rows)

    def fault(self, key: str, sentence: str) -> MethodError:
        return MethodError(f"{self.name}: {key} {sentence}", file=self.name, key=key)
