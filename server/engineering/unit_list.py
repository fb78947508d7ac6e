"""The list of units as a table: `units.txt` read once, and every spelling that it lets a keeper type.

It knows columns and spellings, and nothing of what a unit is worth. A list that contradicts itself raises a plain
ValueError.
"""

from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import NamedTuple

PREFIXES = {"f": -15, "p": -12, "n": -9, "µ": -6, "m": -3, "c": -2, "": 0, "k": 3, "M": 6, "G": 9, "T": 12}
_COLUMNS = 6


class Entry(NamedTuple):
    """One line of `units.txt`; `shown` are the prefixes that a value may be shown with, the empty one included."""

    symbol: str
    name: str
    worth: str
    prefixes: tuple[str, ...]
    shown: tuple[str, ...]
    also: tuple[str, ...]
    quantity: str


class Meaning(NamedTuple):
    """What a spelling stands for: `kOhm` is `k` and `Ω`."""

    prefix: str
    symbol: str


@cache
def entries() -> Mapping[str, Entry]:
    """The list of units by symbol, in the order of the file."""
    lines = Path(__file__).with_name("units.txt").read_text(encoding="utf-8").splitlines()
    rows = (_entry(line) for line in lines if line.strip() and not line.startswith("#"))
    return {row.symbol: row for row in rows}


@cache
def spellings() -> Mapping[str, Meaning]:
    """Every spelling of a unit, with or without prefix. `µ` stands for all its look-alikes, `Ω` for the ohm sign."""
    found: dict[str, Meaning] = {}
    for spelling, meaning in _all_spellings():
        if found.setdefault(spelling, meaning) != meaning:
            raise ValueError(f"units.txt: {spelling} is written for two units")
    return found


def _entry(line: str) -> Entry:
    cells = [cell.strip() for cell in line.split(" ; ")]
    if len(cells) != _COLUMNS:
        raise ValueError(f"units.txt: not {_COLUMNS} columns: {line}")
    symbol, name, worth, prefixes, also, quantity = cells
    marks = prefixes.split()
    return Entry(
        symbol,
        name,
        worth,
        ("", *(mark.rstrip("*") for mark in marks)),
        ("", *(mark for mark in marks if not mark.endswith("*"))),
        tuple(also.split()),
        quantity,
    )


def _all_spellings() -> Iterator[tuple[str, Meaning]]:
    for entry in entries().values():
        plain = [entry.symbol, *(also for also in entry.also if "=" not in also)]
        for prefix in entry.prefixes:
            for spelled in _prefix_spellings(prefix, entry.symbol):
                for symbol in plain:
                    yield spelled + symbol, Meaning(prefix, entry.symbol)
        for spelling, _, unit in (also.partition("=") for also in entry.also if "=" in also):
            yield spelling, Meaning(unit.removesuffix(entry.symbol), entry.symbol)


def _prefix_spellings(prefix: str, symbol: str) -> tuple[str, ...]:
    """`u` for `µ` anywhere; `K` for kilo and `Meg` for mega in a resistance, where no other unit can be meant."""
    if prefix == "µ":
        return ("µ", "u")
    if symbol == "Ω" and prefix == "k":
        return ("k", "K")
    if symbol == "Ω" and prefix == "M":
        return ("M", "Meg", "meg", "MEG")
    return (prefix,)
