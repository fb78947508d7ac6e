"""The command `putback`. Errors are one plain line and an exit code other than zero."""

import socket
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Annotated, Any

import typer
import uvicorn
from pydantic import ValidationError
from rich.console import Console
from rich.progress import Progress
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session

from server.app import configure_logs, create_app, open_record
from server.records import checks, clock, daily_copies, migrate
from server.records.commands.accounts import ChangePassword, OpenAccount
from server.records.errors import RecordError
from server.records.files import FileStore
from server.records.questions.accounts import any_account, people
from server.records.store import DATABASE, FILES, Store
from server.records.words import Role
from server.records.work import Heard
from server.settings import LOOPBACK, Settings, unset

app = typer.Typer(no_args_is_help=True, add_completion=False, help="Keep the record of vintage computers.")
LIST_MOST = 100_000_000  # bytes
console = Console()
complaints = Console(stderr=True)

Data = Annotated[
    Path | None, typer.Option("--data", help="Folder of the record; otherwise the platform's usual place.")
]
Host = Annotated[str | None, typer.Option(help="Address to listen at.")]
Columns = Annotated[
    list[str] | None,
    typer.Option("--column", help="What a column is, as Heading=field (or =leave out); can be given several times."),
]
SheetOf = Annotated[
    str, typer.Option("--sheet", help="Which sheet of a workbook; otherwise the one that is understood.")
]
Port = Annotated[int | None, typer.Option(help="Port to listen at; 0 takes any free one.")]


@app.command()
def serve(data: Data = None, host: Host = None, port: Port = None) -> None:
    """Serve the record to a browser on this machine."""
    with _plainly():
        _listen(_settings(data=data, host=host, port=port))


user = typer.Typer(no_args_is_help=True, help="Let people in, and see who they are.")
app.add_typer(user, name="user")


@user.command("add")
def add_user(
    name: Annotated[str, typer.Argument(help="Name to sign in with.")],
    signs_as: Annotated[str, typer.Option(help="What stands beside what they write; otherwise their name.")] = "",
    role: Annotated[Role, typer.Option(help="What they may do.")] = Role.KEEPER,
    machine: Annotated[list[str] | None, typer.Option(help="Tag of a machine that they keep; may be repeated.")] = None,
    data: Data = None,
) -> None:
    """Open an account; the password is asked for, or read from standard input."""
    from server.access.passwords import hashed

    with _plainly(), closing(open_record(settings := _settings(data=data))) as store:
        configure_logs(settings)
        with store.reading() as session:
            first = not any_account(session)
        if first and role is not Role.KEEPER:
            raise Refusal("The first account is a keeper’s, because somebody has to let the others in.")
        typed = {"name": name, "signs_as": signs_as or name, "role": role, "machines": machine or []}
        command = OpenAccount.read({**typed, "password_hash": hashed(_password(), name)})
        console.print(store.carry_out(command, settings.keeper).words, markup=False, highlight=False, soft_wrap=True)
        if first:
            console.print("From now on everybody has to sign in, at a server that is running too.", highlight=False)


@user.command("password")
def set_password(name: Annotated[str, typer.Argument(help="Name that they sign in with.")], data: Data = None) -> None:
    """Give somebody another password; it is asked for, or read from standard input."""
    from server.access.passwords import hashed

    with _plainly():
        settings = _settings(data=data)
        _expect_record(settings)
        configure_logs(settings)
        with closing(open_record(settings)) as store:
            command = ChangePassword.read({"account": name, "password_hash": hashed(_password(), name)})
            console.print(store.carry_out(command, settings.keeper).words, highlight=False, soft_wrap=True)


@user.command("list")
def list_users(data: Data = None) -> None:
    """Everybody who has an account, and what they may do."""
    with _plainly():
        settings = _settings(data=data)
        _expect_record(settings)
        with closing(open_record(settings)) as store, store.reading() as session:
            found = people(session, 1, 10_000).rows
    for one in found:
        does = "closed" if one.account.closed else ", ".join([one.account.role, *one.tags])
        console.print(
            f"{one.account.name}: {one.account.signs_as}, {does}", markup=False, highlight=False, soft_wrap=True
        )
    if not found:
        console.print("Nobody has an account. Open the first with: putback user add NAME", highlight=False)


def _password() -> str:
    """Typed twice on a terminal, where nobody sees it; else the first line that is sent."""
    if sys.stdin.isatty():
        return str(typer.prompt("Password", hide_input=True, confirmation_prompt=True))
    return sys.stdin.readline().rstrip("\r\n")


@app.command()
def demo(data: Data = None, port: Port = None) -> None:
    """Fill an empty folder with an invented machine and its story, and serve it."""
    with _plainly():
        settings = _settings(data=data or Path.cwd() / "demo-data", port=port)
        if settings.database_url:
            raise Refusal("The demo fills a folder of its own, not a club's database. Unset PUTBACK_DATABASE_URL.")
        settings.daily_copies = "no"  # it can be made anew at any time
        _fill_with_demo(settings)
        _listen(settings)


@app.command()
def check(
    sheet: Annotated[
        Path | None, typer.Option(help="A mod sheet (PDF) or its record.json; only this is checked.")
    ] = None,
    data: Data = None,
) -> None:
    """Check the journal's chain, the rules that always hold, and the rows against the journal; or a mod sheet."""
    with _plainly():
        settings = _settings(data=data)
        _expect_record(settings)
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

    with _plainly():
        settings, content = _settings(data=data), _content(file)
        _expect_record(settings)
        store = open_record(settings)
        with _progress("Entering parts") as heard:
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

    with _plainly():
        settings, content = _settings(data=data), _content(file)
        _expect_record(settings)
        usual = mods_list.usual_of(day, settings.keeper if signer is None else signer)
        store = open_record(settings)
        with _progress("Entering mods") as heard:
            asked = Asked(sheet, tuple(column or ()))
            command, there = mods_list.command_for(store, machine, content, usual, asked)
            said = [store.carry_out(command, settings.keeper, heard).words] if command else []
        store.close()
    if there:
        all_of_them = "" if command else " Nothing was entered."
        said.append(f"{'One mod is' if there == 1 else f'{there:,} mods are'} there already.{all_of_them}")
    console.print(" ".join(said), markup=False, highlight=False, soft_wrap=True)


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

    with _plainly():
        settings = _settings(data=data)
        if not to.is_dir():
            raise Refusal(f"There is no folder {to}.")
        _expect_record(settings)
        store = open_record(settings)
        with store.reading() as session:
            tag = find_machine(session, machine).tag
        asked = Asked(tag, clock.today(), settings.keeper, private)
        place = to / f"{folder_of(tag, asked.day)}.zip"
        with _progress("Writing the dossier") as heard:
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

    with _plainly():
        settings = _settings(data=data)
        if not file.is_file():
            raise Refusal(f"There is no file {file}.")
        with _progress("Reading the dossier") as heard:
            dossier = read_dossier(file, heard)
        store = open_record(settings)
        with store.reading() as session:
            found = look_at(session, store.files, dossier)
        said = in_words(found)
        if not look and not found.nothing_new:
            chosen = frozenset(one.uuid for one in found.different if take)
            with _progress("Taking it in") as heard:
                said = [take_in(store, file, Choice(found.seen, tag, chosen), settings.keeper, heard).words]
        store.close()
    for sentence in said:
        console.print(sentence, markup=False, highlight=False, soft_wrap=True)


def _content(file: Path) -> bytes:
    """What a file holds; one that is far too large for a list is not read."""
    if not file.is_file():
        raise Refusal(f"There is no file {file}.")
    if file.stat().st_size > LIST_MOST:
        raise Refusal(f"{file} is larger than {LIST_MOST // 1_000_000} MB, far more than a list has.")
    return file.read_bytes()


@app.command()
def backup(
    to: Annotated[
        Path | None, typer.Argument(help="A new .zip file, or a new folder; otherwise a zip file in this folder.")
    ] = None,
    data: Data = None,
) -> None:
    """Copy the whole record, with its files and a manifest, while it is in use: all of it, or nothing."""
    from server.records.backups import make_backup, new_place

    with _plainly():
        settings = _settings(data=data)
        if settings.database_url:
            raise Refusal(
                "A record in PostgreSQL is copied with pg_dump, and then the folder "
                f"{settings.data / FILES} as it is. Nothing was copied."
            )
        _expect_record(settings)
        day = clock.today()
        place = to or new_place(Path(), day)
        with _progress("Copying the record") as heard:
            made = make_backup(settings.data / DATABASE, FileStore(settings.data / FILES), place, day, heard)
    _say(f"Copied the record to {place}: {made.entries:,} journal entries, {_counted(made.files)}, each verified.")
    _say_faults("The record is not whole, and so its copy is not either:", made.faults)


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

    with _plainly():
        settings = _settings(data=data)
        if settings.database_url:
            raise Refusal("A copy is restored into a folder, not into PostgreSQL. Unset PUTBACK_DATABASE_URL.")
        with _progress("Restoring the record") as heard:
            done = put_in_place(copy, settings.data, heard, with_faults=with_faults)
    _say(
        f"Restored the copy of {done.made_on} to {settings.data}: {done.entries:,} journal entries, "
        f"{_counted(done.files)}, each verified. Open it with: putback serve --data {settings.data}"
    )
    _say_faults("It is not whole, as it was when it was copied:", done.faults)


def _counted(files: int) -> str:
    return "1 file" if files == 1 else f"{files:,} files"


def _say(sentence: str) -> None:
    console.print(sentence, markup=False, highlight=False, soft_wrap=True)


def _say_faults(words: str, faults: list[str]) -> None:
    for sentence in [words, *faults] if faults else ():
        complaints.print(sentence, markup=False, highlight=False, soft_wrap=True)
    if faults:
        raise typer.Exit(1)


class Refusal(Exception):
    """The command cannot do what was asked; its sentence says why."""


@contextmanager
def _plainly() -> Iterator[None]:
    """Turn what the house refuses into one plain line and exit code 1."""
    try:
        yield
    except (RecordError, Refusal, OSError) as problem:
        sentence = str(problem)
    except ValidationError as problem:
        sentence = unset(problem)
    except DBAPIError as problem:
        sentence = f"The record cannot be opened or read: {str(problem.orig).partition(chr(10))[0]}."
    else:
        return
    complaints.print(sentence, markup=False, highlight=False, soft_wrap=True)
    raise typer.Exit(1)


@contextmanager
def _progress(words: str) -> Iterator[Heard]:
    # Into a file or a pipe it would leave an empty line.
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(words, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def _settings(**given: Any) -> Settings:
    return Settings(**{name: value for name, value in given.items() if value is not None})


def _expect_record(settings: Settings) -> None:
    if not settings.database_url and not (settings.data / DATABASE).is_file():
        raise Refusal(f"There is no record in {settings.data}. Start one with: putback serve --data {settings.data}")


def _checked(settings: Settings) -> tuple[int, list[str], str]:
    """How many entries the journal has, everything that is wrong with the record, and what to know of its copies."""
    store = Store(settings.url, settings.data / FILES)
    try:
        with store.reading() as session:
            _expect_newest(session)
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
            _expect_newest(session)
            said = check_sheet(session, store.files, held)
    finally:
        store.close()
    for sentence in said.lines:
        console.print(sentence, markup=False, highlight=False, soft_wrap=True)
    if not said.matches:
        raise typer.Exit(1)


def _expect_newest(session: Session) -> None:
    if not migrate.stands_at_head(session.connection()):
        raise Refusal("This record is not of this version yet. Open it once with `putback serve`, then check.")


def _fill_with_demo(settings: Settings) -> None:
    from seed_data.demo import fill

    if (settings.data / DATABASE).exists():
        console.print(f"The demo is in {settings.data} already.", highlight=False)
        return
    settings.log_level = "warning"
    configure_logs(settings)
    store = open_record(settings)
    console.print(f"Writing the demo into {settings.data}; this takes some seconds.", highlight=False)
    with _progress("Writing the demo") as heard:
        fill(store, heard)
    store.close()


def _listen(settings: Settings) -> None:
    _expect_accounts(settings)
    with closing(_socket(settings)) as listening, suppress(KeyboardInterrupt):
        application = create_app(settings)
        config = uvicorn.Config(application, log_level="warning", server_header=False, access_log=False)
        shown = f"[{settings.host}]" if ":" in settings.host else settings.host
        port = listening.getsockname()[1]
        console.print(
            f"Putback is open at http://{shown}:{port}/  (record in {settings.place}; stop with Ctrl+C)",
            markup=False,
            highlight=False,
            soft_wrap=True,
        )
        sys.stdout.flush()
        with _copying(application.state.copies):
            uvicorn.Server(config).run(sockets=[listening])


@contextmanager
def _copying(copies: daily_copies.DailyCopies | None) -> Iterator[None]:
    """The daily copies are made meanwhile."""
    if copies:
        copies.start()
    try:
        yield
    finally:
        if copies:
            copies.stop()


def _expect_accounts(settings: Settings) -> None:
    """Whoever can reach the server from elsewhere has to sign in."""
    if settings.host in LOOPBACK:
        return
    if settings.database_url or (settings.data / DATABASE).is_file():
        with closing(open_record(settings)) as store, store.reading() as session:
            if any_account(session):
                return
    raise Refusal(
        f"Others could reach this record at {settings.host}, and nobody would have to sign in. "
        "Open an account first: putback user add NAME"
    )


def _socket(settings: Settings) -> socket.socket:
    """Taken before the record is touched, so that a taken port changes nothing."""
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    try:
        return socket.create_server((settings.host, settings.port), family=family)
    except OSError as fault:
        raise Refusal(
            f"Nothing can listen at {settings.host} port {settings.port}: {fault.strerror}. "
            "Choose another with --port; 0 takes any free one."
        ) from None
