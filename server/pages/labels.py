"""Labels for bags: choosing which bags and what sheet they go on, and the PDF to print.

What is chosen stands in the address, so that a sheet can be printed again; what will not do comes back as the form.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Annotated

from fastapi import APIRouter, Request
from pydantic import AfterValidator
from starlette.responses import Response

from server.documents.label_sheets import PAPERS, LabelSheet, first_free, sheet_of
from server.documents.labels import Label, labels_of, labels_pdf
from server.pages.boards import Options
from server.pages.forms import Form
from server.pages.house import AtHome, House
from server.pages.machines import address, sections
from server.records import clock
from server.records.commands.base import Command, OptionalFloat, OptionalInt
from server.records.errors import Invalid
from server.records.placing import BAG_MOST
from server.records.questions.addresses import find_machine
from server.records.questions.bags import Aside, lying
from server.records.tables import Machine
from server.settings import LOOPBACK

router = APIRouter()
OWN = "own"
SIZES = {
    "a4-70x37": ("70 × 37 mm, 3 × 8 on A4", sheet_of("A4", 70, 37, 3, 8)),
    "a4-63.5x38.1": ("63.5 × 38.1 mm, 3 × 7 on A4", sheet_of("A4", 63.5, 38.1, 3, 7, gap_across=2.5)),
    "a4-105x57": ("105 × 57 mm, 2 × 5 on A4", sheet_of("A4", 105, 57, 2, 5)),
    "a4-52.5x29.7": ("52.5 × 29.7 mm, 4 × 10 on A4", sheet_of("A4", 52.5, 29.7, 4, 10)),
    "letter-66.7x25.4": ("66.7 × 25.4 mm, 3 × 10 on Letter", sheet_of("Letter", 66.7, 25.4, 3, 10, gap_across=3.2)),
    "letter-101.6x50.8": ("101.6 × 50.8 mm, 2 × 5 on Letter", sheet_of("Letter", 101.6, 50.8, 2, 5, gap_across=4.8)),
}
USUAL = next(iter(SIZES))
OFFERED = [*((key, words) for key, (words, _) in SIZES.items()), (OWN, "other labels, measured below")]
ONE_OR_MORE = re.compile(r"(?:bags?\s*)?(\d{1,6})(?:\s*[-–]\s*(\d{1,6}))?", re.ASCII | re.IGNORECASE)
TEXT_MOST = 5_000


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which bags are wanted: each by its own number, or whoever lies from one number to another."""

    numbers: frozenset[int]
    spans: tuple[tuple[int, int], ...]

    def __contains__(self, bag: int) -> bool:
        return bag in self.numbers or any(low <= bag <= high for low, high in self.spans)

    @property
    def everything(self) -> bool:
        return not self.numbers and not self.spans


def wanted(text: str) -> Wanted:
    """Bags as they are named: “3, 4, 7-12”; nothing named is every bag. Raises ValueError with a sentence."""
    numbers, spans = set(), []
    for one in filter(None, (part.strip() for part in re.split(r"[,;]", text[:TEXT_MOST]))):
        named = ONE_OR_MORE.fullmatch(one)
        low, high = (int(named[1]), int(named[2] or named[1])) if named else (0, 0)
        if low > high > 0:
            raise ValueError(f"A run of bags goes upwards: write {high}-{low}, not {low}-{high}.")
        if not 1 <= low <= high <= BAG_MOST or len(text) > TEXT_MOST:
            raise ValueError("Name bags by their numbers, such as 3, 4, 7-12.")
        numbers |= {low} if low == high else set()
        spans += [(low, high)] if low < high else []
    return Wanted(frozenset(numbers), tuple(spans))


def _readable(text: str) -> str:
    wanted(text)
    return text


class LabelChoice(Command):
    """What is chosen on the page of labels; measures in millimetres count where the size is of one's own."""

    bags: Annotated[str, AfterValidator(_readable)] = ""
    size: str = ""
    paper: str = "A4"
    width: OptionalFloat = None
    height: OptionalFloat = None
    across: OptionalInt = None
    down: OptionalInt = None
    left: OptionalFloat = None
    top: OptionalFloat = None
    gap_across: OptionalFloat = None
    gap_down: OptionalFloat = None
    first: OptionalInt = None


@dataclass(frozen=True, slots=True)
class LabelsPage:
    """Choosing labels, of one machine or over all. `unheard`: only this computer answers at the codes' address."""

    machine: Machine | None
    tabs: Options
    form: Form
    sizes: Options
    papers: Options
    base: str
    unheard: bool
    total: int
    action: str


@router.get("/kept-aside/labels")
def labels_page(house: AtHome, request: Request) -> Response:
    return _choose(house, request, None)


@router.get("/kept-aside/labels.pdf")
def labels_file(house: AtHome, request: Request) -> Response:
    return _print(house, request, None)


@router.get("/machines/{tag}/labels")
def machine_labels_page(house: AtHome, request: Request, tag: str) -> Response:
    return _choose(house, request, _machine(house, tag))


@router.get("/machines/{tag}/labels.pdf")
def machine_labels_file(house: AtHome, request: Request, tag: str) -> Response:
    return _print(house, request, _machine(house, tag))


def _machine(house: House, tag: str) -> Machine:
    with house.reading() as session:
        return find_machine(session, tag)


def _choose(house: House, request: Request, machine: Machine | None) -> Response:
    """The form, beginning with every bag in which something lies."""
    form = _asked(request)
    lines = _lying(house, machine)
    every = as_spans(line.storage.bag for line in lines)
    named = every if len(every) <= TEXT_MOST else ""  # empty is every bag too
    form.values = {"bags": [named], "size": [USUAL], "first": ["1"]} | form.values
    return _page(house, machine, form, lines)


def _print(house: House, request: Request, machine: Machine | None) -> Response:
    form, lines = _asked(request), _lying(house, machine)
    try:
        choice = form.read(LabelChoice)
        sheet = sheet_chosen(choice)
        labels = _chosen(lines, wanted(choice.bags), machine, _base(request))
        pdf = labels_pdf(
            labels, sheet, first_free(sheet, choice.first if choice.first is not None else 1), clock.today()
        )
    except Invalid as problem:
        form.refuse(problem)
        form.values.setdefault("size", [OWN if form.text("width") else USUAL])
        return _page(house, machine, form, lines, 422)
    name = f"{re.sub(r'[^A-Za-z0-9._-]+', '-', machine.tag)}-labels" if machine else "labels"
    headers = {"Content-Disposition": f'inline; filename="{name}-{clock.today()}.pdf"'}
    return Response(pdf, media_type="application/pdf", headers=headers)


def sheet_chosen(choice: LabelChoice) -> LabelSheet:
    """One of the sizes offered, or the sheet that was measured; the first size where nothing is said."""
    if choice.size in SIZES:
        return SIZES[choice.size][1]
    if choice.size not in ("", OWN):
        raise Invalid({"size": "Choose one of the sizes offered."})
    if choice.width is None and choice.height is None and not choice.size:
        return SIZES[USUAL][1]
    missing = {name: "How many millimetres?" for name in ("width", "height") if getattr(choice, name) is None}
    if choice.width is None or choice.height is None:
        raise Invalid(missing)
    return sheet_of(
        choice.paper,
        choice.width,
        choice.height,
        choice.across,
        choice.down,
        choice.left,
        choice.top,
        choice.gap_across or 0.0,
        choice.gap_down or 0.0,
    )


def as_spans(bags: Iterable[int]) -> str:
    """Numbers as they are named on the page: “1-3, 7”."""
    numbered = enumerate(sorted(set(bags)))
    runs = [[bag for _, bag in run] for _, run in groupby(numbered, key=lambda pair: pair[1] - pair[0])]
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)


def _asked(request: Request) -> Form:
    """What the address says; bags may be named one by one."""
    query = request.query_params
    form = Form({name: query.getlist(name) for name in query if name in LabelChoice.model_fields})
    if len(form.many("bags")) > 1:
        form.set("bags", ", ".join(form.many("bags")))
    return form


def _lying(house: House, machine: Machine | None) -> Sequence[Aside]:
    with house.reading() as session:
        return lying(session, machine)


def _chosen(lines: Sequence[Aside], asked: Wanted, machine: Machine | None, base: str) -> list[Label]:
    there = {line.storage.bag for line in lines}
    of_machine = f" from {machine.tag}" if machine else ""
    if missing := sorted(asked.numbers - there):
        raise Invalid({"bags": f"Nothing{of_machine} lies in bag {as_spans(missing)}, so there is no label for it."})
    labels = labels_of([line for line in lines if asked.everything or line.storage.bag in asked], base)
    if not labels:
        raise Invalid({"bags": f"Nothing{of_machine} lies in any of these bags, so there is no label to print."})
    return labels


def _base(request: Request) -> str:
    return str(request.base_url).rstrip("/")


def _page(house: House, machine: Machine | None, form: Form, lines: Sequence[Aside], status: int = 200) -> Response:
    context = LabelsPage(
        machine=machine,
        tabs=sections(machine) if machine else [],
        form=form,
        sizes=OFFERED,
        papers=[(paper, paper) for paper in PAPERS],
        base=_base(house.request),
        unheard=(house.request.base_url.hostname or "") in LOOPBACK,
        total=len({line.storage.bag for line in lines}),
        action=f"{address(machine) if machine else '/kept-aside'}/labels.pdf",
    )
    return house.page("kept_aside/labels.html", context, status)
