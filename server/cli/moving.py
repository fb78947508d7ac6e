"""From one kind of database to the other."""

from contextlib import closing
from pathlib import Path
from typing import Annotated

import typer

from server.cli.common import (
    Data,
    Refusal,
    app,
    counted,
    expect_newest,
    expect_record,
    plainly,
    progress,
    say,
    say_faults,
    settings_of,
)
from server.records.store import FILES, Store
from server.settings import Settings


@app.command("move-database")
def move_database(
    to: Annotated[str, typer.Option("--to", help="Address of an empty PostgreSQL database, or a folder for SQLite.")],
    data: Data = None,
) -> None:
    """Move the record from SQLite to PostgreSQL or back: all of it, compared row by row, or nothing."""
    from server.records.moving import move_to_folder, move_to_postgresql

    with plainly():
        settings = settings_of(data=data)
        expect_record(settings)
        place = _expect_other_kind(settings, to)
        with closing(Store(settings.url, settings.data / FILES)) as store:
            with store.reading() as session:
                expect_newest(session)
            with progress("Moving the record") as heard:
                moved = move_to_folder(store, place, heard) if place else move_to_postgresql(store, to, heard)
    say(
        f"Moved {moved.entries:,} journal entries and {moved.rows:,} rows of {len(moved.tables)} tables; "
        "each table has the same rows and the same digest in both databases, and the journal’s chain holds."
    )
    if place is None:
        say(f"The files stay in {settings.data / FILES}, beside which the new record is to be served.")
        say("To use it, set PUTBACK_DATABASE_URL to the address that you gave, and start the server again.")
    else:
        same = (place / FILES).resolve() == (settings.data / FILES).resolve()
        say(f"The files stay in {place / FILES}." if same else f"{counted(moved.files)} copied to {place / FILES}.")
        say(f"To use it, unset PUTBACK_DATABASE_URL and start: putback serve --data {place}")
    say("The record that it was moved from is as it was; write in one of the two only.")
    missed = f"{moved.missed:,} journal entries were written meanwhile, and are only in the record it was moved from."
    say_faults(missed, ["Stop its servers, empty the new database, and move it again."] if moved.missed else [])


def _expect_other_kind(settings: Settings, to: str) -> Path | None:
    """The folder that is meant, or none for a PostgreSQL address, which is checked as the setting is."""
    if "://" not in to and not to.startswith("postgresql"):
        if not settings.database_url:
            raise Refusal("This record is in SQLite already. To copy it elsewhere, use: putback backup")
        return Path(to)
    if settings.database_url:
        raise Refusal("This record is in PostgreSQL already. To move it back to SQLite, name a folder after --to.")
    settings_of(database_url=to)
    return None
