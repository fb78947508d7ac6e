"""Codes on parts and what a part's value field says: the likelier reading first, both where either may be meant."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering import markings
from server.engineering.errors import EngineeringError, QuantityError
from server.engineering.markings import MarkingCode, MarkingError, read_marking, read_part_value

_KINDS = st.sampled_from(["resistor", "capacitor"])
_CODE_LIKE = st.text("0123456789RkKMGpnuµmFJZCXO ,.", max_size=7)


def _nominals(text: str, kind: str) -> list[float]:
    marking = read_marking(text, kind)
    return [each.value.nominal for each in (marking, *marking.alternatives)]


def test_the_face_names_everything_it_offers() -> None:
    """A caller needs this module only: each public name is here, once."""
    names = ("Marking", "MarkingError", "bands_for", "read_bands", "read_marking", "read_part_value")

    assert set(names) <= set(markings.__all__)
    assert all(hasattr(markings, name) for name in markings.__all__)


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("470K", "resistor", [470e3, 47]),
        ("104K", "resistor", [100e3, 104e3]),
        ("100M", "resistor", [100e6, 10]),
        ("472G", "resistor", [4700, 472e9]),
        ("30R", "resistor", [30, 2]),
        ("220", "resistor", [22, 220]),
        ("472", "resistor", [4700]),
        ("100N", "capacitor", [100e-9, 10e-12]),
        ("104N", "capacitor", [100e-9, 104e-9]),
        ("100nF", "capacitor", [100e-9, 100e-9]),
        ("220", "capacitor", [22e-12, 220e-12]),
        ("m33", "capacitor", [330e-6, 0.33e-6]),
        ("101F", "capacitor", [100e-12, 101]),
    ],
)
def test_the_likelier_reading_comes_first(text: str, kind: str, expected: list[float]) -> None:
    """A value that is made and stands in E24 before one that is not; then the letter as decimal point."""
    assert expected == _nominals(text, kind)


def test_an_f_after_a_decimal_point_is_rather_a_tolerance_and_after_a_prefix_the_farad() -> None:
    """`4n7F` is a letter code with 1 %, `100nF` a value with its unit; the other stands beside."""
    pointed, written_out = read_marking("4n7F", "capacitor"), read_marking("100nF", "capacitor")

    assert pointed.value.high == pytest.approx(4.747e-9)
    assert written_out.value.is_exact
    assert pointed.alternatives[0].value.is_exact
    assert written_out.alternatives[0].value.high == pytest.approx(101e-9)


def test_alternatives_have_none_of_their_own() -> None:
    """A reading stands beside another, not inside it."""
    marking = read_marking("104K", "resistor")

    assert [other.alternatives for other in marking.alternatives] == [()]


@pytest.mark.parametrize(
    ("text", "scheme", "expected"), [("30R", "EIA-96", 2), ("30R", "letter code", 30), ("104K", "letter code", 104e3)]
)
def test_a_known_code_leaves_one_reading(text: str, scheme: MarkingCode, expected: float) -> None:
    """Who knows the code of the part says so."""
    marking = read_marking(text, "resistor", scheme)

    assert (expected, ()) == (marking.value.nominal, marking.alternatives)


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("", "resistor", "no marking"),
        ("R", "resistor", "no digits"),
        ("-4k7", "resistor", "minus"),
        ("4k 7", "resistor", "blank"),
        ("4,7k5", "resistor", "decimal sign"),
        ("4k7\N{DEGREE SIGN}", "resistor", "sign that is in no code"),
        ("1O2", "resistor", "letter O"),
        ("047", "resistor", "begins with zero"),
        ("12345", "resistor", "three or four digits"),
        ("4E7", "resistor", "power of ten"),
        ("4k7k", "resistor", "tolerance letters are capitals"),
        ("A01", "resistor", "begins with its letter"),
        ("00C", "resistor", "from 01 to 96"),
        ("97A", "resistor", "from 01 to 96"),
        ("4K7M7", "resistor", "two letters"),
        ("10K0JJ", "resistor", "more than one letter"),
        ("3n3", "resistor", "the letter n is none"),
        ("4M7", "capacitor", "the letter M is none"),
        ("M47", "capacitor", "the letter M is none"),
        ("4k7" * 40, "resistor", "at most 80"),
        ("0R0J", "resistor", "no code of a resistor"),
    ],
)
def test_a_refusal_says_what_is_wrong(text: str, kind: str, says: str) -> None:
    """In one sentence, with the marking it is about."""
    with pytest.raises(MarkingError, match=says) as refusal:
        read_marking(text, kind)

    assert (refusal.value.text or "") in text


@pytest.mark.parametrize(("text", "meant"), [("1O2", 1000), ("4k7k", 4700), ("1Ok", 10e3)])
def test_a_refusal_offers_what_may_have_been_meant(text: str, meant: float) -> None:
    """A letter O for a zero and a small tolerance letter are easily mended."""
    with pytest.raises(MarkingError, match="Perhaps") as refusal:
        read_marking(text, "resistor")

    assert meant in [marking.value.nominal for marking in refusal.value.alternatives]


@pytest.mark.parametrize("kind", ["chip", "diode", "", "Resistor"])
def test_a_kind_without_these_codes_is_refused(kind: str) -> None:
    """The refusal is about the kind, not the text."""
    with pytest.raises(MarkingError, match="neither") as refusal:
        read_marking("4k7", kind)

    assert refusal.value.field == "kind"


def test_an_unknown_code_is_refused() -> None:
    """A misspelt one would look like a marking without a reading."""
    with pytest.raises(MarkingError, match="EIA-69"):
        read_marking("01C", "resistor", "EIA-69")  # type: ignore[arg-type]


@pytest.mark.parametrize("text", ["0", "000", "0000", "0R", "0R0", "R0"])
def test_a_link_is_zero_ohm(text: str) -> None:
    """Zeros alone, on a resistor; on a capacitor they are nothing."""
    marking = read_marking(text, "resistor")

    assert (marking.value.nominal, marking.scheme) == (0, "zero-ohm link")
    with pytest.raises(MarkingError):
        read_marking(text, "capacitor")


@pytest.mark.parametrize(
    ("text", "kind", "understood"),
    [
        ("2k2 5%", "resistor", "2.2 kΩ ±5 %, as a plain value"),
        ("yellow violet red gold", "resistor", "4.7 kΩ ±5 %, from yellow violet red gold"),
        ("Yellow-Purple, red/gold", "resistor", "4.7 kΩ ±5 %, from yellow violet red gold"),
        ("YE VT RD GD", "resistor", "4.7 kΩ ±5 %, from yellow violet red gold"),
        ("black", "resistor", "0 Ω, from a single black band"),
        ("4k7 J", "resistor", "4.7 kΩ ±5 %, from the letter code 4k7J"),
        ("47 K", "resistor", "47 kΩ, no tolerance marked, from the letter code 47K"),
        ("472", "resistor", "4.7 kΩ, no tolerance marked, from the three-digit code 472 in ohms"),
        ("68X", "resistor", "49.9 Ω ±1 %, from the EIA-96 code 68X"),
        ("10", "resistor", "10 Ω, as a plain value"),
        ("4.7k", "resistor", "4.7 kΩ, as a plain value"),
        ("104K", "capacitor", "100 nF ±10 %, from the three-digit code 104K in picofarads"),
        ("6p8D", "capacitor", "6.8 pF ±0.5 pF, from the letter code 6p8D"),
        ("4700 µF -20/+50 %", "capacitor", "4700 µF -20/+50 %, as a plain value"),
        ("47\u03bc", "capacitor", "47 µF, no tolerance marked, from the letter code 47µ"),
        ("4 MHz", "crystal", "4 MHz, as a plain value"),
        ("5V1", "diode", "5.1 V, as a plain value"),
    ],
)
def test_a_value_field_says_what_it_understood(text: str, kind: str, understood: str) -> None:
    """However it was written."""
    assert understood == read_part_value(text, kind).understood


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("220", "resistor", [22, 220]),
        ("4700", "resistor", [470, 4700]),
        ("104K", "resistor", [100e3, 104e3]),
        ("104 K", "resistor", [100e3, 104e3]),
        ("100", "capacitor", [10e-12, 100e-12]),
        ("100 F", "capacitor", [10e-12, 100]),
        ("33m", "capacitor", [33e-3, 33e-6]),
    ],
)
def test_a_value_field_with_two_meanings_is_refused_with_both(text: str, kind: str, expected: list[float]) -> None:
    """A sum must not rest on a guess that is out by ten."""
    with pytest.raises(MarkingError, match="write the value with its unit") as refusal:
        read_part_value(text, kind)

    assert expected == [marking.value.nominal for marking in refusal.value.alternatives]


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("yellow violet rad gold", "resistor", "Band 3"),
        ("gold red violet yellow", "resistor", "from the other end"),
        ("red", "diode", "read on resistors"),
        ("7432", "chip", "no unit"),
        ("10", "capacitor", "needs its unit"),
        ("4E7", "resistor", "power of ten"),
        ("5 kg", "resistor", "mass"),
        ("-470 Ω", "resistor", "negative"),
        ("", "resistor", "no value"),
        ("x" * 81, "resistor", "at most 80"),
    ],
)
def test_a_value_field_that_says_nothing_is_refused(text: str, kind: str, says: str) -> None:
    """By the reader whose business it was."""
    with pytest.raises((MarkingError, QuantityError), match=says):
        read_part_value(text, kind)


def test_a_value_field_is_in_the_unit_of_its_kind() -> None:
    """Ohm and farad, so that a marking and a plain value agree."""
    assert read_part_value("4.7 kΩ", "resistor").value == read_part_value("4k7", "resistor").value
    assert read_part_value("0.1 µF", "capacitor").value == read_part_value("104", "capacitor").value


@settings(max_examples=100, deadline=None)
@given(st.integers(10, 99), st.integers(0, 5), st.sampled_from("GJKM"), _KINDS)
def test_the_letters_and_the_digits_of_one_value_agree(figures: int, power: int, letter: str, kind: str) -> None:
    """Digits and letters spell the same value and limits."""
    ohms_or_picofarads = figures * 10**power
    symbols = {"resistor": ("R", "k", "M"), "capacitor": ("p", "n", "µ")}[kind]
    step = (len(str(ohms_or_picofarads)) - 1) // 3
    whole, rest = divmod(ohms_or_picofarads, 1000**step)
    lettered = f"{whole}{symbols[step]}{f'{rest:0{3 * step}}'.rstrip('0') if rest else ''}{letter}"

    by_letter = read_marking(lettered, kind, "letter code").value
    by_digits = read_marking(f"{figures}{power}{letter}", kind, "digit code").value

    assert by_digits == by_letter


@settings(max_examples=100, deadline=None)
@given(st.one_of(_CODE_LIKE, st.text(max_size=12)), _KINDS)
def test_any_text_is_read_or_refused_with_a_sentence(text: str, kind: str) -> None:
    """Never a negative value, limits around the nominal, and no other kind of failure."""
    for read in (read_marking, read_part_value):
        try:
            marking = read(text, kind)
        except EngineeringError as refusal:
            sentence = refusal.sentence
        else:
            sentence = marking.understood
            assert 0 <= marking.value.low <= marking.value.nominal <= marking.value.high
        assert len(sentence) > 8
