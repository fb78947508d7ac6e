"""Markings against worked examples and code tables: `data/markings.json` names the source beside each case.

Its `code_table` says which colours and letters were read in print and which are from memory of IEC 60062.
"""

import json
from pathlib import Path
from typing import Any

import pytest

from server.engineering.colour_bands import COLOURS
from server.engineering.markings import MarkingCode, MarkingError, bands_for, read_bands, read_marking

_DATA = json.loads(Path(__file__).with_name("data").joinpath("markings.json").read_text("utf-8"))
_TABLE = _DATA["code_table"]
_CASES: dict[str, dict[str, Any]] = {case["case_id"]: case for case in _DATA["cases"]}


def _named(start: str, key: str, *, refused: bool) -> list[str]:
    return [
        name
        for name, case in _CASES.items()
        if name.startswith(start)
        and key in case["inputs"]
        and isinstance(case["inputs"].get("text", ""), str)
        and refused == str(case["expected"].get("must", "")).startswith("refuse")
    ]


_BANDS = [name for name in _named("bands", "bands", refused=False) if "value" in _CASES[name]["expected"]]
_BANDS_REFUSED = _named("bands", "bands", refused=True)
_BOTH_WAYS = [name for name in _CASES if name.startswith("bands_both_ways")]
_WRITTEN = _named("bands_for", "count", refused=False)
_CODES = [
    name
    for start in ("rkm", "digits", "eia96")
    for name in _named(start, "text", refused=False)
    if "value" in _CASES[name]["expected"]
]
_CODES_REFUSED = [name for start in ("rkm", "digits", "eia96") for name in _named(start, "text", refused=True)]


def _scheme(name: str) -> MarkingCode | None:
    """Some markings are legal in another code than the one their case is about: 12G, 30R, 47X."""
    if name.startswith("eia96"):
        return "EIA-96"
    return "letter code" if name.startswith("rkm_refuse") else None


def _limits(expected: dict[str, Any]) -> tuple[float, float]:
    value = float(expected["value"])
    if "tolerance_abs" in expected:
        return value - float(expected["tolerance_abs"]), value + float(expected["tolerance_abs"])
    percent = str(expected.get("tolerance_percent", "0"))
    below, above = percent.split("/") if "/" in percent else (f"-{percent}", percent)
    return value * (1 + float(below) / 100), value * (1 + float(above) / 100)


@pytest.mark.parametrize("name", _BANDS)
def test_bands_spell_their_value_tolerance_and_coefficient(name: str) -> None:
    """Worked examples of the open textbook, and the code table."""
    case = _CASES[name]
    expected = case["expected"]

    marking = read_bands(case["inputs"]["bands"])

    assert float(expected["value"]) == marking.value.nominal
    assert _limits(expected) == pytest.approx((marking.value.low, marking.value.high), rel=1e-12)
    assert expected.get("tempco_ppm_per_K") == marking.temperature_coefficient
    assert marking.value.unit == "Ω"


@pytest.mark.parametrize("name", _BANDS_REFUSED)
def test_bands_that_spell_nothing_are_refused(name: str) -> None:
    """A colour that cannot stand where it stands, or too few of them."""
    with pytest.raises(MarkingError):
        read_bands(_CASES[name]["inputs"]["bands"])


@pytest.mark.parametrize(
    ("name", "offered"),
    [("bands_refuse_gold_red_violet_yellow_4", 4700), ("bands_refuse_silver_gold_red_red_4", 2.2)],
)
def test_bands_that_read_only_from_the_other_end_are_offered_so(name: str, offered: float) -> None:
    """Refused in the order given, with the reading that the other end allows."""
    with pytest.raises(MarkingError, match="from the other end") as refusal:
        read_bands(_CASES[name]["inputs"]["bands"])

    assert [offered] == [marking.value.nominal for marking in refusal.value.alternatives]


@pytest.mark.parametrize("name", _BOTH_WAYS)
def test_bands_that_read_from_both_ends_offer_both(name: str) -> None:
    """Both directions are legal by the code table; the order given comes first."""
    case = _CASES[name]
    forward, backward = case["expected"]["forward"], case["expected"]["backward"]

    marking = read_bands(case["inputs"]["bands"])

    other = marking.alternatives[0] if marking.alternatives else marking
    assert float(forward["value"]) == marking.value.nominal
    assert float(backward["value"]) == other.value.nominal
    assert _limits(forward) == pytest.approx((marking.value.low, marking.value.high), rel=1e-12)
    assert _limits(backward) == pytest.approx((other.value.low, other.value.high), rel=1e-12)


def test_bands_of_zero_have_no_tolerance() -> None:
    """A zero is never dressed as 5 % (case bands_all_black)."""
    with pytest.raises(MarkingError, match="zero"):
        read_bands(_CASES["bands_all_black"]["inputs"]["bands"])


@pytest.mark.parametrize("name", _WRITTEN)
def test_a_value_is_spelled_in_bands(name: str) -> None:
    """Inverse of the code table, as far as the multiplier: the tolerance is not in the case."""
    case = _CASES[name]
    expected = case["expected"]["bands_before_tolerance"]

    bands = bands_for(float(case["inputs"]["value"]), case["inputs"]["count"])

    assert expected == bands[: len(expected)]
    assert case["inputs"]["count"] == len(bands)


def test_three_digits_do_not_fit_four_bands() -> None:
    """Code table (case bands_for_refuse_4990_4)."""
    inputs = _CASES["bands_for_refuse_4990_4"]["inputs"]

    with pytest.raises(MarkingError, match="2 digits"):
        bands_for(float(inputs["value"]), inputs["count"])


@pytest.mark.parametrize("colour", COLOURS)
def test_every_colour_means_what_the_code_table_says(colour: str) -> None:
    """In each place: digit, multiplier, tolerance, coefficient; refused where the table has none."""
    places: dict[str, list[str]] = {
        "digits": ["brown", colour, "black", "gold"],
        "multiplier_exp10": ["brown", "black", colour, "gold"],
        "tolerance_percent": ["brown", "black", "black", colour],
        "tempco_ppm_per_K": ["brown", "black", "black", "black", "brown", colour],
    }

    for meaning, bands in places.items():
        if colour not in _TABLE[meaning]:
            with pytest.raises(MarkingError):
                read_bands(bands)
            continue
        marking = read_bands(bands)
        percent = (marking.value.high / marking.value.nominal - 1) * 100
        found = {
            "digits": marking.value.nominal - 10,
            "multiplier_exp10": float(f"{marking.value.nominal:e}".split("e")[1]) - 1,
            "tolerance_percent": percent,
            "tempco_ppm_per_K": marking.temperature_coefficient,
        }
        assert _TABLE[meaning][colour] == pytest.approx(found[meaning], rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("name", _CODES)
def test_a_code_spells_its_value_and_tolerance(name: str) -> None:
    """Letter codes, digit codes and EIA-96, in ohm and farad."""
    case = _CASES[name]
    inputs, expected = case["inputs"], case["expected"]

    marking = read_marking(inputs["text"], inputs["kind"], _scheme(name))

    assert float(expected["value"]) == marking.value.nominal
    if "must" not in expected:
        assert _limits(expected) == pytest.approx((marking.value.low, marking.value.high), rel=1e-12)


@pytest.mark.parametrize("name", _CODES_REFUSED)
def test_a_code_that_spells_nothing_is_refused(name: str) -> None:
    """Where the standard is silent the judgement is that of the case."""
    inputs = _CASES[name]["inputs"]

    with pytest.raises(MarkingError):
        read_marking(inputs["text"], inputs["kind"], _scheme(name))


def test_one_picofarad_with_k_is_ten_percent() -> None:
    """Only B C D F G are picofarads (case digits_109K_cap; IEC 60062, from memory)."""
    marking = read_marking("109K", "capacitor")

    assert (marking.value.low, marking.value.high) == (0.9e-12, 1.1e-12)


@pytest.mark.parametrize("letter", _TABLE["tolerance_letters_percent"])
def test_a_tolerance_letter_is_its_percentage(letter: str) -> None:
    """Table of the letters, on a resistor."""
    percent = _TABLE["tolerance_letters_percent"][letter]

    value = read_marking(f"4k7{letter}", "resistor").value

    assert percent == pytest.approx((value.high / value.nominal - 1) * 100, rel=1e-6)
    assert percent == pytest.approx((1 - value.low / value.nominal) * 100, rel=1e-6)


@pytest.mark.parametrize("letter", _TABLE["tolerance_letters_pF_below_10pF"])
def test_below_ten_picofarads_a_letter_is_in_picofarads(letter: str) -> None:
    """Table of the letters; an F alone may be the farad, so it stands beside."""
    picofarads = _TABLE["tolerance_letters_pF_below_10pF"][letter]

    marking = read_marking(f"6p8{letter}", "capacitor")

    toleranced = next(each for each in (marking, *marking.alternatives) if not each.value.is_exact)
    assert picofarads == pytest.approx((toleranced.value.high - toleranced.value.nominal) * 1e12, rel=1e-9)


@pytest.mark.parametrize("letter", _TABLE["asymmetric_letters"])
def test_a_lopsided_letter_has_its_two_sides(letter: str) -> None:
    """Table of the letters, on a capacitor; a resistor has none of them."""
    below, above = (float(side) for side in _TABLE["asymmetric_letters"][letter].split("/"))

    value = read_marking(f"103{letter}", "capacitor").value

    assert (below, above) == pytest.approx(
        ((value.low / value.nominal - 1) * 100, (value.high / value.nominal - 1) * 100), rel=1e-9
    )
    with pytest.raises(MarkingError):
        read_marking(f"4k7{letter}", "resistor")


def test_eia_96_is_the_numbered_series_with_its_multipliers() -> None:
    """Code n is the n-th E96 value; every letter has the multiplier of the table (case eia96_table)."""
    expected = _CASES["eia96_table"]["expected"]

    for number, figures in enumerate(expected["values"], 1):
        for letter, power in expected["multiplier_exp10"].items():
            marking = read_marking(f"{number:02}{letter}", "resistor", "EIA-96")
            assert float(f"{figures}e{power}") == marking.value.nominal


@pytest.mark.parametrize("place", [0, 1])
def test_two_codes_seen_together(place: int) -> None:
    """01C is 10 kohm, 622 is 6.2 kohm (case eia96_01C_seen)."""
    case = _CASES["eia96_01C_seen"]

    marking = read_marking(case["inputs"]["text"][place], "resistor")

    assert float(case["expected"]["value"][place]) == marking.value.nominal


def test_a_code_with_two_meanings_offers_both() -> None:
    """104K on a resistor: 100 kohm with 10 %, or 104 kohm (case digits_104K_resistor)."""
    marking = read_marking("104K", "resistor")

    assert [(each.value.nominal, each.value.high) for each in (marking, *marking.alternatives)] == [
        (100e3, 110e3),
        (104e3, 104e3),
    ]
