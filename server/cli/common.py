"""What every command shares: the command line itself, its words, and how a refusal becomes one plain line."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

import typer
from pydantic import ValidationError
from rich.console import Console
from rich.progress import Progress
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session

from server.records import migrate
from server.records.errors import RecordError
from server.records.store import DATABASE
from server.records.work import Heard
from server.settings import Settings, unset

app = typer.Typer(no_args_is_help=True, add_completion=False, help="Keep the record of vintage computers.")


console = Console()


complaints = Console(stderr=True)


Data = Annotated[
    Path | None, typer.Option("--data", help="Folder of the record; otherwise the platform's usual place.")
]


Port = Annotated[int | None, typer.Option(help="Port to listen at; 0 takes any free one.")]


class Refusal(Exception):
    """The command cannot do what was asked; its sentence says why."""


@contextmanager
def plainly() -> Iterator[None]:
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
def progress(words: str) -> Iterator[Heard]:
    # Into a file or a pipe it would leave an empty line.
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(words, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def settings_of(**given: Any) -> Settings:
    return Settings(**{name: value for name, value in given.items() if value is not None})


def expect_record(settings: Settings) -> None:
    if not settings.database_url and not (settings.data / DATABASE).is_file():
        raise Refusal(f"There is no record in {settings.data}. Start one with: putback serve --data {settings.data}")


def expect_newest(session: Session) -> None:
    if not migrate.stands_at_head(session.connection()):
        raise Refusal("This record is not of this version yet. Open it once with `putback serve`, then check.")


def say(sentence: str) -> None:
    console.print(sentence, markup=False, highlight=False, soft_wrap=True)


def say_faults(words: str, faults: list[str]) -> None:
    for sentence in [words, *faults] if faults else ():
        complaints.print(sentence, markup=False, highlight=False, soft_wrap=True)
    if faults:
        raise typer.Exit(1)


def counted(files: int) -> str:
    return "1 file" if files == 1 else f"{files:,} files"
