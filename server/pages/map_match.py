"""Matching a picture of a board to its reference picture: spots that are seen in both, row by row, and how they fit."""

from dataclasses import dataclass

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.pages.boards import found_board
from server.pages.form_rows import count_rows, fill_rows, labels_of_rows, take_rows
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.machines import sections
from server.pages.map_page import Words, map_address, matched_in_words, pixels
from server.pages.map_pointing import Pointed, plain_view, pointed_at, shown_size
from server.pages.map_view import MapView
from server.records.cautions import cautions
from server.records.commands.map_points import MOST
from server.records.commands.maps import MatchPictures
from server.records.errors import NotFound
from server.records.mapping import Match
from server.records.questions.maps import COORDINATES, MapPicture, pictures_of
from server.records.tables import Board, Machine

router = APIRouter()
ADDRESS = "/machines/{tag}/boards/{slug}/map/{n:int}/match"
KINDS: Words = [
    ("", "the simplest that the points bear"),
    ("similarity", "turned and sized (similarity)"),
    ("affine", "also sheared (affine)"),
    ("projective", "seen askew (projective)"),
]
COLUMN_WORDS = {
    "reference_x": "across on the reference picture",
    "reference_y": "down on the reference picture",
    "x": "across on this picture",
    "y": "down on this picture",
}


@dataclass(frozen=True, slots=True)
class MatchPage:
    """Both pictures to point on, the rows of points, and what the points came to when they were last saved."""

    machine: Machine
    tabs: Words
    board: Board
    base: str
    cautions: list[str]
    picture: MapPicture
    reference: MapPicture
    on_reference: MapView
    on_picture: MapView
    sizes: tuple[tuple[int, int], tuple[int, int]]
    form: Form
    rows: int
    labels: dict[str, str]
    kinds: Words
    match: Match | None
    matched: str
    taken_as: str
    residual: str
    off: list[str]
    action: str


@router.get(ADDRESS)
def match_form(house: AtHome, tag: str, slug: str, n: int) -> Response:
    with house.reading() as session:
        machine, board, picture, _ = _found(session, tag, slug, n)
    form = Form.blank(match_kind=picture.row.match_kind, opened_version=picture.row.version)
    fill_rows(form, "points", COORDINATES, [_as_typed(point) for point in picture.plane.points])
    return _page(house, machine, board, n, form)


@router.post(ADDRESS)
def match_pictures(house: AtHome, tag: str, slug: str, n: int, form: PostedForm) -> Response:
    """Saves the points; where a picture was pressed without a script, its spot goes into the next empty row instead."""
    with house.reading() as session:
        machine, board, picture, reference = _found(session, tag, slug, n)
    spots = {"reference_": pointed_at(form, "on_reference", reference), "": pointed_at(form, "on_picture", picture)}
    rows = take_rows(form, "points", COORDINATES)
    fits = [_put(rows, column, spot) for column, spot in spots.items() if spot is not None]
    fill_rows(form, "points", COORDINATES, rows)
    if not all(fits):
        form.errors[""] = "Every point has a spot on this picture. Empty a row to point its spot out anew."
        return _page(house, machine, board, n, form, 422)
    if fits:
        return _page(house, machine, board, n, form)
    return house.write(
        form,
        MatchPictures,
        to=lambda done: f"{map_address(machine, board)}/{n}/match",  # noqa: ARG005
        again=lambda form, status: _page(house, machine, board, n, form, status),
        machine=machine.tag,
        board=board.slug,
        picture=n,
        points=rows,
    )


def _put(rows: list[dict[str, str]], column: str, spot: Pointed) -> bool:
    """Into the first row that has no spot on that picture; whether there was one."""
    x, y = f"{column}x", f"{column}y"
    row = next((row for row in rows if not row[x] and not row[y]), None)
    if row is None:
        if len(rows) >= MOST:
            return False
        rows.append(row := dict.fromkeys(COORDINATES, ""))
    row[x], row[y] = f"{spot[0]:.1f}", f"{spot[1]:.1f}"
    return True


def _off(match: Match) -> list[str]:
    """How far each point is off, as it was saved last."""
    return [
        f"Off by {pixels(residual)}; "
        + (
            "the others are too few to tell."
            if left_out is None
            else f"the others would put it {pixels(left_out)} away."
        )
        for residual, left_out in zip(match.residuals, match.left_out, strict=True)
    ]


def _as_typed(point: tuple[float, ...]) -> dict[str, str]:
    return {name: f"{value:.10g}" for name, value in zip(COORDINATES, point, strict=True)}


def _found(session: Session, tag: str, slug: str, n: int) -> tuple[Machine, Board, MapPicture, MapPicture]:
    """The picture to be matched and the one that it is matched to."""
    machine, board = found_board(session, tag, slug)
    pictures = pictures_of(session, board)
    reference = next((one for one in pictures if one.is_reference), None)
    picture = next((one for one in pictures if one.number == n and not one.is_reference), None)
    if picture is None or reference is None:
        raise NotFound("picture to be matched", str(n))
    return machine, board, picture, reference


def _page(house: House, machine: Machine, board: Board, n: int, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        _, _, picture, reference = _found(session, machine.tag, board.slug, n)
    base, match = map_address(machine, board), picture.match
    context = MatchPage(
        machine=machine,
        tabs=sections(machine),
        board=board,
        base=base,
        cautions=cautions(machine.hazards, board.hazards),
        picture=picture,
        reference=reference,
        on_reference=plain_view(reference),
        on_picture=plain_view(picture),
        sizes=(shown_size(reference), shown_size(picture)),
        form=form,
        rows=max(MOST, count_rows(form, "points")),
        labels=labels_of_rows(form, {"points": "Point"}, COLUMN_WORDS),
        kinds=KINDS,
        match=match,
        matched=matched_in_words(picture),
        taken_as=dict(KINDS)[match.kind] if match else "",
        residual=pixels(match.residual_rms) if match else "",
        off=_off(match) if match else [],
        action=f"{base}/{n}/match",
    )
    return house.page("maps/match.html", context, status)
