"""The mod sheet of a machine: as a page and an archival PDF with the record inside; signed, and as it was signed."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import Response

from server.documents.mod_sheet import SheetData
from server.documents.pdf import mod_sheet_pdf
from server.documents.photograph_views import views_of
from server.documents.sheet_choice import USUAL, SheetChoice
from server.documents.signing import Drawn, drawn_up, sign
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import address, sections
from server.records import clock
from server.records.commands.sheets import SheetFields
from server.records.errors import Invalid
from server.records.pictures import SMALL
from server.records.questions.addresses import find_machine, find_sheet
from server.records.questions.paging import Paged
from server.records.questions.signed_sheets import signed_sheets
from server.records.tables import Machine, SignedSheet

router = APIRouter()


@dataclass(frozen=True, slots=True)
class SheetPage:
    """The mod sheet of one machine, as of today and as chosen, with those that were signed.

    `seen` tells which one is looked at; `mods` are those to choose from; `query` asks for the same choice elsewhere;
    `view` is the length of the photographs' views, by which they are addressed.
    """

    machine: Machine
    tabs: list[tuple[str, str]]
    sheet: SheetData
    cautions: list[str]
    signed: Paged[SignedSheet]
    form: Form
    seen: str
    choice: Form
    mods: list[tuple[str, str]]
    query: str
    view: int = SMALL


@router.get("/machines/{tag}/sheet")
def sheet_page(house: AtHome, tag: str, number: PageNumber) -> Response:
    return _page(house, tag, number, _asked(house))


@router.post("/machines/{tag}/sheet")
def sign_sheet(house: AtHome, tag: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    try:
        fields, choice = form.read(SheetFields), form.read(SheetChoice)
        seen, public_url = form.text("seen"), house.settings.public_url
        done = sign(house.store, machine.tag, fields, house.who, public_url, seen, choice)
    except Invalid as problem:  # what is wrong with the choice is told beside the choice
        of_form = {name: said for name, said in problem.messages.items() if name not in SheetChoice.model_fields}
        form.refuse(Invalid(of_form))
        return _page(house, tag, 1, _chosen_in(form.values), form, 422)
    return house.go(f"{address(machine)}/sheet#signed", done)


@router.get("/machines/{tag}/sheet.pdf")
def sheet_pdf(house: AtHome, tag: str) -> Response:
    asked = _asked(house)
    try:
        choice = asked.read(SheetChoice)
        drawn = _drawn(house, tag, choice)
    except Invalid:
        return _page(house, tag, 1, asked)
    what = "mod-sheet-private" if choice.private else "mod-sheet"
    name = pdf_name(drawn.sheet.tag, what, drawn.sheet.day)
    views = views_of(drawn.sheet, house.store.files)
    return _pdf(mod_sheet_pdf(drawn.sheet, drawn.record, choice.paper, views), name)


@router.get("/machines/{tag}/sheets/{n:int}.pdf")
def signed_pdf(house: AtHome, tag: str, n: int) -> Response:
    """A sheet as it was signed, byte for byte."""
    with house.reading() as session:
        machine = find_machine(session, tag)
        sheet = find_sheet(session, machine, n)
    name = pdf_name(machine.tag, f"mod-sheet-{sheet.number}", sheet.day.isoformat())
    return _pdf(house.store.files.read(sheet.pdf_sha256), name)


def _page(house: House, tag: str, number: int, asked: Form, form: Form | None = None, status: int = 200) -> Response:
    try:
        drawn = _drawn(house, tag, asked.read(SheetChoice))
    except Invalid as problem:
        asked.refuse(problem)
        drawn, status = _drawn(house, tag, USUAL), 422
    sheet = drawn.sheet
    with house.reading() as session:
        machine = find_machine(session, tag)
        signed = signed_sheets(session, machine, number)
    query = _query(asked)
    if not asked.text("chosen"):
        asked.values["mods"] = [str(mod.number) for mod in (*sheet.in_force, *sheet.undone)]
    context = SheetPage(
        machine=machine,
        tabs=sections(machine),
        sheet=sheet,
        cautions=list(sheet.cautions),
        signed=signed,
        form=form or Form.blank(signer=sheet.signer, day=clock.today()),
        seen=drawn.content_sha256,
        choice=asked,
        mods=_mods(sheet),
        query=query,
    )
    return house.page("sheets/sheet.html", context, status)


def _mods(sheet: SheetData) -> list[tuple[str, str]]:
    """Every mod that the sheet could tell of, by number."""
    told = [(mod.number, mod.title, mod.state) for mod in (*sheet.in_force, *sheet.undone)]
    left_out = [(number, title, "left out") for number, title in sheet.left_out]
    return [(str(number), f"{number}. {title} ({state})") for number, title, state in sorted([*told, *left_out])]


def _asked(house: House) -> Form:
    """What the address says is chosen."""
    query = house.request.query_params
    return _chosen_in({name: query.getlist(name) for name in query})


def _chosen_in(values: Mapping[str, list[str]]) -> Form:
    form = Form.blank(length="full", paper="A4", photographs="with")
    form.values |= {name: texts for name, texts in values.items() if name in SheetChoice.model_fields}
    form.prefix = "choice"
    return form


def _query(asked: Form) -> str:
    """The same choice for another address; nothing where it is the usual one, or will not do."""
    usual = _chosen_in({})
    if asked.errors or all(asked.many(name) == usual.many(name) for name in SheetChoice.model_fields):
        return ""
    return urlencode({name: asked.many(name) for name in SheetChoice.model_fields}, doseq=True)


def _drawn(house: House, tag: str, choice: SheetChoice) -> Drawn:
    """The sheet as of today, by the machine's keeper or else by whoever asks."""
    return drawn_up(house.store, tag, clock.today(), otherwise=house.who, choice=choice)


def _pdf(content: bytes, name: str) -> Response:
    headers = {"Content-Disposition": f'inline; filename="{name}"', "Cache-Control": "no-store"}
    return Response(content, media_type="application/pdf", headers=headers)


def pdf_name(tag: str, what: str, day: str) -> str:
    """A name that any file system takes."""
    return f"{re.sub(r'[^A-Za-z0-9._-]+', '-', tag)}-{what}-{day}.pdf"
