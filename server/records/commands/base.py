"""What every command shares: the kinds of text it takes, and messages that speak to the keeper.

A command is a small frozen model. `read` builds one from what was typed and answers `Invalid`, one sentence a
field, where it cannot. Field names are those of the form and the API.
"""

import re
from collections.abc import Mapping
from datetime import date, timedelta
from enum import Enum
from typing import Annotated, Any, Self

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, ValidationError

from server.records import clock
from server.records.errors import Difference, Invalid, Stale
from server.records.files import FileStore
from server.records.tables.base import Kept
from server.records.texts import normal, unstorable_at
from server.records.work import plain

LINE_MOST = 300
PROSE_MOST = 20_000
ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


def _storable(text: str, most: int, allowed: str = "") -> str:
    tidy = normal(text.strip())
    if len(tidy) > most:
        raise ValueError(f"This is {len(tidy):,} characters long; at most {most:,} fit here.")
    if (place := unstorable_at(tidy, allowed)) is not None:
        raise ValueError(f"Character {place} is a control character that cannot be stored; take it out.")
    return tidy


def _line(text: str) -> str:
    return _storable(text, LINE_MOST)


def _prose(text: str) -> str:
    return _storable(text.replace("\r\n", "\n").replace("\r", "\n"), PROSE_MOST, allowed="\n\t")


def _needed(text: str) -> str:
    if not text:
        raise ValueError("This cannot be left empty.")
    return text


def _nothing(value: object) -> object:
    return None if isinstance(value, str) and not value.strip() else value


def _iso_day(value: object) -> object:
    if isinstance(value, date):
        return value
    if not isinstance(value, str) or not ISO_DAY.fullmatch(value.strip()):
        raise ValueError("Write the day as year-month-day, such as 1981-09-30.")
    try:
        return date.fromisoformat(value.strip())
    except ValueError:
        raise ValueError(f"There is no day {value.strip()} in the calendar.") from None


Line = Annotated[str, AfterValidator(_line)]
NeededLine = Annotated[str, AfterValidator(_line), AfterValidator(_needed)]
Prose = Annotated[str, AfterValidator(_prose)]


def _not_to_come(day: date) -> date:
    """What was done was done by today; a day more, because the keeper may live ahead of this machine's clock."""
    if day > clock.today() + timedelta(days=1):
        raise ValueError(f"{day} is still to come. Write the day on which it was done.")
    return day


Day = Annotated[date, BeforeValidator(_iso_day), AfterValidator(_not_to_come)]
OptionalDay = Annotated[
    date | None,
    BeforeValidator(lambda value: None if _nothing(value) is None else _iso_day(value)),
    AfterValidator(lambda day: day and _not_to_come(day)),
]
# A day that may lie ahead, unlike one on which something was done.
OptionalDayAhead = Annotated[
    date | None, BeforeValidator(lambda value: None if _nothing(value) is None else _iso_day(value))
]
OptionalInt = Annotated[int | None, BeforeValidator(_nothing)]


def _decimal(value: object) -> object:
    return _nothing(value.replace(",", ".") if isinstance(value, str) else value)


OptionalFloat = Annotated[float | None, BeforeValidator(_decimal)]
NeededFloat = Annotated[float, BeforeValidator(_decimal)]

_CHOOSE = "Choose one of the words offered: {expected}."
_WHOLE = "Write a whole number."
_NO_RECORD = "This does not name a record."
SENTENCES = {
    "missing": "This cannot be left empty.",
    "string_type": "Write a text.",
    "string_unicode": "This holds half a character that cannot be stored; type it again.",
    "enum": _CHOOSE,
    "literal_error": _CHOOSE,
    "int_parsing": _WHOLE,
    "int_type": _WHOLE,
    "int_from_float": _WHOLE,
    "int_parsing_size": "That number is too long.",
    "float_parsing": "Write a number.",
    "float_type": "Write a number.",
    "finite_number": "Write a finite number.",
    "bool_parsing": "Say yes or no.",
    "bool_type": "Say yes or no.",
    "list_type": "Give a list.",
    "extra_forbidden": "There is no such field here.",
    "uuid_parsing": _NO_RECORD,
    "greater_than_equal": "At least {ge} is needed.",
    "less_than_equal": "At most {le} will do.",
}


class Command(BaseModel):
    """Something a keeper asks of the record."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    @classmethod
    def read(cls, typed: Mapping[str, Any]) -> Self:
        """Build the command, or answer with a message for each field that will not do."""
        try:
            return cls(**typed)
        except ValidationError as problem:
            raise Invalid(messages(problem)) from None

    def keep_files(self, files: FileStore) -> None:
        """Put the files that come with the command on the disk: before the record is locked, since that takes long."""

    def columns(self, described: "type[Command]") -> dict[str, Any]:
        """The fields that one kind of description has, as the columns of its table take them."""
        return {name: _column(getattr(self, name)) for name in described.model_fields}


def _column(value: object) -> Any:
    match value:
        case Enum():
            return value.value
        case Command():
            return value.columns(type(value))
        case list():
            return [_column(item) for item in value]
        case _:
            return value


def messages(problem: ValidationError) -> dict[str, str]:
    """One sentence a field, the first fault of each."""
    found: dict[str, str] = {}
    for fault in problem.errors():
        found.setdefault(_field_of(fault["loc"]), _sentence(fault))
    return found


def _field_of(place: tuple[int | str, ...]) -> str:
    """The form's name of a field: of rows it is `inputs.0.name`, of a list of words the list's own."""
    if len(place) > 2:
        return ".".join(str(step) for step in place)
    return str(place[0]) if place else ""


def _sentence(fault: Mapping[str, Any]) -> str:
    if fault["type"] == "value_error":
        return str(fault["ctx"]["error"])
    if fault["type"] in SENTENCES:
        return SENTENCES[fault["type"]].format(**fault.get("ctx", {}))
    return f"{fault['msg']}."


def words(name: str) -> str:
    """A field's name as people read it."""
    return name.replace("_", " ")


def shown(value: object) -> str:
    """A stored or typed value as the two versions are shown."""
    match value:
        case None:
            return ""
        case list():
            rows = [shown(item) for item in value]
            return ("; " if any(isinstance(item, dict) for item in value) else ", ").join(rows)
        case dict():
            return " · ".join(filter(None, map(shown, value.values())))
        case bool():
            return "yes" if value else ""
        case _:
            return str(plain(value))


def expect_version(
    kind: str, row: Kept, opened: int, yours: Mapping[str, object], stored: Mapping[str, object] | None = None
) -> None:
    """Rule 7: refuse to save over a version that the keeper has not seen.

    `stored` gives what now stands in fields that are no columns of the row, such as the name of a board.
    """
    if row.version == opened:
        return
    theirs = {name: getattr(row, name, None) for name in yours} | dict(stored or {})
    raise Stale(kind, row.version, [Difference(words(name), shown(yours[name]), shown(theirs[name])) for name in yours])


def part_changed(row: Kept) -> None:
    """A new version of a row of which only a part changed that is kept in rows of its own."""
    row.version += 1


def change(row: Kept, values: Mapping[str, Any]) -> str:
    """Set what differs, and say it: “serial number from “12” to “21””. Empty when nothing changed."""
    said = []
    for name, value in values.items():
        old = getattr(row, name)
        if old == value:
            continue
        setattr(row, name, value)
        said.append(_said(name, old, value))
    return "; ".join(said)


# Rule 8: what is private is not written into the journal's sentences, which go along with a machine.
PRIVATE = {"price", "acquired_from", "place"}


def _said(name: str, old: object, new: object) -> str:
    if name in PRIVATE:
        return f"{words(name)} changed"
    before, after = shown(old), shown(new)
    if len(before) + len(after) > 160:
        return f"{words(name)} rewritten"
    if not before:
        return f"{words(name)} “{after}” noted"
    if not after:
        return f"{words(name)} “{before}” taken away"
    return f"{words(name)} from “{before}” to “{after}”"
