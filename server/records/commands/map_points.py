"""The matching points of two pictures as they are typed, row by row, and what is said of each that will not do.

Each fault is told beside its field: `points.0.reference_x`, `points.2.y`.
"""

from collections.abc import Sequence
from typing import Any, Literal, cast

from server.engineering import registration as engine
from server.engineering.registration_points import checked_points, named, on_one_line
from server.records.commands.base import Command, OptionalFloat
from server.records.errors import Invalid
from server.records.questions.maps import COORDINATES, MapPicture

FEWEST, MOST = 3, 8
MatchKind = Literal["", "similarity", "affine", "projective"]
Row = dict[str, Any]


class PointFields(Command):
    """One spot of the board, where it is in the reference picture and where in the other."""

    reference_x: OptionalFloat = None
    reference_y: OptionalFloat = None
    x: OptionalFloat = None
    y: OptionalFloat = None

    @property
    def is_empty(self) -> bool:
        return all(getattr(self, name) is None for name in COORDINATES)


def outside_faults(picture: MapPicture, x: float, y: float) -> dict[str, str]:
    """A sentence for x and for y where a place lies outside its picture."""
    found, plane = {}, picture.plane
    if not 0 <= x <= plane.width:
        found["x"] = f"Picture {plane.number} is {plane.width:,} pixels wide; {x:.10g} lies outside it."
    if not 0 <= y <= plane.height:
        found["y"] = f"Picture {plane.number} is {plane.height:,} pixels high; {y:.10g} lies outside it."
    return found


def read_points(
    points: Sequence[PointFields], kind: MatchKind, reference: MapPicture, picture: MapPicture
) -> list[Row]:
    """The points without empty rows, of which a fit can be made; raises Invalid where none can."""
    filled = [number for number, point in enumerate(points) if not point.is_empty]
    if not filled:
        return []
    if len(filled) > MOST:
        raise Invalid({f"points.{filled[MOST]}.reference_x": f"There are {len(filled)} points; {MOST} are the most."})
    faults: dict[str, str] = {}
    for number in filled:
        said = _row_faults(points[number], reference, picture)
        faults |= {f"points.{number}.{column}": sentence for column, sentence in said.items()}
    needed = max(FEWEST, engine.NEEDED[kind] if kind else 0)
    if len(filled) < needed:
        of_kind = f" of the kind {kind}" if needed > FEWEST else ""
        given = "There is 1 point" if len(filled) == 1 else f"There are {len(filled)} points"
        faults.setdefault(_next_row(points, filled), f"{given}, and a match{of_kind} needs at least {needed}.")
    if faults:
        raise Invalid(faults)
    rows = [{name: getattr(points[number], name) for name in COORDINATES} for number in filled]
    if said := _fit_faults(rows, filled, kind):
        raise Invalid(said)
    return rows


def _row_faults(point: PointFields, reference: MapPicture, picture: MapPicture) -> dict[str, str]:
    faults = {
        name: "Say where this point is in both pictures, or empty its row."
        for name in COORDINATES
        if getattr(point, name) is None
    }
    if faults:
        return faults
    there = cast(tuple[float, ...], tuple(getattr(point, name) for name in COORDINATES))
    outside = outside_faults(reference, *there[:2])
    return {f"reference_{column}": said for column, said in outside.items()} | outside_faults(picture, *there[2:])


def _next_row(points: Sequence[PointFields], filled: list[int]) -> str:
    """The field in which the next point would be typed."""
    empty = (number for number in range(len(points)) if number not in filled)
    return f"points.{next(empty, len(points))}.reference_x"


def _fit_faults(rows: list[Row], numbers: list[int], kind: MatchKind) -> dict[str, str]:
    """Why no fit can be made of the points, beside the last of those at fault; `numbers` are those of their rows."""
    first = [(row["reference_x"], row["reference_y"]) for row in rows]
    second = [(row["x"], row["y"]) for row in rows]
    try:
        engine.fit(first, second, kind or None)
    except engine.RegistrationError as fault:
        places = [numbers[place - 1] for place in fault.places] or numbers
        column = "reference_x" if fault.field == "from_points" else "x"
        return {f"points.{places[-1]}.{column}": _sentence(fault, [place + 1 for place in places])}
    return _flat_faults(first, second, numbers)


def _flat_faults(
    first: list[tuple[float, float]], second: list[tuple[float, float]], numbers: list[int]
) -> dict[str, str]:
    """A similarity can be made of points on a line, but not whether the picture is mirrored."""
    for column, points in (("reference_x", first), ("x", second)):
        if on_one_line(checked_points(points)):
            where = _in("from_points" if column == "reference_x" else "to_points")
            said = (
                f"All points lie on one line {where}, or nearly so, and cannot tell whether the picture is mirrored. "
                "Add one that lies well off it."
            )
            return {f"points.{numbers[-1]}.{column}": said}
    return {}


def _sentence(fault: engine.RegistrationError, places: list[int]) -> str:
    """The refusal in the words of the map, with the rows' numbers."""
    points, where = named(places), _in(fault.field)
    match fault:
        case engine.CoincidentPoints():
            return f"{points} are in the same place {where}. Each point is a spot of its own."
        case engine.CollinearPoints():
            return f"{points} lie on one line {where}, or nearly so. Add a point that lies well off it."
        case engine.HorizonBetween():
            return f"{points} cannot be where the others put the board. Look whether each is the same spot in both."
        case engine.NoMapping():
            return "The points do not go together. Look whether each row is the same spot in both pictures."
        case _:
            return str(fault)


def _in(field: str | None) -> str:
    return "in the reference picture" if field == "from_points" else "in this picture"
