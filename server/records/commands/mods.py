"""Planning mods and moving them through life: considered, planned, fitted, undone, dropped."""

from collections.abc import Sequence
from datetime import date
from typing import Literal

from sqlmodel import col, func, select

from server.records.commands.base import (
    Command,
    Day,
    Line,
    NeededLine,
    OptionalInt,
    Prose,
    change,
    expect_version,
)
from server.records.errors import Invalid, NotFound, Refused
from server.records.questions.addresses import (
    find_calculation,
    find_expectation,
    find_machine,
    find_mod,
    find_procedure,
    find_symptom,
    next_number,
)
from server.records.questions.foretold import unit_of, unlike
from server.records.questions.numbers import next_ever
from server.records.questions.stays import board_gone
from server.records.questions.trials import yes_or_no
from server.records.sums import latest_run
from server.records.tables import Calculation, Expectation, Machine, Mod, ModMove, Procedure, Step, Symptom
from server.records.traces import CANNOT_BE_PUT_BACK
from server.records.typed_amounts import Amount, NoAmount, amount_in
from server.records.words import Aim, Hazard, ModState, Sense
from server.records.work import Entry, Work, handles

MOVES: dict[ModState, tuple[ModState, ...]] = {
    ModState.CONSIDERED: (ModState.PLANNED, ModState.DROPPED),
    ModState.PLANNED: (ModState.FITTED, ModState.CONSIDERED, ModState.DROPPED),
    ModState.FITTED: (ModState.UNDONE,),
    ModState.UNDONE: (),
    ModState.DROPPED: (ModState.CONSIDERED,),
}


DROPPED = "drop expectation"
SIGHTED = (Sense.SEEN, Sense.NOT_SEEN)
BOUNDED = (Sense.BELOW, Sense.ABOVE)


class ModFields(Command):
    """What a mod is for and why it is thought to work."""

    title: NeededLine
    purpose: Prose = ""
    reasoning: Prose = ""
    hazards: list[Hazard] = []


class WorkFields(Command):
    """What kind of work a mod is, and the number of the symptom that it answers; neither has to be said."""

    aim: Aim | Literal[""] = ""
    symptom: OptionalInt = None


class PlanMod(ModFields, WorkFields):
    machine: str
    state: ModState = ModState.CONSIDERED
    day: Day
    signer: NeededLine


class ReviseMod(ModFields, WorkFields):
    machine: str
    mod: int
    opened_version: int
    outcome: Prose = ""


class MoveMod(Command):
    """A mod comes into a state on a day, signed."""

    machine: str
    mod: int
    state: ModState
    day: Day
    signer: NeededLine
    note: Prose = ""


class Expect(Command):
    """What a mod is expected to do, in a sentence, tied to a procedure where one can tell.

    `calculation` is the number of one of the mod's calculations, and `line` the line of it that foretells the outcome.
    `bound` is in the procedure's unit, or brings its own; without a procedure, in the line's.
    """

    machine: str
    mod: int
    sentence: NeededLine
    procedure: str = ""
    sense: Sense = Sense.BETTER
    bound: Amount = None
    calculation: OptionalInt = None
    line: Line = ""


class DropExpectation(Command):
    """Take an expectation away; its sentence says which was meant, because numbers are given again."""

    machine: str
    mod: int
    number: int
    sentence: str


@handles(PlanMod)
def plan_mod(work: Work, command: PlanMod) -> Entry:
    machine = find_machine(work.session, command.machine)
    if command.state not in (ModState.CONSIDERED, ModState.PLANNED):
        raise Invalid({"state": "A new mod is considered or planned; the rest of its life follows by its steps."})
    check_aim(command.aim, command.purpose)
    symptom = _symptom(work, machine, command.symptom)
    mod = Mod(
        machine_id=machine.key,
        number=next_number(work.session, Mod.number, Mod.machine_id == machine.id),
        state=command.state.value,
        **command.columns(ModFields),
    )
    mod.aim = command.columns(WorkFields)["aim"]
    mod.symptom_id = symptom.key if symptom else None
    work.add(mod)
    _move(work, mod, command.state, command.day, command.signer, "")
    answers = f" It answers symptom {symptom.number}." if symptom else ""
    words = f"Wrote down mod {mod.number} of {machine.tag}, {mod.title}, as {mod.state}.{answers}"
    return Entry("plan mod", mod, words, machine)


@handles(ReviseMod)
def revise_mod(work: Work, command: ReviseMod) -> Entry:
    machine = find_machine(work.session, command.machine)
    mod = find_mod(work.session, machine, command.mod)
    values = command.columns(ModFields) | {"aim": command.columns(WorkFields)["aim"], "outcome": command.outcome}
    stands = work.session.get(Symptom, mod.symptom_id) if mod.symptom_id else None
    asked = values | {"symptom": command.symptom}
    expect_version("mod", mod, command.opened_version, asked, {"symptom": stands.number if stands else None})
    check_aim(command.aim, command.purpose)
    symptom = _symptom(work, machine, command.symptom)
    said = [change(mod, values), _answer(mod, symptom)]
    return Entry("revise mod", mod, f"{called(machine, mod).rstrip(',')}: {'; '.join(filter(None, said))}.", machine)


@handles(MoveMod)
def move_mod(work: Work, command: MoveMod) -> Entry:
    machine = find_machine(work.session, command.machine)
    mod = find_mod(work.session, machine, command.mod)
    _check_move(work, mod, command)
    _move(work, mod, command.state, command.day, command.signer, command.note)
    words = f"{called(machine, mod)} is {command.state} since {command.day}, signed {command.signer}."
    return Entry("move mod", mod, words, machine)


@handles(Expect)
def expect(work: Work, command: Expect) -> Entry:
    machine = find_machine(work.session, command.machine)
    mod = find_mod(work.session, machine, command.mod)
    procedure = _procedure(work, command.procedure)
    calculation = _calculation(work, mod, command)
    _check_answerable(procedure, calculation, command)
    unit = _unit(work, procedure, calculation, command.line)
    if command.sense is Sense.AGREES:
        _check_agreement(work, procedure, calculation, command.line)
    expectation = work.add(
        Expectation(
            mod_id=mod.key,
            number=next_ever(work.session, Expectation, DROPPED, mod_id=mod.key),
            sentence=command.sentence.rstrip("."),
            procedure_id=procedure.key if procedure else None,
            sense=command.sense.value,
            bound=_bound(command, unit),
            unit=unit or "",
            calculation_id=calculation.key if calculation else None,
            line=command.line,
        )
    )
    return Entry("expect", expectation, f"{called(machine, mod)} is expected to: {command.sentence}.", machine)


@handles(DropExpectation)
def drop_expectation(work: Work, command: DropExpectation) -> Entry:
    machine = find_machine(work.session, command.machine)
    mod = find_mod(work.session, machine, command.mod)
    expectation = find_expectation(work.session, mod, command.number)
    if expectation.sentence != command.sentence:
        raise Refused("That expectation was changed by someone else meanwhile. Look again before it is taken away.")
    work.session.delete(expectation)
    words = f"{called(machine, mod)} is no longer expected to: {expectation.sentence}."
    return Entry(DROPPED, expectation, words, machine)


def _symptom(work: Work, machine: Machine, number: int | None) -> Symptom | None:
    if number is None:
        return None
    try:
        return find_symptom(work.session, machine, number)
    except NotFound as missing:
        raise Invalid({"symptom": str(missing)}) from None


def _answer(mod: Mod, symptom: Symptom | None) -> str:
    """Tie a mod to the symptom that it answers; say so where that changes anything."""
    key = symptom.key if symptom else None
    if mod.symptom_id == key:
        return ""
    mod.symptom_id = key
    return f"it answers symptom {symptom.number}" if symptom else "it answers no symptom any more"


def _procedure(work: Work, name: str) -> Procedure | None:
    if not name:
        return None
    try:
        return find_procedure(work.session, name)
    except NotFound as missing:
        raise Invalid({"procedure": str(missing)}) from None


def _calculation(work: Work, mod: Mod, command: Expect) -> Calculation | None:
    if command.calculation is None and not command.line:
        return None
    if command.calculation is None or not command.line:
        raise Invalid({"line": "Choose a line of one of the mod's calculations."})
    try:
        calculation = find_calculation(work.session, mod, command.calculation)
    except NotFound as missing:
        raise Invalid({"line": str(missing)}) from None
    if command.line not in {line["name"] for line in calculation.lines}:
        raise Invalid({"line": f"Calculation {calculation.number} has no line “{command.line}”."})
    return calculation


def _check_answerable(procedure: Procedure | None, calculation: Calculation | None, command: Expect) -> None:
    """Refuse what no trial and no sum could ever tell."""
    sense, observed = command.sense, procedure is not None and yes_or_no(procedure)
    faults = {}
    if sense in SIGHTED and procedure and not observed:
        faults["sense"] = f"“{sense}” is told by yes or no, and “{procedure.title}” gives figures."
    if sense in BOUNDED and procedure and observed:
        faults["sense"] = f"“{sense}” is told by figures, and “{procedure.title}” gives yes or no."
    if sense in BOUNDED and procedure is None and calculation is None:
        faults["procedure"] = f"Choose what “{sense}” is told by: a procedure, or a line of a calculation."
    if sense in BOUNDED and command.bound is None:
        faults["bound"] = f"“{sense}” needs the value that the readings are held against."
    if faults:
        raise Invalid(faults)


def _unit(work: Work, procedure: Procedure | None, calculation: Calculation | None, line: str) -> str | None:
    """The unit of what is expected: the procedure's, or that of the line where no procedure is tied to it."""
    if procedure is not None or calculation is None:
        return procedure.unit if procedure else None
    return unit_of((calculation, latest_run(work.session, calculation)), line)


def _bound(command: Expect, unit: str | None) -> float | None:
    try:
        return amount_in(command.bound, unit)
    except NoAmount as fault:
        raise Invalid({"bound": str(fault)}) from None


def _check_agreement(work: Work, procedure: Procedure | None, calculation: Calculation | None, line: str) -> None:
    """Figures can agree with a line that measures the same."""
    faults = {}
    if procedure is None:
        faults["procedure"] = "Choose the procedure whose readings are held against the line."
    elif yes_or_no(procedure):
        faults["procedure"] = "Yes or no agrees with no figure. Choose a procedure that gives figures."
    if calculation is None:
        faults["line"] = "Choose the line that the readings are held against."
    if faults or procedure is None or calculation is None:
        raise Invalid(faults)
    unit = unit_of((calculation, latest_run(work.session, calculation)), line)
    if unit is not None and (why := unlike(unit, procedure)):
        raise Invalid({"line": why})


def check_aim(aim: str, purpose: str) -> None:
    """Refuse what restores nothing that is named."""
    if aim == Aim.RESTORE and not purpose:
        raise Invalid({"purpose": "To restore is to bring back what was lost: say here what that is."})


def called(machine: Machine, mod: Mod) -> str:
    """A mod as the journal names it."""
    return f"Mod {mod.number} of {machine.tag}, {mod.title},"


def _move(work: Work, mod: Mod, state: ModState, day: date, signer: str, note: str) -> None:
    mod.state = state.value
    work.touched_mods.add(mod.key)
    work.session.add(mod)
    work.add(ModMove(mod_id=mod.key, state=state.value, day=day, signer=signer, note=note))


def _check_move(work: Work, mod: Mod, command: MoveMod) -> None:
    allowed = MOVES[ModState(mod.state)]
    if command.state not in allowed:
        ways = " or ".join(allowed) or "nothing else; write a new mod instead"
        raise Invalid({"state": f"A mod that is {mod.state} can become {ways}."})
    latest = work.session.exec(select(func.max(ModMove.day)).where(ModMove.mod_id == mod.id)).one()
    if latest and command.day < latest:
        raise Invalid({"day": f"The mod became {mod.state} on {latest}; this cannot have been before."})
    if mod.state == ModState.DROPPED and (gone := board_gone(work.session, mod)):
        raise Refused(
            f"{gone.board.name}, which it is for, is in {gone.machine.tag} now. Write a new mod there.", "state"
        )
    steps = work.session.exec(select(Step).where(Step.mod_id == mod.id).order_by(col(Step.number))).all()
    if command.state is ModState.FITTED:
        _check_all_done(steps, command.day)
    if command.state in (ModState.UNDONE, ModState.DROPPED, ModState.CONSIDERED):
        _check_none_stands(steps, command)


def _check_all_done(steps: Sequence[Step], day: date) -> None:
    waiting = [step.number for step in steps if step.done_on is None]
    if waiting:
        raise Refused(f"Step {waiting[0]} is not done yet. Carry it out, or take it off the plan, first.", "state")
    if not steps:
        raise Refused("A mod without steps cannot be fitted: write down what is done.", "state")
    if all(step.undone_on for step in steps):
        raise Refused("Every step was put back, so nothing of the mod is fitted.", "state")
    last = max(step.done_on for step in steps if step.done_on)
    if day < last:
        raise Invalid({"day": f"The last step was done on {last}; the mod cannot be fitted before."})


def _check_none_stands(steps: Sequence[Step], command: MoveMod) -> None:
    standing = [step.number for step in steps if stands(step)]
    if standing:
        raise Refused(
            f"Step {standing[-1]} is done and not put back, so the mod cannot be called {command.state}. Put its "
            "steps back in turn, the last one first.",
            "state",
        )
    last = max((step.undone_on for step in steps if step.undone_on), default=command.day)
    if command.day < last:
        raise Invalid({"day": f"The last step was put back on {last}; the mod cannot be {command.state} before."})


def stands(step: Step) -> bool:
    """Whether a step is done, not put back, and of a kind that can be put back at all."""
    undoable = step.kind not in CANNOT_BE_PUT_BACK
    return step.done_on is not None and step.undone_on is None and undoable
