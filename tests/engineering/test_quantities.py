"""Values as typed, held and shown: the forms, the refusals with their places, and that showing undoes reading."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.errors import (
    AmbiguousQuantity,
    EngineeringError,
    ImpossibleValue,
    QuantityError,
    UnknownUnit,
    UnreadableQuantity,
    WrongDimension,
)
from server.engineering.quantities import Spread, Toleranced, convert, exact, figure, parse, same_dimension, show

MEASURED: Spread = "standard"


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("2.2 kΩ ±5 %", Toleranced(2.2, 2.09, 2.31, "kΩ")),
        ("2k2", exact(2.2, "kΩ")),
        ("4k7 J", Toleranced(4.7, 4.465, 4.935, "kΩ")),
        ("4k7J", Toleranced(4.7, 4.465, 4.935, "kΩ")),
        ("4700 µF -20/+50 %", Toleranced(4700, 3760, 7050, "µF")),
        ("4700 µF +50/-20 %", Toleranced(4700, 3760, 7050, "µF")),
        ("4700µF -20%+50%", Toleranced(4700, 3760, 7050, "µF")),
        ("6.8 V ± 0.3 V", Toleranced(6.8, 6.5, 7.1, "V")),
        ("6.8 ± 0.3 V", Toleranced(6.8, 6.5, 7.1, "V")),
        ("6.8 V +/- 300 mV", Toleranced(6.8, 6.5, 7.1, "V")),
        ("4.75..5.25 V", Toleranced(5, 4.75, 5.25, "V")),
        ("4.75 V … 5.25 V", Toleranced(5, 4.75, 5.25, "V")),
        ("-5.25..-4.75 V", Toleranced(-5, -5.25, -4.75, "V")),
        ("6.81(3) V", Toleranced(6.81, 6.75, 6.87, "V", MEASURED)),
        ("0.02(3) Ω", Toleranced(0.02, -0.04, 0.08, "Ω", MEASURED)),
        ("6.81(0.03) V", Toleranced(6.81, 6.75, 6.87, "V", MEASURED)),
        ("4.7(1)e3 Ω", Toleranced(4700, 4500, 4900, "Ω", MEASURED)),
        ("100nF", exact(100, "nF")),
        ("0R47", exact(0.47, "Ω")),
        ("R47", exact(0.47, "Ω")),
        ("p33", exact(0.33, "pF")),
        ("4,7 kOhm", exact(4.7, "kΩ")),
        ("0,047 µF", exact(0.047, "µF")),
        ("470 R", exact(470, "Ω")),
        ("4k7 Ω ±2 %", Toleranced(4.7, 4.606, 4.794, "kΩ")),
        ("47 K", exact(47, "K")),
        ("1 Megohm", exact(1, "MΩ")),
        ("0.1 mfd", exact(0.1, "µF")),
        ("5V1", exact(5.1, "V")),
        ("10 u", exact(10, "µF")),
        ("3.579545 MHz ±50 ppm", Toleranced(3.579545, 3.57936602275, 3.57972397725, "MHz")),
        ("25 °C ± 5 °C", Toleranced(25, 20, 30, "°C")),
        ("25 °C ± 5 K", Toleranced(25, 20, 30, "°C")),
        ("5 °C/W", exact(5, "K/W")),
        ("5 % ± 1 %", Toleranced(5, 4, 6, "%")),
        ("12 tick", exact(12, "tick")),
        ("50 1/s", exact(50, "1/s")),
        ("1.7241e-8 Ω·m", exact(1.7241e-8, "Ω·m")),
        ("−12 V ±5 %", Toleranced(-12, -12.6, -11.4, "V")),
        ("\u00a012\u2009V ", exact(12, "V")),
        ("3 ± 1", Toleranced(3, 2, 4, "")),
        ("42", exact(42)),
    ],
)
def test_a_form_that_a_keeper_types_is_read(text: str, value: Toleranced) -> None:
    """Every form of the design, and their likes."""
    assert value == parse(text)


@pytest.mark.parametrize(
    ("text", "unit", "kind", "value"),
    [
        ("5", "V", None, exact(5, "V")),
        ("5 ± 0.1", "", None, Toleranced(5, 4.9, 5.1, "")),
        ("5 ± 0.1 kΩ", "kΩ", None, Toleranced(5, 4.9, 5.1, "kΩ")),
        ("500 mV", "V", None, exact(500, "mV")),
        ("10M", "Ω", None, exact(10, "MΩ")),
        ("10M", None, "resistor", exact(10, "MΩ")),
        ("47K", None, "resistor", exact(47, "kΩ")),
        ("2.2 K", None, "resistor", exact(2.2, "kΩ")),
        ("470K", None, "resistor", exact(470, "kΩ")),
        ("47KM", None, "resistor", Toleranced(47, 37.6, 56.4, "kΩ")),
        ("100kJ", None, "resistor", Toleranced(100, 95, 105, "kΩ")),
        ("470", "Ω", "resistor", exact(470, "Ω")),
        ("47", None, "resistor", exact(47, "Ω")),
        ("104K", None, "capacitor", Toleranced(100_000, 90_000, 110_000, "pF")),
        ("229J", None, "capacitor", Toleranced(2.2, 2.09, 2.31, "pF")),
        ("338M", None, "capacitor", Toleranced(0.33, 0.264, 0.396, "pF")),
        ("103Z", None, "capacitor", Toleranced(10_000, 8_000, 18_000, "pF")),
        ("470pF", None, "capacitor", exact(470, "pF")),
        ("100nM", None, "capacitor", Toleranced(100, 80, 120, "nF")),
        ("4p7C", None, "capacitor", Toleranced(4.7, 4.45, 4.95, "pF")),
        ("4M43", None, "crystal", exact(4.43, "MHz")),
        ("4µ7", "H", None, exact(4.7, "µH")),
        ("300 K", "°C", None, exact(300, "K")),
        ("20", "K", None, exact(20, "K")),
        ("5 %", "", None, exact(5, "%")),
    ],
)
def test_what_is_asked_for_decides_what_a_bare_letter_means(
    text: str, unit: str | None, kind: str | None, value: Toleranced
) -> None:
    """The unit asked for and the kind of part settle M, K, p and bare numbers."""
    found = parse(text, unit, kind)

    assert (value.unit, value.spread) == (found.unit, found.spread)
    assert (value.nominal, value.low, value.high) == pytest.approx((found.nominal, found.low, found.high), rel=1e-12)


@pytest.mark.parametrize(
    ("text", "unit", "kind", "error", "position"),
    [
        ("", None, None, UnreadableQuantity, 0),
        ("   ", None, None, UnreadableQuantity, 0),
        ("abc", None, None, UnreadableQuantity, 0),
        ("5 kg", "Ω", None, WrongDimension, 2),
        ("5 V", "", None, WrongDimension, 2),
        ("10m", "V", None, WrongDimension, 2),
        ("5 V V", None, None, UnreadableQuantity, 4),
        ("5 V 3 A", None, None, UnreadableQuantity, 4),
        ("5 V ±", None, None, UnreadableQuantity, 4),
        ("5 V ± 3 % ± 2 %", None, None, UnreadableQuantity, 10),
        ("6.81(3) V ± 1 %", None, None, UnreadableQuantity, 10),
        ("4..5 V ± 1 %", None, None, UnreadableQuantity, 7),
        ("4k7J ±5 %", None, None, UnreadableQuantity, 5),
        ("10 kΩ ± 5", None, None, UnreadableQuantity, 9),
        ("10 kΩ +5/+3 %", None, None, UnreadableQuantity, 9),
        ("5 ± 100 mV", "V", None, UnreadableQuantity, 0),
        ("10 kΩ ± 5 V", None, None, WrongDimension, 10),
        ("10 kΩ ± 5 Q", None, None, UnknownUnit, 10),
        ("5 V !", None, None, UnreadableQuantity, 4),
        ("12..11 V", None, None, ImpossibleValue, 0),
        ("4 V..5 mV", None, None, UnreadableQuantity, 2),
        ("nan V", None, None, ImpossibleValue, 0),
        ("-inf V", None, None, ImpossibleValue, 0),
        ("1e999 V", None, None, ImpossibleValue, 0),
        ("-470 Ω", None, None, ImpossibleValue, 0),
        ("-4k7", None, None, ImpossibleValue, 0),
        ("1 Ω ± 2 Ω", None, None, ImpossibleValue, 0),
        ("-10 µF", None, None, ImpossibleValue, 0),
        ("-0.02(3) Ω", None, None, ImpossibleValue, 0),
        ("-300 °C", None, None, ImpossibleValue, 0),
        ("25 °C ±10 %", None, None, UnreadableQuantity, 10),
        ("25 °C", "K", None, AmbiguousQuantity, 3),
        ("10M", None, None, AmbiguousQuantity, 2),
        ("4M7", None, None, AmbiguousQuantity, 1),
        ("47K", None, None, AmbiguousQuantity, 2),
        ("10m", None, None, AmbiguousQuantity, 2),
        ("1,000 Ω", None, None, AmbiguousQuantity, 0),
        ("104K", None, "resistor", AmbiguousQuantity, 3),
        ("470", None, "resistor", AmbiguousQuantity, 0),
        ("101F", None, "capacitor", AmbiguousQuantity, 3),
        ("104", None, "capacitor", UnreadableQuantity, 3),
        ("104", "F", "capacitor", UnreadableQuantity, 3),
        ("4M7", None, "capacitor", UnreadableQuantity, 1),
        ("3n3", None, "resistor", UnreadableQuantity, 1),
        ("1O2", None, "resistor", UnreadableQuantity, 1),
        ("4k7 V", None, None, UnreadableQuantity, 4),
        ("4k 7", None, None, UnreadableQuantity, 3),
        ("10 mF", None, None, UnknownUnit, 3),
        ("5 mhz", None, None, UnknownUnit, 2),
        ("4k7k", None, "resistor", UnknownUnit, 1),
        ("5 V/(m·Q)", None, None, UnknownUnit, 7),
        ("1" * 81, None, None, UnreadableQuantity, 80),
    ],
)
def test_what_has_no_single_meaning_is_refused_at_its_place(
    text: str, unit: str | None, kind: str | None, error: type[QuantityError], position: int
) -> None:
    """Two units, another dimension, a bare M or m, NaN, infinities, negative resistance, and their likes."""
    with pytest.raises(error) as refusal:
        parse(text, unit, kind)

    assert position == refusal.value.position
    assert text == refusal.value.text


@pytest.mark.parametrize("text", ["10M", "47K", "1,000 Ω", "25 °C"])
def test_an_ambiguous_text_comes_with_its_readings(text: str) -> None:
    """At least one thing that may be meant, named in the sentence."""
    with pytest.raises(AmbiguousQuantity) as refusal:
        parse(text, unit="K" if "°C" in text else None)

    assert refusal.value.readings
    assert all(reading in refusal.value.sentence for reading in refusal.value.readings)


@given(st.text(max_size=90))
@settings(max_examples=100, deadline=None)
def test_any_text_is_read_or_refused_and_nothing_else(text: str) -> None:
    """No other exception comes out, and a value read is finite and in order."""
    try:
        value = parse(text)
    except QuantityError as refusal:
        assert text == refusal.text  # noqa: PT017
        return

    assert value.low <= value.nominal <= value.high


@given(st.text(alphabet="0123456789.,kKMmµuRΩFVJ±+-/% ()eE°C", max_size=14))
@settings(max_examples=100, deadline=None)
def test_what_is_read_of_a_jumble_can_be_shown_and_read_again(text: str) -> None:
    """Jumbles of the very characters that values are made of."""
    try:
        value = parse(text)
    except EngineeringError:
        return

    again = parse(show(value), value.unit)

    assert value.spread == again.spread
    assert value.nominal == pytest.approx(convert(again, value.unit).nominal, rel=1e-9, abs=value.uncertainty / 20)


UNITS = st.sampled_from(
    ["V", "mV", "kΩ", "µF", "pF", "MHz", "s", "K/W", "Ω·m", "mil", "%", "", "Ah", "tick", "°C", "K"]
)
SIZES = st.decimals(min_value="0.001", max_value="999999", places=3).map(float)
PERCENTS = st.sampled_from([0.0, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 33.3])


@given(SIZES, PERCENTS, PERCENTS, UNITS)
@settings(max_examples=100, deadline=None)
def test_reading_undoes_showing_for_limits(size: float, below: float, above: float, unit: str) -> None:
    """To the digits of the numbers: the unit may only change its prefix."""
    value = Toleranced(size, size * (1 - below / 100), size * (1 + above / 100), unit)

    again = parse(show(value), unit)

    assert show(value) == show(again)
    back = convert(again, unit)
    assert (value.low, value.nominal, value.high) == pytest.approx((back.low, back.nominal, back.high), rel=1e-14)


@given(SIZES, st.floats(min_value=1e-4, max_value=2.0), UNITS.filter(lambda unit: unit != "°C"))
@settings(max_examples=100, deadline=None)
def test_reading_undoes_showing_for_measured_values(size: float, relative: float, unit: str) -> None:
    """To two digits of the uncertainty (GUM 7.2.6); what has been shown once stays as it is."""
    u = size * relative
    value = Toleranced(size, size - 2 * u, size + 2 * u, unit, "standard")

    again = parse(show(value), unit)

    assert show(value) == show(again)
    assert value.uncertainty == pytest.approx(convert(again, unit).uncertainty, rel=0.051)
    assert value.nominal == pytest.approx(convert(again, unit).nominal, abs=0.51 * u)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (exact(4700, "Ω"), "4.7 kΩ"),
        (exact(0.00022, "A"), "220 µA"),
        (exact(0.1, "µF"), "100 nF"),
        (exact(4700, "µF"), "4700 µF"),
        (exact(1e-13, "F"), "0.1 pF"),
        (exact(1.7241e-8, "Ω·m"), "1.7241e-8 Ω·m"),
        (exact(3, "cm"), "30 mm"),
        (exact(0, "V"), "0 V"),
        (Toleranced(0, -0.003, 0.003, "V"), "0 mV ±3 mV"),
        (Toleranced(5, 4.75, 5.25, "V"), "5 V ±5 %"),
        (Toleranced(6.8, 6.5, 7.1, "V"), "6.8 V ±0.3 V"),
        (Toleranced(12.05, 11.51234567, 12.58765433, "V"), "11.51234567..12.58765433 V"),
        (Toleranced(7, 6.9, 7.4, "V"), "7 V -0.1/+0.4 V"),
        (Toleranced(-12, -12.6, -11.4, "V"), "-12 V ±5 %"),
        (Toleranced(5, 4, 6, "%"), "5 % ±1 %"),
        (Toleranced(25, 20, 30, "°C"), "25 °C ±5 °C"),
        (Toleranced(6.81, 6.75, 6.87, "V", "standard"), "6.81(3) V"),
        (Toleranced(6.8123, 6.7423, 6.8823, "V", "standard"), "6.812(35) V"),
        (Toleranced(0.05, 0.049, 0.051, "V", "standard"), "50.0(5) mV"),
        (Toleranced(1234, 534, 1934, "V", "standard"), "1.23(35) kV"),
        (Toleranced(5, 5, 5, "V", "standard"), "5(0) V"),
    ],
)
def test_a_value_is_shown_in_engineering_notation(value: Toleranced, text: str) -> None:
    """Prefixes that the trade uses, percent where it is short, digits by the uncertainty."""
    assert text == show(value)


def test_a_value_may_be_shown_with_fewer_digits() -> None:
    """For reading; the limits are rounded likewise."""
    assert show(Toleranced(10.8696, 10.3382, 11.6151, "mA"), digits=3) == "10.9 mA -0.6/+0.7 mA"


def test_a_single_number_is_shown_to_four_digits_in_its_best_unit() -> None:
    """As sentences use it."""
    assert figure(0.010869565, "A") == "10.87 mA"
    assert figure(999.96, "Ω") == "1 kΩ"
    assert figure(-40.0, "°C") == "-40 °C"
    assert figure(math.pi, "", 6) == "3.14159"


@pytest.mark.parametrize(
    ("nominal", "low", "high", "spread"),
    [
        (math.nan, 0, 1, "limits"),
        (1, 0, math.inf, "limits"),
        (2, 0, 1, "limits"),
        (0, 1, 2, "limits"),
        (1, 0, 3, "standard"),
        (1, 0, 2, "normal"),
    ],
)
def test_a_value_out_of_order_cannot_be_made(nominal: float, low: float, high: float, spread: str) -> None:
    """NaN, infinities, limits on one side, a lopsided standard spread, a spread of another name."""
    with pytest.raises(ImpossibleValue):
        Toleranced(nominal, low, high, "V", spread)  # type: ignore[arg-type]


def test_a_value_keeps_its_unit_in_the_canonical_spelling() -> None:
    """And refuses one that is not known."""
    assert exact(1, "Kohm").unit == "kΩ"
    with pytest.raises(UnknownUnit):
        exact(1, "furlong")


def test_uncertainty_of_limits_is_that_of_a_rectangle() -> None:
    """GUM 4.3.7: half-width over √3; a standard one is a quarter of the width."""
    assert 0.05 / math.sqrt(3) == pytest.approx(Toleranced(1, 0.95, 1.05, "V").uncertainty)
    assert pytest.approx(Toleranced(1, 0.95, 1.05, "V", "standard").uncertainty) == 0.025


def test_conversion_keeps_every_digit_and_the_tolerance() -> None:
    """2.2 kΩ ±5 % is 2200 Ω from 2090 to 2310, and back."""
    value = parse("2.2 kΩ ±5 %")

    assert Toleranced(2200, 2090, 2310, "Ω") == convert(value, "Ω")
    assert value == convert(convert(value, "Ω"), "kΩ")


def test_temperatures_convert_as_points_on_their_scales() -> None:
    """25 °C is 298.15 K, and its ±5 °C is ±5 K."""
    assert Toleranced(298.15, 293.15, 303.15, "K") == convert(parse("25 °C ± 5 °C"), "K")
    assert exact(26.85, "°C") == convert(exact(300, "K"), "°C")


def test_conversion_to_another_dimension_is_refused() -> None:
    """With the two units as data."""
    with pytest.raises(WrongDimension) as refusal:
        convert(exact(5, "V"), "A")

    assert (refusal.value.found, refusal.value.expected) == ("V", "A")


@given(SIZES, st.sampled_from([("V", "mV"), ("kΩ", "MΩ"), ("inch", "mil"), ("°C", "K"), ("Ah", "C"), ("%", "ppm")]))
@settings(max_examples=100, deadline=None)
def test_conversion_there_and_back_changes_nothing(size: float, pair: tuple[str, str]) -> None:
    """And keeps low, nominal and high in order."""
    value = Toleranced(size, size * 0.9, size * 1.2, pair[0])

    there = convert(value, pair[1])
    back = convert(there, pair[0])

    assert same_dimension(*pair)
    assert there.low < there.nominal < there.high
    assert (value.low, value.nominal, value.high) == pytest.approx((back.low, back.nominal, back.high), rel=1e-12)
