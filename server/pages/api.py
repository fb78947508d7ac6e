"""The record for programs: the same JSON as a dossier holds, described in OpenAPI."""

from typing import Any

from fastapi import APIRouter
from pydantic import BaseModel
from starlette.responses import Response

from server.documents.record import canonical, machine_record
from server.documents.record_schema import MachineRecord
from server.pages.house import AtHome
from server.records.questions.addresses import find_machine

router = APIRouter(prefix="/api/v1")


class Answer(BaseModel):
    """Why there is nothing to give: one sentence."""

    detail: str


NOT_THERE: dict[int | str, dict[str, Any]] = {404: {"model": Answer, "description": "No machine has this tag."}}


@router.get(
    "/machines/{tag}",
    summary="The whole record of one machine",
    response_model=MachineRecord,
    responses=NOT_THERE,
)
def machine(house: AtHome, tag: str) -> Response:
    """Everything recorded about the machine, without its private fields, as RFC 8785 canonical JSON.

    The bytes are those that the machine's mod sheet carries: their SHA-256 is the digest printed on it.
    """
    with house.reading() as session:
        record = machine_record(session, find_machine(session, tag))
    return Response(canonical(record), media_type="application/json")
