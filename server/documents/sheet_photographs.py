"""Which photographs a sheet shows, and what it says of those that it does not.

The machine as it was found; of each mod one from before it and one from after, and one of a step of which neither is
said, taken while the work lay open. Where there is none of these the sheet says so, and how many more there are. It
knows which files are named, and opens none.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, islice
from uuid import UUID

from server.documents.glyphs import printable
from server.documents.sheet_shape import SheetAlbum, SheetPhotograph
from server.records.pictures import SMALL, fitted
from server.records.questions.sheet import WholeMachine, grouped
from server.records.tables import Mod, Photograph
from server.records.words import Moment

PHOTOGRAPHS_MOST = 24  # on one sheet: a long machine's is still read, sent and printed with ease
Fault = Callable[[Photograph], str]


@dataclass(frozen=True, slots=True)
class _Shot:
    """A photograph, the tag of the machine in which it is numbered, its place on the sheet, and what it is of."""

    photograph: Photograph
    tag: str
    place: str
    of: str


@dataclass(frozen=True, slots=True)
class _OfMod:
    """What there is of one mod: the pictures to show, as far as there is room, and how many there are in all."""

    before: _Shot | None
    amid: _Shot | None
    after: _Shot | None
    total: int

    @property
    def pair(self) -> Iterator[_Shot]:
        yield from (shot for shot in (self.before, self.after) if shot)

    @property
    def in_order(self) -> Iterator[_Shot]:
        yield from (shot for shot in (self.before, self.amid, self.after) if shot)


@dataclass(frozen=True, slots=True)
class Albums:
    """What the sheet shows of the machine as found, and of each mod by its key."""

    machine: SheetAlbum
    mods: Mapping[int, SheetAlbum]


def albums(whole: WholeMachine, mods: Sequence[Mod], fault_of: Fault) -> Albums:
    """What there is to show of a machine and of those of its mods that the sheet tells of, in their order.

    `fault_of` says of a photograph why it cannot be shown, or nothing.
    """
    on = grouped((row.on_uuid, (row, tag)) for row, tag in whole.photographs)
    found, of_machine = _as_found(whole, on), len(on.get(whole.machine.uuid, []))
    of = {mod.key: _of_mod(whole, mod, on) for mod in mods}
    pairs = (shot for one in of.values() for shot in one.pair)
    wanted = chain([found] if found else [], pairs, (one.amid for one in of.values() if one.amid))
    room = {shot.photograph.uuid for shot in islice(wanted, PHOTOGRAPHS_MOST)}

    def album(shots: Iterator[_Shot], missing: str, total: int) -> SheetAlbum:
        told = list(shots)
        shown = [_shown(shot, fault_of) for shot in told if shot.photograph.uuid in room]
        more = _more(total - len(shown), crowded_out=len(told) > len(shown))
        return SheetAlbum(tuple(shown), tuple(filter(None, [missing, more])))

    none_found = "" if found else "No photograph of the machine as it was found exists."
    return Albums(
        album(iter([found] if found else []), none_found, of_machine),
        {mod: album(one.in_order, _missing(one), one.total) for mod, one in of.items()},
    )


def told_of(whole: WholeMachine, shown: int | None) -> str:
    """How many photographs there are besides those `shown`; none of a number where the keeper chose none."""
    total = len(whole.photographs)
    if shown is None:
        return f"By the keeper's choice this sheet shows no photographs; its record names {total:,}." if total else ""
    if total <= shown:
        return ""
    many = "the one photograph" if total == 1 else f"the {total:,} photographs"
    return f"This sheet shows {shown or 'none'} of {many} that its record names; the dossier has them all."


Hung = Mapping[UUID, list[tuple[Photograph, str]]]


def _as_found(whole: WholeMachine, on: Hung) -> _Shot | None:
    """The earliest photograph of the machine itself, unless it is known to be later than the first step that was done.

    One of which no day is known comes after those that have theirs.
    """
    days = [step.done_on for step in whole.steps if step.done_on]
    fit = [
        (row, tag)
        for row, tag in on.get(whole.machine.uuid, [])
        if not (row.taken_on and days and row.taken_on > min(days))
    ]
    dated = sorted((pair for pair in fit if pair[0].taken_on), key=lambda pair: (pair[0].taken_on, pair[0].number))
    first = next(iter([*dated, *fit]), None)
    return _Shot(*first, "The machine", "the machine") if first else None


def _of_mod(whole: WholeMachine, mod: Mod, on: Hung) -> _OfMod:
    """Before the first of the steps of which there is a picture, and after the last."""
    done = [step for step in whole.steps_of.get(mod.key, []) if step.done_on]
    shots = [
        _Shot(row, tag, _place(row, step.number), f"step {step.number} of mod {mod.number}")
        for step in done
        for row, tag in on.get(step.uuid, [])
    ]
    by = grouped((shot.photograph.moment, shot) for shot in shots)
    before, amid, after = by.get(Moment.BEFORE, []), by.get("", []), by.get(Moment.AFTER, [])
    waiting = (step for step in whole.steps_of.get(mod.key, []) if not step.done_on)
    total = len(shots) + sum(len(on.get(held, [])) for held in (mod.uuid, *(step.uuid for step in waiting)))
    return _OfMod(next(iter(before), None), next(iter(amid), None), next(reversed(after), None), total)


def _place(photograph: Photograph, step: int) -> str:
    return f"{photograph.moment.capitalize()}, step {step}" if photograph.moment else f"At step {step}"


def _missing(one: _OfMod) -> str:
    sides = [side for side, shot in (("before", one.before), ("after", one.after)) if shot is None]
    return f"No photograph from {' it or from '.join(sides)} it exists." if sides else ""


def _more(more: int, *, crowded_out: bool) -> str:
    if not more:
        return ""
    there_are = "1 more photograph of it exists" if more == 1 else f"{more:,} more photographs of it exist"
    return f"{there_are}; a sheet shows {PHOTOGRAPHS_MOST} at most." if crowded_out else f"{there_are}."


def _shown(shot: _Shot, fault_of: Fault) -> SheetPhotograph:
    row = shot.photograph
    width, height = fitted(row.width, row.height, SMALL)
    day = row.taken_on.isoformat() if row.taken_on else ""
    return SheetPhotograph(
        place=shot.place,
        caption=row.caption,
        taken_on=day,
        alt=row.caption if printable(row.caption).strip() else _sentence(shot, day),
        tag=shot.tag,
        number=row.number,
        sha256=row.sha256,
        width=width,
        height=height,
        fault=fault_of(row),
    )


def _sentence(shot: _Shot, day: str) -> str:
    when = f", {shot.photograph.moment} it was done" if shot.photograph.moment else ""
    return f"Photograph {shot.photograph.number} of {shot.of}{when}{f', taken on {day}' if day else ''}"
