"""Nets: written down whole or refused row by row, and told as they are now, as they came, and as a mod plans them."""

from collections.abc import Callable
from typing import Any

import pytest

from server.engineering.quantities import parse
from server.records.commands.machines import AddPosition
from server.records.commands.nets import AddNet, DropNet, ReviseNet
from server.records.commands.parts import EnterPart
from server.records.errors import NotFound, Stale
from server.records.questions.addresses import find_board, find_machine, find_net
from server.records.questions.net_cases import CAME, NOW, NetAt, record_of, unlike
from server.records.questions.nets import nets_of
from server.records.signals import Judged, fight, judge
from server.records.tables import Net, NetPin
from tests.records.conftest import MAIN, TAG, Bench

FIVE = parse("5 V ±5 %")
OUTPUT, OPEN, INPUT = "totem-pole output", "open collector", "input"
Row = dict[str, str]


def pin(designator: str, number: str, role: str = INPUT, **more: str) -> Row:
    return {"designator": designator, "pin": number, "role": role, **more}


def pull(designator: str, end: str = "5 V") -> Row:
    return {"designator": designator, "role": "passive", "other_end": end}


# U11 drives, U12 listens, U13 can do either, R7 (1 kΩ) pulls up.
PATH = [pin("U11", "3", OUTPUT), pin("U12", "1"), pin("U13", "4", "either way"), pull("R7")]


@pytest.fixture
def board(bench: Bench) -> Bench:
    """Chips of three families on the main board, and an empty place for a resistor."""
    chips = {"U11": "SN74LS00N", "U12": "7404", "U13": "8255A", "U14": "odd one"}
    for designator, kind in chips.items():
        bench.do(EnterPart, board=MAIN, designator=designator, kind="chip", type=kind, origin="original")
    bench.do(AddPosition, board=MAIN, designator="R30", kind="resistor", mounting="wired")
    return bench


def add(bench: Bench, pins: list[Row] = PATH, **more: object) -> None:
    bench.do(AddNet, board=MAIN, **{"name": "KEY 2", "pins": pins, **more})


def refused(bench: Bench, *pins: Row) -> dict[str, str]:
    return bench.refuse(AddNet, board=MAIN, name="KEY 2", pins=list(pins))


def seen(bench: Bench, case: str = NOW, number: int = 1) -> NetAt:
    with bench.store.reading() as session:
        machine = find_machine(session, TAG)
        return record_of(session, machine, find_net(session, find_board(session, machine, MAIN), number)).at(case)


def judged(bench: Bench, case: str = NOW) -> Judged:
    return judge(seen(bench, case), FIVE)


def cases_of(bench: Bench) -> list[str]:
    with bench.store.reading() as session:
        machine = find_machine(session, TAG)
        record = record_of(session, machine, find_net(session, find_board(session, machine, MAIN), 1))
        return [case.words for case in record.cases()]


def rows_in_order(bench: Bench) -> list[NetPin]:
    return sorted(bench.rows(NetPin), key=lambda row: row.place)


# ---- Writing down ----


def test_a_net_is_written_down_in_one_entry(board: Bench) -> None:
    """With its pins in their order."""
    before = board.entries()
    add(board, sheet="2", note="Scanned")

    assert board.entries() == before + 1
    assert board.last_entry().words == "Net 1, KEY 2, on Main board of TM-03 is written down with 4 pins."
    assert [row.pin for row in rows_in_order(board)] == ["3", "1", "4", ""]
    assert board.faults() == []


BAD_ROWS: list[tuple[Row, str, str]] = [
    (pin("U99", "1"), "designator", "There is no position “U99”"),
    (pin("", "1"), "designator", "cannot be left empty"),
    (pin("U12", ""), "pin", "Say which pin"),
    (pin("U12", "1-3"), "pin", "Name one pin"),
    (pin("U12", "1", "louder"), "role", "Choose one of the words"),
    (pin("U12", "1", family="74XX"), "family", "no family “74XX”"),
    (pin("U12", "1", drives="low"), "drives", "Only an output"),
    (pin("U11", "3", OUTPUT, drives="floating"), "drives", "Choose one of the words"),
    (pin("U12", "1", series="R99"), "series", "There is no position “R99”"),
    (pin("U12", "1", series="U11"), "series", "a place for a chip"),
    (pin("R7", "1", series="R7"), "series", "a position of its own"),
    (pin("U12", "1", other_end="5 V"), "other_end", "Only a passive part"),
    (pull("R7", ""), "other_end", "Say to which level"),
    (pull("R7", "high"), "other_end", "number"),
    (pull("R7", "5 Ω"), "other_end", "Ω"),
    (pull("R7", "-12 V"), "other_end", "from 0 V to 30 V"),
    (pull("R7", "31 V"), "other_end", "from 0 V to 30 V"),
    (pull("R7") | {"family": "74"}, "family", "no logic family"),
    (pull("R7") | {"series": "R2"}, "series", "itself the resistor"),
]


@pytest.mark.parametrize(("row", "field", "words"), BAD_ROWS)
@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_a_bad_row_is_told_beside_its_field(board: Bench, row: Row, field: str, words: str) -> None:
    """And nothing is stored, whatever the other rows are."""
    messages = refused(board, pin("U11", "3", OUTPUT), row)

    assert [f"pins.1.{field}"] == list(messages)
    assert words in messages[f"pins.1.{field}"]
    assert board.rows(Net) == []


def test_a_pin_is_on_a_net_once(board: Bench) -> None:
    """However it is spelled."""
    messages = refused(board, pin("U12", "1"), pin("u12", "Pin 1"))

    assert messages == {"pins.1.pin": "u12 pin Pin 1 is on this net already, as pin row 1."}


def test_a_pin_is_on_one_net(board: Bench) -> None:
    """A resistor without a named end can hang on several."""
    add(board)
    messages = refused(board, pin("U12", "pin 1"), pull("R7"))

    assert messages == {"pins.0.pin": "That pin is on net 1, KEY 2, already; a pin is on one net."}


def test_a_net_has_pins(board: Bench) -> None:
    assert list(refused(board)) == ["pins.0.designator"]


def test_three_hundred_pins_are_too_many(board: Bench) -> None:
    """They are counted in one sentence, not in three hundred."""
    messages = refused(board, *(pin("U12", str(number)) for number in range(300)))

    assert messages == {"pins.0.designator": "There are 300 pins; at most 40 fit on one net."}


def test_pins_that_stay_keep_their_identity(board: Bench) -> None:
    """In another order, with one changed, one gone and one new."""
    add(board)
    known = {(row.position_id, row.pin): row.uuid for row in board.rows(NetPin)}
    rows = [PATH[3], PATH[1] | {"seen_at": "C4"}, PATH[0], pin("U12", "3")]
    board.do(ReviseNet, board=MAIN, net=1, name="KEY 2", pins=rows, opened_version=1)

    now = rows_in_order(board)
    assert [row.pin for row in now] == ["", "1", "3", "3"]
    assert [row.uuid for row in now[:3]] == [known[row.position_id, row.pin] for row in now[:3]]
    assert now[3].uuid not in known.values()
    assert board.row(Net, 1).version == 2
    assert board.faults() == []


def test_a_net_saved_as_it_was_is_not_changed(board: Bench) -> None:
    """Nor are its pins."""
    add(board)
    board.do(ReviseNet, board=MAIN, net=1, name="KEY 2", pins=PATH, opened_version=1)

    assert (board.row(Net, 1).version, board.faults()) == (1, [])


def test_a_net_is_taken_off_the_record(board: Bench) -> None:
    """Only as it was seen; its number is not looked for any more, and its pins are free."""
    add(board)
    board.do(ReviseNet, board=MAIN, net=1, name="KEY 3", pins=PATH, opened_version=1)
    with pytest.raises(Stale):
        board.do(DropNet, board=MAIN, net=1, opened_version=1)
    board.do(DropNet, board=MAIN, net=1, opened_version=2)

    assert board.rows(Net) + board.rows(NetPin) == []
    assert board.last_entry().words == "Net 1, KEY 3, on Main board of TM-03 was taken off the record."
    assert board.faults() == []
    with pytest.raises(NotFound):
        board.do(DropNet, board=MAIN, net=1, opened_version=1)


def test_nets_are_listed_with_who_drives_and_who_listens(board: Bench) -> None:
    add(board)
    with board.store.reading() as session:
        found = nets_of(session, find_board(session, find_machine(session, TAG), MAIN), 1)

    assert [line.drivers for line in found.rows] == [("U11 pin 3", "U13 pin 4")]
    assert [line.listeners for line in found.rows] == [("U12 pin 1", "U13 pin 4")]


# ---- What sits there, in each case ----


def test_families_are_told_by_the_parts_there(board: Bench) -> None:
    """Where none is told, the keeper’s word counts."""
    add(board, [*PATH, pin("U14", "1"), pin("U14", "2", family="74HC")])
    families = [(at.drives_as, at.hears_as) for at in seen(board).pins]

    assert families == [("74LS", ""), ("", "74"), ("8255A port", "8255A port"), ("", ""), ("", ""), ("", "74HC")]


def test_a_lifted_pin_is_off_the_net(board: Bench) -> None:
    """As soon as the mod is planned in its own case, when it is done in that of now, and until it is undone."""
    add(board)
    board.plan()
    board.step("lift pin", "U12", pin="Pin 1")
    plans, before = judged(board, "mod-1"), judged(board)
    board.carry_out(1)
    after = judged(board)
    board.undo(1)

    assert plans.parts.off == {1: "U12 pin 1 is lifted (mod 1, step 1) and is not on the net."}
    assert (before.parts.off, after.parts.off) == ({}, plans.parts.off)
    assert judged(board).parts.off == {}


def test_another_pin_lifted_changes_nothing(board: Bench) -> None:
    add(board)
    board.plan()
    board.step("lift pin", "U12", pin="2-5")
    board.carry_out(1)

    assert judged(board).parts.off == {}


def test_an_emptied_place_is_off_the_net_until_another_part_is_fitted(board: Bench) -> None:
    """Which gives its own family; a new part has all its pins in."""
    add(board, [PATH[0] | {"family": "74"}, *PATH[1:]])
    board.plan()
    for kind in ("lift pin", "take out", "fit"):
        board.step(kind, "U11", pin="3", planned_type="74HCT00" if kind == "fit" else "")
    board.carry_out(1)
    board.carry_out(2)
    empty = judged(board)
    board.carry_out(3, type="74HCT00")
    here = seen(board).pins[0]

    assert list(empty.parts.off) == [0]
    assert "holds nothing" in empty.parts.off[0]
    assert (here.drives_as, here.lifted) == ("74HCT", "")
    assert seen(board, CAME).pins[0].drives_as == "74"
    assert cases_of(board) == ["now", "as it came"]


def test_a_mod_that_is_planned_has_its_own_case(board: Bench) -> None:
    """With what it plans to fit, and what that changes against now."""
    add(board)
    board.plan()
    board.step("take out", "U12")
    board.step("fit", "U12", planned_type="74HC04")
    plans = seen(board, "mod-1")

    assert cases_of(board) == ["now", "as it came", "as mod 1 plans it"]
    assert plans.pins[1].hears_as == "74HC"
    assert unlike(seen(board), plans) == ["U12 holds a 74HC04 chip instead of a 7404 chip"]
    assert unlike(seen(board), seen(board, CAME)) == []
    with pytest.raises(NotFound):
        seen(board, "mod-2")


def test_a_planned_part_that_nobody_knows_has_no_family(board: Bench) -> None:
    """What was written down was the family of the part before."""
    add(board, [PATH[0], PATH[1] | {"family": "74"}])
    board.plan()
    board.step("fit", "U12", planned_type="odd one")

    assert seen(board, "mod-1").pins[1].hears_as == ""
    assert judged(board, "mod-1").parts.left_out.keys() == {1}


def test_a_place_where_no_part_is_recorded_is_told_from_the_service_literature(board: Bench) -> None:
    board.do(AddPosition, board=MAIN, designator="U20", kind="chip", mounting="soldered", expected_type="74LS04")
    add(board, [PATH[0], pin("U20", "1")])
    at = seen(board).pins[1]

    assert (at.hears_as, at.here.origin) == ("74LS", "by the service literature; no part is recorded there")


# ---- Resistors ----


@pytest.mark.parametrize(
    ("fitted", "words"),
    [({"value": "330 Ω"}, "through R30, 330 Ω"), ({"value": "0 Ω"}, "straight: R30 is 0 Ω"),
     ({"kind": "wire", "type": "link"}, "straight, by a wire at R30")],
)  # fmt: skip
def test_a_resistor_in_series_is_read_at_its_position(board: Bench, fitted: dict[str, str], words: str) -> None:
    """A place that nothing is known of is no break; a wire link is no resistance."""
    add(board, [PATH[0] | {"series": "R30"}, PATH[1]])
    before = judged(board).parts.series[0]
    board.do(EnterPart, board=MAIN, designator="R30", **{"kind": "resistor", "origin": "new", **fitted})

    assert before == "straight: R30 is not there in this case, as far as is known"
    assert judged(board).parts.series[0] == words


def test_a_resistor_in_series_that_was_taken_out_is_a_break(board: Bench) -> None:
    add(board, [PATH[0] | {"series": "R2"}, PATH[1]])
    board.plan()
    board.step("take out", "R2")
    with_it, without = judged(board), judged(board, "mod-1")

    assert with_it.parts.fixed[0].series == parse("360 Ω ±5 %")
    assert without.parts.off == {
        0: "R2 holds nothing (taken out by mod 1, step 1), so U11 pin 3 is parted from the net."
    }
    assert without.lead == "No output on this net is known to the tables, so its levels cannot be worked out."


def test_a_resistor_from_a_lifted_pin_to_its_pad_keeps_it_on_the_net(board: Bench) -> None:
    """And limits what a fight can do."""
    add(board, [PATH[0], PATH[1], PATH[2] | {"series": "R30"}])
    board.plan()
    board.step("lift pin", "U13", pin="4")
    board.step("fit", "R30", planned_value="1 kΩ ±5 %")
    now, plans = seen(board), seen(board, "mod-1")
    bare, kept = fight(now, FIVE, 2, "low"), fight(plans, FIVE, 2, "low")

    assert judge(plans, FIVE).parts.off == {}
    assert bare.output_states[0].current.high is not None
    assert kept.output_states[0].current.high is not None
    assert kept.output_states[0].current.high < 0.1 * bare.output_states[0].current.high


@pytest.mark.parametrize("leg", ["1", "upper"])
def test_a_resistor_with_a_leg_lifted_is_off_the_net(board: Bench, leg: str) -> None:
    """Whichever leg it is."""
    add(board)
    board.plan()
    board.step("lift pin", "R7", pin=leg)

    assert judged(board, "mod-1").parts.off == {3: "R7 is lifted (mod 1, step 1) and is not on the net."}


def test_a_resistor_in_series_without_a_value_leaves_its_pin_out(board: Bench) -> None:
    """It is there, so the pin does not go straight to the net."""
    board.do(EnterPart, board=MAIN, designator="R30", kind="resistor", origin="new")
    add(board, [PATH[0] | {"series": "R30"}, PATH[1]])

    assert judged(board).parts.left_out == {0: ["U11 pin 3 is left out: the value of R30 is not recorded."]}


@pytest.mark.parametrize(
    ("part", "words"),
    [({"kind": "capacitor", "value": "100 nF"}, "a capacitor at C30 carries no steady current"),
     ({"kind": "resistor"}, "the value of C30 is not recorded")],
)  # fmt: skip
def test_a_passive_part_without_a_resistance_is_left_out(board: Bench, part: dict[str, str], words: str) -> None:
    board.do(EnterPart, board=MAIN, designator="C30", origin="new", **part)
    add(board, [PATH[0], PATH[1], pull("C30", "0 V")])
    found = judged(board)

    assert words in found.parts.left_out[2][0]
    assert found.states


def test_a_wire_to_a_level_leaves_nothing_to_work_out(board: Bench) -> None:
    board.do(EnterPart, board=MAIN, designator="W1", kind="wire", type="link", origin="new")
    add(board, [PATH[0], PATH[1], pull("W1", "0 V")])

    assert judged(board).lead.startswith("W1 joins this net straight to 0 V.")


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
    met = fight(seen(board), FIVE, 2, "low")

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

    assert fight(seen(board), FIVE, 2, "high").fights
    assert not fight(seen(board), FIVE, 2, "low").fights


def test_two_two_way_pins_can_be_set_against_each_other(board: Bench) -> None:
    """Of several, one is chosen; the others listen."""
    add(board, [pin("U13", "1", "either way"), pin("U13", "2", "either way"), pin("U12", "1")])

    assert fight(seen(board), FIVE, 0, "high", against=1).fights
    assert not fight(seen(board), FIVE, 0, "high").fights


def test_an_output_that_is_always_low_is_so_whatever_is_asked(board: Bench) -> None:
    """Also where the fight is between two others."""
    two = [pin("U13", "1", "either way"), pin("U13", "2", "either way"), pin("U12", "1")]
    add(board, [*two, pin("U11", "3", OUTPUT, drives="low")])
    met = fight(seen(board), FIVE, 0, "high", against=1)

    assert [output.drive for output in met.outputs] == ["high", "low", "low"]


# ---- Whatever is typed ----


@pytest.mark.parametrize("name", ["\u202eabc", "<script>", "日本🙂", "a\N{ZERO WIDTH SPACE}b", "x" * 300])
@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_any_name_of_a_pin_can_be_worked_with(board: Bench, name: str) -> None:
    """Names that the sums cannot print are shown by a mark in their place."""
    add(board, [pin("U11", name, OUTPUT), pin("U12", name), pin("U12", "1")])

    assert judged(board).holds is not None


@pytest.mark.parametrize(("act", "queries"), [(lambda bench: seen(bench), 5), (lambda bench: seen(bench, CAME), 5)])
@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_a_net_is_read_in_as_many_queries_however_many_pins_it_has(
    board: Bench, act: Callable[[Bench], Any], queries: int
) -> None:
    from tests.pages.benchwork import queries as counted

    add(board, PATH[:2])
    with counted(board.store) as small:
        act(board)
    rows = [*PATH, *(pin("U12", str(number)) for number in range(3, 20))]
    board.do(ReviseNet, board=MAIN, net=1, name="KEY 2", pins=rows, opened_version=1)
    with counted(board.store) as large:
        act(board)

    assert len(small) == len(large) <= queries + 3
