"""Ready-made methods: the files that ship, and what a file may not be."""

from pathlib import Path

import pytest

from server.engineering.calculations import evaluate
from server.engineering.errors import BadInput, MethodError
from server.engineering.methods import FOLDER, Method, load_method, load_methods
from server.engineering.quantities import exact, parse, same_dimension

GOOD = """
title = "Heat of a resistor"
purpose = "What a resistor takes."
assumptions = ["The voltage across it is the one measured."]
cautions = []
sources = ["Joule's law."]

[[inputs]]
name = "V"
label = "Voltage"
unit = "V"
usual = "5 V ±5 %"
minimum = "0 V"
maximum = "50 V"
where_to_read = "Across the resistor."

[[inputs]]
name = "Ta"
label = "Temperature around it"
unit = "°C"
usual = "25 °C"
where_to_read = "Inside the machine."

[[constants]]
name = "R"
label = "Resistor"
value = "1 kΩ"
source = "Made up."

[[lines]]
name = "P"
label = "Heat"
expression = "V**2 / R"
unit = "mW"

[[lines]]
name = "T"
label = "Temperature"
expression = "Ta"
unit = "°C"

[[limits]]
line = "P"
kind = "at_most"
value = "250 mW"
basis = "Rating."

[[limits]]
line = "T"
kind = "at_least"
value = "Ta"
basis = "Itself."
"""


def _load(folder: Path, text: str, name: str = "heat.toml") -> Method:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return load_method(path)


@pytest.mark.parametrize("slug", sorted(load_methods()))
def test_every_method_that_ships_works_at_its_usual_values(slug: str) -> None:
    """And asks, assumes and cites in words."""
    method = load_methods()[slug]

    result = evaluate(method.calculation(method.usual_values(), draws=500))

    assert slug == method.slug
    assert len(method.lines) == len(result.lines)
    assert all(given.label and given.where_to_read for given in method.inputs)
    assert all(same_dimension(given.usual.unit, given.unit) for given in method.inputs)
    assert all(sentence.endswith((".", "?")) for sentence in (*method.assumptions, *method.cautions))


def test_methods_come_by_slug_and_cannot_be_changed() -> None:
    """One file, one slug."""
    methods = load_methods()

    assert {path.stem for path in FOLDER.glob("*.toml")} == set(methods)
    with pytest.raises(TypeError):
        methods["new"] = methods["pin_series_resistor"]  # type: ignore[index]


def test_a_file_becomes_a_method(tmp_path: Path) -> None:
    """Values read, names of inputs kept as names."""
    method = _load(tmp_path, GOOD)

    assert (parse("5 V ±5 %"), parse("0 V")) == (method.inputs[0].usual, method.inputs[0].minimum)
    assert (parse("250 mW"), "Ta") == tuple(limit.value for limit in method.limits)
    assert (exact(1, "kΩ"),) == tuple(constant.value for constant in method.constants)


@pytest.mark.parametrize(
    ("before", "after", "key"),
    [
        ('title = "Heat of a resistor"', "", "title"),
        ('title = "Heat of a resistor"', 'title = "  "', "title"),
        ('title = "Heat of a resistor"', "title = 5", "title"),
        ('title = "Heat of a resistor"', 'title = "Heat"\nauthor = "me"', "author"),
        ('assumptions = ["The voltage across it is the one measured."]', "assumptions = []", "assumptions"),
        ('sources = ["Joule\'s law."]', 'sources = "Joule"', "sources"),
        ('unit = "V"', 'unit = "volts per"', "inputs[1].unit"),
        ('usual = "5 V ±5 %"', 'usual = "5 A"', "inputs[1].usual"),
        ('usual = "5 V ±5 %"', 'usual = "five"', "inputs[1].usual"),
        ('maximum = "50 V"', 'maximum = "50 W"', "inputs[1].maximum"),
        ('where_to_read = "Inside the machine."', "", "inputs[2].where_to_read"),
        ('where_to_read = "Inside the machine."', 'where = "here"\nwhere_to_read = "x"', "inputs[2].where"),
        ('source = "Made up."', "", "constants[1].source"),
        ('line = "P"', 'line = "Q"', "limits[1].line"),
        ('kind = "at_most"', 'kind = "below"', "limits[1].kind"),
        ('value = "250 mW"', 'value = "250 mA"', "limits[1].value"),
        ('expression = "V**2 / R"', 'expression = "V**2 / X"', "lines"),
        ('expression = "V**2 / R"', 'expression = "V / R"', "lines"),
        ('expression = "V**2 / R"', 'expression = "open(1)"', "lines"),
        ('usual = "5 V ±5 %"', 'usual = "60 V"', "lines"),
    ],
)
def test_a_file_at_fault_is_told_by_file_and_key(tmp_path: Path, before: str, after: str, key: str) -> None:
    """Missing, unknown, of another kind, or not working out."""
    assert before in GOOD

    with pytest.raises(MethodError, match=r"heat\.toml") as refusal:
        _load(tmp_path, GOOD.replace(before, after, 1))

    assert ("heat.toml", key) == (refusal.value.file, refusal.value.key)


def test_a_file_that_is_no_toml_is_refused(tmp_path: Path) -> None:
    """With the reason that the reader gives."""
    with pytest.raises(MethodError, match="no TOML"):
        _load(tmp_path, "title = ")


def test_a_file_is_named_as_a_slug(tmp_path: Path) -> None:
    """Small letters, digits, underscores."""
    with pytest.raises(MethodError, match="small letters"):
        _load(tmp_path, GOOD, "Heat-1.toml")


def test_a_table_written_as_a_value_is_refused(tmp_path: Path) -> None:
    """As is one that is empty."""
    with pytest.raises(MethodError) as refusal:
        _load(tmp_path, GOOD.split("[[inputs]]")[0] + "inputs = 5\nlines = []\n")

    assert refusal.value.key == "inputs"


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("V", "5 A", "asked for in V"),
        ("V", "-1 V", "at least 0 V"),
        ("V", "49 V ±5 %", "at most 50 V"),
        ("Ta", "25 V", "asked for in °C"),
    ],
)
def test_a_value_that_a_method_does_not_take_is_refused_by_its_input(
    tmp_path: Path, name: str, text: str, words: str
) -> None:
    """Another dimension, or limits beyond the method's range."""
    method = _load(tmp_path, GOOD)

    with pytest.raises(BadInput, match=words) as refusal:
        method.calculation(method.usual_values() | {name: parse(text)})

    assert name == refusal.value.name


def test_a_value_missing_or_unknown_is_refused(tmp_path: Path) -> None:
    """Neither guessed nor passed over."""
    method = _load(tmp_path, GOOD)

    with pytest.raises(BadInput, match="Voltage is not given"):
        method.calculation({"Ta": parse("25 °C")})
    with pytest.raises(BadInput, match="no input"):
        method.calculation(method.usual_values() | {"X": parse("1")})


def test_an_absolute_temperature_in_kelvin_is_taken_where_celsius_is_asked_for(tmp_path: Path) -> None:
    """300 K is 26.85 °C, and the line comes out in °C."""
    method = _load(tmp_path, GOOD)

    result = evaluate(method.calculation(method.usual_values() | {"Ta": parse("300 K")}, draws=500))

    assert pytest.approx(result.line("T").nominal) == 26.85


def test_a_temperature_in_celsius_is_refused_where_an_amount_is_asked_for(tmp_path: Path) -> None:
    """A rise of 20 K is not 20 °C."""
    text = GOOD.replace('unit = "°C"\nusual = "25 °C"', 'unit = "K"\nusual = "25 K"').replace(
        'unit = "°C"', 'unit = "K"'
    )
    method = _load(tmp_path, text)

    with pytest.raises(BadInput, match="give it in K"):
        method.calculation(method.usual_values() | {"Ta": parse("25 °C")})
