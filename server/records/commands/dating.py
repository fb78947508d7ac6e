"""The keeper's own words on a part's date code: which reading of it is right, and whether it tells of its board."""

from enum import Enum
from typing import Any

from server.records.commands.base import Command, Line, Prose, change, expect_version
from server.records.commands.parts import machine_of
from server.records.date_codes import days_of
from server.records.errors import Invalid, Refused
from server.records.placing import describe, where_is
from server.records.questions.addresses import find_part
from server.records.questions.dating import board_of, code_of
from server.records.tables import Part
from server.records.words import Dating
from server.records.work import Entry, Work, handles


class Overrule(Enum):
    """What a keeper can hold of a code; the last takes back what was held before."""

    COUNTS = Dating.COUNTS.value
    DOES_NOT_COUNT = Dating.DOES_NOT_COUNT.value
    AS_THE_CODES_SAY = "as the codes say"


class ChooseReading(Command):
    """Say which reading of a part's code is right, by its days; none keeps all of them in mind."""

    part: int
    reading: Line = ""
    opened_version: int


class OverruleDating(Command):
    """Hold, against what the codes say by themselves, that a part's code counts or does not, and why."""

    part: int
    dating: Overrule
    note: Prose = ""
    opened_version: int


@handles(ChooseReading)
def choose_reading(work: Work, command: ChooseReading) -> Entry:
    part = find_part(work.session, command.part)
    expect_version("part", part, command.opened_version, {"date_reading": command.reading})
    offered = {days_of(reading): reading for reading in code_of(work.session, part).offered}
    if command.reading and command.reading not in offered:
        raise Invalid({"reading": f"That is no reading of “{part.date_code}”. Choose one of those offered."})
    change(part, {"date_reading": command.reading})
    said = f"is read as {offered[command.reading].why}" if command.reading else "is left to all its readings"
    return _entry(work, "choose reading", part, f"its date code {part.date_code or '(none)'} {said}")


@handles(OverruleDating)
def overrule_dating(work: Work, command: OverruleDating) -> Entry:
    part = find_part(work.session, command.part)
    values = _columns(command)
    expect_version("part", part, command.opened_version, values)
    if command.dating is Overrule.AS_THE_CODES_SAY:
        new_note = command.note if command.note != part.dating_note else ""
        change(part, values)
        return _entry(work, "overrule dating", part, _with_note("its date code is again as the codes say", new_note))
    _check_overruling(work, part, command)
    change(part, values)
    said = f"the keeper holds that its date code {part.date_code or '(none)'} {command.dating.value}"
    return _entry(work, "overrule dating", part, _with_note(said, command.note))


def _columns(command: OverruleDating) -> dict[str, Any]:
    """What is stored: nothing where the codes are to speak for themselves again."""
    if command.dating is Overrule.AS_THE_CODES_SAY:
        return {"dating": "", "dating_note": ""}
    return {"dating": command.dating.value, "dating_note": command.note}


def _check_overruling(work: Work, part: Part, command: OverruleDating) -> None:
    if not command.note:
        raise Invalid({"note": "Say why: whoever reads the record later has only this to go by."})
    if board_of(work.session, part) is None:
        raise Refused("This part was never on a board, so there is none that its code could tell of.", "dating")
    code = code_of(work.session, part)
    if command.dating is Overrule.COUNTS and not code.readings:
        raise Refused(f"It cannot count: {code.trouble[0].lower()}{code.trouble[1:]}", "dating")


def _with_note(said: str, note: str) -> str:
    return f"{said}: {note.rstrip('.')}" if note else said


def _entry(work: Work, act: str, part: Part, said: str) -> Entry:
    words = f"Part {describe(part)}, {where_is(work.session, part)}: {said}."
    return Entry(act, part, words, machine_of(work.session, part))
