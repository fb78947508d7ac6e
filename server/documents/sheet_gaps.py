"""What a sheet cannot say: a reader should not have to notice by themselves what is missing."""

from collections.abc import Sequence

from server.documents.sheet_mods import is_undone
from server.documents.sheet_shape import SheetMod
from server.documents.sheet_symptoms import open_symptoms
from server.records.placing import describe
from server.records.questions.expectations import Verdict
from server.records.questions.sheet import WholeMachine
from server.records.tables import Mod, Part, Step
from server.records.words import ModState, Origin

NAMED_MOST = 5


def not_known(whole: WholeMachine, mods: Sequence[tuple[Mod, SheetMod]]) -> list[str]:
    """A sentence for each thing that a reader would ask for and the record does not hold."""
    of_mods = (gap for mod, told in mods for gap in _of_mod(whole, mod, told))
    return [*_of_machine(whole), *_of_parts(whole), *open_symptoms(whole), *of_mods]


def missing_originals(whole: WholeMachine) -> list[str]:
    """Original parts that are neither in the machine nor in a bag, each with what became of it."""
    seated = {stay.part_id for stay in whole.placements if stay.removed_on is None}
    bagged = {bag.part_id for bag in whole.storages if bag.until is None}
    away = [
        part
        for part in whole.parts
        if part.origin == Origin.ORIGINAL and part.id not in seated and part.id not in bagged
    ]
    return sorted(
        f"{describe(part)[0].upper()}{describe(part)[1:]}{_from(whole, part)}: {_became(part)}." for part in away
    )


def _from(whole: WholeMachine, part: Part) -> str:
    stays = [stay for stay in whole.placements if stay.part_id == part.id]
    if not stays:
        return ""
    position = whole.position[stays[-1].position_id]
    return f" from {position.designator} on {whole.board[position.board_id].name}"


def _became(part: Part) -> str:
    if part.gone:
        return f"{part.gone} on {part.gone_on.isoformat()}" if part.gone_on else part.gone
    return "fitted in another machine"


def _of_machine(whole: WholeMachine) -> list[str]:
    machine = whole.machine
    asked = {
        "The serial number is not known.": machine.serial_number,
        "When it was made is not known.": machine.made,
        "When it came in is not noted.": machine.acquired_on,
        "What it was like when it came in is not written down.": machine.as_found,
        "No board of it is written down.": whole.boards,
    }
    return [sentence for sentence, answer in asked.items() if not answer]


def _of_parts(whole: WholeMachine) -> list[str]:
    ever = {stay.position_id for stay in whole.placements}
    bare = [position.id for position in whole.positions if position.id not in ever]
    seated = {stay.part_id: stay.position_id for stay in whole.placements if stay.removed_on is None}
    unsure = [seated[part.key] for part in whole.parts if part.id in seated and part.origin == Origin.UNKNOWN]
    gaps = []
    if bare:
        gaps.append(f"No part was ever written down for {_places(whole, bare, 'position')}.")
    if unsure:
        gaps.append(f"The origin of {_places(whole, unsure, 'part')} in it is not known.")
    return gaps


def _places(whole: WholeMachine, positions: Sequence[int | None], noun: str) -> str:
    """How many there are; and where, as long as a reader would look at each."""
    counted = _counted(len(positions), noun)
    if len(positions) > NAMED_MOST:
        return counted
    rows = [whole.position[key] for key in positions if key]
    return f"{counted} ({', '.join(f'{row.designator} on {whole.board[row.board_id].name}' for row in rows)})"


def _of_mod(whole: WholeMachine, mod: Mod, told: SheetMod) -> list[str]:
    if is_undone(whole, mod):
        return []
    gaps = []
    if gap := _of_steps(mod, whole.steps_of.get(mod.key, [])):
        gaps.append(gap)
    if not mod.purpose:
        gaps.append(f"Mod {mod.number}: what it is for is not written down.")
    if not mod.outcome:
        gaps.append(f"Mod {mod.number}: what came of it is not written down.")
    if not any(mod.key in mods for mods in whole.mods_at.values()):
        gaps.append(f"Mod {mod.number}: no trial has been run with it in force.")
    gaps += [
        f"Mod {mod.number}: not yet tested whether “{expected.sentence}”."
        for expected in told.expectations
        if expected.verdict == Verdict.NOT_TESTED
    ]
    gaps += [f"Mod {mod.number}, sum {one.number} ({one.title}): {one.problem}" for one in told.sums if one.problem]
    return gaps


def _of_steps(mod: Mod, steps: Sequence[Step]) -> str:
    """What of a mod is not done, or not recorded as done."""
    waiting = sum(1 for step in steps if not step.done_on)
    are = f"{_counted(waiting, 'step')} of it {'is' if waiting == 1 else 'are'}"
    if mod.state != ModState.FITTED:
        return f"Mod {mod.number} is begun: {are} not done." if waiting else ""
    if not steps:
        return f"Mod {mod.number} is fitted, and what was done for it is not written down: its way back is not known."
    them = "it" if waiting == 1 else "them"
    return f"Mod {mod.number} is fitted, and {are} not recorded as done: no way back has {them}." if waiting else ""


def _counted(number: int, noun: str) -> str:
    return f"1 {noun}" if number == 1 else f"{number:,} {noun}s"
