"""Whole machines, out of this record and into it."""

from pathlib import Path
from typing import Annotated

import typer

from server.app import open_record
from server.cli.common import Data, Refusal, app, console, expect_record, plainly, progress, settings_of
from server.records import clock


@app.command()
def export(
    machine: Annotated[str, typer.Argument(help="Tag of the machine.")],
    to: Annotated[Path, typer.Option(help="Folder to write the dossier into.")] = Path(),
    private: Annotated[bool, typer.Option(help="With prices, storage places and the names of borrowers.")] = False,
    data: Data = None,
) -> None:
    """Write the dossier of a machine: its whole record as one archive file that can be checked."""
    from server.documents.dossier import Asked, folder_of, write_dossier
    from server.records.questions.addresses import find_machine

    with plainly():
        settings = settings_of(data=data)
        if not to.is_dir():
            raise Refusal(f"There is no folder {to}.")
        expect_record(settings)
        store = open_record(settings)
        with store.reading() as session:
            tag = find_machine(session, machine).tag
        asked = Asked(tag, clock.today(), settings.keeper, private)
        place = to / f"{folder_of(tag, asked.day)}.zip"
        with progress("Writing the dossier") as heard:
            said = write_dossier(store, asked, place, heard)
        store.close()
    console.print(f"{said} It is in {place}.", markup=False, highlight=False, soft_wrap=True)


@app.command("import")
def import_dossier(
    file: Annotated[Path, typer.Argument(help="The dossier's zip file.")],
    tag: Annotated[str, typer.Option(help="Tag of the machine here, where its own is another machine's.")] = "",
    take: Annotated[
        bool, typer.Option("--take/--keep", help="What of entries that differ: the dossier's version, or ours.")
    ] = False,
    look: Annotated[bool, typer.Option("--look", help="Only say what it brings; write nothing.")] = False,
    data: Data = None,
) -> None:
    """Take in a machine's dossier from another record: all of it, or nothing."""
    from server.documents.dossier_import import Choice, read_dossier, take_in
    from server.documents.dossier_look import in_words, look_at

    with plainly():
        settings = settings_of(data=data)
        if not file.is_file():
            raise Refusal(f"There is no file {file}.")
        with progress("Reading the dossier") as heard:
            dossier = read_dossier(file, heard)
        store = open_record(settings)
        with store.reading() as session:
            found = look_at(session, store.files, dossier)
        said = in_words(found)
        if not look and not found.nothing_new:
            chosen = frozenset(one.uuid for one in found.different if take)
            with progress("Taking it in") as heard:
                said = [take_in(store, file, Choice(found.seen, tag, chosen), settings.keeper, heard).words]
        store.close()
    for sentence in said:
        console.print(sentence, markup=False, highlight=False, soft_wrap=True)
