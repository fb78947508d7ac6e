"""A board's map as its page shows it: one picture with the pins on it, seen as it lies on the bench, and lists beside.

It makes the context from what is recorded and what the address asks for, and knows no request.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from server.pages.boards import board_address, position_address
from server.pages.drawing import NO_BREAK
from server.pages.forms import Form, number_of
from server.pages.machines import sections
from server.pages.map_view import ZOOM_MOST, MapView, MarkState, Spot, Turned, Way, aside, closer, map_view
from server.records.cautions import cautions
from server.records.mapping import Carried, Match, carried
from server.records.pictures import SCREEN
from server.records.questions.addresses import designator_key
from server.records.questions.maps import BoardMap, MapPicture, PinLine, TrayLine
from server.records.questions.mods import StepLine
from server.records.questions.paging import Paged, paged_list
from server.records.tables import Board, Machine, Photograph

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

    `refused` is the form of an act that will not do, if there was one.
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
    form: Form
    names: list[str]
    mods: Words
    steps: list[StepRow]
    said: str
    notes: list[str]
    pins: Paged[PinRow]
    tray: Paged[TrayLine]
    off_map: list[Photograph]
    refused: Form | None


@dataclass(frozen=True, slots=True)
class Asked:
    """What the address asks for, as far as it can be read."""

    picture: int
    way: Way
    find: str
    mod: str
    page: int

    @classmethod
    def of(cls, query: Mapping[str, str]) -> "Asked":
        """Anything unreadable is as usual."""
        zoom = min(number_of(query.get("zoom", "")) or 1, ZOOM_MOST) or 1
        way = Way(
            turn=(_number(query.get("turn", "")) or 0.0) % 360,
            mirror=query.get("mirror", "") == "yes",
            zoom=zoom,
            x=_number(query.get("x", "")),
            y=_number(query.get("y", "")),
        )
        picture, page = number_of(query.get("picture", "")) or 0, number_of(query.get("page", "")) or 1
        return cls(picture, way, query.get("find", "").strip(), query.get("mod", "").strip(), max(1, page))


def map_address(machine: Machine | str, board: Board | str) -> str:
    return f"{board_address(machine, board)}/map"


def picture_href(photograph: Photograph) -> str:
    """The view of it that a map shows."""
    return f"/photographs/{photograph.sha256}/{SCREEN}"


def map_context(
    machine: Machine,
    board: Board,
    found: BoardMap,
    asked: Asked,
    mods: Words,
    steps: Sequence[StepLine],
    off_map: list[Photograph],
    refused: Form | None = None,
) -> MapPage:
    """What the page shows of what is recorded; `steps` are those of the mod that is asked for, at this board."""
    base = map_address(machine, board)
    picture = found.picture(asked.picture) or found.reference
    spots = carried(found.pins, picture.plane) if picture else []
    places = dict(zip((pin.designator for pin in found.pins), spots, strict=True)) if picture else {}
    sought, said = _sought(found, places, asked.find)
    way = _way_to(asked.way, sought)
    states = _states(steps, sought)
    lines = [_picture_line(base, one, picture, asked) for one in found.pictures]
    here = next((line for line in lines if line.here), None)
    view = _view(machine, board, picture, way, found.pins, spots, states) if picture else None
    looks = _looks(base, picture, way, asked) if picture else None
    rows = [
        PinRow(
            pin,
            position_address(machine, board, pin.designator),
            _address(base, asked, find=pin.designator),
            _place(pin, spot, picture),
        )
        for pin, spot in zip(found.pins, spots, strict=True)
        if picture
    ]
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
        form=_form(asked, picture),
        names=[pin.designator for pin in found.pins],
        mods=mods,
        steps=[StepRow(line, line.stands, _is_placed(line, places)) for line in steps],
        said=said,
        notes=_notes(here, spots),
        pins=paged_list(rows, asked.page, PINS_ON_A_PAGE),
        tray=found.tray,
        off_map=off_map,
        refused=refused,
    )


# ---- Where to look ----


def _sought(found: BoardMap, places: Mapping[str, Carried | None], name: str) -> tuple[tuple[str, Carried] | None, str]:
    """The pin that is looked for where it is on this picture, or a sentence that says why there is none."""
    if not name:
        return None, ""
    key = designator_key(name)
    known = next((one for one in places if designator_key(one) == key), None)
    if known is None:
        waits = any(designator_key(line.designator) == key for line in found.tray.rows)
        why = "waits in the tray below to be placed" if waits else "has no pin on this map"
        return None, f"{name} {why}."
    place = places[known]
    if place is None:
        return None, f"{known} has a pin on another picture, from which it cannot be carried to this one."
    return (known, place), ""


def _way_to(way: Way, sought: tuple[str, Carried] | None) -> Way:
    """The look goes to what is sought, near enough to see its neighbours."""
    if sought is None:
        return way
    zoom = way.zoom if way.zoom > 1 else FOUND_CLOSER
    return Way(way.turn, way.mirror, zoom, sought[1].x, sought[1].y)


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
    return f"{base}?{urlencode(_kept(asked) | way.asked())}#map"


def _address(base: str, asked: Asked, **more: str) -> str:
    turned = Way(asked.way.turn, asked.way.mirror).asked()
    return f"{base}?{urlencode(_kept(asked) | turned | more)}#map"


def _kept(asked: Asked) -> dict[str, str]:
    """What another look at the map goes on asking for."""
    kept = {"picture": str(asked.picture) if asked.picture else "", "mod": asked.mod}
    return {name: text for name, text in kept.items() if text}


# ---- The picture ----


def _view(
    machine: Machine,
    board: Board,
    picture: MapPicture,
    way: Way,
    pins: Sequence[PinLine],
    spots: Sequence[Carried | None],
    states: Mapping[str, tuple[MarkState, str]],
) -> MapView:
    marks = []
    for pin, spot in zip(pins, spots, strict=True):
        if spot is None:
            continue
        state, words = states.get(pin.designator, ("pin", ""))
        marks.append(
            Spot(
                name=pin.designator,
                x=spot.x,
                y=spot.y,
                radius=spot.radius or 0.0,
                state=state,
                address=position_address(machine, board, pin.designator),
                title=_title(pin, words),
            )
        )
    marks.sort(key=lambda mark: mark.state != "pin")  # what is looked for is drawn over the others
    size = picture.plane.width, picture.plane.height
    return map_view(picture_href(picture.photograph), size, way, marks, _described(picture, marks))


def _title(pin: PinLine, words: str) -> str:
    there = pin.there or f"nothing recorded, {pin.expected} expected" if pin.expected else pin.there or pin.kind
    return ": ".join(filter(None, [f"{pin.designator}, {there}", words]))


def _described(picture: MapPicture, marks: Sequence[Spot]) -> str:
    """What the picture says, for those who do not see it."""
    looked_for = [mark.name for mark in marks if mark.state != "pin"]
    more = f"; marked out: {', '.join(looked_for)}" if looked_for else ""
    count = "1 position" if len(marks) == 1 else f"{len(marks):,} positions"
    caption = f", “{picture.photograph.caption}”" if picture.photograph.caption else ""
    return f"Picture {picture.number}{caption}, a {picture.row.kind}, with {count} on it{more}."


def _states(steps: Sequence[StepLine], sought: tuple[str, Carried] | None) -> dict[str, tuple[MarkState, str]]:
    """How the pins of steps and of what is sought differ from the others, each with its words."""
    states: dict[str, tuple[MarkState, str]] = {}
    for line in steps:
        if line.position is None:
            continue
        name = line.position.designator
        before = f"{states[name][1]}; " if name in states else ""
        said = f"step {line.step.number}, {'done' if line.stands else 'not done'}: {line.words}"
        states[name] = ("done" if line.stands else "step", before + said)
    if sought:
        words = states[sought[0]][1] if sought[0] in states else ""
        states[sought[0]] = ("found", words)
    return states


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
    return f"on the whole a point lies {_pixels(match.left_out_rms)} from where the others put it"


def _pixels(length: float) -> str:
    return f"{length:.2g}{NO_BREAK}pixels"


def _place(pin: PinLine, spot: Carried | None, picture: MapPicture | None) -> str:
    if spot is None:
        return f"on picture {pin.plane.number} only"
    there = f"{spot.x:.0f}, {spot.y:.0f}"
    if picture is not None and pin.plane.number == picture.number:
        return there
    return f"{there}, within {_pixels(spot.radius)}" if spot.radius is not None else f"{there}, how sure is not known"


def _notes(here: PictureLine | None, spots: Sequence[Carried | None]) -> list[str]:
    """What has to be known of this picture."""
    notes = []
    if here and not here.picture.is_reference and here.picture.match is None:
        notes.append("This picture is not matched to the reference picture: pins of the others cannot be shown on it.")
    missing = sum(spot is None for spot in spots)
    if missing and not notes:
        are = "1 pin is" if missing == 1 else f"{missing:,} pins are"
        notes.append(f"{are} not on this picture: beyond its edge, or on a picture that is not matched.")
    if any(spot is not None and (spot.radius or 0.0) > 0 for spot in spots):
        notes.append(
            "A dashed circle says how far off a carried pin may be: with 95 % the spot lies within it. Tall parts and "
            "a bent board are not reckoned with."
        )
    return notes


def _is_placed(line: StepLine, places: Mapping[str, Carried | None]) -> bool:
    return line.position is not None and places.get(line.position.designator) is not None


def _form(asked: Asked, picture: MapPicture | None) -> Form:
    """The form that turns the picture, and looks for a position or a mod's steps."""
    return Form.blank(
        picture=str(picture.number) if picture else "",
        find=asked.find,
        turn=f"{asked.way.turn:g}" if asked.way.turn else "",
        mirror="yes" if asked.way.mirror else "",
        mod=asked.mod,
    )


def _number(text: str) -> float | None:
    """A number out of an address; none where it is none, or too large to be a place."""
    try:
        number = float(text.strip().replace(",", "."))
    except ValueError:
        return None
    return number if math.isfinite(number) and abs(number) < 1e6 else None
