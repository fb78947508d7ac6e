"""What a network is refused for without being solved: each by name."""

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.network import (
    NPN,
    BadElementValue,
    BadNodeOrElement,
    Capacitor,
    CurrentSource,
    Diode,
    DuplicateElement,
    Element,
    FloatingNode,
    LogicOutput,
    Network,
    NetworkError,
    NetworkTooLarge,
    Ratings,
    Resistor,
    SourceLoop,
    Switch,
    UnknownElement,
    UnknownNode,
    VoltageSource,
    Zener,
    operating_point,
)
from server.engineering.quantities import parse

RAIL = VoltageSource("V", "rail", "0", 5.0)
LOAD = Resistor("R", "rail", "0", 1e3)


def _refused(kind: type[NetworkError], match: str, *elements: Element) -> NetworkError:
    with pytest.raises(kind, match=match) as refusal:
        Network((RAIL, LOAD, *elements))
    return refusal.value


@pytest.mark.parametrize(
    "hanging",
    [
        (Capacitor("C", "rail", "x", 1e-6),),
        (Switch("S", "rail", "x", closed=False), Resistor("R2", "x", "y", 1e3)),
        (CurrentSource("I", "rail", "x", 1e-3),),
        (Resistor("R2", "x", "y", 1e3), Resistor("R3", "x", "y", 1e3)),
        (VoltageSource("V2", "x", "y", 3.0), Diode("D", "x", "y")),
    ],
)
def test_a_node_that_nothing_holds_is_refused(hanging: tuple[Element, ...]) -> None:
    """Behind a capacitor, an open switch, a current source, or on an island."""
    refusal = _refused(FloatingNode, "Node “x” floats", *hanging)

    assert refusal.node == "x"
    assert refusal.field == hanging[0].name


@pytest.mark.parametrize(
    ("sources", "named"),
    [
        ((VoltageSource("V2", "rail", "0", 5.0),), "“V2” closes a loop of voltage sources with “V”,"),
        ((VoltageSource("V2", "0", "rail", 5.0),), "“V2” closes a loop of voltage sources with “V”,"),
        (
            (
                VoltageSource("V2", "a", "rail", 1.0),
                VoltageSource("V3", "b", "0", 1.0),
                VoltageSource("V4", "a", "0", 1.0),
            ),
            "“V4” closes a loop of voltage sources with “V” and “V2”,",
        ),
    ],
)
def test_a_loop_of_voltage_sources_is_refused(sources: tuple[Element, ...], named: str) -> None:
    """Whether they agree or not, naming those in the loop and no others."""
    refusal = _refused(SourceLoop, named, *sources)

    assert refusal.element == sources[-1].name


@pytest.mark.parametrize(
    "ohms", [0, -1.0, 1e-9, 1e15, math.nan, math.inf, True, "1k", None, parse("1 V"), parse("0..1 kΩ")]
)
def test_a_resistance_that_is_none_is_refused(ohms: Any) -> None:
    """Zero, less, no number, of another dimension, or possibly zero within its tolerance."""
    refusal = _refused(BadElementValue, "(?i)resistance of “R2”", Resistor("R2", "rail", "0", ohms))

    assert refusal.element == "R2"


def test_a_measured_resistance_that_draws_could_bring_to_nothing_is_refused() -> None:
    """Five standard uncertainties out, though its limits lie above zero."""
    _refused(BadElementValue, "resistance of “R2” can be -", Resistor("R2", "rail", "0", parse("100(30) Ω")))


@pytest.mark.parametrize(
    "element",
    [
        NPN("Q", "rail", "b", "0", gain=0.0),
        NPN("Q", "rail", "b", "0", gain=-100),
        NPN("Q", "rail", "b", "0", drop=0.0),
        NPN("Q", "rail", "b", "0", saturation=0.0),
        Diode("Q", "rail", "0", ideality=0.0),
        Diode("Q", "rail", "0", series=-1.0),
        Diode("Q", "rail", "0", drop_at=0.0),
        Zener("Q", "rail", "0", -5.1),
        Zener("Q", "rail", "0", 5.1, slope=0.0),
        Zener("Q", "rail", "0", 5.1, knee=0.0),
        LogicOutput("Q", "rail", "0", 5.0, 0.0),
        Switch("Q", "rail", "0", True, 0.0),
        Capacitor("Q", "rail", "0", -1e-6),
        VoltageSource("Q", "x", "rail", math.inf),
        CurrentSource("Q", "0", "rail", math.nan),
        Resistor("Q", "rail", "0", 1e3, ratings=Ratings(power=0.0)),
        Resistor("Q", "rail", "0", 1e3, ratings=Ratings(current=math.nan)),
    ],
)
def test_values_that_a_kind_cannot_have_are_refused(element: Element) -> None:
    """By the element's name."""
    refusal = _refused(BadElementValue, "“Q”", element)

    assert refusal.element == "Q"


def test_a_series_resistance_that_may_or_may_not_be_there_is_refused() -> None:
    """A diode with one is another network than a diode without."""
    _refused(BadElementValue, "series resistance of “D”", Diode("D", "0", "rail", series=parse("0..10 Ω")))


def test_an_element_twice_is_refused() -> None:
    """By its name."""
    refusal = _refused(DuplicateElement, "2 elements named “R”", Resistor("R", "rail", "x", 1e3))

    assert refusal.element == "R"


@pytest.mark.parametrize(
    "name", ["", " ", "a\nb", "a\u202eb", "a\x00", " R2", "R" * 41, "R" * 100_000, None, 7, "e\u0301"]
)
def test_names_that_are_none_are_refused(name: Any) -> None:
    """Empty, unprintable, longer than 40 letters, no text, or not as it would be typed; the sentence stays short."""
    for element in (Resistor(name, "rail", "0", 1e3), Resistor("R2", name, "0", 1e3)):
        refusal = _refused(BadNodeOrElement, "name", element)

        assert len(refusal.sentence) < 200
        assert refusal.sentence.isprintable()


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=60), st.text(max_size=60))
def test_any_text_is_a_name_or_refused(name: str, node: str) -> None:
    """Nothing else happens."""
    try:
        network = Network((RAIL, LOAD, Resistor(name, "rail", node, 1e3)))
    except (BadNodeOrElement, DuplicateElement):
        return

    assert network.element(name).ends == ("rail", node)


def test_an_element_with_all_ends_on_one_node_is_refused() -> None:
    """A slip of the pen."""
    _refused(BadNodeOrElement, "“R2” has all its ends at node “rail”", Resistor("R2", "rail", "rail", 1e3))
    _refused(BadNodeOrElement, "“Q” has all its ends", NPN("Q", "rail", "rail", "rail"))


def test_a_network_without_its_reference_or_without_anything_is_refused() -> None:
    """There is nothing to count voltages from."""
    with pytest.raises(UnknownNode, match="“0 V”"):
        Network((RAIL, LOAD), reference="0 V")
    with pytest.raises(BadNodeOrElement):
        Network(())


def test_a_node_that_is_not_declared_is_refused() -> None:
    """With the element that ends there."""
    with pytest.raises(UnknownNode, match="“R2” ends at node “rial”") as refusal:
        Network((RAIL, LOAD, Resistor("R2", "rial", "0", 1e3)), declared=("rail",))

    assert (refusal.value.element, refusal.value.node) == ("R2", "rial")


def test_a_node_where_one_element_ends_is_told() -> None:
    """It may be a slip, and changes nothing."""
    network = Network((RAIL, LOAD, Resistor("R2", "rail", "rial", 1e3)))

    assert network.notes == ("Only one element ends at node “rial”: no current flows there.",)


def test_elements_are_found_by_name() -> None:
    """Or not at all."""
    network = Network((RAIL, LOAD))

    assert network.element("R") is LOAD
    with pytest.raises(UnknownElement, match="“R9”"):
        network.element("R9")


def _ladder(nodes: int) -> Network:
    names = ["0", *(f"n{place}" for place in range(nodes))]
    ladder = [Resistor(f"R{place}", names[place], names[place + 1], 1e3) for place in range(nodes)]
    return Network((VoltageSource("V", names[-1], "0", 6.0), *ladder))


def test_sixty_nodes_are_worked_out() -> None:
    """A ladder shares its voltage evenly."""
    assert operating_point(_ladder(60)).volts["n29"].nominal == pytest.approx(3.0)


def test_sixty_one_nodes_are_refused() -> None:
    """And four hundred and one elements."""
    with pytest.raises(NetworkTooLarge, match="61 nodes"):
        _ladder(61)
    with pytest.raises(NetworkTooLarge, match="401 elements"):
        Network(tuple(Resistor(f"R{place}", "a", "0", 1e3) for place in range(401)))


@pytest.mark.parametrize("kelvin", [0.0, -20.0, 20.0, math.nan, parse("1 V")])
def test_a_temperature_that_no_bench_has_is_refused(kelvin: Any) -> None:
    """Also 20, which is a temperature in °C."""
    with pytest.raises(BadElementValue, match="temperature"):
        Network((RAIL, LOAD), temperature=kelvin)
