"""The mod sheet of a machine: as a page and an archival PDF with the record inside; signed, and as it was signed."""

import re
from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter
from starlette.responses import Response

from server.documents.mod_sheet import SheetData
from server.documents.pdf import mod_sheet_pdf
from server.documents.signing import Drawn, drawn_up, sign
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import address, sections
from server.records.commands.sheets import SheetFields
from server.records.errors import Invalid
from server.records.questions.addresses import find_machine, find_sheet
from server.records.questions.paging import Paged
from server.records.questions.signed_sheets import signed_sheets
from server.records.tables import Machine, SignedSheet

router = APIRouter()


@dataclass(frozen=True, slots=True)
class SheetPage:
    """The mod sheet of one machine, as of today, with those that were signed; `seen` tells which one is looked at."""

    machine: Machine
    tabs: list[tuple[str, str]]
    sheet: SheetData
    cautions: list[str]
    signed: Paged[SignedSheet]
    form: Form
    seen: str


@router.get("/machines/{tag}/sheet")
def sheet_page(house: AtHome, tag: str, number: PageNumber) -> Response:
    return _page(house, tag, number)


@router.post("/machines/{tag}/sheet")
def sign_sheet(house: AtHome, tag: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    try:
        fields = form.read(SheetFields)
        done = sign(house.store, machine.tag, fields, house.who, house.settings.public_url, form.text("seen"))
    except Invalid as problem:
        form.refuse(problem)
        return _page(house, tag, 1, form, 422)
    return house.go(f"{address(machine)}/sheet#signed", done)


@router.get("/machines/{tag}/sheet.pdf")
def sheet_pdf(house: AtHome, tag: str) -> Response:
    drawn = _drawn(house, tag)
    name = _file_name(drawn.sheet.tag, "mod-sheet", drawn.sheet.day)
    return _pdf(mod_sheet_pdf(drawn.sheet, drawn.record), name)


@router.get("/machines/{tag}/sheets/{n:int}.pdf")
def signed_pdf(house: AtHome, tag: str, n: int) -> Response:
    """A sheet as it was signed, byte for byte."""
    with house.reading() as session:
        machine = find_machine(session, tag)
        sheet = find_sheet(session, machine, n)
    name = _file_name(machine.tag, f"mod-sheet-{sheet.number}", sheet.day.isoformat())
    return _pdf(house.store.files.read(sheet.pdf_sha256), name)


def _page(house: House, tag: str, number: int, form: Form | None = None, status: int = 200) -> Response:
    drawn = _drawn(house, tag)
    with house.reading() as session:
        machine = find_machine(session, tag)
        signed = signed_sheets(session, machine, number)
    form = form or Form.blank(signer=drawn.sheet.signer, day=_today())
    cautions = list(drawn.sheet.cautions)
    context = SheetPage(machine, sections(machine), drawn.sheet, cautions, signed, form, drawn.content_sha256)
    return house.page("sheets/sheet.html", context, status)


def _drawn(house: House, tag: str) -> Drawn:
    """The sheet as of today, by the machine's keeper or else by whoever asks."""
    return drawn_up(house.store, tag, _today(), otherwise=house.who)


def _pdf(content: bytes, name: str) -> Response:
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return Response(content, media_type="application/pdf", headers=headers)


def _file_name(tag: str, what: str, day: str) -> str:
    """A name that any file system takes."""
    return f"{re.sub(r'[^A-Za-z0-9._-]+', '-', tag)}-{what}-{day}.pdf"


def _today() -> date:
    return date.today()  # noqa: DTZ011 (the keeper's own calendar day)
