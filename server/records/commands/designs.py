"""Designs: a mod written once, and fitted on many machines."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar
from uuid import UUID

from sqlmodel import select

from server.records.commands.base import LINE_MOST, Command, Day, Line, NeededLine, change, expect_version
from server.records.commands.calculations import AttachCalculation, attach_calculation
from server.records.commands.circuits import AttachCircuit, attach_circuit
from server.records.commands.mods import Expect, ModFields, PlanMod, called, expect, plan_mod
from server.records.commands.steps import AddStep, add_step
from server.records.designing import Place, in_turn, places_of, told_of_positions, told_of_roles, written
from server.records.errors import Invalid, NotFound, Refused
from server.records.questions.addresses import (
    find_board,
    find_design,
    find_machine,
    find_mod,
    find_position,
    free_slug,
    slug,
)
from server.records.questions.stays import home_of
from server.records.sums import inputs_of
from server.records.tables import Design, Expectation, Machine, Mod, Position, Procedure, Step
from server.records.tables.base import Kept
from server.records.traces import trace_of_kind
from server.records.words import ModState, StepKind, Trace
from server.records.work import Entry, Work, handles

Made = TypeVar("Made", bound=Command)


class RoleFields(Command):
    """What a design calls a position of the mod that it is written from."""

    board: str
    designator: Line
    name: Line = ""


class WriteDesign(ModFields):
    """Write a mod down as a design; the mod is then its first fitting."""

    machine: str
    mod: int
    roles: list[RoleFields] = []


class ReviseDesign(ModFields):
    """Its words. What is done, reckoned and expected stays, so that all fittings are held against one plan."""

    design: str
    opened_version: int


class PlaceFields(Command):
    """Where a role's part is on one machine."""

    role: NeededLine
    board: str
    designator: NeededLine


class FitDesign(Command):
    """Plan a fitting of a design on a machine: a mod with its steps, calculations and expectations."""

    machine: str
    design: str
    places: list[PlaceFields] = []
    state: ModState = ModState.PLANNED
    day: Day
    signer: NeededLine


@handles(WriteDesign)
def write_design(work: Work, command: WriteDesign) -> Entry:
    machine = find_machine(work.session, command.machine)
    mod = find_mod(work.session, machine, command.mod)
    if mod.design_id is not None:
        known = work.session.get_one(Design, mod.design_id)
        raise Refused(f"This mod is a fitting of the design “{known.title}” already.")
    places = places_of(work.session, mod)
    names = _names(work, home_of(work.session, mod), places, command.roles)
    told = written(work.session, mod, names)
    if not told["steps"]:
        raise Refused("A design needs at least one step. Write the mod’s steps first.")
    words = command.columns(ModFields)
    for name in ("purpose", "reasoning"):
        words[name] = told_of_roles(words[name], places, names)
    design = work.add(Design(slug=_free_slug(work, command.title), **words, **told))
    _mark_fitting(work, mod, design, names)
    return Entry("write design", design, f"Wrote the design {design.title} from mod {mod.number} of {machine.tag}.")


def _mark_fitting(work: Work, mod: Mod, design: Design, names: Mapping[int, str]) -> None:
    """The mod is a fitting: it, its steps, its sums and what they read say so."""
    mod.design_id = design.key
    for step in work.session.exec(select(Step).where(Step.mod_id == mod.id)):
        step.role = names.get(step.position_id or 0, "")
    for number, calculation in enumerate(in_turn(work.session, mod), start=1):
        calculation.design_number = number
        for given in inputs_of(work.session, calculation):
            given.role = names.get(given.position_id or 0, "")


@handles(ReviseDesign)
def revise_design(work: Work, command: ReviseDesign) -> Entry:
    design = find_design(work.session, command.design)
    values = command.columns(ModFields)
    expect_version("design", design, command.opened_version, values)
    return Entry("revise design", design, f"Design {design.title}: {change(design, values)}.")


@handles(FitDesign)
def fit_design(work: Work, command: FitDesign) -> Entry:
    machine = find_machine(work.session, command.machine)
    design = find_design(work.session, command.design)
    places, names = _places(work, machine, design, command.places)
    mod = _planned(work, machine, design, command, places)
    of_mod = {"machine": machine.tag, "mod": mod.number}
    for number, row in enumerate(design.steps, start=1):
        _carry_out(work, f"Step {number}", add_step, AddStep, _at(_reasoned(row, design), places) | of_mod)
    for row in design.calculations:
        if circuit := row.get("circuit"):
            rows = {name: [_at(one, places) for one in circuit[name]] for name in ("elements", "fall", "assumptions")}
            drawn = _at(circuit, places) | rows | of_mod
            _carry_out(work, f"The circuit “{row['title']}”", attach_circuit, AttachCircuit, drawn)
            continue
        asked = _at(row, places) | {"inputs": [_at(given, places) for given in row["inputs"]]} | of_mod
        for name in ("lines", "limits", "assumptions"):
            asked[name] = [_at(one, places) for one in row[name]]
        _carry_out(work, f"The calculation “{row['title']}”", attach_calculation, AttachCalculation, asked)
    for row in design.expectations:
        asked = _at(row, places) | {"procedure": _procedure(work, row["procedure"]), "unit": ""} | of_mod
        made = _carry_out(work, f"The expectation “{row['sentence']}”", expect, Expect, asked)
        if isinstance(made, Expectation):
            made.unit = row["unit"]  # of a line that has no result here yet, the record cannot tell it
    _mark_fitting(work, mod, design, names)
    words = f"{called(machine, mod)} was planned as a fitting of the design {design.title}."
    return Entry("fit design", mod, words, machine)


def _reasoned(row: Mapping[str, Any], design: Design) -> Mapping[str, Any]:
    """A step that stays for good has a reason; one of a design from before that was asked for says where it is from."""
    for_good = Trace.PERMANENT in (trace_of_kind(StepKind(row["kind"]), None), row["trace_stated"])
    if row["trace_reason"] or not for_good:
        return row
    return {**row, "trace_reason": f"The design {design.title} has it so and gives no reason."[:LINE_MOST]}


def _planned(
    work: Work, machine: Machine, design: Design, command: FitDesign, places: Mapping[str, PlaceFields]
) -> Mod:
    asked = _at({name: getattr(design, name) for name in ModFields.model_fields}, places)
    asked |= {"machine": machine.tag, "state": command.state, "day": command.day, "signer": command.signer}
    mod = plan_mod(work, PlanMod.read(asked)).subject
    if not isinstance(mod, Mod):
        raise TypeError("planning a mod gives a mod")
    return mod


def _names(work: Work, machine: Machine, places: Sequence[Place], roles: list[RoleFields]) -> dict[int, str]:
    """Each position's role; every position of the mod needs one of its own."""
    given = {
        find_position(work.session, find_board(work.session, machine, role.board), role.designator).key: role.name
        for role in roles
    }
    if roles and given.keys() != {place.position.key for place in places}:
        raise Refused("The mod’s steps or sums were changed while you wrote this. Name its roles as they are now.")
    faults, taken = {}, set[str]()
    for number, place in enumerate(places):
        name = given.get(place.position.key, "")
        if not name or set(name) & set("⟨⟩"):
            faults[f"roles.{number}.name"] = f"Say what {place.position.designator} is called in the design."
        elif name.casefold() in taken:
            faults[f"roles.{number}.name"] = f"Another position is called “{name}” already."
        taken.add(name.casefold())
    if faults:
        raise Invalid(faults)
    return given


def _places(
    work: Work, machine: Machine, design: Design, given: list[PlaceFields]
) -> tuple[dict[str, PlaceFields], dict[int, str]]:
    """Where each role is on this machine, and the role of each of these positions; two may not share one."""
    named = {place.role: place for place in given}
    faults: dict[str, str] = {}
    taken: dict[int, str] = {}
    for number, role in enumerate(row["name"] for row in design.roles):
        if role not in named:
            faults[f"places.{number}.designator"] = f"Say where the {role} is on {machine.tag}."
            continue
        position = _position(work, machine, named[role], number, faults)
        if position is None:
            continue
        if other := taken.get(position.key):
            faults[f"places.{number}.designator"] = f"{position.designator} is the {other} already."
        taken[position.key] = role
    if faults:
        raise Invalid(faults)
    return named, taken


def _position(work: Work, machine: Machine, place: PlaceFields, number: int, faults: dict[str, str]) -> Position | None:
    try:
        return find_position(work.session, find_board(work.session, machine, place.board), place.designator)
    except NotFound as missing:
        field = "board" if missing.kind == "board" else "designator"
        faults[f"places.{number}.{field}"] = f"{missing} Enter it among the board’s positions first."
        return None


def _at(row: Mapping[str, Any], places: Mapping[str, PlaceFields]) -> dict[str, Any]:
    """A row of a design with its role, and those that its texts name, as the positions that they have here."""
    there = {role: place.designator for role, place in places.items()}
    told = {
        name: told_of_positions(value, there) if isinstance(value, str) else value
        for name, value in row.items()
        if name != "role"
    }
    if role := row.get("role"):
        told |= {"board": places[role].board, "designator": places[role].designator}
    return told


def _procedure(work: Work, uuid: str) -> str:
    if not uuid:
        return ""
    found = work.session.exec(select(Procedure).where(Procedure.uuid == UUID(uuid))).first()
    return found.slug if found else ""


def _carry_out(
    work: Work, what: str, handler: Callable[[Work, Made], Entry], kind: type[Made], asked: Mapping[str, Any]
) -> Kept:
    """One part of the fitting, by its own command; its fields are not those of the form, so a fault is of the whole."""
    try:
        return handler(
            work, kind.read({name: value for name, value in asked.items() if value not in (None, "")})
        ).subject
    except Invalid as fault:
        raise Refused(f"{what} cannot be fitted here: {fault}") from None


def _free_slug(work: Work, title: str) -> str:
    wanted = slug(title) or "design"
    wanted = f"{wanted}-design" if wanted == "new" else wanted
    return free_slug(wanted, set(work.session.exec(select(Design.slug))))
