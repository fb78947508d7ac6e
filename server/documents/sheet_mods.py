"""The mods of a sheet: what each was for, what was done, what it leaves, what its sums and trials say."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from server.documents.sheet_shape import SheetDescribed, SheetExpectation, SheetLimit, SheetMod, SheetStep, SheetSum
from server.engineering import calculations as engine
from server.engineering.errors import EngineeringError
from server.records.aims import in_words
from server.records.circuit_answers import answer_in_words, question_in_words
from server.records.placing import describe
from server.records.questions.mods import Sitting, StepLine, trace_of, why_of
from server.records.questions.sheet import WholeMachine
from server.records.questions.stays import MovedMod
from server.records.tables import Calculation, Mod, Part, Step
from server.records.traces import BY_MOUNTING
from server.records.values import read_value
from server.records.words import Case, ModState, StepKind

DONE = {
    StepKind.TAKE_OUT: "Took a part out",
    StepKind.FIT: "Fitted a part",
    StepKind.LIFT_PIN: "Lifted a pin",
    StepKind.CUT_TRACE: "Cut a trace",
    StepKind.ADD_LINK: "Added a link",
    StepKind.DRILL_OR_CUT_CASE: "Drilled or cut the case",
    StepKind.CHANGE_FIRMWARE: "Changed the firmware",
    StepKind.ADJUST: "Adjusted",
    StepKind.CLEAN: "Cleaned",
    StepKind.OTHER: "Other work",
}

FITTED_ONCE = (ModState.FITTED, ModState.UNDONE)


def done_mods(whole: WholeMachine) -> list[Mod]:
    """The mods that touched the machine, and that did not leave with a board.

    Those of which any step was done, and those that a list told of as fitted, whose steps may only be described.
    """
    left = {moved.mod.key for moved in _left(whole)}
    return [mod for mod in whole.mods if mod.key not in left and (_begun(whole, mod) or mod.state in FITTED_ONCE)]


def _begun(whole: WholeMachine, mod: Mod) -> bool:
    return any(step.done_on for step in whole.steps_of.get(mod.key, []))


def went_along(whole: WholeMachine) -> list[str]:
    """A line for each mod that came or left with a board: what it says of itself stands with the machine it is of."""
    came = [(moved, f"came from {moved.of.tag}") for moved in whole.came]
    left = [(moved, f"went to {moved.at.tag}") for moved in _left(whole)]
    return [f"{_moved(moved)}, which {went}{_on(moved)}." for moved, went in (*came, *left)]


def _left(whole: WholeMachine) -> list[MovedMod]:
    """Those that left as a whole: of one that was undone, half its steps can lie on a board that stayed."""
    return [
        moved
        for moved in whole.left
        if not any(step.position_id in whole.position for step in whole.steps_of.get(moved.mod.key, []))
    ]


def _on(moved: MovedMod) -> str:
    return f" on {moved.day.isoformat()}" if moved.day else ""


def _moved(moved: MovedMod) -> str:
    return f"Mod {moved.mod.number} of {moved.of.tag}, {moved.mod.title} ({moved.mod.state}), is on {moved.board.name}"


def is_undone(whole: WholeMachine, mod: Mod) -> bool:
    """Whether a mod that was done is in force no more: called so, or nothing of it stands."""
    nothing_stands = all(step.undone_on for step in whole.steps_of.get(mod.key, []) if step.done_on)
    put_back = _begun(whole, mod) and nothing_stands
    return mod.state in (ModState.UNDONE, ModState.DROPPED, ModState.CONSIDERED) or put_back


def sheet_mod(whole: WholeMachine, mod: Mod) -> SheetMod:
    """One mod in the sheet's words."""
    steps = [step for step in whole.steps_of.get(mod.key, []) if step.done_on]
    lines = [_line(whole, step) for step in steps]
    moves = [move for move in whole.moves_of.get(mod.key, []) if move.state == mod.state]
    move = moves[-1] if moves else None
    return SheetMod(
        number=mod.number,
        title=mod.title,
        state=_state(mod, steps),
        day=move.day.isoformat() if move else "",
        signed=move.signer if move else "",
        note_text=move.note if move else "",
        answers=_answers(whole, mod),
        work=in_words(mod.aim),
        purpose_text=mod.purpose,
        steps=tuple(_step(whole, line) for line in lines),
        trace=trace_of(lines).value if lines else "not known",
        why=why_of(lines) if lines else "no step of it is recorded",
        expectations=tuple(
            SheetExpectation(told.expectation.sentence, told.verdict.value, told.sentence)
            for told in whole.verdicts_of.get(mod.key, [])
        ),
        sums=() if is_undone(whole, mod) else tuple(_sum(whole, row) for row in whole.calculations_of.get(mod.key, [])),
        outcome_text=mod.outcome,
        described=() if steps or mod.state not in FITTED_ONCE else tuple(_described(whole, mod)),
    )


def _described(whole: WholeMachine, mod: Mod) -> Iterator[SheetDescribed]:
    for step in whole.steps_of.get(mod.key, []):
        yield SheetDescribed(step.number, _done(whole, _line(whole, step)), step.instruction)


def not_covered(whole: WholeMachine, mods: Sequence[Mod]) -> str:
    """What of the mods in force no way back can tell, in a sentence."""
    bare = [str(mod.number) for mod in mods if not _begun(whole, mod)]
    if not bare:
        return ""
    named = f"mod {bare[0]}" if len(bare) == 1 else f"mods {', '.join(bare[:-1])} and {bare[-1]}"
    return f"It does not cover {named}: no step of {'it' if len(bare) == 1 else 'them'} is recorded as done."


def _answers(whole: WholeMachine, mod: Mod) -> str:
    symptom = next((one for one in whole.symptoms if one.id == mod.symptom_id), None)
    return f"symptom {symptom.number}, {symptom.title}" if symptom else ""


def where(line: StepLine) -> str:
    return f"{line.position.designator} on {line.board.name}" if line.position and line.board else ""


def _line(whole: WholeMachine, step: Step) -> StepLine:
    """A step with what it concerns; of a board that has left, and of the parts there, nothing is at hand."""
    position = whole.position.get(step.position_id or 0)
    board = whole.board[position.board_id] if position else None
    part = whole.part.get(step.part_id or 0)
    sittings = tuple(
        Sitting(whole.part[placement.part_id], placement.fitted_on, placement.signer)
        for placement in whole.placements_by.get(step.key, [])
        if step.kind in BY_MOUNTING
    )
    return StepLine(step, board, position, part, sittings)


def _state(mod: Mod, steps: Sequence[Step]) -> str:
    back = sum(1 for step in steps if step.undone_on)
    match mod.state:
        case ModState.FITTED:
            return "in force, partly put back" if back else "in force"
        case ModState.UNDONE:
            return "undone"
        case ModState.PLANNED:
            return "tried and put back" if steps and back == len(steps) else "begun, not finished"
    return "given up"


def _step(whole: WholeMachine, line: StepLine) -> SheetStep:
    step = line.step
    put_back = f"put back on {step.undone_on.isoformat()} by {step.undone_by}" if step.undone_on else ""
    if like := line.substitute:
        put_back += f", with {describe(like)} ({like.origin}) in its place"
    return SheetStep(
        number=step.number,
        words=_done(whole, line),
        day=step.done_on.isoformat() if step.done_on else "",
        by=step.done_by,
        before=step.before_state,
        put_back=put_back,
        instruction_text=step.instruction,
        note_text="\n\n".join(filter(None, [step.done_note, step.undone_note])),
    )


def _done(whole: WholeMachine, line: StepLine) -> str:
    """A step in the past tense: “Took the 360 Ω resistor (original) out of R7 on Main board, into bag 1”."""
    step, part = line.step, line.part
    if step.kind == StepKind.TAKE_OUT and part and line.position:
        return f"Took the {describe(part)} ({part.origin}) out of {where(line)}{_went(whole, line)}"
    planned = " ".join(filter(None, [step.planned_type, step.planned_value]))
    if line.sittings and line.position:
        first, *later = line.sittings
        otherwise = "" if _as_planned(step, first.part) else f"; planned was {planned}"
        instead = "".join(f"; on {sitting.day}{_by(sitting)} {describe(sitting.part)} instead" for sitting in later)
        return f"Fitted {describe(first.part)} ({first.part.origin}) at {where(line)}{otherwise}{instead}"
    what = f" ({planned})" if planned else ""
    place = f" at {where(line)}" if line.position else " on a board that has left" if step.position_id else ""
    pin = f", pin {step.pin}" if step.pin else ""
    return f"{DONE[StepKind(step.kind)]}{what}{place}{pin}"


def _by(sitting: Sitting) -> str:
    return f" {sitting.signer} fitted" if sitting.signer else ""


def _as_planned(step: Step, part: Part) -> bool:
    """Whether what was fitted is what was planned: 6k8 5 % is 6.8 kΩ ±5 %, however it is written.

    A value planned without a tolerance leaves the tolerance open.
    """
    if step.planned_type and step.planned_type != part.type:
        return False
    if not step.planned_value or step.planned_value == part.value:
        return True
    try:
        planned, fitted = (read_value(text, part.kind) for text in (step.planned_value, part.value))
    except EngineeringError:
        return False
    alike = (planned.nominal, planned.unit) == (fitted.nominal, fitted.unit)
    return alike if planned.is_exact else planned == fitted


def _went(whole: WholeMachine, line: StepLine) -> str:
    """Where the part went that a step took out."""
    step, part = line.step, line.part
    for bag in whole.storages:
        if part and bag.part_id == part.id and bag.from_position_id == step.position_id and bag.since == step.done_on:
            return f", into bag {bag.bag}"
    return f"; it was {part.gone}" if part and part.gone and part.gone_on == step.done_on else ""


def _assumed(row: dict[str, Any]) -> str:
    note = f": {row['note']}" if row.get("note") else ""
    return f"{row['sentence']} {'Tested' if row.get('tested') else 'Not tested'}{note}"


def _sum(whole: WholeMachine, calculation: Calculation) -> SheetSum:
    runs = whole.runs_of.get(calculation.key, [])
    kept = runs[-1].cases.get(Case.FITTED.value, {}) if runs else {}
    result = engine.from_plain(kept["result"]) if "result" in kept else None
    return SheetSum(
        number=calculation.number,
        title=calculation.title,
        run_on=runs[-1].run_at.date().isoformat() if runs else "",
        limits=tuple(
            SheetLimit(judged.verdict, judged.sentence, judged.limit.basis)
            for judged in (result.limits if result else ())
        ),
        problem="" if result else kept.get("problem", "It was never run for what was really fitted."),
        answers=tuple(_circuit_answers(calculation, kept)) if result else (),
        assumptions=tuple(_assumed(row) for row in calculation.assumptions),
    )


def _circuit_answers(calculation: Calculation, kept: Mapping[str, Any]) -> Iterator[str]:
    """What a circuit's questions came to; another sum asks none."""
    circuit = calculation.circuit or {"questions": []}
    for number in range(1, len(circuit["questions"]) + 1):
        sentences = " ".join(answer_in_words(circuit, kept["circuit"], number, in_full=False))
        yield f"{question_in_words(circuit, number)}: {sentences}"
