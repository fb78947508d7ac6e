"""Questions about nets: those of a board, the pins of one, and what sits at each in one case.

The cases are the net as it is now, as it came (the first parts, no step done), and as a mod that is considered or
planned would leave it. All of them are told from three queries, however many pins the net has. What a pin has to do
with volts is for `server/records/signals.py` to say.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from server.engineering.logic_kinds import Does, kind_of
from server.records.errors import NotFound
from server.records.placing import described
from server.records.questions.addresses import KEY_MOST
from server.records.questions.paging import Paged, paged
from server.records.questions.stacking import pins_in
from server.records.tables import Board, Machine, Mod, Net, NetPin, Part, Placement, Position, Step
from server.records.words import ModState, Origin, PinRole, StepKind

NOW, CAME = "now", "came"
_NOTHING_KNOWN = "nothing is recorded or expected there"
OPEN_STATES = (ModState.CONSIDERED.value, ModState.PLANNED.value)
DRIVING = (PinRole.TOTEM_POLE, PinRole.OPEN_COLLECTOR, PinRole.EITHER_WAY)
LISTENING = (PinRole.INPUT, PinRole.EITHER_WAY)
# The steps that can change what is on a net.
TELLING = tuple(
    kind.value for kind in (StepKind.TAKE_OUT, StepKind.FIT, StepKind.LIFT_PIN, StepKind.CUT_TRACE, StepKind.ADD_LINK)
)


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


@dataclass(frozen=True, slots=True)
class Case:
    """One state of the net that can be asked about; `key` names it in an address."""

    key: str
    words: str
    mod: Mod | None = None


@dataclass(frozen=True, slots=True)
class Here:
    """What a position holds in one case. `empty` says why it holds nothing; `fitted` that a step put the part there."""

    kind: str
    type: str = ""
    value: str = ""
    origin: str = ""
    empty: str = ""
    fitted: bool = False

    @property
    def is_known(self) -> bool:
        return self.origin != _NOTHING_KNOWN

    @property
    def words(self) -> str:
        return "nothing" if self.empty else described(self.kind, self.type, self.value)


@dataclass(frozen=True, slots=True)
class PinAt:
    """A pin in one case. `lifted` says by what it was lifted off its pad; families are empty where none is told."""

    line: PinLine
    here: Here
    through: Here | None
    lifted: str
    drives_as: str
    hears_as: str


@dataclass(frozen=True, slots=True)
class NetAt:
    """A net in one case; `notes` are what was done at its pins that this record cannot judge."""

    case: Case
    pins: tuple[PinAt, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DoneOrPlanned:
    """A step at a position of a net, with its mod and the tag of the mod's machine."""

    step: Step
    mod: Mod
    tag: str
    home: bool

    @property
    def words(self) -> str:
        of = "" if self.home else f" of {self.tag}"
        return f"mod {self.mod.number}{of}, step {self.step.number}"

    @property
    def stands(self) -> bool:
        return self.step.done_on is not None and self.step.undone_on is None

    @property
    def key(self) -> str:
        return f"mod-{self.mod.number}" if self.home else f"mod-{self.mod.number}-{self.tag}"


@dataclass(frozen=True, slots=True)
class NetRecord:
    """All that is recorded of a net: its pins, who sat at their positions, and the steps there."""

    net: Net
    lines: tuple[PinLine, ...]
    sittings: dict[int, list[tuple[Placement, Part]]]
    steps: tuple[DoneOrPlanned, ...]

    def cases(self) -> list[Case]:
        """Now, as it came, and each mod that has steps here still to be done."""
        found = {NOW: Case(NOW, "now"), CAME: Case(CAME, "as it came")}
        for one in self.steps:
            if one.mod.state in OPEN_STATES and one.step.done_on is None:
                of = "" if one.home else f" of {one.tag}"
                found.setdefault(one.key, Case(one.key, f"as mod {one.mod.number}{of} plans it", one.mod))
        return list(found.values())

    def at(self, key: str) -> NetAt:
        """The net in a case; raises NotFound for one that it has not."""
        case = next((case for case in self.cases() if case.key == key), None)
        if case is None:
            raise NotFound("case of this net", key)
        return NetAt(case, tuple(self._pin(line, case) for line in self.lines), tuple(self._notes(case)))

    def _pin(self, line: PinLine, case: Case) -> PinAt:
        here = self._here(line.position, case)
        return PinAt(
            line,
            here,
            self._here(line.series, case) if line.series else None,
            self._lifted(line, case),
            self._family(line, here, "drives") if line.role in DRIVING else "",
            self._family(line, here, "listens") if line.role in LISTENING else "",
        )

    def _family(self, line: PinLine, here: Here, does: Does) -> str:
        """As the part's type tells it; what was written down counts unless a step put another part there."""
        written = line.entry.family
        if here.empty:
            return ""
        if written and not here.fitted:
            return written
        told = kind_of(here.type, line.entry.pin, does) or ""
        return told or ("" if here.origin.startswith("planned") else written)

    def _here(self, position: Position, case: Case) -> Here:
        if case.key == CAME:
            return self._came(position)
        here = self._now(position)
        for one in self._planned_by(case.mod):
            if one.step.position_id != position.id:
                continue
            if one.step.kind == StepKind.TAKE_OUT:
                here = Here(position.kind, empty=f"taken out by {one.words}")
            elif one.step.kind == StepKind.FIT:
                step = one.step
                here = Here(
                    position.kind, step.planned_type, step.planned_value, f"planned in {one.words}", fitted=True
                )
        return here

    def _came(self, position: Position) -> Here:
        """The original that was there first; else what the service literature expects; else the first part."""
        first = self._first(position)
        if first and first.origin == Origin.ORIGINAL and (first.type or first.value):
            return Here(first.kind, first.type or position.expected_type, first.value or position.expected_value,
                        "the original")  # fmt: skip
        if expected := _expected(position):
            return expected
        if first:
            return Here(first.kind, first.type, first.value, "the first part known of")
        return _nothing_known(position)

    def _first(self, position: Position) -> Part | None:
        sat = self.sittings.get(position.key, [])
        return next((part for placement, part in sat if placement.fitted_by_step_id is None), None)

    def _now(self, position: Position) -> Here:
        sat = self.sittings.get(position.key, [])
        for placement, part in sat:
            if placement.removed_on is None:
                fitted = placement.fitted_by_step_id is not None
                return Here(part.kind, part.type, part.value, "there now", fitted=fitted)
        if sat:
            return Here(position.kind, empty="empty now")
        return _expected(position) or _nothing_known(position)

    def _planned_by(self, mod: Mod | None) -> list[DoneOrPlanned]:
        if mod is None:
            return []
        waiting = [one for one in self.steps if one.mod.id == mod.id and one.step.done_on is None]
        return sorted(waiting, key=lambda one: one.step.number)

    def _in_force(self, case: Case) -> list[DoneOrPlanned]:
        """The steps that count in a case, in the order in which they are done."""
        if case.key == CAME:
            return []
        return sorted((one for one in self.steps if one.stands), key=_moment) + self._planned_by(case.mod)

    def _lifted(self, line: PinLine, case: Case) -> str:
        """Which step lifted the pin, or a leg of a passive part; a part that is fitted later has all its pins in."""
        said, pin = "", pins_in(line.entry.pin)[0]
        for one in self._in_force(case):
            if one.step.position_id != line.position.id:
                continue
            if one.step.kind == StepKind.FIT:
                said = ""
            elif one.step.kind == StepKind.LIFT_PIN and (line.role is PinRole.PASSIVE or pin in pins_in(one.step.pin)):
                said = one.words
        return said

    def _notes(self, case: Case) -> Iterator[str]:
        for one in self._in_force(case):
            where = next((line for line in self.lines if line.position.id == one.step.position_id), None)
            if where is None:
                continue
            place, pins = where.position.designator, pins_in(one.step.pin)
            if one.step.kind == StepKind.LIFT_PIN and pins == ("",) and where.entry.pin:
                yield f"A pin of {place} is lifted ({one.words}) without saying which; it is taken to be another one."
            touched = [line for line in self.lines if line.position.id == one.step.position_id
                       and pins_in(line.entry.pin)[0] in pins]  # fmt: skip
            if touched and one.step.kind == StepKind.CUT_TRACE:
                yield (
                    f"A trace is cut at {touched[0].name} ({one.words}). If that parts it from this net, take the pin "
                    "off the net; the sums leave it on."
                )
            if touched and one.step.kind == StepKind.ADD_LINK:
                yield f"A link is added at {touched[0].name} ({one.words}); what it joins to the net is in no sum."


def find_net(session: Session, board: Board, number: int) -> Net:
    wanted = number if abs(number) <= KEY_MOST else 0
    net = session.exec(select(Net).where(Net.board_id == board.id, Net.number == wanted)).first()
    if net is None:
        raise NotFound("net", number)
    return net


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


def nets_at(session: Session, position: Position) -> list[tuple[Net, NetPin]]:
    """The nets that the pins of a position are on, by number."""
    query = select(Net, NetPin).join(NetPin, col(NetPin.net_id) == col(Net.id))
    found = session.exec(query.where(NetPin.position_id == position.id).order_by(col(Net.number), col(NetPin.place)))
    return [(net, pin) for net, pin in found]


def record_of(session: Session, machine: Machine, net: Net) -> NetRecord:
    """A net with all that tells its cases; `machine` is the one whose board it is on."""
    lines = pins_of(session, net)
    positions = {one.key for line in lines for one in (line.position, line.series) if one}
    sittings: dict[int, list[tuple[Placement, Part]]] = defaultdict(list)
    query = (
        select(Placement, Part)
        .join(Part, col(Part.id) == col(Placement.part_id))
        .where(col(Placement.position_id).in_(positions))
        .order_by(col(Placement.fitted_on).asc().nulls_first(), col(Placement.id))
    )
    for placement, part in session.exec(query):
        sittings[placement.position_id].append((placement, part))
    steps = (
        select(Step, Mod, Machine.tag)
        .join(Mod, col(Mod.id) == col(Step.mod_id))
        .join(Machine, col(Machine.id) == col(Mod.machine_id))
        .where(col(Step.position_id).in_(positions), col(Step.kind).in_(TELLING), col(Step.undone_on).is_(None))
        .order_by(col(Mod.number), col(Mod.id), col(Step.number))
    )
    done = tuple(DoneOrPlanned(step, mod, tag, mod.machine_id == machine.id) for step, mod, tag in session.exec(steps))
    return NetRecord(net, tuple(lines), dict(sittings), done)


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


def _expected(position: Position) -> Here | None:
    if not (position.expected_type or position.expected_value):
        return None
    said = "by the service literature; no part is recorded there"
    return Here(position.kind, position.expected_type, position.expected_value, said)


def _nothing_known(position: Position) -> Here:
    return Here(position.kind, origin=_NOTHING_KNOWN)


def _moment(one: DoneOrPlanned) -> tuple[str, int, int]:
    return str(one.step.done_on), one.step.done_order, one.step.number


def unlike(now: NetAt, other: NetAt) -> list[str]:
    """What differs between two cases of one net, pin by pin, each a clause."""
    said = []
    for before, after in zip(now.pins, other.pins, strict=True):
        said += list(_pin_differences(before, after))
    return list(dict.fromkeys(said))


def _pin_differences(before: PinAt, after: PinAt) -> Iterator[str]:
    line = after.line
    for position, one, two in (
        (line.position, before.here, after.here),
        (line.series, before.through, after.through),
    ):
        if position and one and two and replace(one, origin="", fitted=False) != replace(two, origin="", fitted=False):
            yield f"{position.designator} holds {_called(two)} instead of {_called(one)}"
    if bool(before.lifted) != bool(after.lifted):
        yield f"{line.name} is lifted ({after.lifted})" if after.lifted else f"{line.name} is not lifted"


def _called(here: Here) -> str:
    if not here.is_known:
        return "nothing that is known"
    return "nothing" if here.empty else f"a {here.words}"
