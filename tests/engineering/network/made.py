"""Random networks for the property tests, and the small circuits that several tests look at."""

from hypothesis import strategies as st

from server.engineering.network import (
    NPN,
    PNP,
    CurrentSource,
    Diode,
    Element,
    LogicOutput,
    Network,
    OperatingPoint,
    Resistor,
    Transistor,
    Value,
    VoltageSource,
    Zener,
)

OHMS = st.floats(1.0, 1e7)


def two_transistors(r1: Value = 10e3, rail: float = 12.0) -> Network:
    """Q1, by a divider at the rail, holds Q2 off above some 7 V."""
    return Network(
        (
            VoltageSource("V", "rail", "0", rail),
            Resistor("R1", "rail", "b1", r1),
            Resistor("R2", "b1", "0", 1e3),
            NPN("Q1", "c1", "b1", "0"),
            Resistor("R3", "rail", "c1", 10e3),
            Resistor("R4", "c1", "b2", 10e3),
            NPN("Q2", "c2", "b2", "0"),
            Resistor("R5", "rail", "c2", 1e3),
        )
    )


def latch(count: int = 1) -> Network:
    """Two transistors, each held off by the other; once or several times on one rail."""
    parts: list[Element] = [VoltageSource("V", "rail", "0", 5.0)]
    for place in range(count):
        c1, c2, b1, b2 = (f"{node}{chr(39) * place}" for node in ("c1", "c2", "b1", "b2"))
        parts += [
            Resistor(f"RA{place}", "rail", c1, 1e3),
            Resistor(f"RB{place}", "rail", c2, 1e3),
            Resistor(f"RC{place}", c1, b2, 10e3),
            Resistor(f"RD{place}", c2, b1, 10e3),
            NPN(f"QA{place}", c1, b1, "0"),
            NPN(f"QB{place}", c2, b2, "0"),
        ]
    return Network(tuple(parts))


def trigger() -> Network:
    """Two transistors on one emitter resistor: turns over at a higher voltage going up than coming down."""
    return Network(
        (
            VoltageSource("V", "rail", "0", 12.0),
            VoltageSource("IN", "in", "0", 0.0),
            Resistor("RB", "in", "b1", 1e3),
            NPN("Q1", "c1", "b1", "e"),
            NPN("Q2", "c2", "b2", "e"),
            Resistor("RE", "e", "0", 470.0),
            Resistor("RC1", "rail", "c1", 4700.0),
            Resistor("RC2", "rail", "c2", 1000.0),
            Resistor("R1", "c1", "b2", 10e3),
            Resistor("R2", "b2", "0", 10e3),
        )
    )


@st.composite
def linear_networks(draw: st.DrawFn, voltage_sources: int = 1, current_sources: int = 1) -> Network:
    """Resistors as a tree over 2 to 8 nodes and across it, sources in series with one or into two nodes."""
    nodes = _nodes(draw)
    elements = _resistors(draw, nodes)
    for place in range(voltage_sources):
        at = draw(st.sampled_from(nodes[1:]))
        elements.append(VoltageSource(f"V{place}", f"s{place}", "0", draw(st.floats(-30, 30))))
        elements.append(Resistor(f"RS{place}", f"s{place}", at, draw(OHMS)))
    for place in range(current_sources):
        first, second = _pair(draw, nodes)
        elements.append(CurrentSource(f"I{place}", first, second, draw(st.floats(-1e-3, 1e-3))))
    return Network(tuple(elements))


@st.composite
def junction_networks(draw: st.DrawFn) -> Network:
    """Resistors, one rail, and up to six diodes, Zener diodes, transistors and logic outputs anywhere."""
    nodes = _nodes(draw)
    elements = _resistors(draw, nodes)
    elements.append(VoltageSource("V", "rail", "0", draw(st.floats(-30, 30))))
    elements.append(Resistor("RS", "rail", nodes[1], draw(st.floats(1.0, 1e4))))
    for place in range(draw(st.integers(1, 6))):
        elements.append(_junctioned(draw, nodes, place))
    return Network(tuple(elements))


def _nodes(draw: st.DrawFn) -> list[str]:
    return ["0", *(f"n{place}" for place in range(draw(st.integers(2, 7))))]


def _pair(draw: st.DrawFn, nodes: list[str]) -> tuple[str, str]:
    first = draw(st.sampled_from(nodes))
    return first, draw(st.sampled_from([node for node in nodes if node != first]))


def _resistors(draw: st.DrawFn, nodes: list[str]) -> list[Element]:
    elements: list[Element] = [
        Resistor(f"RT{place}", nodes[place], nodes[draw(st.integers(0, place - 1))], draw(OHMS))
        for place in range(1, len(nodes))
    ]
    across = draw(st.integers(0, 5))
    return elements + [Resistor(f"R{place}", *_pair(draw, nodes), draw(OHMS)) for place in range(across)]


def _junctioned(draw: st.DrawFn, nodes: list[str], place: int) -> Element:
    kind = draw(st.sampled_from(["diode", "zener", "npn", "pnp", "output"]))
    if kind == "diode":
        return Diode(
            f"D{place}", *_pair(draw, nodes), drop=draw(st.floats(0.2, 2.0)), series=draw(st.sampled_from([0, 5.0]))
        )
    if kind == "zener":
        return Zener(f"Z{place}", *_pair(draw, nodes), draw(st.floats(2.4, 15.0)), slope=draw(st.floats(0.1, 100.0)))
    if kind == "output":
        return LogicOutput(f"U{place}", *_pair(draw, nodes), draw(st.floats(0.0, 5.0)), draw(st.floats(10.0, 200.0)))
    collector, base, emitter = draw(st.permutations(nodes))[:3]
    made = NPN if kind == "npn" else PNP
    return made(f"Q{place}", collector, base, emitter, gain=draw(st.floats(10.0, 900.0)))


def sums_at_nodes(network: Network, point: OperatingPoint) -> dict[str, float]:
    """The currents that leave each node, by the elements' readings alone, in A."""
    sums = dict.fromkeys((*network.nodes, network.reference), 0.0)
    for element in network.elements:
        reading = point.elements[element.name]
        if isinstance(element, Transistor):
            assert reading.base is not None
            into, base = element.polarity * reading.current.nominal, element.polarity * reading.base.nominal
            shares = (into, base, -into - base)
        else:
            shares = (reading.current.nominal, -reading.current.nominal, 0.0)
        for end, share in zip(element.ends, shares, strict=False):
            sums[end] += share
    return sums
