"""A design that a dossier brings is read row by row: what a fitting could not carry out later is refused now."""

import json
from collections.abc import Callable
from typing import Any

import pytest

from server.documents.bag_reader import BadBag
from server.documents.record import canonical, machine_record
from server.documents.record_reading import record_from
from server.records.commands.designs import WriteDesign
from server.records.questions.addresses import find_machine
from server.records.store import Store
from tests.documents.invented import TAG, tell

ROLES = [{"board": "main-board", "designator": "R7", "name": "series resistor"}]
Record = dict[str, Any]


@pytest.fixture
def record(empty: Store) -> Record:
    bench = tell(empty)
    bench.do(WriteDesign, mod=1, title="Brighter picture", roles=ROLES)
    with empty.reading() as session:
        read: Record = json.loads(canonical(machine_record(session, find_machine(session, TAG))))
    return read


def test_it_is_read_as_it_was_written(record: Record) -> None:
    read = record_from(canonical(record))

    assert read.designs[0].roles == [{"name": "series resistor", "kind": "resistor", "board_kind": "main board"}]
    assert canonical(read.model_dump(mode="json", exclude_unset=True)) == canonical(record)


BROKEN: list[tuple[str, Callable[[Record], object], str]] = [
    ("a role without a name", lambda d: d["roles"][0].pop("name"), "roles → 1 → name: Field required"),
    ("a board of no kind", lambda d: d["roles"][0].update(board_kind="cloud"), "roles → 1 → board kind"),
    ("a key of a later version", lambda d: d["steps"][0].update(weight=3), "Extra inputs are not permitted"),
    ("a step of no kind", lambda d: d["steps"][0].update(kind="dance"), "steps → 1 → kind"),
    ("a step without its words", lambda d: d["steps"][0].pop("trace_stated"), "Field required"),
    ("a role that is none", lambda d: d["steps"][0].update(role="ghost"), "has no role “ghost”"),
    ("a sum without lines", lambda d: d["calculations"][0].pop("lines"), "lines: Field required"),
    ("a circuit without rows", lambda d: d["calculations"][0].update(circuit={"elements": 3}), "has no rows"),
    ("an expectation of no line", lambda d: d["expectations"][0].pop("sentence"), "sentence: Field required"),
]


@pytest.mark.parametrize(("change", "said"), [row[1:] for row in BROKEN], ids=[row[0] for row in BROKEN])
def test_what_no_fitting_could_carry_out_is_refused(
    record: Record, change: Callable[[Record], object], said: str
) -> None:
    change(record["designs"][0])

    with pytest.raises(BadBag, match=r"cannot be taken over") as refused:
        record_from(canonical(record))
    assert said in str(refused.value)
