"""Outputs that meet: ranges that hold every sample, in any order, with the words that go with them."""

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.logic import (
    BadPin,
    BeyondFigures,
    Contention,
    Output,
    Pull,
    Range,
    Receiver,
    chip,
    contention,
)
from server.engineering.quantities import Toleranced, exact, parse
from tests.engineering.logic_samples import HIGH, driving, listening, pulling, stands, through

FIVE = parse("4.75..5.25 V")
GROUND = exact(0, "V")
OHMS = ["47 Ω ±5 %", "330 Ω ±5 %", "1 kΩ ±10 %", "4.7 kΩ ±5 %", "100 kΩ ±20 %"]
RANDOM = st.randoms(use_true_random=False)
TTL = chip("74")

Net = tuple[list[Output], list[Receiver], list[Pull]]


def _net(dice: Random) -> Net:
    """One to four outputs at random levels, up to three inputs and two resistors."""
    outputs = [
        Output(
            f"U{n}",
            chip(dice.choice(list(HIGH))),
            dice.choice(["high", "low"]),
            series=parse(dice.choice(OHMS)) if dice.random() < 0.4 else None,
        )
        for n in range(dice.randint(1, 4))
    ]
    receivers = [Receiver(f"U1{n}", chip(dice.choice(list(HIGH)))) for n in range(dice.randint(0, 3))]
    pulls = [Pull(f"R{n}", parse(dice.choice(OHMS)), dice.choice([FIVE, GROUND])) for n in range(dice.randint(0, 2))]
    return outputs, receivers, pulls


def _holds(bounds: Range, number: float, slack: float = 1e-8) -> bool:
    room = slack + 1e-6 * abs(number)
    return bounds.low - room <= number and (bounds.high is None or number <= bounds.high + room)


def _fight(*kinds: str, series: str = "") -> Contention:
    """The first kind high, the others low."""
    high = Output("U1", chip(kinds[0]), "high", series=parse(series) if series else None)
    return contention([high, *(Output(f"U{n}", chip(kind), "low") for n, kind in enumerate(kinds[1:], 2))])


@settings(max_examples=60, deadline=None)
@given(RANDOM)
def test_ranges_hold_every_sample(dice: Random) -> None:
    """Samples between the ends of the tables, solved on their own: node, currents and heats lie inside."""
    outputs, receivers, pulls = _net(dice)
    found = contention(outputs, receivers, pulls)

    for _ in range(4):
        samples = [driving(output, dice) for output in outputs]
        resistors = [pulling(pull, dice) for pull in pulls]
        things = [through(delivers, ohms) for delivers, ohms, _ in samples]
        things += [delivers for delivers, _ in resistors]
        things += [listening(receiver, dice) for receiver in receivers]
        node = stands(things, 5.25)

        assert _holds(found.node_promised, node)
        if not 0 < node < 5.25:
            continue
        for state, thing, (_, ohms, supply) in zip(found.output_states, things, samples, strict=False):
            amps = thing(node)
            pin = node + amps * ohms
            assert _holds(state.current, abs(amps))
            assert _holds(state.heat, -pin * amps if supply is None else (supply - pin) * amps)
            assert state.series_heat is None or _holds(state.series_heat, amps**2 * ohms)
        for pull_state, (delivers, ohms) in zip(found.pull_states, resistors, strict=True):
            assert _holds(pull_state.current, delivers(node))
            assert _holds(pull_state.heat, delivers(node) ** 2 * ohms)


@settings(max_examples=40, deadline=None)
@given(RANDOM)
def test_order_makes_no_difference(dice: Random) -> None:
    """The same things in another order: the same node, and the same state for each name."""
    outputs, receivers, pulls = _net(dice)
    found = contention(outputs, receivers, pulls)
    shuffled: Net = [*outputs], [*receivers], [*pulls]
    for things in shuffled:
        dice.shuffle(things)

    again = contention(*shuffled)

    assert (found.node, found.node_promised) == (again.node, again.node_promised)
    assert set(found.output_states) == set(again.output_states)
    assert set(found.pull_states) == set(again.pull_states)
    assert set(found.readings) == set(again.readings)


@settings(max_examples=40, deadline=None)
@given(RANDOM, st.floats(10, 1e5))
def test_a_pull_down_never_raises_the_node(dice: Random, ohms: float) -> None:
    """At neither end; a pull-up never lowers it."""
    outputs, receivers, pulls = _net(dice)
    resistor = exact(ohms, "Ω")

    alone = contention(outputs, receivers, pulls).node
    down = contention(outputs, receivers, [*pulls, Pull("down", resistor, GROUND)]).node
    up = contention(outputs, receivers, [*pulls, Pull("up", resistor, FIVE)]).node

    assert alone.high is not None
    assert down.low <= alone.low + 1e-12
    assert (down.high or 0) <= alone.high + 1e-12
    assert up.low >= alone.low - 1e-12
    assert (up.high or 0) >= alone.high - 1e-12


@settings(max_examples=40, deadline=None)
@given(RANDOM)
def test_ends_are_in_order_and_the_promise_is_the_wider(dice: Random) -> None:
    """What the data sheets alone allow holds what saturation makes likely; nothing is negative that cannot be."""
    found = contention(*_net(dice))

    assert found.node_promised.low <= found.node.low <= (found.node.high or 0) <= (found.node_promised.high or 0)
    for state in found.output_states:
        for bounds in (state.current, state.heat):
            assert bounds.low >= 0
            assert bounds.high is None or bounds.low <= bounds.high


def test_a_fight_is_said_to_be_outside_every_promise() -> None:
    """First of all sentences; a net whose outputs agree says nothing of the kind."""
    fight, peace = _fight("74", "74LS"), contention([Output("U1", TTL, "low"), Output("U2", TTL, "low")])

    assert "outside every data sheet's promise" in fight.sentences[0]
    assert fight.fights
    assert (peace.fights, peace.warning) == (False, "")
    assert not any("fight" in sentence for sentence in peace.sentences)


def test_a_ttl_fight_by_hand() -> None:
    """Strong: 55 mA at a drop of 5.25 V, in proportion. Against 25 Ω: V = 55 mA / (1/25 Ω + 55 mA/5.25 V)."""
    fight = _fight("74", "74")

    assert fight.node.low == 0
    assert fight.node.high == pytest.approx(0.055 / (1 / 25 + 0.055 / 5.25))
    assert fight.node_promised.high == pytest.approx(5.25 * (1 - 16 / 55))
    # Weak high output at 4.75 V against 0.4 V: on the line from 0.4 mA at 2.35 V to 18 mA at 5.25 V.
    assert fight.output_states[0].current.low == pytest.approx(0.0004 + 0.0176 * (4.35 - 2.35) / 2.9)
    assert fight.output_states[0].current.high == pytest.approx(0.055)


def test_heat_is_greatest_between_the_corners_where_it_is() -> None:
    """5.25 V behind 100 Ω ± 5 % into a low output without a strong end: at most V²/4R, at half the voltage."""
    fight = _fight("74HC", "74HC", series="100 Ω ±5 %")

    assert fight.output_states[1].heat.high == pytest.approx(5.25**2 / (4 * 95))


def test_what_no_figure_bounds_is_said_and_not_made_up() -> None:
    """Two CMOS outputs: no most, in words; with the short-circuit current of the chip in hand there is one."""
    fight = _fight("74HC", "74HC")
    known = contention(
        [
            Output("U1", chip("74HC"), "high", short_circuit=parse("30..70 mA")),
            Output("U2", chip("74HC"), "low", short_circuit=parse("40..90 mA")),
        ]
    )

    assert [state.current.high for state in fight.output_states] == [None, None]
    assert fight.output_states[0].heat.high is None
    assert "no figure for the most" in str(fight.output_states[0].current)
    assert sum("no figure for the most that" in gap for gap in fight.no_figures) == 2
    assert known.output_states[0].current.high == pytest.approx(0.070)
    assert known.no_figures == ()


def test_leakage_and_inputs_without_a_figure_are_named() -> None:
    """Left out, and said to be."""
    found = contention([Output("U1", TTL, "off"), Output("U2", TTL, "low")], [Receiver("U3", chip("8255 port"))])

    assert "U1: no figure for the leakage of 74; it is left out." in found.no_figures
    assert any(gap.startswith("U3: no figure for the input current") for gap in found.no_figures)


@pytest.mark.parametrize(
    ("kind", "level", "reads", "may"),
    [
        ("74", 0.3, "always low", ("low",)),
        ("74", 1.4, "undefined", ("neither",)),
        ("74", 3.0, "always high", ("high",)),
        ("74HC", 3.0, "undefined", ("neither",)),
        ("74 Schmitt", 0.7, "undefined", ("neither",)),
        ("74HC early table", 3.0, "no figure", ()),
    ],
)
def test_an_input_reads_what_its_levels_say(kind: str, level: float, reads: str, may: tuple[str, ...]) -> None:
    """A node held stiffly at a level, inside and between the levels of the family."""
    stiff = Pull("held", exact(0.01, "Ω"), exact(level, "V"))

    found = contention([Output("U1", TTL, "high", "open collector")], [Receiver("U2", chip(kind))], [stiff]).readings[0]

    assert reads == found.reads == found.promised
    assert may == found.may_read


def test_a_range_across_a_level_depends() -> None:
    """On the samples: every level that the range touches is named."""
    fight = contention([Output("U1", TTL, "high"), Output("U2", TTL, "low")], [Receiver("U3", TTL)])

    assert fight.readings[0].reads == "depends"
    assert "may read low or neither" in fight.readings[0].sentence
    assert "By the data sheets alone it may read low, neither or high." in fight.readings[0].sentence
    assert fight.readings[0].promised == "depends"


def test_a_series_resistor_lifts_a_low_input_by_its_own_current() -> None:
    """1.6 mA through 330 Ω: a pin that no longer reads low behind a low output."""
    driver = [Output("U1", TTL, "low")]

    found = contention(driver, [Receiver("U2", TTL, series=exact(330, "Ω"))]).readings[0]

    assert found.at.high == pytest.approx(0.4 + 0.0016 * 330)
    assert found.reads == "depends"


def test_limits_are_passed_by_some_samples_or_by_all() -> None:
    """A high output held low is past I_OH in every sample, the low one past I_OL in some; each with its source."""
    passed = {(limit.name, limit.figure): limit for limit in _fight("74", "74").passed}

    assert passed["U1", "I_OH"].surely
    assert not passed["U2", "I_OL"].surely
    assert "can pass 16 mA" in passed["U2", "I_OL"].sentence
    assert "SN7400" in passed["U2", "I_OL"].source


def test_three_gates_in_a_fight_share_what_the_third_gives() -> None:
    """Two low outputs beside each other: each can bear all of it or, the other one being stronger, nothing."""
    fight = _fight("74", "74", "74")

    assert [state.current.low for state in fight.output_states[1:]] == [0.0, 0.0]
    assert pytest.approx([state.current.high or 0 for state in fight.output_states[1:]]) == [0.055, 0.055]


def test_open_collectors_let_go_and_the_pull_up_wins() -> None:
    """1 kΩ at 4.75 V less two leakages of 250 µA and an input's 40 µA."""
    outputs = [Output(name, TTL, "high", "open collector") for name in ("U1", "U2")]

    found = contention(outputs, [Receiver("U3", TTL)], [Pull("R1", exact(1000, "Ω"), FIVE)])

    assert found.node.low == pytest.approx(4.75 - 0.54)
    assert found.node.high == 5.25
    assert found.readings[0].reads == "always high"
    assert {state.direction for state in found.output_states} == {"leaks"}


def test_a_node_that_nothing_holds_says_so() -> None:
    """An open collector let go without a pull-up."""
    found = contention([Output("U1", TTL, "high", "open collector")], [Receiver("U2", TTL)])

    assert not found.held
    assert "Nothing holds the node: where it stands is up to leakage." in found.sentences


def test_a_pin_made_an_output_drives_and_made_an_input_leaks() -> None:
    """The either-way pin of a peripheral chip."""
    port = chip("8255A port")

    drives = contention([Output("U1", port, "low", "either way")]).output_states[0]
    leaks = contention([Output("U1", port, "off", "either way")]).output_states[0]

    assert (drives.direction, leaks.direction) == ("takes", "leaks")
    assert leaks.current.high == pytest.approx(10e-6)


def test_a_node_past_a_pin_s_supply_is_refused() -> None:
    """10 V logic into 5 V logic: clamps conduct, and no table says how well."""
    ten = Output("U1", chip("4000B", exact(10, "V")), "high")

    with pytest.raises(BeyondFigures, match=r"U2 \(74HC\).*5.75 V only") as refused:
        contention([ten], [Receiver("U2", chip("74HC"))])

    assert refused.value.field == "U2"


def test_an_open_collector_goes_as_high_as_its_leakage_is_tested() -> None:
    """5.5 V at the 7438, not 12 V."""
    buffer = Output("U1", chip("74 open-collector buffer"), "high", "open collector")

    contention([buffer], (), [Pull("R1", exact(1000, "Ω"), exact(5.5, "V"))])
    with pytest.raises(BeyondFigures, match="rise to 12 V"):
        contention([buffer], (), [Pull("R1", exact(1000, "Ω"), exact(12, "V"))])


@pytest.mark.parametrize(
    ("outputs", "pulls", "says"),
    [
        ([], [], "needs an output"),
        ([Output("U1", TTL, "either")], [], "high, low or off"),
        ([Output("U1", TTL, "low")] * 2, [], "U1 comes twice"),
        ([Output("R1", TTL, "low")], [Pull("R1", exact(1, "Ω"), FIVE)], "R1 comes twice"),
        ([Output(f"U{n}", TTL, "low") for n in range(61)], [], "61 things"),
    ],
)
def test_a_net_that_makes_no_sense_is_refused(outputs: list[Output], pulls: list[Pull], says: str) -> None:
    """With what is wrong with it."""
    with pytest.raises(BadPin, match=says):
        contention(outputs, (), pulls)


def test_the_same_question_at_one_exact_supply_gives_a_narrower_answer() -> None:
    """A tolerance of the supply is carried, not dropped."""
    wide = _fight("74", "74LS").node_promised
    supply = Toleranced(5.0, 5.0, 5.0, "V")
    narrow = contention([Output("U1", chip("74", supply), "high"), Output("U2", chip("74LS", supply), "low")])

    assert wide.high is not None
    assert (narrow.node_promised.high or 0) < wide.high
