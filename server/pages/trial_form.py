"""The form that records or revises a trial, and the readings that are added to it one by one.

A press beside the readings (add, or take the last one back) changes the form and nothing else: the server answers with
the same form, and what is on record stays as it is. It knows forms and procedures; `trials` has the addresses.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sqlmodel import Session
from starlette.responses import Response

from server.engineering.trials import summarise
from server.pages.forms import Form
from server.pages.house import House
from server.pages.machines import address, sections
from server.pages.procedures import stands_for
from server.records.errors import Invalid, NotFound
from server.records.questions.addresses import find_procedure, find_trial
from server.records.questions.hazards import cautions_for
from server.records.questions.trials import (
    in_print,
    instruments_of,
    procedures_offered,
    with_unit,
    yes_or_no,
)
from server.records.tables import Machine, Procedure, Trial
from server.records.typed_readings import readings_of

OBSERVATIONS = ("yes", "no")
ITS_PLACE = re.compile(r"^Line \d+, reading \d+: ")
TYPED = ("next", "readings", "instrument", "conditions", "note")
PRESSED = "go on"
BETWEEN = " \t\r\n;,"


@dataclass(frozen=True, slots=True)
class TrialFormPage:
    """The form that records or revises a trial; `trial` is none while it is new.

    `procedures` are offered while it is new, and `procedure` is the one that is run; while nobody knows it, nothing
    else is `asked`. `tally` tells how many readings there are so far; `focus` names the control to go on with, empty
    where the form was only opened; `unsaved` is whether it came back with something that is not on record.
    """

    machine: Machine
    tabs: list[tuple[str, str]]
    cautions: list[str]
    trial: Trial | None
    procedure: Procedure | None
    procedures: list[tuple[str, str]]
    instruments: Sequence[str]
    form: Form
    meaning: str
    observed: bool
    asked: bool
    unsaved: bool
    tally: str
    focus: str
    summarised: bool
    action: str
    cancel: str


def trial_address(machine: Machine, trial: Trial) -> str:
    return f"{address(machine)}/trials/{trial.number}"


def form_page(
    house: House, machine: Machine, trial: Trial | None, form: Form, status: int = 200, focus: str = ""
) -> Response:
    with house.reading() as session:
        procedure = procedure_of(session, trial, form)
        if trial and procedure and status == 409:
            _show_readings_as_typed(form, find_trial(session, machine, trial.number), procedure)
        context = TrialFormPage(
            machine=machine,
            tabs=sections(machine),
            cautions=cautions_for(session, machine),
            trial=trial,
            procedure=procedure,
            procedures=_offered(session),
            instruments=instruments_of(session, machine),
            form=form,
            meaning=stands_for(procedure) if procedure and not yes_or_no(procedure) else "",
            observed=procedure is not None and yes_or_no(procedure),
            asked=procedure is not None or _begun(form),
            unsaved=house.request.method == "POST" and _begun(form),
            tally=tally(form.text("readings"), procedure),
            focus=focus,
            summarised=form.errors.keys() != {"next"},  # its message stands where the focus is
            action=f"{trial_address(machine, trial)}/edit" if trial else f"{address(machine)}/trials/new",
            cancel=trial_address(machine, trial) if trial else f"{address(machine)}/trials",
        )
    return house.page("trials/form.html", context, status)


def procedure_of(session: Session, trial: Trial | None, form: Form) -> Procedure | None:
    """The procedure that the readings are of; none while it is not chosen."""
    if trial:
        return session.get_one(Procedure, trial.procedure_id)
    try:
        return find_procedure(session, form.text("procedure"))
    except NotFound:
        return None


def typed_readings(trial: Trial, procedure: Procedure) -> str:
    """Stored readings as a keeper would type them, to the last digit."""
    if yes_or_no(procedure):
        return " ".join("yes" if reading else "no" for reading in trial.readings)
    return " ".join(repr(reading).removesuffix(".0") for reading in trial.readings)


# ---- Readings one by one ----


def at_the_readings(form: Form, procedure: Procedure | None) -> tuple[int, str] | None:
    """Do what was pressed beside the readings: the status of the answer, and where to go on in the form.

    None where the form itself is meant; a reading that was typed and not added yet is then one of the readings.
    """
    if "choose" in form.values:
        return _choose(form, procedure)
    if "take_back" in form.values:
        form.set("readings", _without_last(form.text("readings")))
        return 200, "take_back" if procedure and yes_or_no(procedure) else "next"
    if "add" in form.values:
        pressed = form.text("add")
        tapped = pressed if pressed in OBSERVATIONS else ""
        return (200 if add(form, tapped or form.text("next"), procedure) else 422), tapped or "next"
    return None if add(form, form.text("next"), procedure) else (422, "next")


def _without_last(text: str) -> str:
    """Readings without the last of them; in time that grows with the text and no faster, however long it is."""
    kept = text.rstrip(BETWEEN)
    ends = max(kept.rfind(sign) for sign in BETWEEN)
    return kept[: ends + 1].rstrip(BETWEEN)


def _choose(form: Form, procedure: Procedure | None) -> tuple[int, str]:
    """The form of the procedure that was chosen; who is still choosing (the list was changed) stays where they are."""
    if form.text("choose") != PRESSED:
        return 200, ""
    if procedure is None:
        form.errors["procedure"] = "Choose the procedure first: it says what a reading is."
        return 422, ""
    return 200, "yes" if yes_or_no(procedure) else "next"


def _begun(form: Form) -> bool:
    """Whether anything was typed that is worth keeping."""
    return any(form.text(name).strip() for name in TYPED)


def add(form: Form, typed: str, procedure: Procedure | None) -> bool:
    """Put what was typed behind the readings so far; if that will not do, leave everything and say why."""
    typed, so_far = typed.strip(), form.text("readings").rstrip()
    if not typed:
        return True
    if procedure is None:
        form.errors["procedure"] = "Choose the procedure first: it says what a reading is."
        return False
    together = f"{so_far} {typed}".lstrip()
    if wrong := _wrong(together, procedure):
        own = ITS_PLACE.sub("", _wrong(typed, procedure))
        beside = "readings" if not own and _wrong(so_far, procedure) else "next"
        form.errors[beside] = own or wrong
        return False
    form.set("readings", together)
    form.set("next", "")
    return True


def tally(text: str, procedure: Procedure | None) -> str:
    """How many readings there are and what they come to so far, and which was the last; empty while there are none."""
    if procedure is None or not text.strip():
        return ""
    try:
        readings = readings_of(text, procedure)
    except Invalid as refused:
        return f"Not counted yet. {refused.messages['readings']}"
    count = len(readings)
    if yes_or_no(procedure):
        yes, last = sum(map(bool, readings)), "yes" if readings[-1] else "no"
        observations = "1 observation" if count == 1 else f"{count:,} observations"
        return f"{observations}: {yes:,} yes, {count - yes:,} no. Last: {last}."
    if count == 1:
        return f"1 reading, {with_unit(in_print(readings[0]), procedure.unit)}."
    summary = summarise(readings, procedure.resolution)
    mean = with_unit(in_print(summary.mean, summary.standard_uncertainty), procedure.unit)
    return f"{count:,} readings, mean {mean}. Last: {in_print(readings[-1])}."


def _wrong(text: str, procedure: Procedure) -> str:
    try:
        readings_of(text, procedure)
    except Invalid as refused:
        return refused.messages["readings"]
    return ""


def _offered(session: Session) -> list[tuple[str, str]]:
    return [(found.slug, f"{found.title} ({read_as(found)})") for found in procedures_offered(session)]


def read_as(procedure: Procedure) -> str:
    """In what a procedure's readings come, as a choice names it."""
    return "yes or no" if yes_or_no(procedure) else procedure.unit or "plain numbers"


def _show_readings_as_typed(form: Form, stored: Trial, procedure: Procedure) -> None:
    """The two versions of the readings in the form's own writing, not as stored numbers."""
    yours, theirs = " ".join(form.text("readings").split()), typed_readings(stored, procedure)
    form.conflict = [
        replace(row, yours=yours, theirs=theirs) if row.field == "readings" else row for row in form.conflict
    ]
