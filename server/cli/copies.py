"""Copies of the whole record."""

from pathlib import Path
from typing import Annotated

import typer

from server.cli.common import (
    Data,
    Refusal,
    app,
    counted,
    expect_record,
    plainly,
    progress,
    say,
    say_faults,
    settings_of,
)
from server.records import clock
from server.records.files import FileStore
from server.records.store import DATABASE, FILES


@app.command()
def backup(
    to: Annotated[
        Path | None, typer.Argument(help="A new .zip file, or a new folder; otherwise a zip file in this folder.")
    ] = None,
    data: Data = None,
) -> None:
    """Copy the whole record, with its files and a manifest, while it is in use: all of it, or nothing."""
    from server.records.backups import make_backup, new_place

    with plainly():
        settings = settings_of(data=data)
        if settings.database_url:
            raise Refusal(
                "A record in PostgreSQL is copied with pg_dump, and then the folder "
                f"{settings.data / FILES} as it is. Nothing was copied."
            )
        expect_record(settings)
        day = clock.today()
        place = to or new_place(Path(), day)
        with progress("Copying the record") as heard:
            made = make_backup(settings.data / DATABASE, FileStore(settings.data / FILES), place, day, heard)
    say(f"Copied the record to {place}: {made.entries:,} journal entries, {counted(made.files)}, each verified.")
    say_faults("The record is not whole, and so its copy is not either:", made.faults)


@app.command()
def restore(
    copy: Annotated[Path, typer.Argument(help="What `putback backup` made, or one of the daily copies.")],
    with_faults: Annotated[
        bool, typer.Option("--with-faults", help="Also a record that was not whole when it was copied.")
    ] = False,
    data: Data = None,
) -> None:
    """Put a copy of the record in place, in an empty folder: all of it, checked first, or nothing."""
    from server.records.restoring import restore as put_in_place

    with plainly():
        settings = settings_of(data=data)
        if settings.database_url:
            raise Refusal("A copy is restored into a folder, not into PostgreSQL. Unset PUTBACK_DATABASE_URL.")
        with progress("Restoring the record") as heard:
            done = put_in_place(copy, settings.data, heard, with_faults=with_faults)
    say(
        f"Restored the copy of {done.made_on} to {settings.data}: {done.entries:,} journal entries, "
        f"{counted(done.files)}, each verified. Open it with: putback serve --data {settings.data}"
    )
    say_faults("It is not whole, as it was when it was copied:", done.faults)
