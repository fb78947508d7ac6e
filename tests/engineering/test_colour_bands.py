"""Colour bands read and written: that one undoes the other, and what cannot be."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.colour_bands import COLOURS, bands_for, colour_named, read_bands
from server.engineering.errors import EngineeringError, WrongDimension
from server.engineering.marking_result import MarkingError
from server.engineering.quantities import Toleranced

_PERCENTS = st.sampled_from([10, 5, 1, 2, 0.05, 0.02, 0.5, 0.25, 0.1, 0.01])
_COEFFICIENTS = st.sampled_from([250.0, 100.0, 50.0, 15.0, 25.0, 20.0, 10.0, 5.0, 1.0])


def _toleranced(figures: int, power: int, percent: float) -> Toleranced:
    nominal = float(f"{figures}e{power}")
    return Toleranced(nominal, nominal * (1 - percent / 100), nominal * (1 + percent / 100), "Ω")


@settings(max_examples=100, deadline=None)
@given(st.integers(10, 99), st.integers(-3, 9), _PERCENTS, st.sampled_from([3, 4]))
def test_two_digit_bands_read_back_to_their_value(figures: int, power: int, percent: float, count: int) -> None:
    """`read_bands` undoes `bands_for` for three and four bands."""
    value = _toleranced(figures, power, 20 if count == 3 else percent)

    marking = read_bands(bands_for(value, count))

    assert value.nominal == marking.value.nominal
    assert (value.low, value.high) == pytest.approx((marking.value.low, marking.value.high), rel=1e-12)


@settings(max_examples=100, deadline=None)
@given(st.integers(100, 999), st.integers(-3, 9), _PERCENTS, st.one_of(st.none(), _COEFFICIENTS))
def test_three_digit_bands_read_back_to_their_value(
    figures: int, power: int, percent: float, coefficient: float | None
) -> None:
    """`read_bands` undoes `bands_for` for five bands, and for six with their coefficient."""
    value = _toleranced(figures, power, percent)

    marking = read_bands(bands_for(value, 5 if coefficient is None else 6, coefficient))

    assert value.nominal == marking.value.nominal
    assert (value.low, value.high) == pytest.approx((marking.value.low, marking.value.high), rel=1e-12)
    assert coefficient == marking.temperature_coefficient


@settings(max_examples=100, deadline=None)
@given(st.lists(st.sampled_from(COLOURS), min_size=1, max_size=7))
def test_bands_are_read_and_written_back_or_refused(colours: list[str]) -> None:
    """Whatever the colours, a reading spells them again, and its other end is their reverse."""
    try:
        marking = read_bands(colours)
    except MarkingError:
        return

    assert colours == bands_for(marking.value, len(colours), marking.temperature_coefficient)
    for other in marking.alternatives:
        assert colours[::-1] == bands_for(other.value, len(colours), other.temperature_coefficient)


def test_the_sentence_says_what_was_understood() -> None:
    """Value, tolerance and the bands it came from."""
    assert read_bands(["yellow", "violet", "red", "gold"]).understood == "4.7 kΩ ±5 %, from yellow violet red gold"


def test_six_bands_say_their_coefficient() -> None:
    """The coefficient stands with its unit."""
    marking = read_bands(["brown", "black", "black", "black", "brown", "red"])

    assert marking.understood == "100 Ω ±1 %, 50 ppm/K, from brown black black black brown red"


@pytest.mark.parametrize("bands", [["Gray", "RED", " orange ", "silver"], ["GY", "RD", "OG", "SR"]])
def test_colours_may_be_named_otherwise(bands: list[str]) -> None:
    """Gray for grey, purple for violet, any case, and the two letters of IEC 60757 (from memory)."""
    assert read_bands(bands).value.nominal == 82000
    assert colour_named("purple") == colour_named("violet")


def test_a_missing_tolerance_band_may_be_said() -> None:
    """`none` in the last place is three bands; anywhere else it is no colour."""
    assert read_bands(["yellow", "violet", "red", "none"]) == read_bands(["yellow", "violet", "red"])
    with pytest.raises(MarkingError, match="Band 1"):
        read_bands(["none", "violet", "red", "gold"])


def test_the_same_from_either_end_is_no_alternative() -> None:
    """Two equal readings are one, and the note says why none is offered."""
    marking = read_bands(["brown", "red", "red", "brown"])

    assert marking.alternatives == ()
    assert marking.notes == ("The bands read the same from either end.",)


def test_a_value_outside_the_preferred_ones_is_doubted() -> None:
    """52 is in no series with two digits: a colour may be misread."""
    assert any("no preferred value" in note for note in read_bands(["green", "red", "red", "gold"]).notes)


def test_the_likelier_end_is_pointed_out() -> None:
    """The order given stands, but the other one is 47.5 kohm of E96, and this one is in no series."""
    marking = read_bands(["brown", "red", "green", "violet", "yellow"])

    assert marking.value.nominal == 1.25e9
    assert [other.value.nominal for other in marking.alternatives] == [47500]
    assert marking.notes[-1] == "From the other end it is a preferred value."


@pytest.mark.parametrize("colour", ["orange", "yellow", "grey"])
def test_a_tolerance_on_which_editions_differ_is_told(colour: str) -> None:
    """Orange, yellow and grey."""
    assert any("Editions" in note for note in read_bands(["brown", "black", "red", colour]).notes)


@pytest.mark.parametrize(
    ("bands", "position", "says"),
    [
        (["black", "brown", "red", "gold"], 1, "does not begin with zero"),
        (["red", "pink", "black", "gold"], 2, "no digit"),
        (["red", "mauve", "black", "gold"], 2, "no colour"),
        (["red", "", "black", "gold"], 2, "no colour"),
        (["brown", "black", "red", "black"], 4, "no tolerance"),
        (["brown", "black", "black", "black", "brown", "white"], 6, "no temperature coefficient"),
    ],
)
def test_a_refusal_names_the_band_at_fault(bands: list[str], position: int, says: str) -> None:
    """By its place, counted from the end that was given first."""
    with pytest.raises(MarkingError, match=says) as refusal:
        read_bands(bands)

    assert position == refusal.value.position
    assert isinstance(refusal.value, EngineeringError)


@pytest.mark.parametrize("bands", [[], ["brown"], ["brown", "black"], ["brown"] * 7])
def test_a_resistor_has_three_to_six_bands(bands: list[str]) -> None:
    """One only where it is black."""
    with pytest.raises(MarkingError, match="three to six bands"):
        read_bands(bands)


def test_a_link_has_one_black_band() -> None:
    """Zero ohm, there and back."""
    assert read_bands(["black"]).understood == "0 Ω, from a single black band"
    assert bands_for(0, 1) == ["black"]


@pytest.mark.parametrize(("count", "tail"), [(3, []), (4, ["gold"]), (5, ["brown"]), (6, ["brown", "brown"])])
def test_a_bare_value_gets_the_usual_tolerance_of_its_bands(count: int, tail: list[str]) -> None:
    """20, 5, 1 and 1 % with 100 ppm/K (common practice, no source)."""
    digits = 2 if count <= 4 else 3

    assert tail == bands_for(4700, count)[digits + 1 :]


def test_a_multiple_of_the_ohm_is_spelled_in_ohms() -> None:
    """2.2 kΩ ±5 % needs no conversion by the caller."""
    assert bands_for(Toleranced(2.2, 2.09, 2.31, "kΩ"), 4) == ["red", "red", "red", "gold"]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ({"value": 4990, "count": 4}, "2 digits"),
        ({"value": 1234, "count": 5}, "3 digits"),
        ({"value": 0.001, "count": 4}, "2 digits"),
        ({"value": 1e12, "count": 5}, "3 digits"),
        ({"value": 0, "count": 4}, "2 digits"),
        ({"value": -10, "count": 4}, "2 digits"),
        ({"value": 10, "count": 2}, "three to six"),
        ({"value": 10, "count": 1}, "three to six"),
        ({"value": Toleranced(10, 9.7, 10.3, "Ω"), "count": 4}, "3 % tolerance"),
        ({"value": Toleranced(10, 9.5, 10.5, "Ω"), "count": 3}, "±20 %, not ±5 %"),
        ({"value": Toleranced(10, 8, 15, "Ω"), "count": 4}, "lopsided"),
        ({"value": 10, "count": 6, "temperature_coefficient": 33}, "33 ppm/K"),
        ({"value": 10, "count": 5, "temperature_coefficient": 50}, "Only six bands"),
    ],
)
def test_what_bands_cannot_show_is_refused(arguments: dict[str, Any], says: str) -> None:
    """Digits, a count, a tolerance or a coefficient without a colour."""
    with pytest.raises(MarkingError, match=says):
        bands_for(**arguments)


def test_only_a_resistance_has_bands() -> None:
    """A capacitance is of another dimension."""
    with pytest.raises(WrongDimension):
        bands_for(Toleranced(1e-9, 1e-9, 1e-9, "F"), 4)
