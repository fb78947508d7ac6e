"""Two days of one machine side by side: what came, what went, and that it takes the same questions for a long past."""

from datetime import date

from sqlalchemy import event

from server.records.commands.board_moves import MoveBoard
from server.records.commands.machines import EnterMachine
from server.records.commands.mods import PlanMod
from server.records.commands.steps import AddStep, CarryOutStep, FitAnother
from server.records.placing import describe
from server.records.questions.addresses import find_machine
from server.records.questions.states import days_of_change
from server.records.questions.two_days import MOST, PageNumbers, TwoDays, two_days
from tests.records.conftest import KEEPER, MAIN, TAG, Bench

Told = list[tuple[str, str, str, int | None]]
FIRST = PageNumbers()


def beside(bench: Bench, one: str, other: str, numbers: PageNumbers = FIRST, tag: str = TAG) -> TwoDays:
    with bench.store.reading() as session:
        return two_days(
            session, find_machine(session, tag), date.fromisoformat(one), date.fromisoformat(other), numbers
        )


def seats(days: TwoDays) -> Told:
    return [
        (
            line.position.designator,
            describe(line.before) if line.before else "",
            describe(line.after) if line.after else "",
            line.mod.number if line.mod else None,
        )
        for line in days.seats.rows
    ]


def mods(days: TwoDays) -> list[tuple[int, str]]:
    return [(line.mod.number, line.change) for line in days.mods.rows]


def steps(days: TwoDays) -> list[tuple[str, bool]]:
    return [(line.line.words, line.came) for line in days.steps.rows]


def cut(bench: Bench, mod: int, day: str) -> None:
    """A mod of one cut and one link, fitted."""
    bench.plan("A button", day="2025-02-01")
    for number, kind in ((1, "cut trace"), (2, "add link")):
        bench.step(kind, "U7", mod, pin="4")
        bench.carry_out(number, day, mod)
    bench.move("fitted", day, mod)


def test_what_a_mod_moved_stands_with_its_parts_and_its_mod(bench: Bench) -> None:
    bench.replace_r2()

    days = beside(bench, "2025-02-02", "2025-02-03")

    assert seats(days) == [("R2", "360 Ω ±5 % resistor", "330 Ω ±1 % resistor", 1)]
    assert mods(days) == [(1, "came")]
    assert not days.nothing_changed


def test_a_mod_that_was_undone_went_and_what_it_cut_with_it(bench: Bench) -> None:
    """Steps that move no part are told by themselves."""
    cut(bench, 1, "2025-02-03")
    bench.undo(2, "2025-03-01")
    bench.undo(1, "2025-03-02")
    bench.move("undone", "2025-03-02")

    came, half, went = (
        beside(bench, *pair)
        for pair in (("2025-01-01", "2025-02-03"), ("2025-02-10", "2025-03-01"), ("2025-02-10", "2025-03-02"))
    )

    cut_words, link_words = "cut trace pin 4 at U7 on Main board", "add link pin 4 at U7 on Main board"
    assert [(cut_words, True), (link_words, True)] == steps(came)
    assert [(link_words, False)] == steps(half)
    assert [(cut_words, False), (link_words, False)] == steps(went)
    assert [mods(days)[0][1] for days in (came, half, went)] == ["came", "stayed", "went"]
    assert seats(came) == []


def test_days_between_which_nothing_happened_differ_in_nothing(bench: Bench) -> None:
    """The mods in force are told all the same."""
    bench.replace_r2()

    days = beside(bench, "2025-02-03", "2025-06-01")

    assert days.nothing_changed
    assert mods(days) == [(1, "stayed")]


def test_what_came_and_went_in_between_does_not_show(bench: Bench) -> None:
    """Only the two days are looked at."""
    cut(bench, 1, "2025-02-03")
    bench.undo(2, "2025-03-01")
    bench.undo(1, "2025-03-01")
    bench.move("undone", "2025-03-01")

    assert beside(bench, "2025-01-01", "2025-06-01").nothing_changed


def test_the_order_of_time_is_kept_whichever_day_is_named_first(bench: Bench) -> None:
    bench.replace_r2()

    forth, back = beside(bench, "2025-01-01", "2025-02-03"), beside(bench, "2025-02-03", "2025-01-01")

    assert (forth.earlier, forth.later) == (back.earlier, back.later) == (date(2025, 1, 1), date(2025, 2, 3))
    assert seats(forth) == seats(back)
    assert mods(forth) == mods(back)


def test_another_part_in_the_same_step_is_a_change_of_that_mod(bench: Bench) -> None:
    bench.replace_r2()
    bench.do(FitAnother, mod=1, step=2, day="2025-04-01", signer=KEEPER, value="300 Ω ±5 %")

    assert seats(beside(bench, "2025-03-01", "2025-04-01")) == [("R2", "330 Ω ±1 % resistor", "300 Ω ±5 % resistor", 1)]


def test_mods_that_changed_stand_before_those_that_stayed(bench: Bench) -> None:
    cut(bench, 1, "2025-02-03")
    bench.replace_r2(mod=2, day="2025-03-03")

    days = beside(bench, "2025-02-10", "2025-03-10")

    assert mods(days) == [(2, "came"), (1, "stayed")]
    assert days.mods_changed == 1


def test_each_list_has_pages_of_its_own_and_they_cost_the_same(bench: Bench) -> None:
    """A page further on holds the rest; a long past takes as many questions as a short one."""
    bench.plan(day="2025-02-01")
    bench.step("adjust")
    bench.carry_out(1)
    counted: list[int] = []
    for more in (0, MOST + 4):
        for number in range(more):
            bench.do(AddStep, mod=1, kind="change firmware", board=MAIN, designator="U7", instruction=str(number))
            bench.carry_out(number + 2)
        asked: list[str] = []

        def note(*given: object, into: list[str] = asked) -> None:
            into.append(str(given[2]))

        event.listen(bench.store.engine, "before_cursor_execute", note)
        beside(bench, "2025-01-01", "2025-02-03")
        event.remove(bench.store.engine, "before_cursor_execute", note)
        counted.append(len(asked))

    second = beside(bench, "2025-01-01", "2025-02-03", PageNumbers(steps=2))

    assert counted[0] == counted[1]
    assert (second.steps.total, second.steps.number, len(second.steps.rows)) == (MOST + 5, 2, 5)
    assert [MOST + n for n in range(1, 6)] == [line.line.step.number for line in second.steps.rows]


def test_work_that_left_with_its_board_went_and_came_with_it(bench: Bench) -> None:
    """What was cut on a board is not the same on both days where the board is gone on one of them."""
    bench.do(EnterMachine, tag="TM-08", model="Merle 80")
    cut(bench, 1, "2025-02-03")
    bench.do(MoveBoard, board=MAIN, to="TM-08", day="2025-05-01", signer=KEEPER)

    left, came = beside(bench, "2025-04-01", "2025-06-01"), beside(bench, "2025-04-01", "2025-06-01", tag="TM-08")

    cut_words, link_words = "cut trace pin 4 at U7 on Main board", "add link pin 4 at U7 on Main board"
    assert [(cut_words, False), (link_words, False)] == steps(left)
    assert [(cut_words, True), (link_words, True)] == steps(came)
    assert {(date(2025, 5, 1), True)} == {(line.day, line.with_board) for line in [*left.steps.rows, *came.steps.rows]}


def test_work_on_a_board_that_came_is_told_by_its_own_day(bench: Bench) -> None:
    """Where it was done after the board had come."""
    bench.do(EnterMachine, tag="TM-08", model="Merle 80")
    bench.do(MoveBoard, board=MAIN, to="TM-08", day="2025-02-01", signer=KEEPER)
    bench.do(PlanMod, machine="TM-08", title="Cut", state="planned", day="2025-02-02", signer=KEEPER)
    cutting = {"machine": "TM-08", "mod": 1}
    bench.do(AddStep, **cutting, kind="cut trace", board=MAIN, designator="U7", pin="4")
    bench.do(CarryOutStep, **cutting, step=1, day="2025-02-03", signer=KEEPER)

    days = beside(bench, "2025-01-01", "2025-06-01", tag="TM-08")

    assert [(date(2025, 2, 3), False)] == [(line.day, line.with_board) for line in days.steps.rows]


# ---- The days between which something changed ----


def changes(bench: Bench) -> list[date]:
    with bench.store.reading() as session:
        return days_of_change(session, find_machine(session, TAG))


def test_only_days_on_which_something_shows_are_days_of_change(bench: Bench) -> None:
    """Neither a mod that is planned nor one that is considered changes the machine."""
    bench.plan(day="2025-01-01", state="considered")
    bench.plan(day="2025-01-15")
    bench.replace_r2(mod=3, day="2025-02-03")

    assert changes(bench) == [date(2025, 2, 3)]


def test_what_was_there_for_less_than_a_day_made_no_change(bench: Bench) -> None:
    """A part fitted and taken out again on one day, and a mod fitted and undone on one."""
    bench.plan()
    bench.step("fit", "R9")
    bench.carry_out(1, "2025-03-01", value="10 kΩ")
    bench.move("fitted", "2025-03-01")
    bench.undo(1, "2025-03-01")
    bench.move("undone", "2025-03-01")

    assert changes(bench) == []
