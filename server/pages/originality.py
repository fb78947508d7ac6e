"""What of a machine is original: counted, drawn position by position, and listed with where each original is now."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from fastapi import APIRouter
from starlette.responses import Response

from server.pages.boards import Options, board_address
from server.pages.dating import dating_address
from server.pages.house import AtHome, PageNumber
from server.pages.machines import address, sections
from server.records import clock
from server.records.cautions import cautions
from server.records.questions.addresses import find_machine
from server.records.questions.dating import BoardDating, datings
from server.records.questions.originality import (
    BoardSpots,
    Holds,
    NotOriginal,
    Spot,
    Survey,
    not_original,
    survey,
)
from server.records.questions.paging import Paged
from server.records.questions.stays import LeftBoard, boards_left
from server.records.tables import Board, Machine

router = APIRouter()
ROWS_A_PAGE = 100
LISTED_A_PAGE = 500  # a list that goes along on paper should seldom fall into parts
CODES_MOST = 50
MEANINGS = {
    Holds.ORIGINAL: "the part that left the factory there",
    Holds.PERIOD: "a part of the same time, or an original of another position",
    Holds.LATER: "a part made later",
    Holds.NEW: "a part newly made",
    Holds.EMPTY: "nothing is recorded there now",
    Holds.UNKNOWN: "a part whose origin is not known",
}


@dataclass(frozen=True, slots=True)
class Strip:
    """The positions of one board whose designators begin with the same letters, in order."""

    letters: str
    spots: Sequence[Spot]


@dataclass(frozen=True, slots=True)
class BoardView:
    """One board as it is drawn: its strips, the same in words, and what its date codes allow."""

    board: Board
    base: str
    came_from: str
    counts: Mapping[Holds, int]
    strips: list[Strip]
    words: str
    dating: BoardDating
    dating_base: str


@dataclass(frozen=True, slots=True)
class OriginalityPage:
    """A machine's originality; `off` are the positions that do not hold their original."""

    machine: Machine
    tabs: Options
    base: str
    cautions: list[str]
    boards: list[BoardView]
    found: Survey
    kinds: list[tuple[Holds, str]]
    words: str
    off: Paged[NotOriginal]


@dataclass(frozen=True, slots=True)
class OriginalityListPage:
    """The list for a buyer: every position that does not hold its original, and where the original goes along.

    `notes` say what the count does not: boards of another machine, boards that are away, codes that do not belong.
    """

    machine: Machine
    tabs: Options
    base: str
    cautions: list[str]
    words: str
    notes: list[str]
    off: Paged[NotOriginal]
    today: date


@router.get("/machines/{tag}/originality")
def originality_page(house: AtHome, tag: str, number: PageNumber) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        found = survey(session, machine)
        dated = datings(session, [one.board for one in found.boards])
        off = not_original(session, found, number, ROWS_A_PAGE)
    views = [_view(machine, spots, dating) for spots, dating in zip(found.boards, dated, strict=True)]
    context = OriginalityPage(
        machine=machine,
        tabs=sections(machine),
        base=f"{address(machine)}/originality",
        cautions=_cautions(machine, found),
        boards=views,
        found=found,
        kinds=list(MEANINGS.items()),
        words=counted(found.counts),
        off=off,
    )
    return house.page("originality/originality.html", context)


@router.get("/machines/{tag}/originality/list")
def originality_list_page(house: AtHome, tag: str, number: PageNumber) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        found = survey(session, machine)
        off = not_original(session, found, number, LISTED_A_PAGE)
        notes = [
            *_of_boards(found, boards_left(session, machine)),
            *_of_codes(datings(session, [one.board for one in found.boards])),
        ]
    context = OriginalityListPage(
        machine=machine,
        tabs=sections(machine),
        base=f"{address(machine)}/originality",
        cautions=_cautions(machine, found),
        words=counted(found.counts),
        notes=notes,
        off=off,
        today=clock.today(),
    )
    return house.page("originality/list.html", context)


def _of_boards(found: Survey, left: Sequence[LeftBoard]) -> Iterator[str]:
    for one in found.boards:
        if one.came_from:
            yield (
                f"{one.board.name} was built into {one.came_from}: original means here that a part left the factory on "
                "this board."
            )
    for away in left:
        since = f" since {away.day}" if away.day else ""
        yield f"{away.board.name} is not here: it is in {away.machine.tag}{since}, and its parts are not counted."


def _of_codes(dated: Sequence[BoardDating]) -> Iterator[str]:
    for dating in dated:
        for line in dating.placed("does not belong")[:CODES_MOST]:
            yield f"{line.label} on {dating.board.name}: {line.why}"


def _cautions(machine: Machine, found: Survey) -> list[str]:
    return cautions(machine.hazards, *(one.board.hazards for one in found.boards))


def _view(machine: Machine, spots: BoardSpots, dating: BoardDating) -> BoardView:
    return BoardView(
        board=spots.board,
        base=board_address(machine, spots.board),
        came_from=spots.came_from,
        counts=spots.counts,
        strips=list(strips(spots.spots)),
        words=counted(spots.counts),
        dating=dating,
        dating_base=dating_address(machine, spots.board),
    )


def strips(spots: Sequence[Spot]) -> Iterator[Strip]:
    """Positions in their order, cut where the letters of the designators change."""
    for letters, group in groupby(spots, key=lambda spot: _letters(spot.designator)):
        yield Strip(letters, list(group))


def _letters(designator: str) -> str:
    found = re.match(r"[^\W\d]*", designator)
    return found[0].upper()[:8] if found else ""


def counted(counts: Mapping[Holds, int]) -> str:
    """What the positions hold, in one sentence: `25 positions: 20 original, 2 later, 1 empty.`"""
    total = sum(counts.values())
    if not total:
        return "No position is recorded yet."
    held = ", ".join(f"{counts[kind]:,} {kind}" for kind in Holds if counts[kind])
    return f"{total:,} position{'' if total == 1 else 's'}: {held}."
