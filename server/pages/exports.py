"""Lists as files for a spreadsheet: each list of the house by its name, of one machine or of all."""

from collections.abc import Iterator
from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response, StreamingResponse

from server.documents.lists import as_csv
from server.pages.file_names import as_attachment
from server.pages.house import AtHome, House
from server.pages.machines import address, sections
from server.records.errors import NotFound
from server.records.questions.addresses import find_board, find_machine
from server.records.questions.machines import boards_of
from server.records.questions.whole_lists import OF_A_MACHINE, OF_ALL, WholeList
from server.records.tables import Board, Machine

router = APIRouter()


@dataclass(frozen=True, slots=True)
class ListLine:
    """One list: what it holds, where it is, and which of its columns are private."""

    words: str
    address: str
    private: list[str]


@dataclass(frozen=True, slots=True)
class ListsPage:
    """The lists of one machine, or those over all machines; `boards` lead to the parts of one board alone."""

    machine: Machine | None
    tabs: list[tuple[str, str]]
    lists: list[ListLine]
    boards: list[tuple[str, str]]


@router.get("/lists")
def all_lists(house: AtHome) -> Response:
    return house.page("lists/lists.html", ListsPage(None, [], _lines(OF_ALL, "/lists"), []))


@router.get("/machines/{tag}/lists")
def machine_lists(house: AtHome, tag: str) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        boards = [line.board for line in boards_of(session, machine)]
    base = f"{address(machine)}/lists"
    of_boards = [(board.name, f"{base}/parts.csv?board={board.slug}") for board in boards]
    return house.page("lists/lists.html", ListsPage(machine, sections(machine), _lines(OF_A_MACHINE, base), of_boards))


def _lines(lists: dict[str, WholeList], base: str) -> list[ListLine]:
    return [ListLine(one.words, f"{base}/{name}.csv", list(one.private)) for name, one in lists.items()]


@router.get("/lists/{name}.csv")
def whole_list(house: AtHome, name: str) -> Response:
    """A list over all machines; `?private=yes` for what never leaves the house by itself."""
    return _list(house, OF_ALL, name)


@router.get("/machines/{tag}/lists/{name}.csv")
def machine_list(house: AtHome, tag: str, name: str) -> Response:
    """A list of one machine; `?board=` for one board alone, where the list is by board."""
    slug = house.request.query_params.get("board", "")
    with house.reading() as session:
        machine = find_machine(session, tag)
        board = find_board(session, machine, slug) if slug else None
    return _list(house, OF_A_MACHINE, name, machine, board)


def _list(
    house: House, lists: dict[str, WholeList], name: str, machine: Machine | None = None, board: Board | None = None
) -> Response:
    if name not in lists or (board is not None and not lists[name].by_board):
        raise NotFound("list", name)
    private = house.request.query_params.get("private") == "yes"
    wanted = lists[name]

    def pieces() -> Iterator[bytes]:
        with house.reading() as session:
            yield from as_csv(wanted.headings(private=private), wanted.rows(session, machine, board, private=private))

    of = [machine.tag] if machine else []
    of += [board.slug] if board else []
    file_name = f"{'-'.join([*of, name])}.csv"
    headers = {"Content-Disposition": as_attachment(file_name), "Cache-Control": "no-store"}
    return StreamingResponse(pieces(), media_type="text/csv; charset=utf-8", headers=headers)
