"""A mod sheet to be signed: the machine's record as it is now, and pages that are only a beginning of a PDF."""

from typing import Any

from server.documents.record import canonical, machine_record
from server.records.commands.sheets import SignSheet
from server.records.questions.addresses import find_machine
from server.records.questions.journal import last_seq
from server.records.store import Done
from tests.records.conftest import KEEPER, TAG, Bench

PAGES = b"%PDF-1.7\npages of "


def drawn_up(bench: Bench, tag: str = TAG) -> dict[str, Any]:
    """What a command that signs is given besides who and when."""
    with bench.store.reading() as session:
        record = canonical(machine_record(session, find_machine(session, tag)))
        return {"machine": tag, "made_after": last_seq(session), "record": record, "pdf": PAGES + record[:200]}


def sign(bench: Bench, day: str, signer: str = KEEPER, **other: Any) -> Done:
    return bench.do(SignSheet, day=day, signer=signer, **drawn_up(bench) | other)
