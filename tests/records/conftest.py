"""An invented machine, entered through the commands, and a record per test that costs a copy instead of migrations."""

import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Executable, Row, Table, create_engine, text
from sqlmodel import col, func, select

from server.records import checks, migrate
from server.records.commands.base import Command
from server.records.commands.machines import AddBoard, AddPosition, EnterMachine
from server.records.commands.mods import MoveMod, PlanMod
from server.records.commands.parts import EnterPart
from server.records.commands.steps import AddStep, CarryOutStep, UndoStep
from server.records.errors import Invalid
from server.records.store import Done, Store, sqlite_url
from server.records.tables import JournalEntry
from server.records.tables.base import Kept
from server.records.work import HANDLERS
from tests.databases import Databases

TAG = "TM-03"
KEEPER = "Test keeper"
NO_FILES = Path("no-files")
STAYS_FOR_GOOD = ("clean", "drill or cut case")  # a step that does needs its reason
MAIN = "main-board"


KINDS: dict[str, type[Command]] = {kind.__name__: kind for kind in HANDLERS if issubclass(kind, Command)}


class Bench:
    """A store with the invented machine on it; the machine's tag is filled in where a command asks for one."""

    def __init__(self, store: Store) -> None:
        self.store = store

    def do(self, kind: type[Command], /, **typed: object) -> Done:
        return self.store.carry_out(read(kind, typed), KEEPER)

    def refuse(self, kind: type[Command], /, **typed: object) -> dict[str, str]:
        """The messages of a refusal, which must leave no entry behind."""
        before = self.entries()
        with pytest.raises(Invalid) as refusal:
            self.do(kind, **typed)
        assert before == self.entries()
        return refusal.value.messages

    def entries(self) -> int:
        with self.store.reading() as session:
            return session.exec(select(func.count()).select_from(JournalEntry)).one()

    def last_entry(self) -> JournalEntry:
        with self.store.reading() as session:
            return session.exec(select(JournalEntry).order_by(col(JournalEntry.seq).desc()).limit(1)).one()

    def faults(self) -> list[str]:
        with self.store.reading() as session:
            return list(checks.faults(session, self.store.files))

    def rows(self, table: type[Kept]) -> list[Any]:
        with self.store.reading() as session:
            return list(session.exec(select(table).order_by(col(table.id))))

    def rows_of(self, table: Table) -> list[Row[Any]]:
        """The rows as the database has them."""
        with self.store.reading() as session:
            return list(session.connection().execute(table.select().order_by(table.c.id)))

    def row(self, table: type[Kept], key: int) -> Any:
        with self.store.reading() as session:
            return session.get_one(table, key)

    # --- acts that many tests begin with ---

    def plan(self, title: str = "Faster clock", state: str = "planned", day: str = "2025-02-01") -> None:
        self.do(PlanMod, title=title, state=state, day=day, signer=KEEPER)

    def step(self, kind: str, designator: str = "", mod: int = 1, **more: object) -> Done:
        board = MAIN if designator else ""
        if kind in STAYS_FOR_GOOD:
            more.setdefault("trace_reason", "Nothing milder did.")
        return self.do(AddStep, mod=mod, kind=kind, board=board, designator=designator, **more)

    def carry_out(self, step: int, day: str = "2025-02-03", mod: int = 1, **more: object) -> Done:
        return self.do(CarryOutStep, mod=mod, step=step, day=day, signer=KEEPER, **more)

    def undo(self, step: int, day: str = "2025-03-01", mod: int = 1, **more: object) -> Done:
        return self.do(UndoStep, mod=mod, step=step, day=day, signer=KEEPER, **more)

    def move(self, state: str, day: str, mod: int = 1) -> Done:
        return self.do(MoveMod, mod=mod, state=state, day=day, signer=KEEPER)

    def replace_r2(self, mod: int = 1, day: str = "2025-02-03", value: str = "330 Ω ±1 %", **more: object) -> None:
        """Plan mod `mod` and fit it: the original at R2 goes into a bag, another part takes its place."""
        self.plan(day="2025-02-01")
        self.step("take out", "R2", mod)
        self.step("fit", "R2", mod, planned_value="300 Ω ±5 %")
        self.carry_out(1, day, mod, **more)
        self.carry_out(2, day, mod, value=value)
        self.move("fitted", day, mod)


def read(kind: type[Command], typed: Mapping[str, object]) -> Command:
    given = {"machine": TAG, **typed} if "machine" in kind.model_fields else typed
    return kind.read(given)


def enter(bench: Bench) -> None:
    """A computer with two boards: two resistors and a socketed chip on the main one, and an empty position."""
    bench.do(EnterMachine, tag=TAG, maker="Tarn & Fell", model="Merle 40", made="1982~", hazards=["mains inside"])
    bench.do(AddBoard, name="Main board", kind="main board")
    bench.do(AddBoard, name="Supply", kind="supply")
    resistor = {"board": MAIN, "kind": "resistor", "origin": "original"}
    bench.do(EnterPart, designator="R2", value="360 Ω ±5 %", **resistor)
    bench.do(EnterPart, designator="R7", value="1 kΩ ±5 %", **resistor)
    bench.do(EnterPart, board=MAIN, designator="U7", kind="chip", type="7414", origin="original", mounting="socketed")
    empty = {"kind": "resistor", "mounting": "soldered", "expected_value": "10 kΩ"}
    bench.do(AddPosition, board=MAIN, designator="R9", **empty)


def behind(store: Store, *statements: Executable) -> None:
    """Change the record as somebody can who has the file: the database's own guards are off."""
    engine = create_engine(store.url)
    with engine.begin() as connection:
        if engine.dialect.name == "postgresql":
            connection.execute(text("SET session_replication_role = replica"))
        else:
            for name in connection.execute(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")).scalars():
                connection.execute(text(f"DROP TRIGGER {name}"))
        for statement in statements:
            connection.execute(statement)
    engine.dispose()


# ---- A record of each test's own: a copy of one that was made once, on each kind of database ----

DATABASES = ["sqlite", "postgresql"]


@pytest.fixture(scope="session")
def sqlite_originals(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with an empty record in it, and one with the invented machine entered."""
    folder = tmp_path_factory.mktemp("originals")
    for name in ("empty", "entered"):
        (folder / name).mkdir()
        _make(sqlite_url(folder / name), entered=name == "entered")
    return folder


def _make(url: str, entered: bool) -> None:
    store = Store(url, NO_FILES)
    migrate.upgrade(store.engine)
    if entered:
        enter(Bench(store))
    store.close()


Copies = Callable[[str, str], AbstractContextManager[Store]]


@pytest.fixture(scope="session")
def copies(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Copies:
    """Opens a copy of an original on one kind of database, and takes it away again."""

    @contextmanager
    def copy(kind: str, original: str) -> Iterator[Store]:
        if kind == "sqlite":
            folder = tmp_path_factory.mktemp("record")
            shutil.copy(request.getfixturevalue("sqlite_originals") / original / "putback.sqlite3", folder)
            with closing(Store(sqlite_url(folder))) as store:
                yield store
            return
        databases: Databases = request.getfixturevalue("databases")
        databases.original(original, lambda url: _make(url, entered=original == "entered"))
        with databases.copy(original) as url, closing(Store(url, tmp_path_factory.mktemp("files"))) as store:
            yield store

    return copy


@pytest.fixture(params=DATABASES)
def store(request: pytest.FixtureRequest, copies: Copies) -> Iterator[Store]:
    """An empty record."""
    with copies(request.param, "empty") as store:
        yield store


@pytest.fixture(params=DATABASES)
def bench(request: pytest.FixtureRequest, copies: Copies) -> Iterator[Bench]:
    """The invented machine, entered."""
    with copies(request.param, "entered") as store:
        yield Bench(store)
