"""Lists of parts and of mods."""

from pathlib import Path
from typing import Annotated

import typer

from server.app import open_record
from server.cli.common import Data, Refusal, app, console, expect_record, plainly, progress, settings_of

LIST_MOST = 100_000_000  # bytes


Columns = Annotated[
    list[str] | None,
    typer.Option("--column", help="What a column is, as Heading=field (or =leave out); can be given several times."),
]


SheetOf = Annotated[
    str, typer.Option("--sheet", help="Which sheet of a workbook; otherwise the one that is understood.")
]


@app.command("import-parts")
def import_parts(
    machine: Annotated[str, typer.Argument(help="Tag of the machine.")],
    board: Annotated[str, typer.Argument(help="The board's name in its address, such as main-board.")],
    file: Annotated[
        Path, typer.Argument(help="Parts list: a workbook (XLSX), or CSV with commas, semicolons or tabs.")
    ],
    column: Columns = None,
    sheet: SheetOf = "",
    data: Data = None,
) -> None:
    """Enter a parts list onto a board: all of it, or nothing."""
    from server.records import parts_list
    from server.records.list_file import Asked

    with plainly():
        settings, content = settings_of(data=data), content_of(file)
        expect_record(settings)
        store = open_record(settings)
        with progress("Entering parts") as heard:
            command = parts_list.command_for(store, machine, board, content, Asked(sheet, tuple(column or ())))
            done = store.carry_out(command, settings.keeper, heard)
        store.close()
    console.print(done.words, markup=False, highlight=False, soft_wrap=True)


@app.command("import-mods")
def import_mods(
    machine: Annotated[str, typer.Argument(help="Tag of the machine.")],
    file: Annotated[
        Path, typer.Argument(help="List of mods: a workbook (XLSX), or CSV with commas, semicolons or tabs.")
    ],
    day: Annotated[str, typer.Option(help="Day for mods without one, such as 1981-09-30.")] = "",
    signer: Annotated[str | None, typer.Option(help="Who signs for mods that nobody signed; otherwise you.")] = None,
    column: Columns = None,
    sheet: SheetOf = "",
    data: Data = None,
) -> None:
    """Enter a list of mods of a machine: all of it, or nothing. What is there already is not entered again."""
    from server.records import mods_list
    from server.records.list_file import Asked

    with plainly():
        settings, content = settings_of(data=data), content_of(file)
        expect_record(settings)
        usual = mods_list.usual_of(day, settings.keeper if signer is None else signer)
        store = open_record(settings)
        with progress("Entering mods") as heard:
            asked = Asked(sheet, tuple(column or ()))
            command, there = mods_list.command_for(store, machine, content, usual, asked)
            said = [store.carry_out(command, settings.keeper, heard).words] if command else []
        store.close()
    if there:
        all_of_them = "" if command else " Nothing was entered."
        said.append(f"{'One mod is' if there == 1 else f'{there:,} mods are'} there already.{all_of_them}")
    console.print(" ".join(said), markup=False, highlight=False, soft_wrap=True)


def content_of(file: Path) -> bytes:
    """What a file holds; one that is far too large for a list is not read."""
    if not file.is_file():
        raise Refusal(f"There is no file {file}.")
    if file.stat().st_size > LIST_MOST:
        raise Refusal(f"{file} is larger than {LIST_MOST // 1_000_000} MB, far more than a list has.")
    return file.read_bytes()
