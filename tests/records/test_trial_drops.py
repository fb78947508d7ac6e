"""A trial that was entered by mistake is taken off the record, as long as nothing rests on it."""

import pytest

from server.records.commands.calculations import AttachCalculation
from server.records.commands.photographs import AddPhotograph
from server.records.commands.symptoms import AddEvidence, NoteSymptom, SuspectCause
from server.records.commands.trial_drops import DropTrial
from server.records.commands.trials import RecordTrial, WriteProcedure
from server.records.errors import Stale
from server.records.tables import Photograph, Trial, TrialMod
from tests.records.conftest import KEEPER, TAG, Bench
from tests.records.photographs import jpeg


@pytest.fixture(autouse=True)
def trials(bench: Bench) -> None:
    """Two trials of one procedure, while a mod is in force."""
    bench.replace_r2()
    bench.do(WriteProcedure, title="Timing", unit="ms")
    for day in ("2025-02-10", "2025-02-11"):
        bench.do(RecordTrial, procedure="timing", day=day, readings="501 503", signer=KEEPER)


def test_it_goes_with_what_it_noted_and_its_number_stays_its_own(bench: Bench) -> None:
    with pytest.raises(Stale):
        bench.do(DropTrial, trial=2, opened_version=2)
    bench.do(DropTrial, trial=2, opened_version=1)

    assert [row.number for row in bench.rows(Trial)] == [1]
    assert [row.trial_id for row in bench.rows(TrialMod)] == [1]
    assert bench.last_entry().words == f"Trial 2 of {TAG}, on 2025-02-11, was taken off the record."
    assert bench.faults() == []
    bench.do(RecordTrial, procedure="timing", day="2025-02-12", readings="502", signer=KEEPER)
    assert [row.number for row in bench.rows(Trial)] == [1, 3]


def test_what_was_attached_to_it_is_attached_to_the_machine(bench: Bench) -> None:
    bench.do(AddPhotograph, on_kind="trial", on="2", file_name="scope.jpg", content=jpeg())

    bench.do(DropTrial, trial=2, opened_version=1)

    assert [row.on_kind for row in bench.rows(Photograph)] == ["machine"]
    assert bench.last_entry().words.endswith("What was attached to it is attached to the machine now.")
    assert bench.faults() == []


def test_a_trial_that_evidence_rests_on_stays(bench: Bench) -> None:
    bench.do(NoteSymptom, title="Slow", seen_on="2025-01-10")
    bench.do(SuspectCause, symptom=1, sentence="A tired clock")
    bench.do(AddEvidence, symptom=1, cause=1, side="for", day="2025-02-11", trial=2)

    refused = bench.refuse(DropTrial, trial=2, opened_version=1)
    assert refused == {"": "Evidence about symptom 1 rests on this trial. Take that away first."}
    bench.do(DropTrial, trial=1, opened_version=1)


def test_a_trial_that_a_sum_reads_stays(bench: Bench) -> None:
    given = {"name": "t", "source": "trial", "trial": 2}
    bench.do(
        AttachCalculation, mod=1, title="Twice as long", inputs=[given], lines=[{"name": "u", "expression": "2*t"}]
    )

    refused = bench.refuse(DropTrial, trial=2, opened_version=1)
    assert refused == {"": "Calculation 1 of mod 1 reads this trial. Have it read another first."}
