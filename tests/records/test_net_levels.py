"""What is said of a net: whether levels and loads hold, and what happens where its outputs meet."""

import pytest

from server.engineering.quantities import parse
from server.records.commands.parts import EnterPart
from server.records.signals import judge, what_if
from tests.records.conftest import MAIN, Bench
from tests.records.net_scene import FIVE, OPEN, OUTPUT, PATH, add, judged, pin, place, seen


@pytest.fixture
def board(bench: Bench) -> Bench:
    place(bench)
    return bench


# ---- What holds ----


def test_levels_and_loads_hold_on_a_plain_path(board: Bench) -> None:
    """LS into standard TTL: 0.5 V promised against 0.8 V needed when low, by the tables' own figures."""
    add(board, PATH[:2])
    found = judged(board)
    low = next(state for state in found.states if state.level == "low")

    assert found.holds is True
    assert found.lead.startswith("Levels and loads hold by the data sheets. The least to spare is ")
    assert low.held[0].margin is not None
    assert 0.3 <= low.held[0].margin <= 0.8
    assert [name for name, _ in found.loads] == ["U11 pin 3"]


def test_a_cmos_input_may_not_read_a_ttl_high(board: Bench) -> None:
    """Common practice, no source: a TTL high is promised to 2.7 V, and a 74HC input asks for 3.5 V; a pull-up helps."""
    board.do(EnterPart, board=MAIN, designator="U15", kind="chip", type="74HC04", origin="original")
    loads = [pin("U12", str(number)) for number in (1, 3, 5, 9, 11)]
    add(board, [PATH[0], pin("U15", "1"), *loads])
    bare = judged(board)
    high = next(state for state in bare.states if state.level == "high")

    assert bare.holds is False
    assert bare.lead.startswith("By the data sheets this does not hold: ")
    assert high.held[0].margin is not None
    assert high.held[0].margin < 0


def test_a_driver_that_carries_too_many_inputs_is_told(board: Bench) -> None:
    """8 mA carry five inputs of 1.6 mA, not six."""
    pins = [pin("U12", str(number)) for number in (1, 3, 5, 9, 11, 13)]
    add(board, [PATH[0], *pins])
    found = judged(board)

    assert found.loads[0][1].holds is False
    assert found.holds is False


def test_what_is_not_known_is_left_out_in_words(board: Bench) -> None:
    """And what can be said without it is said."""
    add(board, [PATH[0], PATH[1], pin("U14", "1")])
    found = judged(board)

    assert "the tables have no family for “odd one”" in found.parts.left_out[2][0]
    assert found.holds is None
    assert found.lead.startswith("Levels and loads hold as far as the tables reach")


def test_a_supply_outside_the_tables_is_told(board: Bench) -> None:
    add(board, PATH[:2])
    found = judge(seen(board), parse("12 V"))

    assert "is outside them" in found.parts.left_out[0][0]
    assert found.states == ()


# ---- Fights ----


def test_a_ttl_output_held_low_by_another_is_read_low_by_some(board: Bench) -> None:
    """Common practice, no source: pulled to a level that some receivers read as low at all times."""
    for designator in ("U16", "U17"):
        board.do(EnterPart, board=MAIN, designator=designator, kind="chip", type="7400", origin="original")
    add(board, [pin("U16", "3", OUTPUT, drives="high"), pin("U17", "3", OUTPUT, drives="low"), pin("U12", "1"),
                pin("U14", "1", family="74HC")])  # fmt: skip
    found = judged(board)

    assert found.clash is not None
    assert found.lead == "U16 pin 3 and U17 pin 3 can fight on this net: one pulls it up while another pulls it down."
    assert "always low" in {reading.reads for reading in found.clash.readings}
    assert found.clash.warning


def test_a_two_way_pin_is_a_listener_until_it_is_made_an_output(board: Bench) -> None:
    """Then it meets what drives the net, and the caution stands that no data sheet promises anything."""
    add(board)
    found = judged(board)
    met = what_if(seen(board), FIVE, 2, "low").found

    assert found.clash is None
    assert found.never_at_once == ("U11 pin 3", "U13 pin 4")
    assert {"U11 pin 3", "U13 pin 4"} == {state.driver for state in found.states}
    assert met.fights
    assert "outside every data sheet's promise" in met.warning
    assert [reading.name for reading in met.readings] == ["U12 pin 1"]
    assert [(state.name, state.direction) for state in met.output_states] == [
        ("U13 pin 4", "takes"),
        ("U11 pin 3", "gives"),
    ]


def test_a_two_way_pin_high_meets_an_open_collector_that_pulls_down(board: Bench) -> None:
    add(board, [pin("U11", "3", OPEN), *PATH[1:]])

    assert what_if(seen(board), FIVE, 2, "high").found.fights
    assert not what_if(seen(board), FIVE, 2, "low").found.fights


def test_two_two_way_pins_can_be_set_against_each_other(board: Bench) -> None:
    """One that is chosen, or, where nothing drives for sure, the only other one; and it is said which."""
    add(board, [pin("U13", "1", "either way"), pin("U13", "2", "either way"), pin("U12", "1")])
    chosen, open_ended = (what_if(seen(board), FIVE, 0, "high", against) for against in (1, None))

    assert chosen.found.fights
    assert chosen.how == ""
    assert open_ended.found == chosen.found
    assert open_ended.how == (
        "No output that always drives pulls the other way. The other two-way pin does: U13 pin 2."
    )


@pytest.mark.parametrize(("mild", "worst"), [(1, 2), (2, 1)])
def test_of_several_two_way_pins_the_worst_is_told(board: Bench, mild: int, worst: int) -> None:
    """Each by itself, whatever its place: behind 1 kΩ it is milder, and the others listen meanwhile."""
    board.do(EnterPart, board=MAIN, designator="R30", kind="resistor", value="1 kΩ ±5 %", origin="new")
    ports = [pin("U13", str(number), "either way") for number in (1, 2, 3)]
    ports[mild]["series"] = "R30"
    add(board, [*ports, pin("U12", "1")])
    asked = what_if(seen(board), FIVE, 0, "low")

    assert [output.name for output in asked.found.outputs] == ["U13 pin 1", f"U13 pin {worst + 1}"]
    assert "Each of the other 2 two-way pins was set against it by itself; shown is the one with the most heat, " in (
        asked.how
    )
    assert f"U13 pin {mild + 1}" in {reading.name for reading in asked.found.readings}


def test_a_two_way_pin_beside_an_open_collector_that_lets_go_meets_the_other_two_way_pin(board: Bench) -> None:
    """Low, the open collector does not pull against it; the other port does."""
    add(board, [pin("U11", "3", OPEN), *PATH[1:], pin("U13", "1", "either way")])
    asked = what_if(seen(board), FIVE, 2, "low")

    assert asked.found.fights
    assert [output.drive for output in asked.found.outputs] == ["low", "high", "high"]
    assert asked.how.endswith("The other two-way pin does: U13 pin 1.")


def test_an_output_without_figures_may_pull_the_other_way(board: Bench) -> None:
    """That nothing fights is then not said of it."""
    add(board, [*PATH[1:3], pin("U14", "1", OUTPUT)])
    asked = what_if(seen(board), FIVE, 1, "low")

    assert not asked.found.fights
    assert asked.how == "U14 pin 1 may pull the other way too: without figures, nothing can be said of that."


def test_an_output_that_is_always_low_is_so_whatever_is_asked(board: Bench) -> None:
    """Also where the fight is between two others."""
    two = [pin("U13", "1", "either way"), pin("U13", "2", "either way"), pin("U12", "1")]
    add(board, [*two, pin("U11", "3", OUTPUT, drives="low")])
    met = what_if(seen(board), FIVE, 0, "high", against=1).found

    assert [output.drive for output in met.outputs] == ["high", "low", "low"]
