"""A board's map as its page shows it: one picture with the pins on it, seen as it lies on the bench, and lists beside.

It makes the context from what is recorded and what the address asks for, and knows no request.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import quote, urlencode

from server.documents.drawing import NO_BREAK
from server.pages.boards import board_address
from server.pages.forms import Form, number_of
from server.pages.machines import sections
from server.pages.map_marks import marked_view, states_of
from server.pages.map_view import ZOOM_MOST, MapView, Turned, Way, aside, closer
from server.records.cautions import cautions
from server.records.mapping import Carried, Match, carried
from server.records.questions.addresses import designator_key
from server.records.questions.maps import BoardMap, MapPicture, PinLine, TrayLine
from server.records.questions.mods import StepLine
from server.records.questions.paging import Paged, paged_list
from server.records.questions.photographs import Numbered
from server.records.tables import Board, Machine

Words = list[tuple[str, str]]
FOUND_CLOSER = 4
PINS_ON_A_PAGE = 200


@dataclass(frozen=True, slots=True)
class PictureLine:
    """A picture of the map in the list of them: where it is shown, and how it is matched."""

    picture: MapPicture
    address: str
    base: str
    here: bool
    matched: str


@dataclass(frozen=True, slots=True)
class PinRow:
    """A pin in the table: where its position's page is, and where on the shown picture it lies."""

    pin: PinLine
    address: str
    show: str
    place: str


@dataclass(frozen=True, slots=True)
class StepRow:
    """A step of the mod that is shown, with whether it has a pin on this picture."""

    line: StepLine
    done: bool
    placed: bool


@dataclass(frozen=True, slots=True)
class Looks:
    """The addresses of other looks at the same picture, by what a person would press."""

    closer: str
    further: str
    whole: str
    left: str
    right: str
    up: str
    down: str


@dataclass(frozen=True, slots=True)
class MapPage:
    """One board's map. `view` is none while the board has no picture; `said` is what the search came to.

    `as_seen` asks another page to turn its picture in the same way. `refused` is the form of an act that will not do,
    if there was one.
    """

    machine: Machine
    tabs: Words
    board: Board
    board_base: str
    base: str
    cautions: list[str]
    pictures: list[PictureLine]
    here: PictureLine | None
    view: MapView | None
    looks: Looks | None
    as_seen: str
    form: Form
    names: list[str]
    mods: Words
    steps: list[StepRow]
    said: str
    notes: list[str]
    pins: Paged[PinRow]
    pins_address: str
    tray: Paged[TrayLine]
    tray_address: str
    off_map: list[Numbered]
    refused: Form | None


@dataclass(frozen=True, slots=True)
class Asked:
    """What the address asks for, as far as it can be read. `looks` says that it asks for a part of the picture itself;
    `page` is that of the pins, `tray` that of the positions without one; `turn` is the turn as it was typed."""

    picture: int
    way: Way
    turn: str
    looks: bool
    find: str
    mod: str
    page: int
    tray: int

    @classmethod
    def of(cls, query: Mapping[str, str]) -> "Asked":
        """Anything unreadable is as usual; of a turn, which a person types, the page says so."""
        zoom = min(number_of(query.get("zoom", "")) or 1, ZOOM_MOST) or 1
        way = Way(
            turn=(_number(query.get("turn", "")) or 0.0) % 360,
            mirror=query.get("mirror", "") == "yes",
            zoom=zoom,
            x=_number(query.get("x", "")),
            y=_number(query.get("y", "")),
        )
        picture, page, tray = (number_of(query.get(name, "")) or 0 for name in ("picture", "page", "tray"))
        find, mod = query.get("find", "").strip(), query.get("mod", "").strip()
        turn = query.get("turn", "").strip()
        return cls(picture, way, turn, "zoom" in query, find, mod, max(1, page), max(1, tray))


def map_address(machine: Machine | str, board: Board | str) -> str:
    return f"{board_address(machine, board)}/map"


def map_context(
    machine: Machine,
    board: Board,
    found: BoardMap,
    asked: Asked,
    mods: Words,
    steps: Sequence[StepLine],
    off_map: list[Numbered],
    refused: Form | None = None,
    *,
    waits: bool = False,
) -> MapPage:
    """What the page shows of what is recorded; `steps` are those of the mod that is asked for, at this board.

    `waits` says that what is looked for is a position without a pin.
    """
    base = map_address(machine, board)
    picture = found.picture(asked.picture) or found.reference
    spots = carried(found.pins, picture.plane) if picture else []
    places = dict(zip((pin.designator for pin in found.pins), spots, strict=True)) if picture else {}
    sought, said = _sought(places, asked.find, waits)
    way = _way_to(asked, sought)
    states = states_of(steps, sought[0] if sought else "")
    lines = [_picture_line(base, one, picture, asked) for one in found.pictures]
    here = next((line for line in lines if line.here), None)
    address = _positions(machine, board)
    view = marked_view(picture, way, found.pins, spots, states, address) if picture else None
    looks = _looks(base, picture, way, asked) if picture else None
    return MapPage(
        machine=machine,
        tabs=sections(machine),
        board=board,
        board_base=board_address(machine, board),
        base=base,
        cautions=cautions(machine.hazards, board.hazards),
        pictures=lines,
        here=here,
        view=view,
        looks=looks,
        as_seen=urlencode(Way(way.turn, way.mirror).asked()),
        form=_form(asked, picture),
        names=[pin.designator for pin in found.pins],
        mods=mods,
        steps=[StepRow(line, line.stands, _is_placed(line, places)) for line in steps],
        said=said,
        notes=_notes(here, spots),
        pins=_pins(base, asked, found.pins if picture else (), spots, picture, address),
        pins_address=_list_address(base, asked, "page", tray=asked.tray),
        tray=found.tray,
        tray_address=_list_address(base, asked, "tray", page=asked.page),
        off_map=off_map,
        refused=refused,
    )


# ---- Where to look ----


def _sought(places: Mapping[str, Carried | None], name: str, waits: bool) -> tuple[tuple[str, Carried] | None, str]:
    """The pin that is looked for where it is on this picture, or a sentence that says why there is none."""
    if not name:
        return None, ""
    key = designator_key(name)
    known = next((one for one in places if designator_key(one) == key), None)
    if known is None:
        return None, f"{name} {'waits in the tray to be placed' if waits else 'is no position of this board'}."
    place = places[known]
    if place is None:
        return None, f"{known} has its pin on another picture only: follow Show beside it in the table."
    return (known, place), ""


def _way_to(asked: Asked, sought: tuple[str, Carried] | None) -> Way:
    """The look goes to what is sought, near enough to see its neighbours, until another look is asked for."""
    if sought is None or asked.looks:
        return asked.way
    return Way(asked.way.turn, asked.way.mirror, FOUND_CLOSER, sought[1].x, sought[1].y)


def _looks(base: str, picture: MapPicture, way: Way, asked: Asked) -> Looks:
    turned = Turned(picture.plane.width, picture.plane.height, way)
    quarter = 0.25
    return Looks(
        closer=_look(base, asked, closer(turned, 2)),
        further=_look(base, asked, closer(turned, 0.5)),
        whole=_look(base, asked, Way(way.turn, way.mirror)),
        left=_look(base, asked, aside(turned, -quarter, 0)),
        right=_look(base, asked, aside(turned, quarter, 0)),
        up=_look(base, asked, aside(turned, 0, -quarter)),
        down=_look(base, asked, aside(turned, 0, quarter)),
    )


def _look(base: str, asked: Asked, way: Way) -> str:
    found = {"find": asked.find} if asked.find else {}
    return f"{base}?{urlencode(_kept(asked) | found | way.asked() | {'zoom': str(way.zoom)})}#map"


def _positions(machine: Machine, board: Board) -> Callable[[str], str]:
    """Where the page of a position is, by its designator; what all have in common is made once."""
    before = f"{board_address(machine, board)}/positions/"
    return lambda designator: f"{before}{quote(designator, safe='')}"


def _pins(
    base: str,
    asked: Asked,
    pins: Sequence[PinLine],
    spots: Sequence[Carried | None],
    picture: MapPicture | None,
    address: Callable[[str], str],
) -> Paged[PinRow]:
    """A page of the table of pins."""
    lines = paged_list(list(zip(pins, spots, strict=True)), asked.page, PINS_ON_A_PAGE)
    rows = [
        PinRow(pin, address(pin.designator), _found_address(base, asked, pin, spot), _place(pin, spot, picture))
        for pin, spot in lines.rows
    ]
    return Paged(rows, lines.number, lines.last, lines.total)


def _found_address(base: str, asked: Asked, pin: PinLine, spot: Carried | None) -> str:
    """Where the pin is seen: on this picture, or on its own where it is not carried to this one."""
    turned = Way(asked.way.turn, asked.way.mirror).asked()
    where = {"picture": str(pin.plane.number)} if spot is None else {}
    return f"{base}?{urlencode(_kept(asked) | where | turned | {'find': pin.designator})}#map"


def _list_address(base: str, asked: Asked, name: str, **other: int) -> str:
    """Where another page of a list is, up to its number; the other list stays where it is."""
    turned = Way(asked.way.turn, asked.way.mirror).asked()
    kept = _kept(asked) | turned | {key: str(number) for key, number in other.items() if number > 1}
    return f"{base}?{urlencode(kept | {name: ''})}"


def _kept(asked: Asked) -> dict[str, str]:
    """What another look at the map goes on asking for."""
    kept = {"picture": str(asked.picture) if asked.picture else "", "mod": asked.mod}
    return {name: text for name, text in kept.items() if text}


# ---- In words ----


def _picture_line(base: str, one: MapPicture, shown: MapPicture | None, asked: Asked) -> PictureLine:
    here = shown is not None and one.number == shown.number
    more = {"picture": str(one.number)} | ({"find": asked.find} if asked.find else {})
    mod = {"mod": asked.mod} if asked.mod else {}
    return PictureLine(one, f"{base}?{urlencode(more | mod)}", f"{base}/{one.number}", here, matched_in_words(one))


def matched_in_words(picture: MapPicture) -> str:
    """How a picture goes with the reference picture."""
    if picture.is_reference:
        return "the others are matched to it"
    match = picture.match
    if match is None:
        return "not matched yet"
    side = ", seen from the other side" if match.mirrored else ""
    return f"matched by {len(match.residuals)} points{side}; {error_in_words(match)}"


def error_in_words(match: Match) -> str:
    """How far a spot is off, as the points tell of each other."""
    if match.left_out_rms is None:
        return "too few points to say how far a spot may be off"
    return f"on the whole a point lies {pixels(match.left_out_rms)} from where the others put it"


def pixels(length: float) -> str:
    """A length on a picture, to two digits."""
    told = f"{length:.2g}" if length < 99.5 else f"{length:,.0f}"
    return f"{told}{NO_BREAK}pixels"


def _place(pin: PinLine, spot: Carried | None, picture: MapPicture | None) -> str:
    if spot is None:
        return f"on picture {pin.plane.number} only"
    there = f"{spot.x:.0f}, {spot.y:.0f}"
    if picture is not None and pin.plane.number == picture.number:
        return there
    return f"{there}, within {pixels(spot.radius)}" if spot.radius is not None else f"{there}, how sure is not known"


def _notes(here: PictureLine | None, spots: Sequence[Carried | None]) -> list[str]:
    """What has to be known of this picture."""
    notes = []
    if here and not here.picture.is_reference and here.picture.match is None:
        notes.append("This picture is not matched to the reference picture: pins of the others cannot be shown on it.")
    missing = sum(spot is None for spot in spots)
    if missing and not notes:
        are = "1 pin is" if missing == 1 else f"{missing:,} pins are"
        notes.append(f"{are} not on this picture: beyond its edge, or on a picture that is not matched.")
    if any(spot is not None and spot.radius is None for spot in spots):
        notes.append("Where carried pins are drawn without a circle, too few points tell how far off they may be.")
    if any(spot is not None and (spot.radius or 0.0) > 0 for spot in spots):
        notes.append(
            "A dashed circle says how far off a carried pin may be, by what the matching points tell of each other: "
            "where the pictures differ as they are taken to, the spot lies within it 95 times of 100. With fewer than "
            "six points, and for tall parts or a bent board, it says too little."
        )
    return notes


def _is_placed(line: StepLine, places: Mapping[str, Carried | None]) -> bool:
    return line.position is not None and places.get(line.position.designator) is not None


def _form(asked: Asked, picture: MapPicture | None) -> Form:
    """The form that turns the picture, and looks for a position or a mod's steps."""
    unread = bool(asked.turn) and _number(asked.turn) is None
    form = Form.blank(
        picture=str(picture.number) if picture else "",
        find=asked.find,
        turn=asked.turn if unread else f"{asked.way.turn:g}" if asked.way.turn else "",
        mirror="yes" if asked.way.mirror else "",
        mod=asked.mod,
    )
    if unread:
        form.errors["turn"] = "Say it as a number of degrees, such as 90."
    return form


def _number(text: str) -> float | None:
    """A number out of an address; none where it is none, or too large to be a place."""
    try:
        number = float(text.strip().replace(",", "."))
    except ValueError:
        return None
    return number if math.isfinite(number) and abs(number) < 1e6 else None
