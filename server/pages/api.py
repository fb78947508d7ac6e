"""The record for programs: the same JSON as a dossier holds, and trials posted by a bench script; told in OpenAPI.

Answers are JSON whatever happens, and what cannot be stored is told in one sentence a field.
"""

import math
from typing import Annotated, Any
from uuid import UUID

from fastapi import APIRouter, Depends, Request
from pydantic import BaseModel, BeforeValidator, Field
from pydantic_core import from_json
from sqlmodel import Session
from starlette.responses import JSONResponse, Response

from server.documents.record import canonical, machine_record
from server.documents.record_schema import MachineRecord
from server.engineering.trials import Summary, summarise
from server.pages.house import AtHome, PageNumber
from server.pages.trial_form import trial_address
from server.records.commands.base import Command, Day, Line, NeededLine, Prose
from server.records.commands.trials import OtherTrial, RecordTrial
from server.records.errors import Invalid
from server.records.questions.addresses import find_machine
from server.records.questions.trials import counts, line_of, procedures, yes_or_no
from server.records.tables import Machine, Procedure, Trial
from server.records.typed_readings import Sent

router = APIRouter(prefix="/api/v1")


NO_UUID = (
    "This must be a UUID such as 0b8f5d0e-5b0f-4c58-9a55-0f9d6c1f7d2e. Make a new one for each trial; in Python, "
    "str(uuid.uuid4()) gives one."
)
DIGITS = 4


def _uuid(sent: object) -> object:
    if not isinstance(sent, str):
        return sent
    try:
        return UUID(sent)
    except ValueError:
        raise ValueError(NO_UUID) from None


class Answer(BaseModel):
    """Why there is nothing to give, or nothing was stored: one sentence."""

    detail: str


class Refusal(Answer):
    """Why nothing was stored, as a whole and for each field."""

    fields: dict[str, str] = Field(description="One sentence a field that will not do, by the field's name.")


class ProcedureEntry(BaseModel):
    """How a test is read, and what to call it when a trial of it is posted."""

    slug: str = Field(description="What a posted trial names it by.")
    title: str
    unit: str = Field(description="The unit of every reading; empty for plain numbers and for yes or no.")
    unit_meaning: str = Field(description="What the unit stands for where it is a count, such as `tick = 1/60 s`.")
    resolution: float | None = Field(description="The smallest step that can be told apart, in the unit.")
    better: str = Field(description="lower, higher or nearest; yes or no where a reading is an observation.")
    target: float | None = Field(description="What readings should come nearest to, where nearest is better.")


class ProcedureList(BaseModel):
    """One page of the procedures, by title."""

    procedures: list[ProcedureEntry]
    page: int
    pages: int


class PostedTrial(Command):
    """A trial as a script sends it."""

    procedure: NeededLine = Field(description="The procedure's slug.", examples=["time-to-count-to-a-thousand"])
    day: Day = Field(description="The day on which the readings were taken, year-month-day.", examples=["2024-04-01"])
    readings: Sent = Field(
        description="From 1 to 1,000,000 numbers in the order they were taken, in the procedure's unit; true or false "
        "for each occasion where the procedure is yes or no.",
        examples=[[704, 709, 709], [True, False, False]],
    )
    unit: Line | None = Field(
        None,
        description="The unit of the readings, to be sure: any other than the procedure's is refused.",
        examples=["ms"],
    )
    conditions: Prose = Field("", description="Whatever else could move the readings.", examples=["21 °C, lid off"])
    instrument: Line = Field("", description="What they were taken with.", examples=["bench counter"])
    signer: NeededLine | None = Field(None, description="Who signs; the machine's keeper where nobody is named.")
    note: Prose = ""
    uuid: Annotated[UUID | None, BeforeValidator(_uuid)] = Field(
        None,
        description="A UUID of your own for this trial. Sent once more with the same content, as after an answer that "
        "was lost, it is answered with the trial that is there.",
        examples=["0b8f5d0e-5b0f-4c58-9a55-0f9d6c1f7d2e"],
    )


class TrialPosted(BaseModel):
    """The trial as it is on record now."""

    number: int
    address: str = Field(description="Its page, from the root of this server.", examples=["/machines/TM-03/trials/7"])
    count: int = Field(description="How many readings it has.")
    mean: float | None = Field(description="In the unit; none where readings are yes or no.")
    standard_uncertainty: float | None = Field(
        description="Of the mean, with what the resolution adds; none for a lone reading, which shows no scatter."
    )
    yes: int | None = Field(description="How often yes; none where readings are figures.")
    unit: str
    mods_in_force: list[int] = Field(description="The numbers of the mods in force on that day.")


Told = dict[int | str, dict[str, Any]]
NOT_THERE: Told = {404: {"model": Answer, "description": "No machine has this tag."}}
POSTED: Told = {
    200: {"model": TrialPosted, "description": "The trial of this UUID was on record already, and is the same."},
    201: {
        "model": TrialPosted,
        "description": "The trial is on record.",
        "headers": {"Location": {"schema": {"type": "string"}, "description": "The trial's page."}},
    },
    409: {"model": Answer, "description": "The UUID is that of a trial with other content. Nothing was stored."},
    413: {"model": Answer, "description": "The body is larger than this server takes. Nothing was stored."},
    415: {"model": Answer, "description": "The body is not said to be JSON. Nothing was stored."},
    422: {"model": Refusal, "description": "What was sent cannot be stored. Nothing was."},
}
A_PAGE = {
    "name": "page",
    "in": "query",
    "description": "Which page of the list; the first where it is none.",
    "schema": {"type": "integer", "minimum": 1, "default": 1},
}
JSON = "application/json"
A_TRIAL = {"required": True, "content": {JSON: {"schema": PostedTrial.model_json_schema()}}}


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


@router.get(
    "/procedures", summary="The procedures that trials can be posted for", openapi_extra={"parameters": [A_PAGE]}
)
def procedures_list(house: AtHome, number: PageNumber) -> ProcedureList:
    """Every procedure by title, a page at a time."""
    with house.reading() as session:
        found = procedures(session, number)
    entries = [_entry(line.procedure) for line in found.rows]
    return ProcedureList(procedures=entries, page=found.number, pages=found.last)


def _entry(procedure: Procedure) -> ProcedureEntry:
    entry = ProcedureEntry.model_validate(procedure, from_attributes=True)
    if not yes_or_no(procedure):
        return entry
    return entry.model_copy(update={"unit": "", "unit_meaning": "", "resolution": None, "target": None})


async def body_of(request: Request) -> bytes:
    return await request.body()


@router.post(
    "/machines/{tag}/trials",
    summary="Record a trial",
    status_code=201,
    response_model=TrialPosted,
    responses=NOT_THERE | POSTED,
    openapi_extra={"requestBody": A_TRIAL},
)
def post_trial(house: AtHome, tag: str, sent: Annotated[bytes, Depends(body_of)]) -> Response:
    """One occasion of running a procedure, in one transaction with its journal entry, as the page records it.

    The mods in force on the day are noted with it by themselves.
    """
    if house.request.headers.get("content-type", "").partition(";")[0].strip().lower() != JSON:
        # What a form of another site's page can send does not say that it is JSON.
        return JSONResponse({"detail": f"Send JSON, and say so: Content-Type: {JSON}."}, 415)
    with house.reading() as session:
        machine = find_machine(session, tag)
    try:
        posted = _read(sent)
        asked = {"signer": machine.keeper or house.settings.keeper} | posted.model_dump(exclude_none=True)
        done = house.store.carry_out(RecordTrial.read(asked | {"machine": machine.tag}), house.who)
    except OtherTrial as other:
        return JSONResponse({"detail": str(other)}, 409)
    except Invalid as refused:
        fields = {name: sentence for name, sentence in refused.messages.items() if name}
        if fields.get("procedure", "").startswith("There is no procedure"):
            fields["procedure"] += f" {router.prefix}/procedures lists them all."
        return JSONResponse({"detail": str(Invalid(fields)) if fields else str(refused), "fields": fields}, 422)
    with house.reading() as session:
        told = _told(session, done.key)
    status = 201 if done.seq else 200
    return JSONResponse(told.model_dump(), status, headers={"Location": told.address})


def _read(sent: bytes) -> PostedTrial:
    try:
        given = from_json(sent, allow_inf_nan=True)
    except ValueError:
        raise Invalid({"": "This cannot be read as JSON."}) from None
    if not isinstance(given, dict):
        raise Invalid({"": "Send one JSON object with the fields of a trial."})
    return PostedTrial.read(given)


def _told(session: Session, key: int) -> TrialPosted:
    trial = session.get_one(Trial, key)
    machine = session.get_one(Machine, trial.machine_id)
    line = line_of(session, machine, trial)
    observed = yes_or_no(line.procedure)
    summary = None if observed else summarise(trial.readings, line.procedure.resolution)
    return TrialPosted(
        number=trial.number,
        address=trial_address(machine, trial),
        count=len(trial.readings),
        mean=_rounded(summary.mean, summary) if summary else None,
        standard_uncertainty=_rounded(summary.standard_uncertainty, summary) if summary and summary.count > 1 else None,
        yes=counts(trial)[0] if observed else None,
        unit="" if observed else line.procedure.unit,
        mods_in_force=[mod.number for mod in line.mods],
    )


def _rounded(value: float, summary: Summary) -> float:
    """To the fourth digit of the standard uncertainty: finer than anyone can tell, and free of what floats add."""
    if summary.count == 1 or not summary.standard_uncertainty:
        return float(f"{value:.12g}")
    return round(value, DIGITS - 1 - math.floor(math.log10(summary.standard_uncertainty)))
