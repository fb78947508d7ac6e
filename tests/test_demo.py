"""The demo tells the whole story: what a newcomer should meet is in it, and it starts as the README promises."""

import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TypeVar

import httpx2
import pytest
from sqlmodel import Session, SQLModel, col, select

from seed_data.demo import MERLE
from server.documents.kept_sheets import changed_since
from server.engineering import calculations as engine
from server.engineering.datecodes import decode
from server.engineering.trials import summarise
from server.records import checks
from server.records.files import FileStore
from server.records.questions.addresses import find_machine
from server.records.questions.expectations import Verdict, verdicts
from server.records.questions.mods import steps_of, trace_of
from server.records.store import FILES, Store, sqlite_url
from server.records.tables import Calculation, CalculationRun, Mod, ModMove, Part, SignedSheet, Storage, Trial
from server.records.words import Case, ModState, Origin, Trace
from tests.conftest import TODAY

ROOT = Path(__file__).parent.parent
PUTBACK = Path(sys.executable).parent / "putback"
STARTED_S = 60
Row = TypeVar("Row", bound=SQLModel)


@pytest.fixture
def demo(demo_folder: Path) -> Iterator[Session]:
    store = Store(sqlite_url(demo_folder))
    with store.reading() as session:
        yield session
    store.close()


def all_of(session: Session, table: type[Row]) -> list[Row]:
    return list(session.exec(select(table)))


def mods_in(session: Session, *states: ModState) -> list[Mod]:
    machine = find_machine(session, MERLE)
    query = select(Mod).where(Mod.machine_id == machine.id, col(Mod.state).in_([state.value for state in states]))
    return list(session.exec(query))


def answered(session: Session, verdict: Verdict) -> list[Mod]:
    """The fitted mods of which every expectation came out this way."""
    fitted = mods_in(session, ModState.FITTED)
    return [mod for mod in fitted if {line.verdict for line in verdicts(session, mod)} == {verdict}]


def runs_of(session: Session, mod: Mod) -> list[CalculationRun]:
    """Every result that was kept of a mod's sums, in the order they were run."""
    query = select(CalculationRun).join(Calculation).where(Calculation.mod_id == mod.id)
    return list(session.exec(query.order_by(col(CalculationRun.id))))


def fitted_verdicts(run: CalculationRun) -> set[str]:
    """What its limits came to for the machine as fitted; nothing before anything was fitted."""
    kept = run.cases[Case.FITTED]
    return set() if "problem" in kept else {limit.verdict for limit in engine.from_plain(kept["result"]).limits}


def test_the_demo_is_whole(demo: Session, demo_folder: Path) -> None:
    """Nothing in it breaks a rule that always holds, and the journal accounts for every row."""
    found = list(checks.faults(demo, FileStore(demo_folder / FILES)))

    assert found == []
    assert checks.entries_count(demo) > 50


def test_a_sheet_was_signed_and_the_record_went_on(demo: Session, demo_folder: Path) -> None:
    """What has changed since is there to be seen."""
    (sheet,) = all_of(demo, SignedSheet)
    said = changed_since(demo, FileStore(demo_folder / FILES), sheet, find_machine(demo, MERLE))

    assert sheet.machine_id == find_machine(demo, MERLE).id
    assert "Mod 6 was added." in said


def test_a_reversible_mod_met_its_expectation(demo: Session) -> None:
    """It worked, and it can be put back."""
    met = answered(demo, Verdict.MET)

    assert met
    assert {trace_of(steps_of(demo, mod)) for mod in met} <= {Trace.NONE, Trace.SOLDER_ONLY}


def test_a_mod_did_not_do_what_its_sums_promised(demo: Session) -> None:
    """Its limits hold as fitted, the trials say no, and assumptions are left to test."""
    failed = answered(demo, Verdict.NOT_MET)

    assert failed
    assert {"holds"} == set().union(*(fitted_verdicts(runs_of(demo, mod)[-1]) for mod in failed))
    sums = [sums for sums in all_of(demo, Calculation) if sums.mod_id in {mod.id for mod in failed}]
    assert any(not assumed["tested"] for one in sums for assumed in one.assumptions)


def test_a_mod_was_undone(demo: Session) -> None:
    """Every step of it that was done has been put back."""
    undone = mods_in(demo, ModState.UNDONE)

    assert undone
    assert not [line for mod in undone for line in steps_of(demo, mod) if line.stands]


def test_a_mod_leaves_a_mark(demo: Session) -> None:
    """Not every change can be taken back without a trace, and the record says so."""
    traces = {trace_of(steps_of(demo, mod)) for mod in mods_in(demo, ModState.FITTED)}

    assert traces & {Trace.A_MARK, Trace.PERMANENT}


def test_a_part_has_an_impossible_date_code(demo: Session) -> None:
    """Four digits that no scheme allows as a day; beside others that are readable."""
    dated = [part for part in all_of(demo, Part) if part.date_code and part.kind == "chip"]

    unread = [part for part in dated if not decode(part.date_code)]

    assert unread
    assert len(unread) < len(dated) / 4


def test_a_date_code_can_be_taken_for_a_type(demo: Session) -> None:
    """Four digits that are a week of a year and a logic chip's name as well."""
    readings = [reading for part in all_of(demo, Part) for reading in decode(part.date_code)]

    assert any(reading.type_number for reading in readings)


def test_three_originals_are_kept_aside(demo: Session) -> None:
    """Each in a bag of its own, with a place, and the position that it came from."""
    query = select(Storage, Part).join(Part).where(col(Storage.until).is_(None), Part.origin == Origin.ORIGINAL.value)

    bags = [storage for storage, _ in demo.exec(query)]

    assert len(bags) >= 3
    assert len({storage.bag for storage in bags}) == len(bags)
    assert all(storage.place and storage.from_position_id for storage in bags)


def test_a_substitution_changes_a_verdict(demo: Session) -> None:
    """What lay in the drawer put a limit at risk; the part as planned holds it; both results are kept."""
    told = [[fitted_verdicts(run) for run in runs_of(demo, mod)] for mod in mods_in(demo, ModState.FITTED)]

    changed = [verdicts for verdicts in told if {"at risk"} in verdicts or {"fails"} in verdicts]

    assert changed
    assert all(verdicts[-1] == {"holds"} for verdicts in changed)


def test_trials_have_spread(demo: Session) -> None:
    """Readings before and after scatter, as readings do."""
    spreads = [summarise(trial.readings).spread for trial in all_of(demo, Trial) if len(trial.readings) >= 5]

    assert len(spreads) >= 4
    assert all(spread and spread > 0 for spread in spreads)


def test_nothing_in_the_demo_names_a_day_to_come(demo: Session) -> None:
    """A newcomer sees a story that has happened."""
    days = [trial.day for trial in all_of(demo, Trial)] + [move.day for move in all_of(demo, ModMove)]

    assert max(days) < TODAY


# ---- Starting it as the README says ----


def words_in_readme(mark: str) -> str:
    """The command between two marks of the README."""
    found = re.search(
        rf"<!-- {mark} -->\s*```\w*\n(.*?)\n```\s*<!-- end -->", (ROOT / "README.md").read_text(), re.DOTALL
    )
    assert found, f"the README has no {mark}"
    return found[1]


def test_the_readme_starts_the_demo_and_the_tests() -> None:
    """Its two commands install into an environment of their own, and then do what they say."""
    demo, tests = words_in_readme("demo command"), words_in_readme("test command")

    assert demo.endswith("/putback demo")
    assert re.search(r"-m pytest$", tests)
    assert all("-m venv" in words and "pip install" in words for words in (demo, tests))


@pytest.fixture
def started(tmp_path: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The demo as a program of its own, on any free port, in a folder that does not exist yet."""
    words = ["demo", "--data", str(tmp_path / "new" / "demo"), "--port", "0"]
    program = subprocess.Popen([PUTBACK, *words], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        yield program, address_said(program)
    finally:
        program.kill()
        program.communicate()


def address_said(program: subprocess.Popen[str]) -> str:
    """The address that it says it is open at."""
    assert program.stdout
    said, until = "", time.monotonic() + STARTED_S
    while time.monotonic() < until and (line := program.stdout.readline()):
        said += line
        if found := re.search(r"http://127\.0\.0\.1:\d+/", line):
            return found[0]
    raise AssertionError(f"it did not say where it is open: {said}")


def test_the_demo_opens_and_closes(started: tuple[subprocess.Popen[str], str]) -> None:
    """It fills its folder, says where it is open, shows the machine, and stops when it is told to."""
    program, address = started

    shelf = httpx2.get(address)
    program.send_signal(signal.SIGINT)
    said, _ = program.communicate(timeout=20)

    assert shelf.status_code == 200
    assert MERLE in shelf.text
    assert program.returncode in (0, -signal.SIGINT, 130)
    assert "Traceback" not in said


def test_the_demo_leaves_a_folder_that_has_a_record_alone(demo_copy: Path) -> None:
    """Started twice, it writes once."""
    before = (demo_copy / "putback.sqlite3").read_bytes()

    with subprocess.Popen(
        [PUTBACK, "demo", "--data", str(demo_copy), "--port", "0"], stdout=subprocess.PIPE, text=True
    ) as program:
        address_said(program)
        program.kill()

    assert before == (demo_copy / "putback.sqlite3").read_bytes()
