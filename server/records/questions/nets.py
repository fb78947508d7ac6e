"""Questions about nets: those of a board, those of a position, and the pins of one in their order.

What sits at the pins in one case or another is for `net_cases.py` to tell.
"""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from server.engineering.port_pins import port_pin
from server.records.questions.paging import Paged, paged
from server.records.questions.stacking import pins_in
from server.records.tables import Board, Net, NetPin, Part, Placement, Position
from server.records.words import PinRole

DRIVING = (PinRole.TOTEM_POLE, PinRole.OPEN_COLLECTOR, PinRole.EITHER_WAY)
LISTENING = (PinRole.INPUT, PinRole.EITHER_WAY)


@dataclass(frozen=True, slots=True)
class NetLine:
    """A net in a list: the pins that drive it and those that listen, by name."""

    net: Net
    drivers: tuple[str, ...]
    listeners: tuple[str, ...]
    pins: int


@dataclass(frozen=True, slots=True)
class PinLine:
    """A pin of a net with its position, and that of the resistor in series."""

    entry: NetPin
    position: Position
    series: Position | None

    @property
    def name(self) -> str:
        return f"{self.position.designator} pin {self.entry.pin}" if self.entry.pin else self.position.designator

    @property
    def role(self) -> PinRole:
        return PinRole(self.entry.role)

    def as_typed(self) -> dict[str, str]:
        """The pin as the form and the command take it."""
        entry = self.entry
        return {
            "designator": self.position.designator,
            "pin": entry.pin,
            "role": entry.role,
            "family": entry.family,
            "drives": entry.drives,
            "series": self.series.designator if self.series else "",
            "other_end": entry.other_end,
            "seen_at": entry.seen_at,
        }


def nets_of(session: Session, board: Board, number: int, most: int = 50) -> Paged[NetLine]:
    """The nets of a board by number, each with the pins that drive it and those that listen."""
    query = select(Net).where(Net.board_id == board.id).order_by(col(Net.number))
    found = paged(session, query, number, most)
    pins: dict[int, list[PinLine]] = defaultdict(list)
    for line in _pin_lines(session, [net.key for net in found.rows]):
        pins[line.entry.net_id].append(line)
    return Paged([_net_line(net, pins[net.key]) for net in found.rows], found.number, found.last, found.total)


def pins_of(session: Session, net: Net) -> list[PinLine]:
    """The pins of a net in their order along the schematic."""
    return _pin_lines(session, [net.key])


def types_at(session: Session, positions: Collection[Position]) -> dict[int, str]:
    """The type numbers at these positions, by their keys: of the part there now, else the one that is expected."""
    types = {position.key: position.expected_type for position in positions}
    query = (
        select(Placement.position_id, Part.type)
        .join(Part, col(Part.id) == col(Placement.part_id))
        .where(col(Placement.position_id).in_(sorted(types)), col(Placement.removed_on).is_(None))
    )
    return types | {position: kind for position, kind in session.exec(query) if kind}


def pin_key(type_number: str, pin: str) -> str:
    """What a pin goes by, however it is spelled; a number and a name are one where the chip's type tells it."""
    known = port_pin(type_number, pin)
    return known.name if known else pins_in(pin)[0]


def nets_at(session: Session, position: Position) -> list[tuple[Net, NetPin]]:
    """The nets that the pins of a position are on, by number."""
    query = select(Net, NetPin).join(NetPin, col(NetPin.net_id) == col(Net.id))
    found = session.exec(query.where(NetPin.position_id == position.id).order_by(col(Net.number), col(NetPin.place)))
    return [(net, pin) for net, pin in found]


def _pin_lines(session: Session, nets: Sequence[int]) -> list[PinLine]:
    series = aliased(Position)
    query = (
        select(NetPin, Position, series)
        .join(Position, col(Position.id) == col(NetPin.position_id))
        .outerjoin(series, col(series.id) == col(NetPin.series_position_id))
        .where(col(NetPin.net_id).in_(nets))
        .order_by(col(NetPin.net_id), col(NetPin.place))
    )
    return [PinLine(*row) for row in session.exec(query)]


def _net_line(net: Net, pins: Sequence[PinLine]) -> NetLine:
    drivers = tuple(line.name for line in pins if line.role in DRIVING)
    return NetLine(net, drivers, tuple(line.name for line in pins if line.role in LISTENING), len(pins))
