"""A machine's waveforms: the list, one of them with its trace and figures, its kept file, and the forms."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from server.documents.drawing import Picture
from server.pages.file_names import as_attachment, name_alone
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import address, sections
from server.pages.traces import Amount, FigureLine, in_short, lines_of, picture_of, stretch_of, summary_of
from server.records import clock
from server.records.commands.waveforms import RecordWaveform, ReviseWaveform, WaveformFields
from server.records.questions.addresses import find_machine, find_waveform
from server.records.questions.hazards import cautions_for
from server.records.questions.paging import Paged
from server.records.questions.states import mods_in_force
from server.records.questions.stays import tags_of
from server.records.questions.trials import instruments_of
from server.records.questions.waveforms import (
    FIGURES,
    Reader,
    readers_of,
    waveforms_of,
)
from server.records.tables import Machine, Mod, Waveform

router = APIRouter()
PROBING = (
    "The ground clip of a scope's probe is joined to protective earth. On the mains side of a supply it makes a short "
    "circuit, and a scope whose earth was lifted is live itself: take a probe that is made for it, or leave that side "
    "to someone who is trained for it."
)
NAMELESS = "capture.csv"


@dataclass(frozen=True, slots=True)
class WaveformLine:
    """One waveform in the list, with the figure or two that tell most of it."""

    waveform: Waveform
    told: list[tuple[str, Amount]]


@dataclass(frozen=True, slots=True)
class WaveformsPage:
    """A machine's waveforms, the latest first."""

    machine: Machine
    tabs: list[tuple[str, str]]
    cautions: list[str]
    lines: Paged[WaveformLine]


@dataclass(frozen=True, slots=True)
class WaveformPage:
    """One waveform: its trace, its figures, how it was taken, and what reads it; `words` are those of each figure."""

    machine: Machine
    tabs: list[tuple[str, str]]
    cautions: list[str]
    waveform: Waveform
    summary: str
    picture: Picture
    lines: list[FigureLine]
    stretch: str
    mods: Sequence[Mod]
    tags: dict[int, str]
    readers: list[Reader]
    words: dict[str, str]


@dataclass(frozen=True, slots=True)
class WaveformFormPage:
    """The form that records or revises a waveform; `waveform` is none while it is new, `most_mb` bounds its file."""

    machine: Machine
    tabs: list[tuple[str, str]]
    cautions: list[str]
    waveform: Waveform | None
    instruments: Sequence[str]
    most_mb: int
    form: Form
    action: str
    cancel: str


def waveform_address(machine: Machine, waveform: Waveform) -> str:
    return f"{address(machine)}/waveforms/{waveform.number}"


@router.get("/machines/{tag}/waveforms")
def waveforms_page(house: AtHome, tag: str, number: PageNumber) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        found = waveforms_of(session, machine, number)
        lines = [WaveformLine(waveform, in_short(waveform)) for waveform in found.rows]
        context = WaveformsPage(
            machine,
            sections(machine),
            cautions_for(session, machine),
            Paged(lines, found.number, found.last, found.total),
        )
    return house.page("waveforms/waveforms.html", context)


@router.get("/machines/{tag}/waveforms/new")
def new_waveform(house: AtHome, tag: str) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    today = clock.today()
    return _form(house, machine, None, Form.blank(day=today, signer=machine.keeper or house.settings.keeper))


@router.post("/machines/{tag}/waveforms/new")
def record_waveform(house: AtHome, tag: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    upload = form.files.get("capture")
    return house.write(
        form,
        RecordWaveform,
        to=lambda done: _recorded(house, machine, done.key),
        again=lambda form, status: _form(house, machine, None, form, status),
        machine=machine.tag,
        file_name=name_alone(upload.filename or "", NAMELESS) if upload else "",
        content=upload.file.read() if upload else b"",
    )


@router.get("/machines/{tag}/waveforms/{n:int}")
def waveform_page(house: AtHome, tag: str, n: int) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        waveform = find_waveform(session, machine, n)
        mods = mods_in_force(session, machine, waveform.day)
        context = WaveformPage(
            machine=machine,
            tabs=sections(machine),
            cautions=cautions_for(session, machine),
            waveform=waveform,
            summary=summary_of(waveform),
            picture=picture_of(waveform),
            lines=lines_of(waveform),
            stretch=stretch_of(waveform),
            mods=mods,
            tags=tags_of(session, mods),
            readers=readers_of(session, waveform),
            words=dict(FIGURES),
        )
    return house.page("waveforms/waveform.html", context)


@router.get("/machines/{tag}/waveforms/{n:int}/file")
def waveform_file(house: AtHome, tag: str, n: int) -> Response:
    """The file as it came, held against its digest on the way."""
    with house.reading() as session:
        machine = find_machine(session, tag)
        waveform = find_waveform(session, machine, n)
    content = house.store.files.read(waveform.sha256)
    # Which characters it is written in is not known, so none are claimed.
    headers = {"Content-Type": "text/csv", "Content-Disposition": as_attachment(waveform.file_name)}
    return Response(content, headers=headers)


@router.get("/machines/{tag}/waveforms/{n:int}/edit")
def edit_waveform(house: AtHome, tag: str, n: int) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        waveform = find_waveform(session, machine, n)
    return _form(house, machine, waveform, Form.of_row(WaveformFields, waveform))


@router.post("/machines/{tag}/waveforms/{n:int}/edit")
def revise_waveform(house: AtHome, tag: str, n: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        waveform = find_waveform(session, machine, n)
    return house.write(
        form,
        ReviseWaveform,
        to=lambda done: waveform_address(machine, waveform),  # noqa: ARG005
        again=lambda form, status: _form(house, machine, waveform, form, status),
        machine=machine.tag,
        waveform=n,
    )


def _recorded(house: House, machine: Machine, key: int) -> str:
    with house.reading() as session:
        return waveform_address(machine, session.get_one(Waveform, key))


def _form(house: House, machine: Machine, waveform: Waveform | None, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        context = WaveformFormPage(
            machine=machine,
            tabs=sections(machine),
            cautions=[*cautions_for(session, machine), *([] if waveform else [PROBING])],
            waveform=waveform,
            instruments=instruments_of(session, machine, Waveform),
            most_mb=house.settings.upload_most_mb,
            form=form,
            action=f"{waveform_address(machine, waveform)}/edit" if waveform else f"{address(machine)}/waveforms/new",
            cancel=waveform_address(machine, waveform) if waveform else f"{address(machine)}/waveforms",
        )
    return house.page("waveforms/form.html", context, status)
