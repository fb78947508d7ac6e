"""Whether a record, or a mod sheet, is whole."""

from pathlib import Path
from typing import Annotated

import typer

from server.cli.common import (
    Data,
    Refusal,
    app,
    complaints,
    console,
    expect_newest,
    expect_record,
    plainly,
    settings_of,
)
from server.records import checks, clock, daily_copies
from server.records.store import FILES, Store
from server.settings import Settings


@app.command()
def check(
    sheet: Annotated[
        Path | None, typer.Option(help="A mod sheet (PDF) or its record.json; only this is checked.")
    ] = None,
    data: Data = None,
) -> None:
    """Check the journal's chain, the rules that always hold, and the rows against the journal; or a mod sheet."""
    with plainly():
        settings = settings_of(data=data)
        expect_record(settings)
        if sheet:
            _check_sheet(Store(settings.url, settings.data / FILES), sheet)
            return
        entries, found, warning = _checked(settings)
    if warning:
        complaints.print(warning, markup=False, highlight=False, soft_wrap=True)
    for sentence in found:
        console.print(sentence, markup=False, highlight=False, soft_wrap=True)
    if found:
        raise typer.Exit(1)
    console.print(
        f"The record is whole: {entries:,} journal entries, each following from the one before.", highlight=False
    )


def _checked(settings: Settings) -> tuple[int, list[str], str]:
    """How many entries the journal has, everything that is wrong with the record, and what to know of its copies."""
    store = Store(settings.url, settings.data / FILES)
    try:
        with store.reading() as session:
            expect_newest(session)
            found = list(checks.faults(session, store.files))
            warning = ""
            if not settings.database_url:
                found += daily_copies.contradictions(session, settings.data)
            if settings.copies_daily:
                warning = daily_copies.late(session, settings.data, clock.today())
            return checks.entries_count(session), found, warning
    finally:
        store.close()


def _check_sheet(store: Store, place: Path) -> None:
    """Say of a mod sheet whether it is as it was signed here, and what has changed since."""
    from server.documents.sheet_check import check_sheet
    from server.documents.sheet_files import read_sheet

    try:
        if not place.is_file():
            raise Refusal(f"There is no file {place}.")
        held = read_sheet(place)
        with store.reading() as session:
            expect_newest(session)
            said = check_sheet(session, store.files, held)
    finally:
        store.close()
    for sentence in said.lines:
        console.print(sentence, markup=False, highlight=False, soft_wrap=True)
    if not said.matches:
        raise typer.Exit(1)
