"""The nets of a board: their list, the form that writes one, and the page that says what holds and what would fight."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal
from urllib.parse import urlencode

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.engineering.contention_result import Contention
from server.engineering.errors import EngineeringError
from server.engineering.logic_families import USUAL_SUPPLY
from server.engineering.quantities import Toleranced, parse, show
from server.engineering.signal_paths import Held, SignalState
from server.pages.boards import board_address, found_board, position_address
from server.pages.forms import Form, PostedForm, number_of
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import sections
from server.pages.net_form import (
    DRIVES,
    ROLES,
    Words,
    compact,
    families,
    from_stored,
    labels_of,
    rows_of,
    rows_shown,
)
from server.pages.net_picture import keys_used, net_view
from server.pages.pictures import Picture
from server.records.cautions import cautions
from server.records.commands.nets import AddNet, DropNet, ReviseNet
from server.records.errors import Invalid
from server.records.questions.nets import (
    NOW,
    NetAt,
    NetLine,
    NetRecord,
    PinAt,
    find_net,
    nets_of,
    pins_of,
    record_of,
    unlike,
)
from server.records.questions.paging import Paged
from server.records.signals import END_MOST, Judged, against_choices, fight, judge
from server.records.tables import Board, Machine, Net
from server.records.words import PinRole

router = APIRouter()
SUPPLY = "5 V ±5 %"
LEVELS: Words = [("low", "low"), ("high", "high")]


@dataclass(frozen=True, slots=True)
class NetsPage:
    """The nets of a board."""

    machine: Machine
    tabs: Words
    board: Board
    board_base: str
    base: str
    cautions: list[str]
    nets: Paged[NetLine]


@dataclass(frozen=True, slots=True)
class NetFormPage:
    """The form that writes a net; `net` is none while it is new, `rows` how many pins are shown."""

    machine: Machine
    tabs: Words
    board: Board
    board_base: str
    base: str
    net: Net | None
    form: Form
    rows: int
    roles: Words
    families: Words
    drives: Words
    labels: dict[str, str]
    action: str
    cancel: str


@dataclass(frozen=True, slots=True)
class DropNetPage:
    """Whether a net is to be taken off the record."""

    machine: Machine
    tabs: Words
    board: Board
    board_base: str
    net: Net
    form: Form
    stale: bool
    action: str
    cancel: str


@dataclass(frozen=True, slots=True)
class PinView:
    """One pin as the page lists it. `said` are what is special about it in this case."""

    number: int
    pin: PinAt
    address: str
    family: str
    through: str
    off: bool
    said: list[str]


@dataclass(frozen=True, slots=True)
class StateView:
    """One driver at one level: where the node stands, and what each listener makes of it, in the listeners' order."""

    state: SignalState
    verdict: str
    least: Held | None
    held: list[Held | None]


@dataclass(frozen=True, slots=True)
class NetPage:
    """One net in one case: its pins, what holds, what fights, and what a two-way pin would do as an output.

    `cases` are the address and words of each case, and whether it is the one shown; `differs` what it changes.
    """

    machine: Machine
    tabs: Words
    board: Board
    board_base: str
    base: str
    net: Net
    cautions: list[str]
    at: NetAt
    cases: list[tuple[str, str, bool]]
    differs: str
    judged: Judged
    pins: list[PinView]
    listeners: list[str]
    states: list[StateView]
    picture: Picture
    meanings: str
    supply: str
    form: Form
    two_way: Words
    against: Words
    levels: Words
    asked: Contention | None
    asked_of: str


def nets_address(machine: Machine | str, board: Board | str) -> str:
    return f"{board_address(machine, board)}/nets"


@router.get("/machines/{tag}/boards/{slug}/nets")
def nets_page(house: AtHome, tag: str, slug: str, number: PageNumber) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
        context = NetsPage(
            machine=machine,
            tabs=sections(machine),
            board=board,
            board_base=board_address(machine, board),
            base=nets_address(machine, board),
            cautions=cautions(machine.hazards, board.hazards),
            nets=nets_of(session, board, number),
        )
    return house.page("nets/nets.html", context)


@router.get("/machines/{tag}/boards/{slug}/nets/new")
def new_net(house: AtHome, tag: str, slug: str) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
    return _form_page(house, machine, board, None, Form.blank())


@router.post("/machines/{tag}/boards/{slug}/nets/new")
def add_net(house: AtHome, tag: str, slug: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
    compact(form)
    if form.text("more"):
        return _form_page(house, machine, board, None, form)

    def made(key: int) -> str:
        with house.reading() as session:
            return f"{nets_address(machine, board)}/{session.get_one(Net, key).number}"

    return house.write(
        form,
        AddNet,
        to=lambda done: made(done.key),
        again=lambda form, status: _form_page(house, machine, board, None, form, status),
        machine=machine.tag,
        board=board.slug,
        pins=rows_of(form),
    )


@router.get("/machines/{tag}/boards/{slug}/nets/{n}")
def net_page(house: AtHome, tag: str, slug: str, n: int) -> Response:
    query = house.request.query_params
    form = Form.blank(**{name: query.get(name, "") for name in ("supply", "pin", "level", "against")})
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
        record = record_of(session, machine, find_net(session, board, n))
    context = _net_context(machine, board, record, query.get("case", "") or NOW, form)
    return house.page("nets/net.html", context, 422 if form.errors else 200)


@router.get("/machines/{tag}/boards/{slug}/nets/{n}/edit")
def edit_net(house: AtHome, tag: str, slug: str, n: int) -> Response:
    with house.reading() as session:
        machine, board, net = _found(session, tag, slug, n)
        form = from_stored(net, pins_of(session, net))
    return _form_page(house, machine, board, net, form)


@router.post("/machines/{tag}/boards/{slug}/nets/{n}/edit")
def revise_net(house: AtHome, tag: str, slug: str, n: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, board, net = _found(session, tag, slug, n)
    compact(form)
    if form.text("more"):
        return _form_page(house, machine, board, net, form)
    return house.write(
        form,
        ReviseNet,
        to=lambda done: f"{nets_address(machine, board)}/{net.number}",  # noqa: ARG005
        again=lambda form, status: _form_page(house, machine, board, net, form, status),
        machine=machine.tag,
        board=board.slug,
        net=net.number,
        pins=rows_of(form),
    )


@router.get("/machines/{tag}/boards/{slug}/nets/{n}/drop")
def ask_to_drop(house: AtHome, tag: str, slug: str, n: int) -> Response:
    with house.reading() as session:
        machine, board, net = _found(session, tag, slug, n)
    return _drop_page(house, machine, board, net, Form.blank(opened_version=net.version))


@router.post("/machines/{tag}/boards/{slug}/nets/{n}/drop")
def drop_net(house: AtHome, tag: str, slug: str, n: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, board, net = _found(session, tag, slug, n)
    return house.write(
        form,
        DropNet,
        to=lambda done: nets_address(machine, board),  # noqa: ARG005
        again=lambda form, status: _drop_page(house, machine, board, net, form, status),
        machine=machine.tag,
        board=board.slug,
        net=net.number,
    )


def _found(session: Session, tag: str, slug: str, n: int) -> tuple[Machine, Board, Net]:
    machine, board = found_board(session, tag, slug)
    return machine, board, find_net(session, board, n)


def _drop_page(house: House, machine: Machine, board: Board, net: Net, form: Form, status: int = 200) -> Response:
    here = f"{nets_address(machine, board)}/{net.number}"
    base = board_address(machine, board)
    stale = status == 409
    context = DropNetPage(machine, sections(machine), board, base, net, form, stale, f"{here}/drop", here)
    return house.page("nets/drop.html", context, status)


def _form_page(
    house: House, machine: Machine, board: Board, net: Net | None, form: Form, status: int = 200
) -> Response:
    base = nets_address(machine, board)
    here = f"{base}/{net.number}" if net else base
    context = NetFormPage(
        machine=machine,
        tabs=sections(machine),
        board=board,
        board_base=board_address(machine, board),
        base=base,
        net=net,
        form=form,
        rows=rows_shown(form),
        roles=ROLES,
        families=families(),
        drives=DRIVES,
        labels=labels_of(form),
        action=f"{here}/edit" if net else f"{base}/new",
        cancel=here,
    )
    return house.page("nets/form.html", context, status)


# ---- One net in one case ----


def _net_context(machine: Machine, board: Board, record: NetRecord, key: str, form: Form) -> NetPage:
    supply = _supply(form)
    at, base = record.at(key), f"{nets_address(machine, board)}/{record.net.number}"
    judged = judge(at, supply)
    names = {line: pin.line.name for line, pin in enumerate(at.pins)}
    two_way = [(str(row + 1), names[row]) for row in sorted(judged.parts.free)]
    two_way += [
        (str(row + 1), names[row]) for row in sorted(judged.parts.fixed) if at.pins[row].line.role is PinRole.EITHER_WAY
    ]
    able = sorted(judged.parts.fixed | judged.parts.free)
    asked, asked_of = _asked(form, at, supply, judged, two_way)
    states, listeners = _state_views(judged)
    typed = {"supply": form.text("supply")} if form.text("supply") and "supply" not in form.errors else {}
    cases = [
        (f"{base}?{urlencode({'case': case.key} | typed)}", case.words, case.key == at.case.key)
        for case in record.cases()
    ]
    form.set("supply", form.text("supply") or SUPPLY)
    return NetPage(
        machine=machine,
        tabs=sections(machine),
        board=board,
        board_base=board_address(machine, board),
        base=base,
        net=record.net,
        cautions=cautions(machine.hazards, board.hazards),
        at=at,
        cases=cases,
        differs=_differs(record, at, judged, supply),
        judged=judged,
        pins=_pin_views(machine, board, at, judged),
        listeners=listeners,
        states=states,
        picture=net_view(record.net.name, at, judged.parts),
        meanings=keys_used(at.pins, judged.parts),
        supply=show(supply),
        form=form,
        two_way=two_way,
        against=[("", "every output of this net"), *((str(row + 1), names[row]) for row in able)],
        levels=LEVELS,
        asked=asked,
        asked_of=asked_of,
    )


def _supply(form: Form) -> Toleranced:
    """The supply that is asked about; the usual one where nothing or nothing readable was typed."""
    text = form.text("supply").strip()
    if not text:
        return USUAL_SUPPLY
    try:
        supply = parse(text, unit="V")
    except EngineeringError as fault:
        form.refuse(Invalid({"supply": f"{fault}."}))
        return USUAL_SUPPLY
    if supply.low <= 0 or supply.high > END_MOST:
        form.refuse(Invalid({"supply": f"A supply is above 0 V and at most {END_MOST:g} V."}))
        return USUAL_SUPPLY
    return supply


def _asked(form: Form, at: NetAt, supply: Toleranced, judged: Judged, two_way: Words) -> tuple[Contention | None, str]:
    """The fight that the address asks about, and the pin and level it is about."""
    if not form.text("pin"):
        return None, ""
    row = _row(form, "pin", [value for value, _ in two_way], "Choose one of the two-way pins.")
    level: Literal["low", "high"] = "high" if form.text("level") == "high" else "low"
    if form.text("level") not in ("low", "high"):
        form.refuse(Invalid({"level": "Choose low or high."}))
    against: int | None = None
    if form.text("against") and row is not None:
        others = [str(other + 1) for other in against_choices(judged.parts, row)]
        against = _row(form, "against", others, "Choose another output of this net.")
    if row is None or {"pin", "level", "against"} & form.errors.keys():
        return None, ""
    try:
        found = fight(at, supply, row, level, against)
    except EngineeringError as fault:
        form.refuse(Invalid({"pin": f"No sum can be made of this: {fault}."}))
        return None, ""
    return found, f"{at.pins[row].line.name} made an output and {level}"


def _row(form: Form, name: str, offered: Sequence[str], otherwise: str) -> int | None:
    number = number_of(form.text(name))
    if number is None or str(number) not in offered:
        form.refuse(Invalid({name: otherwise}))
        return None
    return number - 1


def _pin_views(machine: Machine, board: Board, at: NetAt, judged: Judged) -> list[PinView]:
    views = []
    for row, pin in enumerate(at.pins):
        kinds = dict.fromkeys(kind for kind in (pin.drives_as, pin.hears_as) if kind)
        off = judged.parts.off.get(row, "")
        said = [off] if off else [*_bridged(pin), *judged.parts.left_out.get(row, [])]
        where = position_address(machine, board, pin.line.position.designator)
        through = judged.parts.series.get(row, "")
        views.append(PinView(row + 1, pin, where, " or ".join(kinds), through, bool(off), said))
    return views


def _bridged(pin: PinAt) -> list[str]:
    """That a lifted pin is on the net all the same, by a resistor from it to its pad."""
    if not (pin.lifted and pin.line.series):
        return []
    return [f"{pin.line.name} is lifted ({pin.lifted}) and goes to the net through {pin.line.series.designator}."]


def _state_views(judged: Judged) -> tuple[list[StateView], list[str]]:
    """Each state with what its listeners make of it, and the listeners of all of them in their order."""
    listeners = list(dict.fromkeys(held.listener for state in judged.states for held in state.held))
    views = []
    for state in judged.states:
        known = [held for held in state.held if held.margin is not None]
        by_name = {held.listener: held for held in state.held}
        verdict = "fails" if not state.level else _verdict([held.holds for held in state.held])
        least = min(known, key=lambda held: held.margin or 0.0, default=None)
        views.append(StateView(state, verdict, least, [by_name.get(name) for name in listeners]))
    return views, listeners


def _verdict(holds: Sequence[bool | None]) -> str:
    if False in holds:
        return "fails"
    return "no figure" if None in holds else "holds"


def _differs(record: NetRecord, at: NetAt, judged: Judged, supply: Toleranced) -> str:
    """What is otherwise in this case than now, in one sentence; empty for now itself."""
    if at.case.key == NOW:
        return ""
    now = record.at(NOW)
    said = unlike(now, at)
    if not said:
        return f"Nothing on this net is otherwise {at.case.words} than it is now."
    before, after = _word(judge(now, supply)), _word(judged)
    verdict = f"either way it {after}" if before == after else f"now it {before}, {at.case.words} it {after}"
    return f"Against now, {at.case.words}: {'; '.join(said)}. By the data sheets {verdict}."


def _word(judged: Judged) -> str:
    return {True: "holds", False: "does not hold", None: "is not fully known"}[judged.holds]
