"""What the date codes of a board's parts allow: every reading of each, and when the board can first have been built.

Reckoned from the parts as they are when it is asked for, so it is never out of date; only the keeper's own words are
stored: which reading is right (`Part.date_reading`, its days as `1981-03-30/1981-04-05`) and whether a code counts
(`Part.dating`, with a note). It judges no machine: it says what the codes allow. It must know no page.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal, NamedTuple

import sqlalchemy
from sqlalchemy import and_, or_
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, func, select

from server.engineering.datecodes import BuildWindow, Reading, build_window
from server.records.date_codes import Code, by_day, code_by
from server.records.dates import FIRST_DAY, LAST_DAY, made_span
from server.records.questions.addresses import designator_key
from server.records.questions.paging import Paged, paged
from server.records.tables import Board, BoardStay, Machine, Part, Placement, Position
from server.records.words import Dating, Origin

Span = tuple[date, date]
Place = Literal["counts", "does not belong", "left out", "tells nothing"]
EVER: Span = (FIRST_DAY, LAST_DAY)


class Origins(NamedTuple):
    """What is known of the machine that a board was built into, which it may have left since."""

    tag: str
    made: str
    acquired_on: date | None


class Meaning(NamedTuple):
    """Readings that say the same in words, such as one week by both rules for weeks, with the days of all.

    `number` says how many they are, so that a week of ten days is known to be two.
    """

    words: str
    earliest: date
    latest: date
    reckoned: bool
    number: int


@dataclass(frozen=True, slots=True)
class CodeLine:
    """One part of a board, what its code can mean, and what is made of it: `place`, and `why` in a sentence.

    `here` is whether it sits there now, `held` whether it is held to be original; `reckoned` are the readings that its
    board is dated with: not those later than the machine where there are others.
    """

    part: Part
    designator: str
    here: bool
    held: bool
    code: Code
    reckoned: tuple[Reading, ...] = ()
    place: Place = "tells nothing"
    why: str = ""

    @property
    def label(self) -> str:
        """What a sentence calls it: its position, or the one that it was taken out of."""
        return self.designator if self.here else f"{self.designator} (taken out)"

    @property
    def meanings(self) -> list[Meaning]:
        """What the code can mean in few words, the likeliest first."""
        alike: dict[str, list[Reading]] = defaultdict(list)
        for reading in self.code.readings:
            alike[reading.why.partition(",")[0]].append(reading)
        return [
            Meaning(
                words, min(one.earliest for one in of), max(one.latest for one in of), of[0] in self.reckoned, len(of)
            )
            for words, of in alike.items()
        ]


@dataclass(frozen=True, slots=True)
class BoardDating:
    """One board as its codes date it; `made` is what is known of the machine that it was built into."""

    board: Board
    origins: Origins
    made: Span | None
    lines: tuple[CodeLine, ...]
    window: BuildWindow

    @property
    def allows(self) -> str:
        """The result in one sentence."""
        if self.window.not_before is None:
            return "No code tells when the board can first have been built."
        return f"The codes allow a board built from {self.window.not_before} on."

    @property
    def contradiction(self) -> str:
        """Where the board's own date, or its machine's, is earlier than the codes allow; the latter by a word alone."""
        first = self.window.not_before
        if first is None:
            return ""
        said = []
        own = made_span(self.board.made)
        if own and own[1] < first:
            said.append(f"The board’s own date, {self.board.made}, is earlier than that.")
        if self.made and self.made[1] < first:
            said.append(
                f"The machine was made by {self.made[1]}, which is earlier than that: look again at its date, and at "
                f"{self.window.newest}, which counts only because the keeper holds so."
            )
        return " ".join(said)

    def placed(self, place: Place) -> list[CodeLine]:
        return [line for line in self.lines if line.place == place]


# ---- One code ----


def code_of(session: Session, part: Part) -> Code:
    """What one part's date code can mean, by itself."""
    first = session.exec(
        select(Position.board_id, col(Placement.fitted_on))
        .join(Position, col(Position.id) == col(Placement.position_id))
        .where(Placement.part_id == part.id)
        .order_by(col(Placement.id))
        .limit(1)
    ).first()
    if first is None:
        return code_by(part, by_day(part, False, None, None))
    board, fitted_on = first
    by = by_day(part, True, fitted_on, _origins(session, [board])[board].acquired_on)
    return code_by(part, by)


# ---- The codes of boards ----


def dating_of(session: Session, board: Board) -> BoardDating:
    """What the codes of a board's parts allow."""
    return datings(session, [board])[0]


def datings(session: Session, boards: Sequence[Board]) -> list[BoardDating]:
    """What the codes of several boards allow, in as many questions as for one."""
    keys = [board.key for board in boards]
    origins = _origins(session, keys)
    lines = _lines(session, keys, origins)
    return [dated(board, origins[board.key], lines.get(board.key, [])) for board in boards]


def board_of(session: Session, part: Part) -> Board | None:
    """The board that a part's code can tell of: where it sits now, else the one that it was first on."""
    query = (
        select(Board)
        .join(Position, col(Position.board_id) == col(Board.id))
        .join(Placement, col(Placement.position_id) == col(Position.id))
        .where(Placement.part_id == part.id)
        .order_by(col(Placement.removed_on).is_not(None), col(Placement.id))
        .limit(1)
    )
    return session.exec(query).first()


def undated(session: Session, board: Board, number: int, most: int = 200) -> Paged[str]:
    """The positions whose part has no date code noted, in order."""
    query = (
        select(Position.designator)
        .join(Placement, col(Placement.position_id) == col(Position.id))
        .join(Part, col(Part.id) == col(Placement.part_id))
        .where(Position.board_id == board.id, col(Placement.removed_on).is_(None), Part.date_code == "")
        .order_by(col(Position.designator_key))
    )
    return paged(session, query, number, most)


def _origins(session: Session, keys: Sequence[int]) -> dict[int, Origins]:
    """The machine that each board was built into: the first that it stayed in, or the only one."""
    only = (
        select(col(Board.id), Machine.tag, Machine.made, col(Machine.acquired_on))
        .join(Machine, col(Machine.id) == col(Board.machine_id))
        .where(col(Board.id).in_(keys))
    )
    stays = (
        select(BoardStay.board_id, Machine.tag, Machine.made, col(Machine.acquired_on))
        .join(Machine, col(Machine.id) == col(BoardStay.machine_id))
        .where(col(BoardStay.board_id).in_(keys))
        .order_by(col(BoardStay.since).desc().nulls_last(), col(BoardStay.id).desc())
    )
    return {key: Origins(*known) for key, *known in (*session.exec(only), *session.exec(stays)) if key is not None}


def _lines(session: Session, boards: Sequence[int], origins: dict[int, Origins]) -> dict[int, list[CodeLine]]:
    """The parts with a code on some boards, and the originals with one that were taken out of them, by board."""
    found: dict[int, dict[int, CodeLine]] = defaultdict(dict)
    for row in _coded(session, boards):
        # A part's first placement comes before that where it sits now, which then takes its line.
        began = found[row.board].get(row.part.key)
        held = row.part.origin == Origin.ORIGINAL and (row.first or began is not None)
        by = by_day(row.part, True, row.fitted_on, origins[row.board].acquired_on)
        code = began.code if began else code_by(row.part, by)
        found[row.board][row.part.key] = CodeLine(row.part, row.designator, row.removed_on is None, held, code)
    return {board: _one_a_label(lines.values()) for board, lines in found.items()}


def _one_a_label(lines: Iterable[CodeLine]) -> list[CodeLine]:
    """In the order of positions; of several originals taken out of one position the first is its original."""
    ordered = sorted(lines, key=lambda line: (designator_key(line.designator), not line.here, line.part.key))
    return list({line.label: line for line in reversed(ordered)}.values())[::-1]


class _Row(NamedTuple):
    """A placement of a part with a code, and whether the part's record begins with it."""

    part: Part
    board: int
    designator: str
    fitted_on: date | None
    removed_on: date | None
    first: bool


def _coded(session: Session, boards: Sequence[int]) -> Iterable[_Row]:
    """Parts with a code that sit on some boards, and originals that began there, in the order they were placed."""
    other = aliased(Placement)
    first = select(func.min(other.id)).where(other.part_id == Part.id).correlate(Part).scalar_subquery()
    is_first = col(Placement.id) == first
    began = and_(is_first, col(Part.origin) == Origin.ORIGINAL.value)
    query = (
        sqlalchemy.select(
            Part,
            col(Position.board_id),
            col(Position.designator),
            col(Placement.fitted_on),
            col(Placement.removed_on),
            is_first,
        )
        .join(Placement, col(Placement.part_id) == col(Part.id))
        .join(Position, col(Position.id) == col(Placement.position_id))
        .where(
            col(Position.board_id).in_(boards),
            col(Part.date_code) != "",
            or_(col(Placement.removed_on).is_(None), began),
        )
        .order_by(col(Placement.id))
    )
    return [_Row(*row) for row in session.execute(query)]


# ---- What is made of them ----


def dated(board: Board, origins: Origins, lines: Sequence[CodeLine]) -> BoardDating:
    """Hold the codes against the machine and against each other; then reckon with those that count."""
    made = made_span(origins.made)
    reckoned = [replace(line, reckoned=_in_time(line, made)) for line in lines]
    judged = build_window(_pairs(line for line in reckoned if _is_weighed(line)), made)
    off = {misfit.label: misfit.why for misfit in judged.misfits}
    placed = tuple(_placed(line, off.get(line.label, "")) for line in reckoned)
    # What does not belong is known by now: what the keeper holds to count does so whatever its day.
    window = build_window(_pairs(line for line in placed if line.place == "counts"), EVER)
    return BoardDating(board, origins, made, placed, window)


def _is_weighed(line: CodeLine) -> bool:
    return line.part.dating == Dating.COUNTS or (line.held and line.part.dating != Dating.DOES_NOT_COUNT)


def _in_time(line: CodeLine, made: Span | None) -> tuple[Reading, ...]:
    """The readings of an original that its machine allows, or all where it allows none."""
    if made is None or not _is_weighed(line):
        return line.code.readings
    return tuple(one for one in line.code.readings if one.earliest <= made[1]) or line.code.readings


def _pairs(lines: Iterable[CodeLine]) -> list[tuple[str, Reading]]:
    return [(line.label, reading) for line in lines for reading in line.reckoned]


def _placed(line: CodeLine, misfit: str) -> CodeLine:
    place, why = _place_of(line, misfit)
    return replace(line, place=place, why=why)


def _place_of(line: CodeLine, misfit: str) -> tuple[Place, str]:
    note = f": {line.part.dating_note.rstrip('.')}." if line.part.dating_note else "."
    if line.part.dating == Dating.DOES_NOT_COUNT:
        return "left out", f"The keeper holds that it does not count{note}"
    if line.code.trouble:
        return "tells nothing", line.code.trouble
    if line.part.dating == Dating.COUNTS:
        by_itself = f" By the codes alone: {misfit}" if misfit else ""
        return "counts", f"The keeper holds that it counts{note}{by_itself}"
    if misfit:
        return "does not belong", misfit
    if line.held:
        return "counts", "Held to be original."
    return "left out", _why_not_held(line.part)


def _why_not_held(part: Part) -> str:
    if part.origin == Origin.ORIGINAL:
        return "It began at a position of another board, so it does not tell of this one."
    if part.origin == Origin.UNKNOWN:
        return "Its origin is not known; only what is held to be original tells of the board."
    return f"Its origin is {part.origin}; only what is held to be original tells of the board."
