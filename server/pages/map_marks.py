"""The marks on a board's picture: each pin where it lies, what sits there in words, and what a mod does to it.

It makes the picture of the map's page from what is recorded, and knows no request.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from server.pages.map_view import MapView, MarkState, Spot, Way, map_view
from server.records.mapping import Carried
from server.records.pictures import FINE, SCREEN
from server.records.questions.maps import MapPicture, PinLine
from server.records.questions.mods import StepLine
from server.records.tables import Photograph


@dataclass(frozen=True, slots=True)
class Marked:
    """How a mark differs from the others: its shape, the steps that it stands for, and what it says."""

    state: MarkState
    steps: tuple[int, ...] = ()
    words: str = ""


def picture_href(photograph: Photograph) -> str:
    """The view of it that a map shows."""
    return f"/photographs/{photograph.sha256}/{SCREEN}"


def fine_href(photograph: Photograph) -> str:
    """The view for looking closer; empty where the usual one shows all."""
    return f"/photographs/{photograph.sha256}/{FINE}" if max(photograph.width, photograph.height) > SCREEN else ""


def marked_view(
    picture: MapPicture,
    way: Way,
    pins: Sequence[PinLine],
    spots: Sequence[Carried | None],
    states: Mapping[str, Marked],
    address: Callable[[str], str],
) -> MapView:
    """A picture with the pins that lie on it; `address` is where the page of a position is."""
    plain = Marked("pin")
    marks = []
    for pin, spot in zip(pins, spots, strict=True):
        if spot is not None:
            marked = states.get(pin.designator, plain)
            marks.append(_spot(pin, spot, marked, address(pin.designator)))
    marks.sort(key=lambda mark: mark.state != "pin")  # what is looked for is drawn over the others
    size = picture.plane.width, picture.plane.height
    shown = picture.photograph
    return map_view(picture_href(shown), size, way, marks, _described(picture, marks), fine_href(shown))


def states_of(steps: Sequence[StepLine], sought: str) -> dict[str, Marked]:
    """How the pins of steps and of what is sought differ from the others, each with its words."""
    states: dict[str, Marked] = {}
    for line in steps:
        if line.position is None:
            continue
        name, number = line.position.designator, line.step.number
        before = states.get(name, Marked("pin"))
        said = f"step {number}, {'done' if line.stands else 'not done'}: {line.words}"
        words = f"{before.words}; {said}" if before.words else said
        states[name] = Marked("done" if line.stands else "step", (*before.steps, number), words)
    if sought:
        before = states.get(sought, Marked("pin"))
        states[sought] = Marked("found", before.steps, before.words)
    return states


def _spot(pin: PinLine, spot: Carried, marked: Marked, address: str) -> Spot:
    return Spot(
        name=pin.designator,
        x=spot.x,
        y=spot.y,
        radius=spot.radius or 0.0,
        state=marked.state,
        address=address,
        title=_title(pin, marked.words),
        label=_label(pin.designator, marked.steps),
    )


def _label(designator: str, steps: Sequence[int]) -> str:
    """What is written beside the mark: a mod's steps are told by their numbers."""
    if not steps:
        return designator
    return f"{designator}, {'step' if len(steps) == 1 else 'steps'} {', '.join(map(str, steps))}"


def _title(pin: PinLine, words: str) -> str:
    expected = f"nothing recorded, {pin.expected} expected" if pin.expected else pin.kind
    told = f"{pin.designator}, {pin.there or expected}"
    return f"{told}: {words}" if words else told


def _described(picture: MapPicture, marks: Sequence[Spot]) -> str:
    """What the picture says, for those who do not see it."""
    looked_for = [mark.name for mark in marks if mark.state != "pin"]
    more = f"; marked out: {', '.join(looked_for)}" if looked_for else ""
    count = "1 position" if len(marks) == 1 else f"{len(marks):,} positions"
    caption = f", “{picture.photograph.caption}”" if picture.photograph.caption else ""
    return f"Picture {picture.number}{caption}, a {picture.row.kind}, with {count} on it{more}."
