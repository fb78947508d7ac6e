"""The table of logic families: what a chip looks up, at which supply, and what is refused in words."""

import csv
import re
from pathlib import Path

import pytest

import server.engineering.logic_families as families
from server.engineering.errors import EngineeringError
from server.engineering.logic_families import SupplyOutside, UnknownKind, chip, kinds
from server.engineering.quantities import exact, parse


def _rows() -> list[dict[str, str]]:
    with Path(families.__file__).with_name("logic_families.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_row_says_where_it_comes_from() -> None:
    """A source, and whether it was seen or remembered; a figure, and limits in order."""
    for row in _rows():
        limits = [float(row[column]) for column in ("min", "typ", "max") if row[column]]

        assert row["source"]
        assert row["status"] in ("SEEN", "MEMORY")
        assert row["source"].startswith("from memory of") == (row["status"] == "MEMORY")
        assert limits == sorted(limits)
        assert limits or row["parameter"] == "VCC"
        assert float(row["supply_from"]) <= float(row["supply_to"])
        assert row["follows"] == "" or row["test_supply"]


def test_all_families_asked_for_are_there() -> None:
    """Each under its plain name, the peripheral chips by pin."""
    assert {"74", "74LS", "74HC", "74HCT", "4000B", "8255A port", "8255A data bus"} <= set(kinds())
    assert {"74", "74LS", "74HC", "74HCT", "4000B", "NMOS peripheral"} == {row["family"] for row in _rows()}


@pytest.mark.parametrize(("volts", "low", "high"), [(4.5, 1.35, 3.15), (5.0, 1.5, 3.5), (6.0, 1.8, 4.2)])
def test_levels_of_74hc_follow_the_supply(volts: float, low: float, high: float) -> None:
    """0.3 and 0.7 of it: 1.35 V and 3.15 V at 4.5 V, 1.8 V and 4.2 V at 6 V, from memory of the 74HC00 data sheet."""
    gate = chip("74HC", exact(volts, "V"))

    assert low == pytest.approx(gate.input_low(volts))
    assert high == pytest.approx(gate.input_high(volts))


@pytest.mark.parametrize(("volts", "low", "sink"), [(5, 1.5, 0.44e-3), (10, 3.0, 1.1e-3), (15, 4.0, 3.0e-3)])
def test_4000b_has_a_table_for_each_of_three_supplies(volts: float, low: float, sink: float) -> None:
    """And none in between."""
    gate = chip("4000B", exact(volts, "V"))

    assert low == pytest.approx(gate.input_low(volts))
    assert sink == pytest.approx(gate.sink_points()[-1].amps)


@pytest.mark.parametrize(
    ("kind", "supply", "says"),
    [
        ("4000B", "12 V", "4.75 V to 5.25 V or 9.5 V to 10.5 V or 14.25 V to 15.75 V"),
        ("74", "12 V", "a supply of 12 V is outside them"),
        ("74LS", "5 V ±10 %", "4.75 V to 5.25 V; a supply of 4.5 V to 5.5 V"),
        ("74HC", "3.3 V", "4.5 V to 6 V"),
    ],
)
def test_a_supply_without_figures_is_refused_in_words(kind: str, supply: str, says: str) -> None:
    """With the supplies that there are figures for."""
    with pytest.raises(SupplyOutside, match=says) as refused:
        chip(kind, parse(supply))

    assert refused.value.field == "supply"


@pytest.mark.parametrize("kind", ["74ALS", "", "74ls", "<b>74</b>", "x" * 500])
def test_an_unknown_kind_is_named_with_those_there_are(kind: str) -> None:
    """Cut short where it is long."""
    with pytest.raises(UnknownKind, match="they have 74") as refused:
        chip(kind)

    assert len(refused.value.sentence) < 400


def test_a_supply_in_another_unit_is_converted_or_refused() -> None:
    """Millivolts are volts; amperes are not."""
    assert chip("74", parse("5000 mV")).supply == exact(5, "V")
    with pytest.raises(EngineeringError, match="voltage"):
        chip("74", parse("5 A"))


def test_of_several_makers_the_strictest_counts() -> None:
    """I_IL of 74LS is 0.36 mA or 0.4 mA by maker."""
    assert (chip("74LS").input_out(), chip("DM74LS00").input_out()) == pytest.approx((0.4e-3, 0.36e-3))


@pytest.mark.parametrize("kind", ["74LS bus driver", "74LS line driver", "74LS transceiver"])
def test_bus_drivers_listen_as_their_family_does(kind: str) -> None:
    """0.8 V and 2.0 V, and no more current than a gate's input; from memory of the data sheets."""
    bus = chip(kind)

    assert (bus.input_low(5.0), bus.input_high(5.0)) == (0.8, 2.0)
    assert (bus.input_out() or 1.0) <= 0.4e-3
    assert bus.sink_points()[-1].amps == pytest.approx(24e-3)


def test_sources_name_documents_and_no_places_where_copies_were_found() -> None:
    assert not [row["source"] for row in _rows() if re.search(r"\bpage\)|[a-z]\.(?:cn|live|support)\b", row["source"])]


def test_what_a_table_lacks_is_none() -> None:
    """No input levels of an early table at 5 V, no short-circuit current for CMOS, no source for an open collector."""
    assert chip("74HC early table").input_low(5.0) is None
    assert chip("74HC").short_circuit() is None
    assert chip("74 open-collector buffer").source_points() == ()
    assert chip("74").pin_limit() is None
