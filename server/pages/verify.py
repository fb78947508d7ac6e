"""Checking a mod sheet by its digest: whether it was signed here, and what has changed in the record since.

For whoever holds a sheet: it says nothing that is private.
"""

from dataclasses import dataclass
from urllib.parse import quote

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.documents.kept_sheets import changed_since
from server.pages.forms import Form
from server.pages.house import AtHome, House
from server.records.errors import Damaged
from server.records.questions.signed_sheets import DIGITS, DIGITS_LEAST, digits_of, with_digest
from server.records.tables import Machine, SignedSheet

router = APIRouter()
SHAPE = (
    f"A digest has only the digits 0 to 9 and the letters a to f, {DIGITS} of them; the first {DIGITS_LEAST} will do."
)
UNKNOWN = (
    "No sheet with this digest was signed here. Look whether each letter is right; or the sheet was printed without "
    "being signed, and can be checked by the record inside its PDF alone."
)
SEVERAL = "Several sheets begin with these letters. Type more of them."


@dataclass(frozen=True, slots=True)
class Found:
    """A signed sheet, what has changed since then, and what stands in the way of saying so."""

    sheet: SignedSheet
    changes: list[str]
    damage: str


@dataclass(frozen=True, slots=True)
class VerifyPage:
    """A field to type a digest into, and what was found by the one that was typed."""

    form: Form
    machine: Machine | None = None
    found: Found | None = None


@router.get("/verify")
def ask(house: AtHome, digest: str | None = None) -> Response:
    """On to the sheet that was asked for; what is no digest comes back in the form."""
    if digest is None:
        return _page(house, Form.blank())
    digits = digits_of(digest)
    if digits is None:
        return _refused(house, digest, SHAPE if digest.strip() else "Type the digest that stands on the sheet.", 422)
    return house.go(f"/verify/{quote(digits)}")


@router.get("/verify/{digest}")
def verify(house: AtHome, digest: str) -> Response:
    digits = digits_of(digest)
    if digits is None:
        return _refused(house, digest, SHAPE, 404)
    with house.reading() as session:
        rows = with_digest(session, digits)
        if len(rows) != 1:
            return _refused(house, digest, SEVERAL if rows else UNKNOWN, 404)
        sheet, machine = rows[0]
        found = _found(house, session, sheet, machine)
    return _page(house, Form.blank(), machine=machine, found=found)


def _found(house: House, session: Session, sheet: SignedSheet, machine: Machine) -> Found:
    try:
        return Found(sheet, changed_since(session, house.store.files, sheet, machine), "")
    except Damaged as damage:
        return Found(sheet, [], str(damage))


def _refused(house: House, typed: str, sentence: str, status: int) -> Response:
    form = Form.blank(digest=typed)
    form.errors["digest"] = sentence
    return _page(house, form, status)


def _page(
    house: House, form: Form, status: int = 200, machine: Machine | None = None, found: Found | None = None
) -> Response:
    return house.page("sheets/verify.html", VerifyPage(form, machine, found), status)
