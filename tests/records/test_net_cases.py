"""Nets as they are now, as they came, and as a mod plans them: what sits at each pin, and what lies in series."""

import pytest

from server.engineering.quantities import parse
from server.records.commands.machines import AddPosition
from server.records.commands.parts import EnterPart
from server.records.errors import NotFound
from server.records.questions.net_cases import CAME, unlike
from server.records.signals import judge, what_if
from tests.records.conftest import MAIN, Bench
from tests.records.net_scene import FIVE, PATH, add, cases_of, judged, pin, place, pull, seen


@pytest.fixture
def board(bench: Bench) -> Bench:
    place(bench)
    return bench


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


def test_a_pin_that_was_lifted_by_its_name_is_off_the_net_by_its_number(board: Bench) -> None:
    """Pin 4 of an 8255A is its PA0."""
    add(board)
    board.plan()
    board.step("lift pin", "U13", pin="PA0")

    assert judged(board, "mod-1").parts.off == {2: "U13 pin 4 is lifted (mod 1, step 1) and is not on the net."}


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
    bare, kept = what_if(now, FIVE, 2, "low").found, what_if(plans, FIVE, 2, "low").found

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
