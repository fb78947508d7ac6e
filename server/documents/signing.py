"""Signing a mod sheet: its record and its pages are made from one state of the record, then kept by one command.

Knows nothing of the web but the address that the sheet's code leads to.
"""

from dataclasses import dataclass
from datetime import date

from server.documents.mod_sheet import SheetData, sheet_data
from server.documents.pdf import mod_sheet_pdf
from server.documents.photograph_views import fault_in, views_of
from server.documents.record import canonical_both, digest, record_of
from server.documents.sheet_choice import USUAL, SheetChoice
from server.records.commands.sheets import MovedOn, SheetFields, SignSheet
from server.records.errors import Refused
from server.records.questions.addresses import find_machine
from server.records.questions.journal import last_seq
from server.records.questions.sheet import whole_machine
from server.records.store import Done, Store

TRIES = 3
BARE = "putback:sheet:"


@dataclass(frozen=True, slots=True)
class Drawn:
    """A sheet's words, the record that it bears, and the number of the journal's entry after which both were made.

    `content_sha256` is the digest of what the record says, without what signing a sheet itself changes.
    """

    sheet: SheetData
    record: bytes
    made_after: int
    content_sha256: str


def drawn_up(
    store: Store, tag: str, day: date, signer: str = "", otherwise: str = "", choice: SheetChoice = USUAL
) -> Drawn:
    """A machine's sheet as its record is now, not signed. Without a signer it names the keeper, or `otherwise`."""
    with store.reading() as session:
        machine = find_machine(session, tag)
        made_after = last_seq(session)
        whole = whole_machine(session, machine)
    record = record_of(whole)
    spelled, compared = canonical_both(record)
    fault_of = fault_in(store.files)
    sheet = sheet_data(whole, digest(spelled), day, signer or machine.keeper or otherwise, choice, fault_of)
    return Drawn(sheet, spelled, made_after, digest(compared))


def check_address(public_url: str, sheet_digest: str) -> str:
    """What the code of a signed sheet holds: the address at which it is checked, or the digest alone, by its scheme."""
    return f"{public_url}/verify/{sheet_digest}" if public_url else f"{BARE}{sheet_digest}"


def sign(
    store: Store,
    tag: str,
    fields: SheetFields,
    who: str,
    public_url: str = "",
    seen: str | None = None,
    choice: SheetChoice = USUAL,
) -> Done:
    """Sign a machine's sheet as its record is now, or refuse in words.

    `seen` is the content's digest of the sheet that the signer looked at: where it is another by now, nothing is
    signed. What others write elsewhere meanwhile is no reason to refuse; the sheet is made again.
    """
    if choice.private:
        raise Refused("A sheet that says what is private is for your own file, and is not signed.")
    for tries_left in reversed(range(TRIES)):
        drawn = drawn_up(store, tag, fields.day, fields.signer, choice=choice)
        if seen is not None and seen != drawn.content_sha256:
            raise Refused(
                "The record of this machine was changed while you looked at its sheet. Nothing was signed. The sheet "
                "stands here as it is now: look through it, then sign."
            )
        sheet = drawn.sheet.signed_for(check_address(public_url, drawn.sheet.digest))
        command = SignSheet.read(
            fields.columns(SheetFields)
            | {
                "machine": tag,
                "made_after": drawn.made_after,
                "record": drawn.record,
                "pdf": mod_sheet_pdf(sheet, drawn.record, choice.paper, views_of(sheet, store.files)),
            }
        )
        try:
            return store.carry_out(command, who)
        except MovedOn:
            if not tries_left:
                raise
    raise AssertionError("the last try returns or raises")
