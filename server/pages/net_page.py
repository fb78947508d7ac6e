"""One net in one case: its pins, what holds at a supply, what fights, and what a two-way pin would do as an output.

It makes the context of the page from what is recorded and asked, and knows no request.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal
from urllib.parse import urlencode

from server.engineering.errors import EngineeringError
from server.engineering.logic_families import USUAL_SUPPLY
from server.engineering.quantities import Toleranced, figure, parse, show
from server.engineering.signal_paths import Held, SignalState
from server.pages.boards import board_address, position_address
from server.pages.forms import Form, number_of
from server.pages.machines import sections
from server.pages.net_form import Words
from server.pages.net_picture import keys_used, net_view
from server.pages.pictures import Picture
from server.records.amounts import not_taken
from server.records.cautions import cautions
from server.records.errors import Invalid
from server.records.questions.net_cases import NOW, NetAt, NetRecord, PinAt, unlike
from server.records.signal_parts import END_MOST
from server.records.signals import (
    NOTHING_TO_SPARE,
    Judged,
    WhatIf,
    against_choices,
    alone_words,
    judge,
    what_if,
)
from server.records.tables import Board, Machine, Net
from server.records.words import PinRole

SUPPLY = "5 V ±5 %"
EVERY = "whatever can"
LEVELS: Words = [("low", "low"), ("high", "high")]


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
    """One driver at one level: where the net stands, and what each listener makes of it, in the listeners' order.

    `driver` names those that cannot be switched off as well; `alone` says what the one would reach by itself.
    """

    state: SignalState
    driver: str
    alone: str
    verdict: str
    least: str
    held: list[str]


@dataclass(frozen=True, slots=True)
class NetPage:
    """One net in one case: its pins, what holds, what fights, and what a two-way pin would do as an output.

    `cases` are the address and words of each case, and whether it is the one shown; `differs` what it changes.
    `stands_in` says at which supply the sums are made where the one that was typed will not do.
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
    stands_in: str
    form: Form
    two_way: Words
    against: Words
    levels: Words
    asked: WhatIf | None
    asked_of: str


def nets_address(machine: Machine | str, board: Board | str) -> str:
    return f"{board_address(machine, board)}/nets"


def net_context(machine: Machine, board: Board, record: NetRecord, key: str, form: Form) -> NetPage:
    """What the page shows; messages about what was asked go into the form."""
    supply = _supply(form)
    refused = "supply" in form.errors
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
        stands_in=f"What follows is for {show(supply)}, not for the supply that was typed." if refused else "",
        form=form,
        two_way=two_way or (_unreached(at) if "pin" in form.errors else []),
        against=[("", EVERY), *((str(row + 1), names[row]) for row in able)],
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
        form.refuse(Invalid({"supply": not_taken(fault, text)}))
        return USUAL_SUPPLY
    if supply.low <= 0 or supply.high > END_MOST:
        form.refuse(Invalid({"supply": f"A supply is above 0 V and at most {END_MOST:g} V."}))
        return USUAL_SUPPLY
    return supply


def _asked(form: Form, at: NetAt, supply: Toleranced, judged: Judged, two_way: Words) -> tuple[WhatIf | None, str]:
    """The fight that the address asks about, and the pin and level it is about."""
    if not form.text("pin") or "supply" in form.errors:
        return None, ""
    row = _row(form, "pin", [value for value, _ in two_way], _no_such_pin(form, at, judged))
    level: Literal["low", "high"] = "high" if form.text("level") == "high" else "low"
    if form.text("level") not in ("low", "high"):
        form.refuse(Invalid({"level": "Choose low or high."}))
    against: int | None = None
    if form.text("against") and row is not None and number_of(form.text("against")) != row + 1:
        others = [str(other + 1) for other in against_choices(judged.parts, row)]
        against = _row(form, "against", others, "Choose another output of this net.")
    if row is None or {"pin", "level", "against"} & form.errors.keys():
        return None, ""
    try:
        found = what_if(at, supply, row, level, against)
    except EngineeringError as fault:
        form.refuse(Invalid({"pin": f"No sum can be made of this: {fault}."}))
        return None, ""
    return found, f"{at.pins[row].line.name} made an output and {level}"


def _unreached(at: NetAt) -> Words:
    """Two-way pins that no sum reaches, so that what is wrong with one stands beside its field."""
    rows = enumerate(at.pins, start=1)
    return [(str(number), pin.line.name) for number, pin in rows if pin.line.role is PinRole.EITHER_WAY]


def _no_such_pin(form: Form, at: NetAt, judged: Judged) -> str:
    """Why a pin cannot be made an output here; of a two-way pin that the tables do not reach, what they lack."""
    number = number_of(form.text("pin"))
    if number is None or not 0 < number <= len(at.pins) or at.pins[number - 1].line.role is not PinRole.EITHER_WAY:
        return "Choose one of the two-way pins."
    row = number - 1
    said = [judged.parts.off[row]] if row in judged.parts.off else judged.parts.left_out.get(row, [])
    return " ".join(said) or "Choose one of the two-way pins."


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
        doubts = [judged.parts.doubts[row]] if row in judged.parts.doubts else []
        said = [off] if off else [*_bridged(pin), *doubts, *judged.parts.left_out.get(row, [])]
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
        least = min(known, key=lambda held: held.margin or 0.0, default=None)
        verdict = "fails" if not state.level else _verdict([held.holds for held in state.held])
        if verdict == "holds" and least and (least.margin or 0.0) < NOTHING_TO_SPARE:
            verdict = "at risk"
        driver = ", with ".join(filter(None, [state.driver, " and ".join(state.agree)]))
        told = f"{_spare(least)} at {least.listener}" if least else "–"
        alone = alone_words(judged.parts, state)
        views.append(StateView(state, driver, alone, verdict, told, [_spare(by_name.get(name)) for name in listeners]))
    return views, listeners


def _spare(held: Held | None) -> str:
    """What a listener has to spare: `700 mV`, `1.96 V`, `nothing`, and with a minus sign what is short."""
    if held is None:
        return "–"
    if held.margin is None:
        return "no figure"
    if abs(held.margin) < NOTHING_TO_SPARE:
        return "nothing"
    return figure(held.margin, "V", 3).replace("-", "−")


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
