"""Whatever was done to machines, their dossiers bring them whole into another record, and out of it again as they were.

Boards move between the two machines, so each record can name the other machine, or what lies on its boards.
"""

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.documents.mod_sheet import sheet_data
from server.records.commands.base import Command
from server.records.questions.addresses import find_machine
from server.records.questions.sheet import whole_machine
from tests.records.conftest import KEEPER, TAG, Bench, Copies
from tests.records.dossiers import TODAY, faults_in, look, record_in, take, write
from tests.records.test_checks import ASKED, NEXT_DAY, SECOND, ask, prepare

NO_DIGEST = "0" * 64


@pytest.mark.parametrize(
    ("kind", "other", "runs"), [("sqlite", "sqlite", 6), ("sqlite", "postgresql", 2), ("postgresql", "sqlite", 2)]
)
def test_every_run_of_commands_can_be_taken_into_another_record(
    copies: Copies, tmp_path: Path, kind: str, other: str, runs: int
) -> None:
    """Each machine's record is the same to the byte there, every rule holds, and going back changes nothing."""

    @settings(max_examples=runs, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
    @given(st.lists(ASKED, min_size=20, max_size=30), st.permutations([TAG, SECOND]))
    def run(asked: list[tuple[type[Command], dict[str, Any]]], order: list[str]) -> None:
        with copies(kind, "entered") as store, copies(other, "empty") as there:
            bench = Bench(store)
            prepare(bench)
            for place, (command, typed) in enumerate(asked):
                day = str(date(2025, 3, 1) + timedelta(place))
                ask(bench, command, {name: day if value == NEXT_DAY else value for name, value in typed.items()})
            for tag in order:
                take(there, write(store, tag, tmp_path / "dossier.zip"))
            assert faults_in(there) == []
            for tag in order:
                assert record_in(store, tag) == record_in(there, tag)
                assert look(store, write(there, tag, tmp_path / "dossier.zip")).nothing_new
                with there.reading() as session:
                    assert sheet_data(whole_machine(session, find_machine(session, tag)), NO_DIGEST, TODAY, KEEPER)

    run()
