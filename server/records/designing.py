"""A mod told of roles instead of positions, and its words told of positions again.

A role is what a design calls a position: “series resistor”. What belongs to one machine alone stays behind: days,
parts, what was there before, and what was measured there, which is not known on the next machine. Where a text names a
position (“measure across C3”), the design's text names the role between marks, ⟨reservoir⟩, so that on the next machine
it names the position there. Reads the record, writes nothing.
"""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from graphlib import TopologicalSorter
from typing import Any

from sqlmodel import Session, col, select

from server.records.circuit_lines import FALLS
from server.records.questions.circuits import rows_typed
from server.records.questions.mods import StepLine, steps_of
from server.records.questions.sums import TiedInput, tied_inputs
from server.records.tables import Board, Calculation, Expectation, Mod, Position, Procedure
from server.records.words import Source, StepKind

Rows = list[dict[str, Any]]
MEASURED = (Source.TRIAL, Source.WAVEFORM)
ROLE = re.compile("⟨([^⟩]+)⟩")


@dataclass(frozen=True, slots=True)
class Place:
    """A position that a mod's steps or sums speak of, what they do there, and what it could be called."""

    position: Position
    board: Board
    uses: tuple[str, ...]
    suggestion: str


def places_of(session: Session, mod: Mod) -> list[Place]:
    """Every position that a mod concerns: those of its steps first, then those that only its sums read."""
    found: dict[int, Place] = {}
    for line in steps_of(session, mod):
        if line.position and line.board:
            _add(found, line.position, line.board, f"step {line.step.number}: {line.step.kind}", "")
    for calculation in in_turn(session, mod):
        for tied in tied_inputs(session, calculation):
            if tied.position and tied.board:
                use = f"calculation {calculation.number}: {tied.entry.name}"
                _add(found, tied.position, tied.board, use, tied.entry.label)
    return list(found.values())


def _add(found: dict[int, Place], position: Position, board: Board, use: str, label: str) -> None:
    known = found.get(position.key)
    uses = (*known.uses, use) if known else (use,)
    plain = f"{position.kind} {position.designator}"
    suggestion = known.suggestion if known and known.suggestion != plain else label or plain
    found[position.key] = Place(position, board, uses, suggestion)


def written(session: Session, mod: Mod, names: Mapping[int, str]) -> dict[str, Any]:
    """The roles, steps, calculations and expectations of a mod; `names` gives each position's role."""
    places = places_of(session, mod)
    calculations = in_turn(session, mod)
    telling = _Telling(places, names, {row.key: number for number, row in enumerate(calculations, start=1)})
    return {
        "roles": [telling.role(place) for place in places],
        "steps": [telling.step(line) for line in steps_of(session, mod)],
        "calculations": [_calculation(session, telling, row) for row in calculations],
        "expectations": [telling.expectation(*row) for row in _expectations(session, mod)],
    }


def _calculation(session: Session, telling: "_Telling", calculation: Calculation) -> dict[str, Any]:
    tied = tied_inputs(session, calculation)
    told = telling.calculation(calculation, tied)
    if calculation.circuit is None:
        return told
    return told | {"circuit": telling.circuit(rows_typed(session, calculation), {one.entry.name: one for one in tied})}


def told_of_roles(text: str, places: Sequence[Place], names: Mapping[int, str]) -> str:
    """The text with each position's designator as its role; one that two boards have is left as it is."""
    count = Counter(place.position.designator for place in places)
    roles = {place.position.designator: names[place.position.key] for place in places}
    roles = {designator: role for designator, role in roles.items() if count[designator] == 1}
    if not roles:
        return text
    any_of_them = "|".join(re.escape(designator) for designator in sorted(roles, key=len, reverse=True))
    return re.sub(rf"(?<!\w)(?:{any_of_them})(?!\w)", lambda found: f"⟨{roles[found.group()]}⟩", text)


def told_of_positions(text: str, designators: Mapping[str, str]) -> str:
    """The text of a design with each role that stands between marks as the designator that it has on a machine."""
    return ROLE.sub(lambda found: designators.get(found[1], found[1]), text)


def in_turn(session: Session, mod: Mod) -> list[Calculation]:
    """The calculations of a mod, each after those of which it reads a line: so they are numbered in its design."""
    query = select(Calculation).where(Calculation.mod_id == mod.id).order_by(col(Calculation.number))
    known = {calculation.key: calculation for calculation in session.exec(query)}
    reads = {
        key: [tied.other.key for tied in tied_inputs(session, calculation) if tied.other]
        for key, calculation in known.items()
    }
    return [known[key] for key in TopologicalSorter(reads).static_order()]


@dataclass(frozen=True, slots=True)
class _Telling:
    """Rows told of roles. `number` is what each calculation is numbered in the design."""

    places: Sequence[Place]
    names: Mapping[int, str]
    number: Mapping[int, int]

    def told(self, text: str) -> str:
        return told_of_roles(text, self.places, self.names)

    def role(self, place: Place) -> dict[str, Any]:
        return {
            "name": self.names[place.position.key],
            "kind": place.position.kind,
            "board_kind": place.board.kind,
            "board": place.board.slug,
            "designator": place.position.designator,
        }

    def step(self, line: StepLine) -> dict[str, Any]:
        step = line.step
        fitted = line.part if step.kind == StepKind.FIT else None
        unplanned = fitted is not None and not (step.planned_type or step.planned_value)
        return {
            "kind": step.kind,
            "role": self.names.get(step.position_id or 0, ""),
            "pin": step.pin,
            "instruction": self.told(step.instruction),
            "planned_type": fitted.type if fitted and unplanned else step.planned_type,
            "planned_value": fitted.value if fitted and unplanned else step.planned_value,
            "trace_stated": step.trace_stated,
            "trace_reason": self.told(step.trace_reason),
        }

    def calculation(self, calculation: Calculation, inputs: Sequence[TiedInput]) -> dict[str, Any]:
        assumed = (self.told(one["sentence"]) for one in calculation.assumptions)
        return {
            "title": self.told(calculation.title),
            "method": calculation.method,
            "note": self.told(calculation.note),
            "inputs": [self.input(one) for one in inputs],
            "lines": [line | {"label": self.told(line["label"])} for line in calculation.lines],
            "limits": [limit | {"basis": self.told(limit["basis"])} for limit in calculation.limits],
            "assumptions": [{"sentence": sentence, "tested": False, "note": ""} for sentence in assumed],
        }

    def circuit(self, typed: Mapping[str, Any], tied: Mapping[str, TiedInput]) -> dict[str, Any]:
        """A circuit's rows as they were typed, its parts told of by their roles."""
        elements = [row | self._read(tied[row["name"]]) for row in typed["elements"]]
        timed = (tied[f"fall_{field}"] for field in FALLS.get(typed["fall_kind"], ()))
        fall = [row | self._read(one) for row, one in zip(typed["fall"], timed, strict=True)]
        told = {name: self.told(typed[name]) for name in ("title", "note")}
        assumptions = [
            {"sentence": self.told(one["sentence"]), "tested": False, "note": ""} for one in typed["assumptions"]
        ]
        return {**typed, **told, "elements": elements, "fall": fall, "assumptions": assumptions}

    def _read(self, tied: TiedInput) -> dict[str, Any]:
        """What a row of a circuit reads, where it is not typed."""
        source = tied.entry.source
        if source in MEASURED:
            return {"source": Source.UNKNOWN.value, "trial": "", "waveform": "", "figure": ""}
        if tied.position:
            return {"role": self.names[tied.position.key], "board": "", "designator": ""}
        return {"other_calculation": self.number[tied.other.key]} if tied.other else {}

    def input(self, tied: TiedInput) -> dict[str, Any]:
        entry = tied.entry
        plain = {"name": entry.name, "label": self.told(entry.label), "unit": entry.unit}
        if entry.source in MEASURED:
            return plain | {"source": Source.UNKNOWN.value}
        if tied.position:
            role = self.names[tied.position.key]
            return plain | {"source": Source.PART.value, "role": role, "when_empty": entry.when_empty}
        if tied.other:
            read = {"other_calculation": self.number[tied.other.key], "other_line": entry.other_line}
            return plain | {"source": Source.LINE.value} | read
        return plain | {"source": entry.source, "text": entry.text}

    def expectation(self, one: Expectation, procedure: Procedure | None) -> dict[str, Any]:
        return {
            "sentence": self.told(one.sentence),
            "procedure": str(procedure.uuid) if procedure else "",
            "sense": one.sense,
            "bound": one.bound,
            "unit": one.unit,
            "calculation": self.number[one.calculation_id] if one.calculation_id else None,
            "line": one.line,
        }


def _expectations(session: Session, mod: Mod) -> Sequence[tuple[Expectation, Procedure | None]]:
    query = (
        select(Expectation, Procedure)
        .outerjoin(Procedure, col(Procedure.id) == col(Expectation.procedure_id))
        .where(Expectation.mod_id == mod.id)
        .order_by(col(Expectation.number))
    )
    return session.exec(query).all()
