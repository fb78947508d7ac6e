"""Writing down the nets of a board: which pins of which positions a signal joins, in order along the schematic."""

from typing import Any

from sqlmodel import col, select

from server.engineering.packages import beyond
from server.engineering.port_pins import port_pin
from server.records.commands.base import Command, change, expect_version, part_changed
from server.records.commands.net_rows import NetFields, PinFields, faults_of
from server.records.errors import Invalid, NotFound
from server.records.questions.addresses import designator_key, find_board, find_machine, find_net
from server.records.questions.nets import pin_key, pins_of, types_at
from server.records.questions.numbers import next_ever
from server.records.questions.stacking import pins_in
from server.records.tables import Board, Machine, Net, NetPin, Position
from server.records.words import PartKind, PinRole
from server.records.work import Entry, Work, handles

__all__ = ["AddNet", "DropNet", "NetFields", "PinFields", "ReviseNet"]

DROPPED = "drop net"
# What can lie between a pin and a net as a resistor does.
IN_SERIES = (PartKind.RESISTOR, PartKind.WIRE, PartKind.OTHER)
Columns = dict[str, Any]


class AddNet(NetFields):
    machine: str
    board: str


class ReviseNet(NetFields):
    """The net with all its pins as they now are; those that are given as they were stay the records they are."""

    machine: str
    board: str
    net: int
    opened_version: int


class DropNet(Command):
    """Take a net off the record; the journal keeps what it was."""

    machine: str
    board: str
    net: int
    opened_version: int


@handles(AddNet)
def add_net(work: Work, command: AddNet) -> Entry:
    machine = find_machine(work.session, command.machine)
    board = find_board(work.session, machine, command.board)
    rows = _rows(work, board, command, None)
    net = work.add(
        Net(
            board_id=board.key,
            number=next_ever(work.session, Net, DROPPED, board_id=board.key),
            **_net_columns(command),
        )
    )
    for place, row in enumerate(rows):
        work.session.add(NetPin(net_id=net.key, place=place, **row))
    work.session.flush()
    return Entry("add net", net, f"{called(machine, board, net)} is written down with {_counted(rows)}.", machine)


@handles(ReviseNet)
def revise_net(work: Work, command: ReviseNet) -> Entry:
    machine = find_machine(work.session, command.machine)
    board = find_board(work.session, machine, command.board)
    net = find_net(work.session, board, command.net)
    values = _net_columns(command)
    typed = [row.columns(PinFields) for row in command.pins]
    stored = [line.as_typed() for line in pins_of(work.session, net)]
    expect_version("net", net, command.opened_version, values | {"pins": typed}, {"pins": stored})
    rows = _rows(work, board, command, net)
    said = [change(net, values)]
    if _replace_pins(work, net, rows):
        part_changed(net)
        said.append(f"now {_counted(rows)}")
    words = f"{called(machine, board, net)}: {'; '.join(filter(None, said)) or 'nothing changed'}."
    return Entry("revise net", net, words, machine)


@handles(DropNet)
def drop_net(work: Work, command: DropNet) -> Entry:
    machine = find_machine(work.session, command.machine)
    board = find_board(work.session, machine, command.board)
    net = find_net(work.session, board, command.net)
    expect_version("net", net, command.opened_version, {})
    for pin in _stored_pins(work, net):
        work.session.delete(pin)
    work.session.flush()
    work.session.delete(net)
    work.session.flush()
    return Entry(DROPPED, net, f"{called(machine, board, net)} was taken off the record.", machine)


def called(machine: Machine, board: Board, net: Net) -> str:
    """A net as the journal names it."""
    return f"Net {net.number}, {net.name}, on {board.name} of {machine.tag}"


def _net_columns(command: NetFields) -> Columns:
    columns = command.columns(NetFields)
    del columns["pins"]
    return columns


def _counted(rows: list[Columns]) -> str:
    return f"{len(rows)} pin{'' if len(rows) == 1 else 's'}"


def _rows(work: Work, board: Board, command: NetFields, net: Net | None) -> list[Columns]:
    """The pins as their table takes them, or one sentence for each field that will not do."""
    faults = faults_of(command)
    positions = _positions(work, board, command.pins)
    rows = []
    for number, pin in enumerate(command.pins):
        at = positions.get(designator_key(pin.designator))
        through = positions.get(designator_key(pin.series)) if pin.series else None
        if at is None:
            faults[f"pins.{number}.designator"] = str(NotFound("position", pin.designator))
        if pin.series and (said := _series_fault(pin, at, through)):
            faults.setdefault(f"pins.{number}.series", said)
        columns = pin.columns(PinFields)
        del columns["designator"], columns["series"]
        tied = {"position_id": at.key if at else 0, "series_position_id": through.key if through else None}
        rows.append(columns | tied)
    if not faults:
        types = types_at(work.session, positions.values())
        faults = _not_there(rows, types) or _by_two_names(rows, types) or _taken(work, rows, net, types)
    if faults:
        raise Invalid(faults)
    return rows


def _positions(work: Work, board: Board, pins: list[PinFields]) -> dict[str, Position]:
    named = {designator_key(text) for pin in pins for text in (pin.designator, pin.series) if text}
    query = select(Position).where(Position.board_id == board.id, col(Position.designator_key).in_(sorted(named)))
    return {position.designator_key: position for position in work.session.exec(query)}


def _series_fault(pin: PinFields, at: Position | None, through: Position | None) -> str:
    if through is None:
        return str(NotFound("position", pin.series))
    if at is not None and through.id == at.id:
        return "The resistor in series sits at a position of its own."
    if through.kind not in IN_SERIES:
        return f"{through.designator} is a place for a {through.kind}; a resistor in series is meant here."
    return ""


def _not_there(rows: list[Columns], types: dict[int, str]) -> dict[str, str]:
    """A sentence for each pin that the chip there has not, and each output that is an input of it."""
    faults = {}
    for number, row in enumerate(rows):
        kind = types.get(row["position_id"], "")
        if row["role"] == PinRole.PASSIVE:
            continue
        if said := beyond(kind, row["pin"]):
            faults[f"pins.{number}.pin"] = said
        port = port_pin(kind, row["pin"])
        if port and port.place == "input" and row["role"] != PinRole.INPUT:
            faults[f"pins.{number}.role"] = (
                f"Pin {row['pin']} is {port.name}, an input of the {kind}: it drives nothing."
            )
    return faults


def _by_two_names(rows: list[Columns], types: dict[int, str]) -> dict[str, str]:
    """A sentence for each pin that an earlier row has by its other name, as the type of the part there tells."""
    seen: dict[tuple[int, str], int] = {}
    faults = {}
    for number, row in enumerate(rows):
        kind = types.get(row["position_id"], "")
        first = seen.setdefault((row["position_id"], pin_key(kind, row["pin"])), number)
        if first != number:
            faults[f"pins.{number}.pin"] = (
                f"On the {kind} there, {row['pin']} is the same pin as {rows[first]['pin']}, in pin row {first + 1}."
            )
    return faults


def _taken(work: Work, rows: list[Columns], net: Net | None, types: dict[int, str]) -> dict[str, str]:
    """A pin is on one net: a sentence for each that another net of the board has already."""
    ids = {row["position_id"] for row in rows}
    query = select(NetPin, Net).join(Net, col(Net.id) == col(NetPin.net_id)).where(col(NetPin.position_id).in_(ids))
    others = {
        (pin.position_id, pin_key(types.get(pin.position_id, ""), pin.pin)): other
        for pin, other in work.session.exec(query)
        if pin.pin and (net is None or other.id != net.id)
    }
    keys = [(row["position_id"], pin_key(types.get(row["position_id"], ""), row["pin"])) for row in rows]
    return {
        f"pins.{number}.pin": f"That pin is on net {other.number}, {other.name}, already; a pin is on one net."
        for number, key in enumerate(keys)
        if (other := others.get(key))
    }


def _stored_pins(work: Work, net: Net) -> list[NetPin]:
    return list(work.session.exec(select(NetPin).where(NetPin.net_id == net.id).order_by(col(NetPin.place))))


def _replace_pins(work: Work, net: Net, rows: list[Columns]) -> bool:
    """Make the stored pins those of the rows, each kept that is still there; whether anything changed."""
    known = {(pin.position_id, pins_in(pin.pin)): pin for pin in _stored_pins(work, net)}
    matched = [known.pop((row["position_id"], pins_in(row["pin"])), None) for row in rows]
    changed = bool(known) or None in matched
    for gone in known.values():
        work.session.delete(gone)
    work.session.flush()
    moved = [(place, pin) for place, pin in enumerate(matched) if pin and pin.place != place]
    for place, pin in moved:  # out of one another's way first: a place holds one pin
        pin.place = -1 - place
    work.session.flush()
    for place, (row, kept) in enumerate(zip(rows, matched, strict=True)):
        if kept is None:
            work.session.add(NetPin(net_id=net.key, place=place, **row))
        elif change(kept, row | {"place": place}):
            changed = True
    work.session.flush()
    return changed or bool(moved)
