"""Remembering which column of a list is which: a part of the act that takes the list in, and of its journal entry."""

from collections.abc import Sequence

from server.records import clock
from server.records.commands.base import Command, Line
from server.records.errors import Invalid
from server.records.list_columns import COLUMNS_MOST, matching_faults, signature
from server.records.list_kinds import ListKind
from server.records.questions.column_matchings import find_matching
from server.records.tables import ColumnMatching
from server.records.work import Work

REMEMBERED = " Which of its columns is which is remembered."


class ColumnChoice(Command):
    """One column of a list: how it is headed, and the field it is; no field, where it is left out."""

    heading: Line = ""
    field: Line = ""


def remember(work: Work, kind: ListKind, columns: Sequence[ColumnChoice]) -> str:
    """Keep how the columns of lists with these headings are matched; nothing where none is given. What to say of it."""
    if not columns:
        return ""
    headings, fields = [one.heading for one in columns], [one.field for one in columns]
    _check(kind, headings, fields)
    said = [{"heading": one.heading, "field": one.field} for one in columns]
    today = clock.today()
    stands = find_matching(work.session, kind, signature(headings))
    if stands is None:
        work.add(ColumnMatching(kind=kind.name, headings_sha256=signature(headings), columns=said, day=today))
    elif stands.columns != said:
        stands.columns, stands.day = said, today
    return REMEMBERED


def _check(kind: ListKind, headings: Sequence[str], fields: Sequence[str]) -> None:
    if len(headings) > COLUMNS_MOST:
        raise Invalid(
            {"matching": f"A list has {len(headings):,} columns here; at most {COLUMNS_MOST} can be matched."}
        )
    for place, sentence in matching_faults(kind, headings, fields).items():
        raise Invalid({"matching" if place is None else f"matching.{place}.field": sentence})
