"""What a part's value was understood as: for the pages that show one, and in a line while it is typed."""

from dataclasses import dataclass

from fastapi import APIRouter
from markupsafe import escape
from starlette.responses import HTMLResponse, Response

from server.engineering.errors import EngineeringError
from server.engineering.quantities import exact, show
from server.pages.house import AtHome
from server.pages.templating import environment
from server.records import values
from server.records.list_words import kind_of_designator
from server.records.words import PartKind

router = APIRouter()
# The fields, by whatever name a form has for them.
VALUE_FIELDS = ("value", "expected_value")
KIND_FIELDS = ("kind", "part_kind")
TYPED_MOST = 300


@dataclass(frozen=True, slots=True)
class Understood:
    """A value in the words in which it was understood, with its limits where it has any; or why it cannot be read."""

    words: str = ""
    low: str = ""
    high: str = ""
    problem: str = ""


def understood(text: str, kind: str) -> Understood:
    """What the sums read from a value as it was typed."""
    if not text:
        return Understood()
    try:
        value, words = values.read_value(text, kind), values.understood(text, kind)
    except EngineeringError as fault:
        return Understood(problem=str(fault).rstrip("."))
    if value.is_exact:
        return Understood(words)
    return Understood(words, show(exact(value.low, value.unit)), show(exact(value.high, value.unit)))


@router.get("/understood")
def understood_line(house: AtHome) -> Response:
    """One line for the place beneath a value's field; it stands in no page of its own."""
    asked = {name: text[:TYPED_MOST].strip() for name, text in house.request.query_params.items()}
    value = next((asked[name] for name in VALUE_FIELDS if asked.get(name)), "")
    kind = next((asked[name] for name in KIND_FIELDS if asked.get(name)), "")
    if kind not in list(PartKind):
        kind = kind_of_designator(asked.get("designator", "")).value
    words = environment().get_template("parts/_parts.html").module.understood(understood(value, kind))  # type: ignore[attr-defined]
    return HTMLResponse(escape(words), headers={"Vary": "HX-Request"})
