"""A list of mods that a keeper has written elsewhere, taken in at once: all of it, or nothing.

Each mod comes in with its life as far as the list tells it, and its steps as `listed_mods` says; no part is moved.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date
from typing import Annotated, Any

from pydantic import AfterValidator

from server.records.commands.base import Command, Line, OptionalDay
from server.records.commands.listed_mods import ListedMod
from server.records.commands.lists import ColumnChoice, remember
from server.records.commands.mod_list_checks import NAMED, Usual, faults, position_of
from server.records.commands.mods import ModFields
from server.records.commands.steps import next_order
from server.records.errors import Invalid
from server.records.list_kinds import MODS
from server.records.many import add_many
from server.records.questions.addresses import find_machine, next_number
from server.records.questions.mod_ground import Ground, ground_of
from server.records.tables import Machine, Mod, ModMove, Step
from server.records.texts import printable
from server.records.work import Entry, Work, handles

BATCH = 500
MODS_MOST = 20_000


def _some(rows: list[ListedMod]) -> list[ListedMod]:
    if not rows:
        raise ValueError("The list holds no mods that can be stored.")
    if len(rows) > MODS_MOST:
        raise ValueError(f"The list has {len(rows):,} mods; at most {MODS_MOST:,} can be stored at once.")
    return rows


class ImportMods(Command):
    """A whole list of mods of one machine: all of it, or nothing.

    `day` and `signer` count for each mod that does not say its own. `matching` says which column of the list is which,
    where a person said so: that is remembered.
    """

    machine: str
    day: OptionalDay = None
    signer: Line = ""
    rows: Annotated[list[ListedMod], AfterValidator(_some)]
    matching: list[ColumnChoice] = []


@handles(ImportMods)
def import_mods(work: Work, command: ImportMods) -> Entry:
    machine = find_machine(work.session, command.machine)
    ground = ground_of(work.session, machine)
    _check(ground, command)
    first = next_number(work.session, Mod.number, Mod.machine_id == machine.id)
    orders = _orders(command.rows, next_order(work, machine))
    for start in range(0, len(command.rows), BATCH):
        work.progress(start, len(command.rows))
        batch = list(enumerate(command.rows))[start : start + BATCH]
        keys = add_many(work, Mod, [_mod(machine, first + place, row) for place, row in batch])
        pairs = list(zip(keys, batch, strict=True))
        add_many(work, ModMove, [move for key, (_, row) in pairs for move in _moves(command, key, row)])
        steps = [
            step for key, (place, row) in pairs for step in _steps(ground, command, key, row, orders.get(place, []))
        ]
        add_many(work, Step, steps)
        work.touched_mods.update(keys)
    work.progress(len(command.rows), len(command.rows))
    last = first + len(command.rows) - 1
    many = (
        f"a list of {len(command.rows):,} mods, {first} to {last}," if last > first else f"a list of one mod, {first},"
    )
    words = f"Entered {many} of {machine.tag}.{remember(work, MODS, command.matching)}"
    return Entry("import mods", machine, words, machine)


def _check(ground: Ground, command: ImportMods) -> None:
    usual = Usual(command.day, command.signer)
    for number, row in enumerate(command.rows, start=1):
        if found := faults(ground, row, usual):
            raise Invalid({"rows": f"Row {number} ({printable(row.title, NAMED)}): {' '.join(found)}"})


def _orders(rows: Sequence[ListedMod], first: int) -> dict[int, list[int]]:
    """The turn of each recorded step among all that were done on the machine, by its mod: in the order of days."""
    recorded = [(step.done_on, place) for place, row in enumerate(rows) for step in row.steps[: row.recorded]]
    found: dict[int, list[int]] = defaultdict(list)
    for turn, (_, place) in enumerate(sorted(recorded, key=lambda one: one[0] or date.min)):
        found[place].append(first + turn)
    return found


def _mod(machine: Machine, number: int, row: ListedMod) -> dict[str, Any]:
    about = {"machine_id": machine.key, "number": number, "state": row.state.value, "outcome": row.outcome}
    return row.columns(ModFields) | about | {"aim": str(row.aim)}


def _moves(command: ImportMods, mod: int, row: ListedMod) -> list[dict[str, Any]]:
    signed = {"mod_id": mod, "day": row.day or command.day, "signer": row.signer or command.signer}
    return [signed | {"state": state.value, "note": note} for state, note in row.moves()]


def _steps(
    ground: Ground, command: ImportMods, mod: int, row: ListedMod, orders: Sequence[int]
) -> Iterator[dict[str, Any]]:
    for place, step in enumerate(row.steps):
        recorded = place < row.recorded
        position = position_of(ground, step)
        at = {"mod_id": mod, "number": place + 1, "position_id": position.key if position else None}
        done = {"done_on": step.done_on, "done_by": row.signer or command.signer} if recorded else {}
        yield step.told(recorded=recorded) | at | done | ({"done_order": orders[place]} if recorded else {})
