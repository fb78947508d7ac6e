"""Which bag a part goes into, by the number that is typed, and where that bag lies: a bag is in one place only."""

from typing import Annotated

from pydantic import BeforeValidator
from sqlmodel import col, select

from server.records.commands.base import change
from server.records.errors import Invalid
from server.records.placing import BAG_MOST
from server.records.questions.bags import bag_number
from server.records.tables import Part, Storage
from server.records.texts import printable
from server.records.work import Work

PLACE_SHOWN = 60


def _bag_as_said(value: object) -> object:
    if not isinstance(value, str):
        return value
    return bag_number(value) or value.strip() or None


BagNumber = Annotated[int | None, BeforeValidator(_bag_as_said)]


def bag_place(work: Work, bag: int | None, place: str, part: Part | None = None) -> str:
    """Where a bag will lie that something is put into: in one place, for all that is in it.

    Without a place it stays where it lies. Another place moves it only where `part` lies in it itself, or where none
    was noted.
    """
    if bag is None or not 1 <= bag <= BAG_MOST:
        return place
    query = select(Storage).where(Storage.bag == bag, col(Storage.until).is_(None)).order_by(col(Storage.id))
    held = work.session.exec(query).all()
    there = next((one.place for one in held if one.place), "")
    if not place or place.casefold() == there.casefold():
        return there
    if there and not any(part and one.part_id == part.id for one in held):
        said = f"Bag {bag} lies in {printable(there, PLACE_SHOWN)}, and a bag is in one place only."
        raise Invalid({"place": f"{said} Leave the place empty, or take another bag."})
    for one in held:
        if part is None or one.part_id != part.id:  # its own stay ends, and is remembered as it was
            change(one, {"place": place})
    return place
