"""The mod sheet: what a buyer or a club archive should know of one machine, put into words once for page and paper.

Built from rows that were read already; it asks nothing of the database, opens no file, and knows nothing of how a sheet
looks.
"""

from dataclasses import fields, is_dataclass, replace
from datetime import date
from typing import TypeVar, cast

from server.documents.sheet_choice import USUAL, SheetChoice
from server.documents.sheet_gaps import missing_originals, not_known
from server.documents.sheet_mods import done_mods, is_undone, not_covered, sheet_mod, went_along
from server.documents.sheet_photographs import Fault, albums, told_of
from server.documents.sheet_shape import SheetBack, SheetBag, SheetBoard, SheetData
from server.documents.sheet_symptoms import ended_symptoms
from server.documents.sheet_trials import sheet_trials
from server.records.cautions import cautions
from server.records.placing import describe
from server.records.questions.sheet import WholeMachine
from server.records.questions.way_back import BackLine
from server.records.tables import Board, Storage
from server.records.traces import CANNOT_BE_PUT_BACK

__all__ = ["SheetData", "sheet_data"]

DIRECTION_MARKS = dict.fromkeys([*range(0x202A, 0x202F), *range(0x2066, 0x206A)])
Kind = TypeVar("Kind")


def sheet_data(
    whole: WholeMachine,
    digest: str,
    day: date,
    signer: str,
    choice: SheetChoice = USUAL,
    fault_of: Fault = lambda _: "",
) -> SheetData:
    """The sheet of one machine on a day. `digest` is that of the record that goes with it.

    `fault_of` says of a photograph why it cannot be shown, or nothing. Raises Invalid where the choice names a mod that
    no sheet can tell of.
    """
    machine, is_short = whole.machine, choice.length == "short"
    done = done_mods(whole)
    choice.check(machine.tag, {mod.number for mod in done})
    mods = [mod for mod in done if choice.takes(mod.number)]
    in_force = [mod for mod in mods if not is_undone(whole, mod)]
    undone = [mod for mod in mods if is_undone(whole, mod)]
    seen = albums(whole, [*in_force, *undone], fault_of) if choice.shows_photographs else None
    told = {mod.number: replace(sheet_mod(whole, mod), album=seen.mods[mod.key] if seen else None) for mod in mods}
    hazards = [machine.hazards, *(board.hazards for board in whole.boards), *(mod.hazards for mod in done)]
    sheet = SheetData(
        tag=machine.tag,
        named=" ".join(filter(None, [machine.maker, machine.model, machine.variant])),
        facts=_facts(whole, private=bool(choice.private)),
        boards=tuple(_board(whole, board) for board in whole.boards),
        cautions=tuple(cautions(*hazards)),
        as_found_text=machine.as_found,
        significance_text=machine.significance,
        provenance_text=machine.provenance,
        ended_symptoms=tuple(ended_symptoms(whole)),
        in_force=tuple(told[mod.number] for mod in in_force),
        undone=tuple(told[mod.number] for mod in undone),
        went_along=tuple(went_along(whole)),
        trials=tuple(sheet_trials(whole, [mod for mod in done if not is_undone(whole, mod)], mods, drawn=not is_short)),
        bags=tuple(
            _bag(whole, bag, private=bool(choice.private))
            for bag in whole.storages
            if bag.until is None and bag.from_position_id in whole.position
        ),
        missing=tuple(missing_originals(whole)),
        back=tuple(_back(line) for line in whole.back.back),
        no_way_back=tuple(_back(line) for line in whole.back.for_good),
        not_covered=not_covered(whole, in_force),
        not_known=tuple(not_known(whole, [(mod, told[mod.number]) for mod in mods])),
        day=day.isoformat(),
        signer=signer,
        digest=digest,
        left_out=tuple((mod.number, mod.title) for mod in done if not choice.takes(mod.number)),
        is_short=is_short,
        is_private=bool(choice.private),
        album=seen.machine if seen else None,
    )
    shown = len(list(sheet.shown)) if seen else None
    return _unturned(replace(sheet, photographs="" if is_short else told_of(whole, shown)))


def _unturned(words: Kind) -> Kind:
    """The same words without direction marks: one in a field would turn the sheet's own words after it."""
    changed: object = words
    if isinstance(words, str):
        changed = words.translate(DIRECTION_MARKS)
    elif isinstance(words, tuple):
        parts = [_unturned(one) for one in words]
        changed = type(words)(*parts) if hasattr(words, "_fields") else tuple(parts)
    elif is_dataclass(words) and not isinstance(words, type):
        changed = replace(words, **{field.name: _unturned(getattr(words, field.name)) for field in fields(words)})
    return cast("Kind", changed)


def _facts(whole: WholeMachine, *, private: bool) -> tuple[tuple[str, str], ...]:
    machine = whole.machine
    handed = machine.handed_over_on.isoformat() if machine.handed_over_on else ""
    if handed and machine.handed_over_to:
        handed = f"{handed} to {machine.handed_over_to}"
    facts = [
        ("Serial number", machine.serial_number or "not known"),
        ("Made", machine.made or "not known"),
        ("Came in", machine.acquired_on.isoformat() if machine.acquired_on else "not noted"),
        ("Keeper", machine.keeper or "not noted"),
        ("Handed over", handed),
    ]
    if private:
        facts += [("Had from", machine.acquired_from), ("Price", machine.price)]
    return tuple((name, words) for name, words in facts if words)


def _board(whole: WholeMachine, board: Board) -> SheetBoard:
    held = f", on {whole.board[board.parent_id].name}" if board.parent_id else ""
    marks = [
        ("revision", board.revision),
        ("part number", board.part_number),
        ("serial number", board.serial_number),
        ("made", board.made),
    ]
    return SheetBoard(board.name, f"{board.kind}{held}", ", ".join(f"{name} {mark}" for name, mark in marks if mark))


def _bag(whole: WholeMachine, bag: Storage, *, private: bool) -> SheetBag:
    part = whole.part[bag.part_id]
    loan = next((loan for loan in whole.loans if loan.part_id == part.id and loan.until is None), None)
    position = whole.position[bag.from_position_id or 0]
    return SheetBag(
        bag=bag.bag,
        part=describe(part),
        origin=part.origin,
        came_from=f"{position.designator} on {whole.board[position.board_id].name}",
        since=bag.since.isoformat(),
        condition=bag.condition or part.condition or "not noted",
        lent=f"lent since {loan.since.isoformat()}: its bag waits for it" if loan else "",
        kept_in=bag.place if private else "",
    )


def _back(line: BackLine) -> SheetBack:
    act = line.step.words if line.step.kind in CANNOT_BE_PUT_BACK else line.act
    told = f"{act}. {line.trap}" if line.trap else act
    return SheetBack(f"{line.called[0].upper()}{line.called[1:]}", told, line.needs, line.obstacle)
