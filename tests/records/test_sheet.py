"""Reading everything of one machine at once."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import event

from server.records import migrate
from server.records.commands.mods import Expect, PlanMod
from server.records.commands.parts import BagPart
from server.records.commands.trials import RecordTrial
from server.records.questions.addresses import find_machine
from server.records.questions.expectations import verdicts
from server.records.questions.sheet import WholeMachine, whole_machine
from server.records.store import Store, sqlite_url
from tests.documents.invented import KEEPER, Bench, brighten, enter, tell


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    store = Store(sqlite_url(tmp_path))
    migrate.upgrade(store.engine)
    yield Bench(store)
    store.close()


def read(bench: Bench) -> WholeMachine:
    with bench.store.reading() as session:
        return whole_machine(session, find_machine(session, bench.tag))


@contextmanager
def counted(store: Store) -> Iterator[list[str]]:
    """Every query that is asked meanwhile."""
    asked: list[str] = []

    def note(*given: object) -> None:
        asked.append(str(given[2]))

    event.listen(store.engine, "before_cursor_execute", note)
    yield asked
    event.remove(store.engine, "before_cursor_execute", note)


def test_verdicts_are_those_that_are_asked_for_one_mod_at_a_time(bench: Bench) -> None:
    enter(bench)
    brighten(bench)
    bench.do(Expect, mod=1, sentence="No faint lines", procedure="faint-lines-seen", sense="no longer seen")
    bench.do(Expect, mod=1, sentence="Cooler")

    whole = read(bench)

    with bench.store.reading() as session:
        one_by_one = verdicts(session, whole.mods[0])
    assert [line.verdict for line in one_by_one] == [line.verdict for line in whole.verdicts_of[whole.mods[0].key]]
    assert [line.sentence for line in one_by_one] == [line.sentence for line in whole.verdicts_of[whole.mods[0].key]]
    assert len({line.verdict for line in one_by_one}) > 1


def test_it_takes_as_many_queries_for_many_mods_trials_and_expectations_as_for_few(bench: Bench) -> None:
    enter(bench)
    brighten(bench)
    with counted(bench.store) as few:
        read(bench)
    for number in range(2, 8):
        bench.do(PlanMod, title="Another", state="planned", day="2025-06-01", signer=KEEPER)
        bench.do(Expect, mod=number, sentence="Better", procedure="picture-level")
        bench.do(RecordTrial, procedure="picture-level", day="2025-06-02", readings="0.7 0.7", signer=KEEPER)

    with counted(bench.store) as many:
        read(bench)

    assert len(few) == len(many)


def test_a_spare_that_was_never_in_the_machine_does_not_belong_to_it(bench: Bench) -> None:
    tell(bench.store, bench.tag)
    before = len(read(bench).parts)

    bench.do(BagPart, kind="resistor", value="1 kΩ", origin="new", day="2025-01-01")

    assert len(read(bench).parts) == before


def test_another_machines_rows_are_not_read(bench: Bench) -> None:
    tell(bench.store, bench.tag)
    before = read(bench)

    enter(Bench(bench.store, "PL-02"))

    after = read(bench)
    assert [row.uuid for row in before.parts] == [row.uuid for row in after.parts]
    assert [row.uuid for row in before.placements] == [row.uuid for row in after.placements]
    assert before.head == after.head


def test_placements_stand_in_the_order_they_were_made(bench: Bench) -> None:
    tell(bench.store, bench.tag)

    whole = read(bench)

    at_r7 = [stay for stay in whole.placements if whole.position[stay.position_id].designator == "R7"]
    assert [(stay.fitted_on is None, stay.removed_on is None) for stay in at_r7] == [(True, False), (False, True)]
