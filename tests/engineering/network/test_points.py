"""Operating points and sweeps: the laws that every network keeps, tolerances, ratings, temperature."""

import math
import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from server.engineering.network import (
    NPN,
    PNP,
    BadSweep,
    Capacitor,
    CurrentSource,
    Diode,
    Element,
    LogicOutput,
    Network,
    NetworkTooLarge,
    NotSettled,
    Ratings,
    Resistor,
    Switch,
    UnknownElement,
    UnknownNode,
    VoltageSource,
    operating_point,
    sweep,
)
from server.engineering.quantities import parse
from tests.engineering.network.made import (
    junction_networks,
    latch,
    linear_networks,
    sums_at_nodes,
    two_transistors,
)

FEW = settings(max_examples=60, deadline=None)


@FEW
@given(junction_networks())
def test_the_currents_at_every_node_add_up_to_nothing(network: Network) -> None:
    """By the readings of the elements alone, to 1 nA or 1e-9 of the largest."""
    point = operating_point(network)

    largest = max(abs(reading.current.nominal) for reading in point.elements.values())
    assert all(abs(left) <= max(2e-9, 2e-9 * largest) for left in sums_at_nodes(network, point).values())


@FEW
@given(junction_networks())
def test_what_sources_deliver_is_what_the_rest_takes_up(network: Network) -> None:
    """Tellegen: the powers of all elements add up to nothing."""
    point = operating_point(network)

    powers = [reading.power.nominal for reading in point.elements.values()]
    assert sum(powers) == pytest.approx(0.0, abs=max(map(abs, powers)) * 1e-7 + 1e-7)


@FEW
@given(junction_networks())
def test_resistors_and_diodes_never_deliver(network: Network) -> None:
    """Passivity: nothing but sources and logic outputs feeds the network, a transistor least of all."""
    point = operating_point(network)

    passive = [r for r in point.elements.values() if r.kind not in ("voltage source", "current source", "logic output")]
    assert all(reading.power.nominal >= -1e-9 for reading in passive)


@FEW
@given(junction_networks())
def test_no_node_goes_beyond_the_sources(network: Network) -> None:
    """Passivity again: every voltage lies between the lowest and the highest that sources could add up to."""
    reach = sum(abs(element.volts) for element in network.of_kind(VoltageSource) if isinstance(element.volts, float))
    reach += sum(element.level for element in network.of_kind(LogicOutput) if isinstance(element.level, float))

    point = operating_point(network)

    assert all(abs(volts.nominal) <= reach + 1e-6 for volts in point.volts.values())


@FEW
@given(linear_networks(), st.floats(-5, 5))
def test_a_linear_network_scales(network: Network, factor: float) -> None:
    """All sources times a factor: all voltages times that factor."""
    assume(abs(factor) > 1e-3)
    scaled = replace(network, elements=tuple(_times(element, factor) for element in network.elements))

    before, after = operating_point(network), operating_point(scaled)

    for node in network.nodes:
        expected = factor * before.volts[node].nominal
        assert expected == pytest.approx(after.volts[node].nominal, rel=1e-7, abs=1e-9)


@FEW
@given(linear_networks(voltage_sources=2, current_sources=2))
def test_in_a_linear_network_sources_superpose(network: Network) -> None:
    """The voltages are the sum of those that each source makes alone."""
    sources = [e.name for e in network.elements if isinstance(e, VoltageSource | CurrentSource)]
    alone = [
        operating_point(replace(network, elements=tuple(_only(element, name) for element in network.elements)))
        for name in sources
    ]

    together = operating_point(network)

    for node in network.nodes:
        parts = [point.volts[node].nominal for point in alone]
        assert sum(parts) == pytest.approx(together.volts[node].nominal, rel=1e-7, abs=1e-8)


@FEW
@given(junction_networks(), st.randoms(use_true_random=False))
def test_the_order_of_the_elements_makes_no_difference(network: Network, luck: random.Random) -> None:
    """Unless the network has two resting states to choose from, which it then says."""
    shuffled = list(network.elements)
    luck.shuffle(shuffled)

    first, second = operating_point(network), operating_point(replace(network, elements=tuple(shuffled)))

    assume(not first.notes and not second.notes)
    for node in network.nodes:
        assert first.volts[node].nominal == pytest.approx(second.volts[node].nominal, rel=1e-5, abs=1e-5)


def _times(element: Element, factor: float) -> Element:
    if isinstance(element, VoltageSource) and isinstance(element.volts, float):
        return replace(element, volts=element.volts * factor)
    if isinstance(element, CurrentSource) and isinstance(element.amperes, float):
        return replace(element, amperes=element.amperes * factor)
    return element


def _only(element: Element, name: str) -> Element:
    is_source = isinstance(element, VoltageSource | CurrentSource)
    return _times(element, 1.0 if not is_source or element.name == name else 0.0)


def test_a_sweep_is_its_operating_points() -> None:
    """Point for point."""
    values = [12.0, 7.5, 6.9, 3.0, 0.5]

    swept = sweep(two_transistors(), "V", values)

    for place, rail in enumerate(values):
        point = operating_point(two_transistors(rail=rail))
        for node in ("b1", "c1", "b2", "c2"):
            assert point.volts[node].nominal == pytest.approx(swept.volts(node).nominal[place], abs=1e-9)
        assert point.elements["Q1"].power.nominal == pytest.approx(swept.power("Q1").nominal[place], abs=1e-9)


def test_a_sweep_of_a_current_source_and_of_a_logic_output() -> None:
    """By Ohm's law."""
    network = Network(
        (
            CurrentSource("I", "0", "a", 0.0),
            Resistor("R", "a", "0", 1e3),
            LogicOutput("U", "b", "0", 0.0, 100.0),
            Resistor("L", "b", "0", 300.0),
        )
    )

    by_current, by_level = sweep(network, "I", [1e-3, 2e-3]), sweep(network, "U", [0.0, 4.0])

    assert pytest.approx(by_current.volts("a").nominal) == [1.0, 2.0]
    assert pytest.approx(by_level.volts("b").nominal) == [0.0, 3.0]
    assert pytest.approx(by_level.current("U").nominal) == [0.0, -0.01]


def test_a_tolerance_spreads_as_its_draws_do() -> None:
    """A divider of two 5 % resistors: the worst corners are never passed, nor nearly reached by 95 % of the draws."""
    network = Network(
        (
            VoltageSource("V", "a", "0", 10.0),
            Resistor("R1", "a", "m", parse("1 kΩ ±5 %")),
            Resistor("R2", "m", "0", parse("1 kΩ ±5 %")),
        )
    )

    band = operating_point(network, seed=7).volts["m"]

    assert band.nominal == pytest.approx(5.0)
    assert 4.75 <= band.least < band.low < 4.85
    assert 5.15 < band.high < band.most <= 5.25
    assert (band.toleranced.low, band.toleranced.unit) == (band.least, "V")


def test_the_same_seed_draws_the_same() -> None:
    """And another one other luck."""
    network = two_transistors(parse("10 kΩ ±5 %"))

    bands = [operating_point(network, seed=seed).volts["b1"] for seed in (1, 1, 2)]

    assert bands[0] == bands[1]
    assert bands[0] != bands[2]


def test_without_tolerances_nothing_is_drawn() -> None:
    """The band is the nominal."""
    point = operating_point(two_transistors())

    band = point.volts["c1"]
    assert point.draws == 0
    assert {band.nominal} == {band.low, band.high, band.least, band.most}


@pytest.mark.parametrize(
    ("value", "rating", "verdicts"),
    [("1 kΩ", 0.11, []), ("1 kΩ ±20 %", 0.11, ["at risk"]), ("1 kΩ", 0.09, ["fails"]), ("1 kΩ ±20 %", 0.09, ["fails"])],
)
def test_heat_is_held_against_the_rating(value: str, rating: float, verdicts: list[str]) -> None:
    """10 V across 1 kΩ is 0.1 W; across 800 Ω 0.125 W."""
    resistor = Resistor("R", "a", "0", parse(value), ratings=Ratings(power=rating))

    point = operating_point(Network((VoltageSource("V", "a", "0", 10.0), resistor)))

    assert verdicts == [found.verdict for found in point.over]
    assert all(found.nominal == pytest.approx(0.1) and found.rated == rating for found in point.over)


def test_currents_and_voltages_are_held_against_their_ratings() -> None:
    """Of whatever element, by amount; a capacitor by its voltage."""
    network = Network(
        (
            VoltageSource("V", "a", "0", -24.0, ratings=Ratings(current=0.02)),
            Resistor("R", "a", "0", 1e3, ratings=Ratings(power=0.6, volts=30.0)),
            Capacitor("C", "a", "0", 1e-6, ratings=Ratings(volts=16.0)),
        )
    )

    over = operating_point(network).over

    assert [(found.element, found.quantity) for found in over] == [("V", "current"), ("C", "volts")]
    assert pytest.approx([found.worst for found in over]) == [0.024, 24.0]


def test_a_sweep_tells_what_is_passed_anywhere_in_it() -> None:
    """At its worst point."""
    resistor = Resistor("R", "a", "0", 1e3, ratings=Ratings(power=0.1))

    swept = sweep(Network((VoltageSource("V", "a", "0", 0.0), resistor)), "V", [0.0, 20.0, 5.0])

    assert pytest.approx([found.worst for found in swept.over]) == [0.4]


def test_a_switch_carries_or_does_not() -> None:
    """Open, the pulled-up node is high; closed, low."""
    volts = []
    for closed in (False, True):
        switch = Switch("S", "a", "0", closed)
        pulled = (VoltageSource("V", "rail", "0", 5.0), Resistor("R", "rail", "a", 1e3), switch)
        volts.append(operating_point(Network(pulled)).volts["a"].nominal)

    assert pytest.approx(volts) == [5.0, 5.0 * 0.05 / 1000.05]


def test_a_base_drop_falls_by_two_millivolts_a_kelvin() -> None:
    """Common practice, no source: 2 mV/K for silicon at a steady current."""
    drops = []
    for kelvin in (300.0, 310.0):
        parts = (CurrentSource("I", "0", "a", 1e-3), NPN("Q", "a", "a", "0"))
        drops.append(operating_point(Network(parts, temperature=kelvin)).volts["a"].nominal)

    assert drops[0] == pytest.approx(0.6, abs=5e-4)
    assert (drops[1] - drops[0]) / 10 == pytest.approx(-2e-3, abs=4e-4)


def test_a_pnp_is_an_npn_turned_round() -> None:
    """All voltages with the other sign, the same heat and readings."""
    npn = Network(
        (
            VoltageSource("V", "rail", "0", 9.0),
            Resistor("RB", "rail", "b", 470e3),
            Resistor("RC", "rail", "c", 1e3),
            NPN("Q", "c", "b", "0"),
        )
    )
    pnp = replace(npn, elements=(VoltageSource("V", "rail", "0", -9.0), *npn.elements[1:3], PNP("Q", "c", "b", "0")))

    first, second = operating_point(npn), operating_point(pnp)

    assert first.volts["c"].nominal == pytest.approx(-second.volts["c"].nominal)
    assert first.elements["Q"].current == second.elements["Q"].current
    assert first.elements["Q"].power.nominal == pytest.approx(second.elements["Q"].power.nominal)


def test_a_latch_is_not_reported_in_the_state_in_which_it_would_not_stay() -> None:
    """Alike on both sides it could only balance on a point; it says that it chose."""
    point = operating_point(latch())

    collectors = sorted(point.volts[node].nominal for node in ("c1", "c2"))
    assert collectors[0] < 0.2
    assert collectors[1] > 4.0
    assert "more than one state" in point.notes[0]


def test_two_latches_are_not_reported_on_their_points_either() -> None:
    """Though two that would each tip over look, by their determinant, like none."""
    point = operating_point(latch(count=2))

    for pair in (("c1", "c2"), ("c1'", "c2'")):
        collectors = sorted(point.volts[node].nominal for node in pair)
        assert collectors[0] < 0.2
        assert collectors[1] > 4.0


def test_a_temperature_can_be_given_in_degrees() -> None:
    """25 °C, with its tolerance: the drop of a diode spreads by 2 mV/K."""
    diode = (CurrentSource("I", "0", "a", 1e-3), Diode("D", "a", "0"))

    band = operating_point(Network(diode, temperature=parse("25 °C ± 10 °C"))).volts["a"]

    assert band.nominal == pytest.approx(0.603, abs=2e-3)
    assert band.most - band.least == pytest.approx(0.04, abs=0.01)


def test_a_diode_without_a_resistor_is_refused() -> None:
    """By name, with the reason."""
    network = Network((VoltageSource("V", "a", "0", 5.0), Diode("D7", "a", "0")))

    with pytest.raises(NotSettled, match="Nothing limits the current through “D7”") as refusal:
        operating_point(network)

    assert refusal.value.element == "D7"


@pytest.mark.parametrize("amperes", [1e-3, 1e-9])
def test_a_current_into_a_blocking_junction_is_refused(amperes: float) -> None:
    """Rather than told as a gigavolt of leakage, or as ten kilovolts."""
    network = Network((CurrentSource("I", "a", "0", amperes), Diode("D", "a", "0")))

    with pytest.raises(NotSettled, match="Nothing holds node “a”") as refusal:
        operating_point(network)

    assert refusal.value.node == "a"


@pytest.mark.parametrize("values", [[], [math.nan], [math.inf], [[1.0, 2.0]], ["a"], [1e9]])
def test_values_that_make_no_sweep_are_refused(values: list[float]) -> None:
    """With one sentence."""
    with pytest.raises(BadSweep):
        sweep(two_transistors(), "V", values)


def test_only_a_source_that_is_there_is_swept() -> None:
    """Anything else by name."""
    with pytest.raises(BadSweep, match="“R1” is a resistor"):
        sweep(two_transistors(), "R1", [1.0])
    with pytest.raises(UnknownElement, match="“V9”"):
        sweep(two_transistors(), "V9", [1.0])


def test_only_nodes_and_elements_that_are_there_are_read() -> None:
    """And only transistors have a base."""
    swept = sweep(two_transistors(), "V", [5.0])

    with pytest.raises(UnknownNode, match="“b9”"):
        swept.volts("b9")
    with pytest.raises(UnknownElement, match="“R9”"):
        swept.current("R9")
    with pytest.raises(UnknownElement, match="“R1” is a resistor and has no base"):
        swept.current("R1", "base")


def test_more_than_can_be_held_is_refused() -> None:
    """Draws, points, and both together."""
    network = two_transistors(parse("10 kΩ ±5 %"))

    for draws, points in ((50_000, 1), (-1, 1), (10, 6_000), (20_000, 100)):
        with pytest.raises(NetworkTooLarge):
            sweep(network, "V", np.linspace(0.0, 12.0, points), draws=draws)
