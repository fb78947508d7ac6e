"""Files that come with a form, several at once: each is an act of its own, so that one that will not do stops no other.

What photographs and other files share: which record they are for, where that record is, what became of each.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from threading import Lock
from typing import Annotated
from urllib.parse import quote, urljoin

from fastapi import Depends, Request
from starlette.datastructures import UploadFile

from server.pages.file_names import name_alone
from server.pages.forms import FIELD_BYTES_MOST, FIELDS_MOST, Form
from server.pages.house import House
from server.pages.machines import address
from server.records.commands.base import Command
from server.records.errors import Invalid
from server.records.questions.addresses import find_machine
from server.records.questions.subjects import Subject, find_subject
from server.records.store import Done

FILES_MOST, FILES_READ = 20, 1_000  # at once: those beyond the first are named, with the reason
FIELDS = ("photographs", "camera", "files")
LAST_PAGE = 1_000_000
_one_in_memory = Lock()


async def files_sent(request: Request) -> Sequence[UploadFile]:
    """The files of the form, in their order.

    It stands before the form in a handler, because the form is read once, and other forms take fewer files.
    """
    data = await request.form(max_files=FILES_READ, max_fields=FIELDS_MOST, max_part_size=FIELD_BYTES_MOST)
    return [one for name, one in data.multi_items() if name in FIELDS and isinstance(one, UploadFile) and one.filename]


FilesSent = Annotated[Sequence[UploadFile], Depends(files_sent)]


@dataclass(slots=True)
class Outcome:
    """What was kept of the files of a form, and the names of the others, each with the reason."""

    kept: list[Done] = field(default_factory=list)
    refused: list[tuple[str, str]] = field(default_factory=list)


def keep_each(files: Sequence[UploadFile], nameless: str, keep: Callable[[str, UploadFile], Done]) -> Outcome:
    """Keep one file after the other; no more of them lies in memory than one, however many people send some."""
    outcome = Outcome()
    for number, file in enumerate(files, 1):
        name = name_alone(file.filename or "", nameless)
        if number > FILES_MOST:
            reason = f"It was not looked at, because {FILES_MOST} are taken at once. Send it again."
            outcome.refused.append((name, reason))
            continue
        try:
            with _one_in_memory:
                outcome.kept.append(keep(name, file))
        except Invalid as problem:
            outcome.refused.append((name, str(problem)))
    return outcome


def check(form: Form, files: Sequence[UploadFile], described: type[Command], field: str) -> None:
    """What is wrong with the form whatever the files are is said once, beside its field."""
    if not files:
        form.refuse(Invalid({field: "Choose a file, or several."}))
    try:
        form.read(described)
    except Invalid as problem:
        form.refuse(problem)


# ---- What they are for ----


def subject_at(house: House, tag: str, kind: str, on: str) -> Subject:
    """The record that an address names; a part may be in another machine by now."""
    with house.reading() as session:
        return find_subject(session, find_machine(session, tag), kind, on)


def address_on(subject: Subject, what: str) -> str:
    """Where all that is attached to a record is seen, and more is sent to: `what` is photographs or files."""
    named = f"/{quote(subject.on)}" if subject.on else ""
    return f"{address(subject.machine)}/{what}/on/{quote(subject.kind)}{named}"


def where_seen(subject: Subject, what: str, last: int) -> str:
    """Where what was added last is seen: on the record's own page, if it has one, as long as that shows all."""
    if last > 1:
        return f"{address_on(subject, what)}?page={last}"
    return address_on(subject, what) if subject.section else onward(subject, what)


def onward(subject: Subject, what: str) -> str:
    """Where on the record's own page that is seen."""
    base = address(subject.machine)
    page = urljoin(f"{base}/", subject.place) if subject.place else base
    return f"{page}#{subject.section or what}"
