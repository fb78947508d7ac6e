"""What sits at each pin of a net in one case: as it is now, as it came, and as a mod would leave it.

As it came are the first parts, with no step done; a mod that is considered or planned adds the steps that it still has
to do to what is there now. All cases are told from three queries, however many pins the net has. What a pin has to do
with volts is for `server/records/signals.py` to say.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace

from sqlmodel import Session, col, select

from server.engineering.logic_kinds import Does, kind_of
from server.records.errors import NotFound
from server.records.placing import described
from server.records.questions.nets import DRIVING, LISTENING, PinLine, pin_key, pins_of
from server.records.questions.stacking import pins_in
from server.records.tables import Machine, Mod, Net, Part, Placement, Position, Step
from server.records.words import ModState, Origin, PinRole, StepKind

NOW, CAME = "now", "came"
_NOTHING_KNOWN = "nothing is recorded or expected there"
OPEN_STATES = (ModState.CONSIDERED.value, ModState.PLANNED.value)
# The steps that can change what is on a net.
TELLING = tuple(
    kind.value for kind in (StepKind.TAKE_OUT, StepKind.FIT, StepKind.LIFT_PIN, StepKind.CUT_TRACE, StepKind.ADD_LINK)
)


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
        said, kind = "", self._here(line.position, case).type
        for one in self._in_force(case):
            if one.step.kind == StepKind.FIT and one.step.position_id == line.position.id:
                said = ""
            elif one.step.kind == StepKind.LIFT_PIN and _meets(one.step, line, kind):
                said = one.words
        return said

    def _notes(self, case: Case) -> Iterator[str]:
        for one in self._in_force(case):
            touched = [line for line in self.lines if _meets(one.step, line, self._here(line.position, case).type)]
            if touched and one.step.kind == StepKind.CUT_TRACE:
                yield (
                    f"A trace is cut at {touched[0].name} ({one.words}). If that parts it from this net, take the pin "
                    "off the net; the sums leave it on."
                )
            if touched and one.step.kind == StepKind.ADD_LINK:
                yield f"A link is added at {touched[0].name} ({one.words}); what it joins to the net is in no sum."


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


def _expected(position: Position) -> Here | None:
    if not (position.expected_type or position.expected_value):
        return None
    said = "by the service literature; no part is recorded there"
    return Here(position.kind, position.expected_type, position.expected_value, said)


def _nothing_known(position: Position) -> Here:
    return Here(position.kind, origin=_NOTHING_KNOWN)


def _meets(step: Step, line: PinLine, kind: str) -> bool:
    """Whether a step is at this pin; at either leg of a passive part, which has no more. `kind` is the type there."""
    if step.position_id != line.position.id:
        return False
    meant = pin_key(kind, line.entry.pin)
    return line.role is PinRole.PASSIVE or meant in (pin_key(kind, pin) for pin in pins_in(step.pin))


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
