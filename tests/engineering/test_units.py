"""Units: spellings, worth, dimensions, and what is refused."""

import subprocess
import sys
from fractions import Fraction

import pytest

from server.engineering.errors import UnknownUnit
from server.engineering.unit_list import entries, spellings
from server.engineering.units import check_unit, same_dimension, scale, unit_for


@pytest.mark.parametrize(
    ("typed", "canonical"),
    [
        ("uF", "µF"),
        ("μF", "µF"),
        ("mfd", "µF"),
        ("MMFD", "pF"),
        ("kOhm", "kΩ"),
        ("KΩ", "kΩ"),
        ("Megohm", "MΩ"),
        ("Ω", "Ω"),
        ("°C/W", "K/W"),
        ("degC", "°C"),
        ("V/(m·K)", "V/(m·K)"),
        ("V*s", "V·s"),
        ("mm2", "mm²"),
        ("mm^2", "mm²"),
        ("m·s^-1", "m/s"),
        ("s⁻¹", "1/s"),
        ("oz/ft2", "oz/ft²"),
        ("thou", "mil"),
        ("ticks", "tick"),
        ("MHZ", "MHz"),
        ("", ""),
        ("V·s/s", "V"),
    ],
)
def test_a_unit_has_one_spelling_here_and_many_outside(typed: str, canonical: str) -> None:
    """Every spelling leads to the canonical one, which leads to itself."""
    assert canonical == check_unit(typed)
    assert canonical == check_unit(canonical)


@pytest.mark.parametrize(
    ("unit", "factor"),
    [
        ("kΩ", 1e3),
        ("pF", 1e-12),
        ("mAh", 3.6),
        ("Wh", 3600.0),
        ("inch", 0.0254),
        ("mil", 2.54e-5),
        ("mil²", 2.54e-5**2),
        ("oz/ft²", 1.378 * 2.54e-5),
        ("%", 0.01),
        ("ppm", 1e-6),
        ("Bd", 1.0),
        ("bit", 1.0),
        ("V/ms", 1e3),
        ("°C/W", 1.0),
        ("µm", 1e-6),
        ("h", 3600.0),
    ],
)
def test_a_unit_is_worth_its_si_factor(unit: str, factor: float) -> None:
    """SI Brochure, 9th edition, tables 4, 7 and 8; a foil ounce is 1.378 mil, common practice, no source."""
    assert factor == pytest.approx(scale(unit).factor, rel=1e-12)


def test_celsius_alone_is_a_point_and_inside_a_unit_a_difference() -> None:
    """0 °C is 273.15 K; 5 °C/W is 5 K/W."""
    assert (scale("°C").factor, scale("°C").offset) == (1.0, 273.15)
    assert scale("°C").is_point
    assert (scale("°C/W").factor, scale("°C/W").offset) == (1.0, 0.0)
    assert not scale("K").is_point


@pytest.mark.parametrize(
    "typed",
    ["mF", "mhz", "V/A/s", "V/A·s", "x", "V^12", "V/", "/s", "·", "m··s", "kkΩ", "V" * 41, "5", "V²²", "Ω m"],
)
def test_what_is_not_on_the_list_is_no_unit(typed: str) -> None:
    """The refusal carries the text, and a place in it."""
    with pytest.raises(UnknownUnit) as refusal:
        check_unit(typed)

    assert typed == refusal.value.text
    assert 0 <= (refusal.value.position or 0) <= len(typed)


def test_a_near_miss_is_told_what_may_be_meant() -> None:
    """mhz could be millihertz or megahertz."""
    with pytest.raises(UnknownUnit, match="MHz or mHz"):
        check_unit("mhz")


def test_an_old_cans_millifarad_is_refused_with_its_reason() -> None:
    """mF on an old can is a microfarad."""
    with pytest.raises(UnknownUnit, match="write µF"):
        check_unit("mF")


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("V·A", "W"),
        ("Ω·F", "s"),
        ("°C", "K"),
        ("%", "tick"),
        ("Bd", "Hz"),
        ("Ah", "C"),
        ("V/A", "kΩ"),
        ("oz/ft²", "µm"),
    ],
)
def test_units_of_one_dimension_go_together(one: str, other: str) -> None:
    """Also those that only look different."""
    assert same_dimension(one, other)


@pytest.mark.parametrize(("one", "other"), [("V", "A"), ("F", "H"), ("s", "Hz"), ("m", "m²"), ("", "K")])
def test_units_of_two_dimensions_do_not(one: str, other: str) -> None:
    """A time is not a frequency."""
    assert not same_dimension(one, other)


@pytest.mark.parametrize("unit", ["V", "Ω", "K/W", "V/s", "Ω·m", "Ω/m", "1/K", "m²", "A/s", "V·s", "", "Hz"])
def test_a_dimension_is_written_in_the_unit_that_people_use(unit: str) -> None:
    """Not in kilograms and metres where a shorter unit exists."""
    assert unit == unit_for(scale(unit).dimension)


def test_an_unusual_dimension_is_written_in_base_units_that_are_read_again() -> None:
    """The text is a unit of the same dimension."""
    dimension = scale("V/(m·K)").dimension

    assert scale(unit_for(dimension)).dimension == dimension


def test_dimensions_multiply_divide_and_take_roots_exactly() -> None:
    """The square root of a square is the thing itself, without rounding."""
    volt, ampere = scale("V").dimension, scale("A").dimension

    assert volt * ampere == scale("W").dimension
    assert volt / ampere == scale("Ω").dimension
    assert (volt * volt) ** Fraction(1, 2) == volt
    assert (volt / volt).is_number


def test_a_dimension_is_told_in_words() -> None:
    """As an error speaks of it."""
    assert str(scale("mV").dimension) == "a voltage (V)"
    assert str(scale("H").dimension) == "an inductance (H)"
    assert str(scale("%").dimension) == "a plain number"
    assert str(scale("K/W").dimension) == "a quantity in K/W"


def test_every_unit_on_the_list_is_worth_something() -> None:
    """All symbols, with all their prefixes, by every spelling."""
    for spelling, meaning in spellings().items():
        assert scale(f"{meaning.prefix}{meaning.symbol}").factor > 0
        assert f"{meaning.prefix}{meaning.symbol}" == check_unit(spelling)
    assert {entry.symbol for entry in entries().values()} <= set(spellings())


def test_the_core_is_imported_without_its_heavy_libraries() -> None:
    """pint and scipy come in when a unit's worth or a distribution is first asked for."""
    script = (
        "import sys, server.engineering.methods;"
        "sys.exit(any(name in sys.modules for name in ('pint', 'scipy', 'scipy.stats')))"
    )

    assert subprocess.run([sys.executable, "-c", script], check=False).returncode == 0
