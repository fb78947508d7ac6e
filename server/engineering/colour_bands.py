"""Colour bands on resistors, read and written.

    3 bands   digit digit multiplier                  (tolerance 20 %)
    4 bands   digit digit multiplier tolerance
    5 bands   digit digit digit multiplier tolerance
    6 bands   digit digit digit multiplier tolerance coefficient

    value = digits * 10**multiplier ohm, tolerance in percent, coefficient in ppm/K; one black band alone is a link.

Bands are read in the order given. An order that cannot be is refused, with the reading from the other end where there
is one; an order that can is read, with the other end as its alternative. Raises `MarkingError`. Source: IEC
60062:2016, partly from memory (pink, grey tolerance, coefficients from green on); names of colours and their two
letters by IEC 60757 (from memory).
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

from server.engineering.marking_result import Coded, Marking, MarkingError
from server.engineering.preferred_series import is_preferred
from server.engineering.quantities import Toleranced, convert

_DIGITS = ("black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white")
_MULTIPLIERS = {"pink": -3, "silver": -2, "gold": -1} | {colour: power for power, colour in enumerate(_DIGITS)}
_TOLERANCES = {
    "silver": "10",
    "gold": "5",
    "brown": "1",
    "red": "2",
    "orange": "0.05",
    "yellow": "0.02",
    "green": "0.5",
    "blue": "0.25",
    "violet": "0.1",
    "grey": "0.01",
}
_COEFFICIENTS = {
    "black": "250",
    "brown": "100",
    "red": "50",
    "orange": "15",
    "yellow": "25",
    "green": "20",
    "blue": "10",
    "violet": "5",
    "grey": "1",
}
_NO_BAND_TOLERANCE = "20"
_NO_PREFERRED_VALUE = "This is no preferred value: look at the colours again."
_EDITIONS_DIFFER = ("orange", "yellow", "grey")
_OTHER_NAMES = {"gray": "grey", "purple": "violet", "none": ""} | {
    "bk": "black", "bn": "brown", "rd": "red", "og": "orange", "ye": "yellow", "gn": "green", "bu": "blue",
    "vt": "violet", "gy": "grey", "wh": "white", "pk": "pink", "gd": "gold", "sr": "silver",
}  # fmt: skip
COLOURS: tuple[str, ...] = tuple(_MULTIPLIERS)
# What a value without a stated tolerance is usually banded as: common practice, no source.
_USUAL_TOLERANCE = {3: "20", 4: "5", 5: "1", 6: "1"}
_USUAL_COEFFICIENT = 100.0


def colour_named(word: str) -> str | None:
    """The colour that a word or its two letters name; "" for "none", None for no colour of the code."""
    name = word.strip().lower()
    name = _OTHER_NAMES.get(name, name)
    return name if name in ("", *COLOURS) and word.strip() else None


def read_bands(bands: Sequence[str]) -> Marking:
    """The resistance that bands spell in the order given.

    In: 3 to 6 colour names, or a single black band (a link of zero ohm); grey or gray, violet or purple, either case;
    a last "none" is a missing tolerance band. Out: ohm, with limits and, for six bands, a temperature coefficient;
    the reading from the other end as alternative where it is legal too. Raises `MarkingError` with the band at fault,
    and with the other end's reading where only that is legal. Source: IEC 60062:2016.
    """
    colours = _colours(bands)
    if colours == ("black",):
        return Coded(Decimal(0), "resistor", "zero-ohm link", "a single black band").marking()
    if not 3 <= len(colours) <= 6:
        raise MarkingError(f"A resistor has three to six bands, not {len(colours)}.", text=" ".join(bands))
    from_the_other_end = _legal(colours[::-1])
    try:
        marking = _in_order(colours)
    except MarkingError as refusal:
        raise _with_other_end(refusal, from_the_other_end) from None
    if colours == colours[::-1] or from_the_other_end is None:
        return marking
    return _noting_the_likelier_end(marking, from_the_other_end).beside(from_the_other_end)


def bands_for(value: Toleranced | float, count: int, temperature_coefficient: float | None = None) -> list[str]:
    """The colours that spell a resistance, first band first; `read_bands` undoes it.

    In: a toleranced value in ohm (or a multiple), or a number of ohm, from 0.01 ohm; 3 to 6 bands, or 1 for zero ohm;
    the coefficient in ppm/K for six bands. A value without a tolerance gets the usual one of its number of bands (20,
    5, 1, 1 %), six bands without a coefficient 100 ppm/K. Raises `MarkingError` for digits, a tolerance or a
    coefficient that those bands cannot show. Source: IEC 60062:2016; the usual ones are common practice, no source.
    """
    ohms = convert(value, "Ω") if isinstance(value, Toleranced) else Toleranced(value, value, value, "Ω")
    if ohms.nominal == 0 and count == 1:
        return ["black"]
    if not 3 <= count <= 6:
        raise MarkingError(f"A resistor has three to six bands, not {count}.", text=f"{ohms.nominal:g}", field="count")
    bands = _value_bands(ohms.nominal, 2 if count <= 4 else 3)
    percent = float(_USUAL_TOLERANCE[count]) if ohms.is_exact else _percent(ohms)
    if count > 3:
        bands.append(_colour_of(percent, _TOLERANCES, "% tolerance"))
    elif percent != float(_NO_BAND_TOLERANCE):
        raise MarkingError(f"Three bands mean ±20 %, not ±{percent:g} %.", text=f"{ohms.nominal:g}", field="value")
    if count == 6:
        bands.append(_colour_of(temperature_coefficient or _USUAL_COEFFICIENT, _COEFFICIENTS, "ppm/K"))
    elif temperature_coefficient is not None:
        raise MarkingError("Only six bands show a temperature coefficient.", text=f"{ohms.nominal:g}", field="count")
    return bands


def _colours(bands: Sequence[str]) -> tuple[str, ...]:
    found = []
    for place, band in enumerate(bands, 1):
        colour = colour_named(band)
        if colour is None or (not colour and place != len(bands)):
            raise MarkingError(
                f"Band {place}, “{band}”, is no colour of the code.", text=" ".join(bands), position=place
            )
        found.append(colour)
    return tuple(colour for colour in found if colour)


def _in_order(colours: tuple[str, ...]) -> Marking:
    count = 2 if len(colours) <= 4 else 3
    _check_digits(colours, count)
    value = Decimal(int("".join(str(_DIGITS.index(colour)) for colour in colours[:count])))
    value = value.scaleb(_MULTIPLIERS[colours[count]])
    percent = _tolerance(colours, count + 1) if len(colours) > 3 else _NO_BAND_TOLERANCE
    size = value * Decimal(percent) / 100
    coefficient = _coefficient(colours) if len(colours) == 6 else None
    source = " ".join(colours)
    return Coded(value, "resistor", "colour bands", source, (size, size), _notes(colours, count, value)).marking(
        coefficient
    )


def _check_digits(colours: tuple[str, ...], count: int) -> None:
    for place, colour in enumerate(colours[:count], 1):
        if colour not in _DIGITS:
            raise _refusal(colours, place, "is no digit")
    if set(colours[:count]) == {"black"}:
        raise _refusal(colours, 1, "begins a value of zero, which has no tolerance: a link has one black band alone")
    if colours[0] == "black":
        raise _refusal(colours, 1, "is zero, and a value does not begin with zero")


def _tolerance(colours: tuple[str, ...], place: int) -> str:
    if colours[place] not in _TOLERANCES:
        raise _refusal(colours, place + 1, "is no tolerance")
    return _TOLERANCES[colours[place]]


def _coefficient(colours: tuple[str, ...]) -> float:
    if colours[5] not in _COEFFICIENTS:
        raise _refusal(colours, 6, "is no temperature coefficient")
    return float(_COEFFICIENTS[colours[5]])


def _refusal(colours: tuple[str, ...], place: int, why: str) -> MarkingError:
    return MarkingError(f"Band {place}, {colours[place - 1]}, {why}.", text=" ".join(colours), position=place)


def _legal(colours: tuple[str, ...]) -> Marking | None:
    try:
        return _in_order(colours)
    except MarkingError:
        return None


def _with_other_end(refusal: MarkingError, other: Marking | None) -> MarkingError:
    if other is None:
        return refusal
    return MarkingError(
        f"{refusal.sentence} Read from the other end it is {other.understood}.",
        text=refusal.text or "",
        alternatives=(other,),
        position=refusal.position,
    )


def _noting_the_likelier_end(marking: Marking, other: Marking) -> Marking:
    """The order given stands, but only one of two legal ends being a preferred value is worth saying."""
    if _NO_PREFERRED_VALUE not in marking.notes or _NO_PREFERRED_VALUE in other.notes:
        return marking
    return replace(marking, notes=(*marking.notes, "From the other end it is a preferred value."))


def _notes(colours: tuple[str, ...], count: int, value: Decimal) -> tuple[str, ...]:
    notes = []
    if not any(is_preferred(float(value), name) for name in (("E24",) if count == 2 else ("E24", "E192"))):
        notes.append(_NO_PREFERRED_VALUE)
    if len(colours) > 3 and colours[count + 1] in _EDITIONS_DIFFER:
        notes.append(
            f"Editions of the code differ on {colours[count + 1]} as a tolerance, "
            "and high-voltage parts have it in place of a metal colour."
        )
    if colours == colours[::-1]:
        notes.append("The bands read the same from either end.")
    return tuple(notes)


def _value_bands(ohms: float, count: int) -> list[str]:
    value = Decimal(f"{ohms:.12g}").normalize()
    power = value.adjusted() - (count - 1)
    figures = value.scaleb(-power)
    if value <= 0 or figures != int(figures) or not -3 <= power <= 9:
        raise MarkingError(
            f"{ohms:g} Ω cannot be shown with {count} digits and a multiplier.", text=f"{ohms:g}", field="value"
        )
    multiplier = next(colour for colour, exponent in _MULTIPLIERS.items() if exponent == power)
    return [*(_DIGITS[int(figure)] for figure in str(int(figures))), multiplier]


def _percent(ohms: Toleranced) -> float:
    below = (ohms.nominal - ohms.low) / ohms.nominal * 100
    above = (ohms.high - ohms.nominal) / ohms.nominal * 100
    if abs(above - below) > 1e-6 * above:
        raise MarkingError("A lopsided tolerance has no colour.", text=f"{ohms.nominal:g}", field="value")
    return float(f"{above:.6g}")


def _colour_of(wanted: float, table: Mapping[str, str], unit: str) -> str:
    for colour, number in table.items():
        if float(number) == wanted:
            return colour
    raise MarkingError(f"No colour stands for {wanted:g} {unit}.", text=f"{wanted:g}", field="value")
