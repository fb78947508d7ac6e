"""Markings on resistors and capacitors: colour bands, letter codes, digit codes, EIA-96.

This is the face of the subject: the codes are in `colour_bands`, `letter_codes` and `digit_codes`, what comes back in
`marking_result`. A marking with two meanings comes back with the likelier first and the other beside it; a part's
value field, which feeds sums, is stricter and refuses digits whose meaning is open. Values in ohm or farad. Raises
`MarkingError`. Source: IEC 60062:2016, EIA RS-198, EIA-96, as the modules say.
"""

import re
from collections.abc import Callable, Iterator
from typing import Literal

from server.engineering.colour_bands import COLOURS, bands_for, colour_named, read_bands
from server.engineering.digit_codes import digit_code, eia_96
from server.engineering.errors import EngineeringError
from server.engineering.letter_codes import letter_code
from server.engineering.marking_faults import fault
from server.engineering.marking_result import UNITS, Coded, Marking, MarkingError, Scheme
from server.engineering.quantities import convert, parse, show
from server.engineering.tolerance_letters import MarkedKind

__all__ = [
    "COLOURS",
    "Marking",
    "MarkingCode",
    "MarkingError",
    "Scheme",
    "bands_for",
    "read_bands",
    "read_marking",
    "read_part_value",
]

MarkingCode = Literal["letter code", "digit code", "EIA-96"]
_Reader = Callable[[str, MarkedKind], Iterator[Coded]]
# Where two readings are as likely, a letter as decimal point was printed more often than the others.
_READERS: dict[MarkingCode, _Reader] = {"letter code": letter_code, "digit code": digit_code, "EIA-96": eia_96}
_LONGEST = 80
_SAME = str.maketrans({"\u03bc": "µ"})
_CODE_SHAPE = re.compile(r"[0-9A-Za-zµ]+(?: [A-Z])?")
_BLANK_BEFORE_TOLERANCE = re.compile(r" (?=[A-Z]$)")
_POWER_OF_TEN = re.compile(r"[0-9]+[Ee][0-9]+")
_BETWEEN_COLOURS = re.compile(r"[\s,;/|–-]+")


def read_marking(text: str, kind: str, scheme: MarkingCode | None = None) -> Marking:
    """What a code printed on a part says.

    In: the marking (outer blanks are harmless, a blank before the tolerance letter too); "resistor" or "capacitor";
    one of "letter code", "digit code", "EIA-96" where it is known which. Out: ohm or farad; the likeliest reading (a
    value that is made, and stands in E24) with the others as alternatives. Raises `MarkingError` with what may have
    been meant. Source: as the module says.
    """
    marked = _marked_kind(kind, text)
    code = _BLANK_BEFORE_TOLERANCE.sub("", _cleaned(text))
    readings = _readings(code, marked, scheme)
    if not readings:
        raise _refusal(code, marked, scheme)
    first, *others = (reading.marking() for reading in readings)
    return first.beside(*others)


def read_part_value(text: str, kind: str) -> Marking:
    """What a part's value field says, however it was written, with a sentence of what was understood.

    In: a plain value (`2k2 5%`, `100 nF`), colour names (`yellow violet red gold`) or a code; the kind of part. Out:
    ohm for a resistor, farad for a capacitor, otherwise the unit written. Digits that are a code as well as a plain
    number, or a code as well as kilo-ohms (`220`, `104K`), are refused with both. Raises `MarkingError`, or the
    `QuantityError` of a plain value that cannot be. Source: as the module says.
    """
    code = _cleaned(text)
    if words := _colour_words(code):
        return _bands_on(words, kind, text)
    if kind not in UNITS or not _CODE_SHAPE.fullmatch(code):
        return _plain(text, kind)
    try:
        marking = read_marking(code, kind)
    except MarkingError as refusal:
        return _plain_or(refusal, text, kind)
    if _is_open(marking, code, kind):
        raise _undecided(marking, text)
    return marking


def _cleaned(text: str) -> str:
    """Without outer blanks, and with one of the two signs for micro."""
    code = text.strip().translate(_SAME)
    if len(code) > _LONGEST:
        raise MarkingError(f"A marking has at most {_LONGEST} characters.", text=text, position=_LONGEST)
    return code


def _marked_kind(kind: str, text: str) -> MarkedKind:
    if kind == "resistor":
        return "resistor"
    if kind == "capacitor":
        return "capacitor"
    raise MarkingError(
        f"These codes are printed on resistors and capacitors, and “{kind}” is neither.", text=text, field="kind"
    )


def _readings(code: str, kind: MarkedKind, scheme: MarkingCode | None) -> list[Coded]:
    if scheme is not None and scheme not in _READERS:
        raise MarkingError(f"There is no code called “{scheme}”.", text=code, field="scheme")
    found = [reading for name, reader in _READERS.items() if scheme in (None, name) for reading in reader(code, kind)]
    return sorted(found, key=lambda reading: reading.unlikeliness)


def _refusal(code: str, kind: MarkedKind, scheme: MarkingCode | None) -> MarkingError:
    """The refusal, with the readings of the marking as it may have been meant."""
    meant = {re.sub("[Oo]", "0", code), code[:-1] + code[-1:].upper()} - {code}
    offered = [reading.marking() for other in sorted(meant) for reading in _readings(other, kind, scheme)]
    sentence = fault(code, kind, scheme)
    if offered:
        sentence = f"{sentence} Perhaps {offered[0].understood}."
    return MarkingError(sentence, text=code, alternatives=tuple(offered))


def _colour_words(text: str) -> list[str]:
    """The words of a text that names colours; their two-letter names need three, lest any two letters be bands."""
    words = [word for word in _BETWEEN_COLOURS.split(text) if word]
    spelled_out = any(len(word) > 2 and colour_named(word) for word in words)
    lettered = len(words) >= 3 and all(colour_named(word) for word in words)
    return words if spelled_out or lettered else []


def _bands_on(words: list[str], kind: str, text: str) -> Marking:
    if kind != "resistor":
        raise MarkingError(f"Colour bands are read on resistors; “{kind}” is none.", text=text, field="kind")
    return read_bands(words)


def _plain(text: str, kind: str) -> Marking:
    value = parse(text, kind=kind)
    if not value.unit:
        raise MarkingError(f"“{text.strip()}” has no unit: write it with one.", text=text)
    if kind in UNITS:
        value = convert(value, UNITS[_marked_kind(kind, text)])
    return Marking(value, None, "plain value", f"{show(value)}, as a plain value")


def _plain_or(refusal: MarkingError, text: str, kind: str) -> Marking:
    if refusal.alternatives or _POWER_OF_TEN.fullmatch(text.strip()):
        raise refusal
    try:
        return _plain(text, kind)
    except EngineeringError as plain_refusal:
        raise (plain_refusal if text.strip().isdecimal() else refusal) from None


def _is_open(marking: Marking, code: str, kind: str) -> bool:
    """Whether a person may well have typed the other meaning: digits as a number, K as kilo, m as micro."""
    milli = kind == "capacitor" and "m" in code
    return milli or (marking.scheme == "digit code" and bool(marking.alternatives))


def _undecided(marking: Marking, text: str) -> MarkingError:
    readings = (marking.beside(), *marking.alternatives)
    listed = " or ".join(reading.understood for reading in readings)
    return MarkingError(
        f"“{text.strip()}” can be {listed}: write the value with its unit.", text=text, alternatives=readings
    )
