"""The mod sheet of a machine, as a page that prints well and as an archival PDF with the record inside."""

import re
from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter
from starlette.responses import Response

from server.documents.mod_sheet import SheetData, sheet_data
from server.documents.pdf import mod_sheet_pdf
from server.documents.record import canonical, digest, record_of
from server.pages.house import AtHome, House
from server.pages.machines import sections
from server.records.questions.addresses import find_machine
from server.records.questions.sheet import whole_machine
from server.records.tables import Machine

router = APIRouter()


@dataclass(frozen=True, slots=True)
class SheetPage:
    """The mod sheet of one machine, as of today."""

    machine: Machine
    tabs: list[tuple[str, str]]
    sheet: SheetData
    cautions: list[str]


@router.get("/machines/{tag}/sheet")
def sheet_page(house: AtHome, tag: str) -> Response:
    machine, sheet, _ = _sheet(house, tag)
    return house.page("sheets/sheet.html", SheetPage(machine, sections(machine), sheet, list(sheet.cautions)))


@router.get("/machines/{tag}/sheet.pdf")
def sheet_pdf(house: AtHome, tag: str) -> Response:
    _, sheet, record_json = _sheet(house, tag)
    headers = {"Content-Disposition": f'inline; filename="{_file_name(sheet)}"'}
    return Response(mod_sheet_pdf(sheet, record_json), media_type="application/pdf", headers=headers)


def _sheet(house: House, tag: str) -> tuple[Machine, SheetData, bytes]:
    """The sheet as of today, and the record that it was made from, as canonical JSON."""
    with house.reading() as session:
        machine = find_machine(session, tag)
        whole = whole_machine(session, machine)
    record_json = canonical(record_of(whole))
    today = date.today()  # noqa: DTZ011 (the keeper's own calendar day)
    return machine, sheet_data(whole, digest(record_json), today, machine.keeper or house.who), record_json


def _file_name(sheet: SheetData) -> str:
    """A name that any file system takes."""
    return f"{re.sub(r'[^A-Za-z0-9._-]+', '-', sheet.tag)}-mod-sheet-{sheet.day}.pdf"
