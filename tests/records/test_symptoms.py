"""Symptoms: noted, suspected of causes, weighed by evidence, ended, and opened again without losing anything."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from uuid import uuid4

import pytest
from sqlalchemy import event

from server.records.commands.base import Command
from server.records.commands.calculations import AttachCalculation
from server.records.commands.machines import EnterMachine
from server.records.commands.symptoms import (
    AddEvidence,
    DropEvidence,
    EndSymptom,
    JudgeCause,
    NoteSymptom,
    ReopenSymptom,
    ReviseSymptom,
    SuspectCause,
)
from server.records.commands.trials import RecordTrial, WriteProcedure
from server.records.errors import NotFound, Stale
from server.records.questions.addresses import find_machine, find_mod, find_symptom
from server.records.questions.symptoms import causes_of, cured_by, latest_symptoms, sums_offered, symptoms_of
from server.records.store import Store
from server.records.tables import Evidence, PossibleCause, Symptom
from tests.records.conftest import KEEPER, TAG, Bench

SEEN = "2025-01-10"


def note(bench: Bench, title: str = "Hum", **more: object) -> None:
    bench.do(NoteSymptom, **{"title": title, "seen_on": SEEN, **more})


def suspect(bench: Bench, sentence: str = "The reservoir is dry", symptom: int = 1, **more: object) -> None:
    bench.do(SuspectCause, symptom=symptom, sentence=sentence, **more)


JUDGED = {"symptom": 1, "cause": 1, "opened_version": 1, "sentence": "The reservoir is dry", "judged_on": "2025-02-01"}
EVIDENCE = {"symptom": 1, "cause": 1, "day": "2025-02-01"}
ENDED = {"symptom": 1, "opened_version": 1, "ended_on": "2025-03-01"}


def run_trial(bench: Bench) -> None:
    bench.do(WriteProcedure, title="Hum", unit="mV", better="lower")
    bench.do(RecordTrial, procedure="hum", day="2025-02-01", readings="41 42 40", signer=KEEPER)


def attach_sum(bench: Bench) -> None:
    """Plan mod 1, and attach a sum to it."""
    bench.plan()
    bench.do(
        AttachCalculation,
        mod=1,
        title="Ripple",
        inputs=[{"name": "C", "label": "reservoir", "unit": "F", "text": "1000 µF ±20 %"}],
        lines=[{"name": "twice", "expression": "2 * C", "unit": "µF"}],
        assumptions=[{"sentence": "The load is steady."}],
    )


def stale(bench: Bench, kind: type[Command], /, **typed: object) -> list[tuple[str, str, str]]:
    """Both versions of the fields in which they differ."""
    before = bench.entries()
    with pytest.raises(Stale) as refusal:
        bench.do(kind, **typed)
    assert before == bench.entries()
    return [(row.field, row.yours, row.theirs) for row in refusal.value.rows if row.differs]


@contextmanager
def statements(store: Store) -> Iterator[list[str]]:
    run: list[str] = []

    def heard(*told: object) -> None:
        run.append(str(told[2]))

    event.listen(store.engine, "before_cursor_execute", heard)
    yield run
    event.remove(store.engine, "before_cursor_execute", heard)


# ---- Noting and revising ----


def test_symptoms_of_a_machine_count_from_one(bench: Bench) -> None:
    """Each machine's for itself; the journal names both."""
    bench.do(EnterMachine, tag="TM-04", model="Merle 41")
    note(bench)
    note(bench, "Blinking lamp", bring_about="Press a key.", note="Only when cold.")
    note(bench, "Smell", machine="TM-04")

    found = [(row.number, row.title, row.bring_about, row.note, row.ended_as) for row in bench.rows(Symptom)]

    assert found == [
        (1, "Hum", "", "", ""),
        (2, "Blinking lamp", "Press a key.", "Only when cold.", ""),
        (1, "Smell", "", "", ""),
    ]
    assert bench.last_entry().words == "Noted symptom 1 of TM-04: Smell."
    assert bench.faults() == []


@pytest.mark.parametrize("field", ["title", "seen_on"])
def test_a_symptom_has_a_title_and_a_day(bench: Bench, field: str) -> None:
    assert list(bench.refuse(NoteSymptom, **{"title": "Hum", "seen_on": SEEN, field: ""})) == [field]


def test_a_symptom_is_revised_by_whoever_saw_the_latest_version(bench: Bench) -> None:
    """The second keeper is shown both versions, and nothing of the first's is lost."""
    note(bench)
    bench.do(ReviseSymptom, symptom=1, opened_version=1, title="Loud hum", seen_on=SEEN)

    told = stale(bench, ReviseSymptom, symptom=1, opened_version=1, title="Hum at night", seen_on=SEEN)

    assert told == [("title", "Hum at night", "Loud hum")]
    assert bench.rows(Symptom)[0].title == "Loud hum"


def test_a_symptom_of_another_machine_is_not_found(bench: Bench) -> None:
    bench.do(EnterMachine, tag="TM-04", model="Merle 41")
    note(bench)

    with pytest.raises(NotFound, match="There is no symptom “1”"):
        bench.do(ReviseSymptom, machine="TM-04", symptom=1, opened_version=1, title="Hum", seen_on=SEEN)


# ---- The end ----


def test_a_symptom_is_cured_by_a_mod(bench: Bench) -> None:
    """One that was fitted; each leads to the other."""
    note(bench)
    bench.replace_r2()
    bench.do(EndSymptom, **ENDED, ended_as="cured", mod=1, ended_note="Silent for a week.")

    with bench.store.reading() as session:
        machine = find_machine(session, TAG)
        cured = [row.title for row in cured_by(session, find_mod(session, machine, 1))]
        symptom = find_symptom(session, machine, 1)

    assert cured == ["Hum"]
    assert (symptom.ended_as, symptom.ended_on, symptom.ended_note) == ("cured", date(2025, 3, 1), "Silent for a week.")
    assert bench.last_entry().words == f"Symptom 1 of {TAG}, Hum, is cured since 2025-03-01, by mod 1."
    assert bench.faults() == []


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"ended_as": "cured", "ended_on": "2025-01-09"}, "ended_on"),
        ({"ended_as": "cured", "ended_on": ""}, "ended_on"),
        ({"ended_as": "gone"}, "ended_as"),
        ({"ended_as": "explained"}, "ended_note"),
        ({"ended_as": "cured", "mod": "1"}, "mod"),  # planned, not fitted
        ({"ended_as": "cured", "mod": "7"}, "mod"),
        ({"ended_as": "accepted", "mod": "1"}, "mod"),
    ],
)
def test_an_end_that_cannot_be_is_refused_beside_its_field(bench: Bench, typed: dict[str, str], field: str) -> None:
    note(bench)
    bench.plan()

    assert list(bench.refuse(EndSymptom, **{**ENDED, **typed})) == [field]


@pytest.mark.parametrize("ended_as", ["explained", "accepted"])
def test_a_symptom_can_end_without_being_cured(bench: Bench, ended_as: str) -> None:
    note(bench)

    bench.do(EndSymptom, **ENDED, ended_as=ended_as, ended_note="All of this model do.")

    assert bench.rows(Symptom)[0].ended_as == ended_as


def test_a_symptom_that_ended_was_not_first_seen_after_that(bench: Bench) -> None:
    note(bench)
    bench.do(EndSymptom, **ENDED, ended_as="cured")

    refused = bench.refuse(ReviseSymptom, symptom=1, opened_version=2, title="Hum", seen_on="2025-03-02")

    assert list(refused) == ["seen_on"]


def test_an_end_that_someone_else_wrote_meanwhile_is_shown(bench: Bench) -> None:
    """Mods by their numbers, as the form has them."""
    note(bench)
    bench.replace_r2()
    bench.do(EndSymptom, **ENDED, ended_as="cured", mod=1)

    told = stale(bench, EndSymptom, **ENDED, ended_as="accepted", ended_note="It may stay.")

    assert told == [("ended as", "accepted", "cured"), ("ended note", "It may stay.", ""), ("mod", "", "1")]


def test_a_symptom_that_comes_back_is_opened_again(bench: Bench) -> None:
    """Its causes stay; how it had ended stays in the journal."""
    note(bench)
    suspect(bench)
    bench.replace_r2()
    bench.do(EndSymptom, **ENDED, ended_as="cured", mod=1, ended_note="Silent.")
    bench.do(ReopenSymptom, symptom=1, opened_version=2, why="Back in the cold")

    symptom = bench.rows(Symptom)[0]

    assert (symptom.ended_as, symptom.ended_on, symptom.ended_by_mod_id, symptom.ended_note) == ("", None, None, "")
    assert len(bench.rows(PossibleCause)) == 1
    said = f"Symptom 1 of {TAG}, Hum, is open again, after it was cured since 2025-03-01: Back in the cold."
    assert said == bench.last_entry().words
    assert bench.faults() == []


def test_only_what_ended_is_opened_again_and_for_a_reason(bench: Bench) -> None:
    note(bench)

    assert bench.refuse(ReopenSymptom, symptom=1, opened_version=1, why="x") == {"": "It is open already."}
    bench.do(EndSymptom, **ENDED, ended_as="cured")
    assert list(bench.refuse(ReopenSymptom, symptom=1, opened_version=2, why=" ")) == ["why"]
    assert stale(bench, ReopenSymptom, symptom=1, opened_version=1, why="x") == [("ended as", "", "cured")]


# ---- Suspecting ----


def test_possible_causes_count_within_their_symptom_and_begin_open(bench: Bench) -> None:
    note(bench)
    note(bench, "Blinking lamp")
    suspect(bench)
    suspect(bench, "The lead picks it up.")
    suspect(bench, "A loose lamp", symptom=2)

    found = [(row.number, row.sentence, row.state, row.judged_on) for row in bench.rows(PossibleCause)]

    assert found == [
        (1, "The reservoir is dry", "open", None),
        (2, "The lead picks it up.", "open", None),
        (1, "A loose lamp", "open", None),
    ]
    said = f"Symptom 2 of {TAG}, Blinking lamp, has a possible cause 1: A loose lamp."
    assert said == bench.last_entry().words


def test_a_cause_of_a_new_symptom_is_one_act(bench: Bench) -> None:
    """Both rows, one entry; or neither."""
    before = bench.entries()
    bench.do(SuspectCause, title="Hum", seen_on=SEEN, sentence="The reservoir is dry")

    assert before + 1 == bench.entries()
    assert [row.title for row in bench.rows(Symptom)] == ["Hum"]
    assert list(bench.refuse(SuspectCause, title="", seen_on=SEEN, sentence="x")) == ["title"]
    assert list(bench.refuse(SuspectCause, title="Hum", sentence="x")) == ["seen_on"]
    assert list(bench.refuse(SuspectCause, title="Hum", seen_on=SEEN, sentence="")) == ["sentence"]
    assert len(bench.rows(Symptom)) == 1
    assert bench.faults() == []


def test_a_chosen_symptom_and_a_new_title_contradict_each_other(bench: Bench) -> None:
    note(bench)

    assert list(bench.refuse(SuspectCause, symptom=1, title="Hum", seen_on=SEEN, sentence="x")) == ["title"]
    assert list(bench.refuse(SuspectCause, symptom=7, sentence="x")) == ["symptom"]


def test_a_cause_keeps_the_assumption_that_it_was_opened_from(bench: Bench) -> None:
    note(bench)
    attach_sum(bench)
    suspect(bench, "The load is not steady", calculation="1/1", assumption="The load is steady.")

    with bench.store.reading() as session:
        (line,) = causes_of(session, find_symptom(session, find_machine(session, TAG), 1))

    assert str(line.calculation) == "Calculation 1 of mod 1, Ripple"
    assert line.cause.assumption == "The load is steady."


@pytest.mark.parametrize("named", ["1", "1/2", "2/1", "x/y", "1/1/1", "99999999999/1", "１/１"])
def test_a_calculation_that_is_not_there_is_refused(bench: Bench, named: str) -> None:
    note(bench)
    suspect(bench)
    attach_sum(bench)

    assert list(bench.refuse(SuspectCause, symptom=1, sentence="x", calculation=named)) == ["calculation"]
    assert list(bench.refuse(AddEvidence, **EVIDENCE, side="for", calculation=named)) == ["calculation"]


# ---- Evidence ----


def test_evidence_is_a_trial_a_calculation_or_a_note(bench: Bench) -> None:
    """On either side, in the order of its days, with what the trial's readings say.

    41, 42 and 40 scatter by 1; read to the whole number, u is the root of 1²/3 + 1²/12, which is 0.65.
    """
    note(bench)
    suspect(bench)
    run_trial(bench)
    attach_sum(bench)
    bench.do(AddEvidence, **EVIDENCE, side="for", trial=1, note="Loud.")
    bench.do(AddEvidence, **EVIDENCE, side="against", calculation="1/1")
    bench.do(AddEvidence, **{**EVIDENCE, "day": "2025-01-15"}, side="for", note="Bulging can.")

    with bench.store.reading() as session:
        (line,) = causes_of(session, find_symptom(session, find_machine(session, TAG), 1))
    supporting, opposing = (told for _, told in line.sides)

    assert [one.evidence.note for one in supporting] == ["Bulging can.", "Loud."]
    assert str(supporting[1].figures) == "41.00 ± 0.65 mV"
    assert supporting[0].figures is None
    assert [str(one.calculation) for one in opposing] == ["Calculation 1 of mod 1, Ripple"]
    assert bench.faults() == []


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({}, "note"),
        ({"note": " "}, "note"),
        ({"trial": "1", "calculation": "1/1"}, "calculation"),
        ({"trial": "2"}, "trial"),
        ({"trial": "one"}, "trial"),
        ({"note": "x", "day": ""}, "day"),
        ({"note": "x", "side": "beside"}, "side"),
    ],
)
def test_evidence_that_says_nothing_or_too_much_is_refused(bench: Bench, typed: dict[str, str], field: str) -> None:
    note(bench)
    suspect(bench)
    run_trial(bench)
    attach_sum(bench)

    assert list(bench.refuse(AddEvidence, **{**EVIDENCE, "side": "for", **typed})) == [field]


def test_another_machines_trial_is_no_evidence(bench: Bench) -> None:
    bench.do(EnterMachine, tag="TM-04", model="Merle 41")
    note(bench, machine="TM-04")
    suspect(bench, machine="TM-04")
    run_trial(bench)

    assert list(bench.refuse(AddEvidence, **EVIDENCE, machine="TM-04", side="for", trial=1)) == ["trial"]


def test_evidence_is_taken_away_by_its_own_name(bench: Bench) -> None:
    """What was taken away already is not found, and takes nothing else with it."""
    note(bench)
    suspect(bench)
    for words in ("Warm", "Cold"):
        bench.do(AddEvidence, **EVIDENCE, side="for", note=words)
    first = {"symptom": 1, "cause": 1, "evidence": bench.rows(Evidence)[0].uuid}

    bench.do(DropEvidence, **first)

    assert [row.note for row in bench.rows(Evidence)] == ["Cold"]
    with pytest.raises(NotFound):
        bench.do(DropEvidence, **first)
    with pytest.raises(NotFound):
        bench.do(DropEvidence, symptom=1, cause=1, evidence=uuid4())
    assert bench.faults() == []


# ---- Judging ----


@pytest.mark.parametrize(("state", "side", "other"), [("confirmed", "for", "against"), ("ruled out", "against", "for")])
def test_a_judgement_rests_on_evidence_of_its_side_or_on_a_reason(
    bench: Bench, state: str, side: str, other: str
) -> None:
    note(bench)
    suspect(bench)
    bench.do(AddEvidence, **EVIDENCE, side=other, note="Seen.")
    refused = bench.refuse(JudgeCause, **JUDGED, state=state)
    bench.do(AddEvidence, **EVIDENCE, side=side, note="Seen.")

    bench.do(JudgeCause, **JUDGED, state=state)

    assert refused == {"why": f"Say why, or add evidence {side} it first: none is on record."}
    assert bench.rows(PossibleCause)[0].state == state


def test_what_a_judgement_rests_on_alone_is_not_taken_away(bench: Bench) -> None:
    """Until there is other evidence, or a reason."""
    note(bench)
    suspect(bench)
    bench.do(AddEvidence, **EVIDENCE, side="for", note="Seen.")
    bench.do(JudgeCause, **JUDGED, state="confirmed")
    first = {"symptom": 1, "cause": 1, "evidence": bench.rows(Evidence)[0].uuid}

    refused = bench.refuse(DropEvidence, **first)
    bench.do(JudgeCause, **{**JUDGED, "opened_version": 2}, state="confirmed", why="The new one is silent.")
    bench.do(DropEvidence, **first)

    assert refused == {
        "": "That the cause is confirmed rests on this alone. Judge it anew first, or say why there.",
    }
    assert bench.rows(Evidence) == []


def test_a_judgement_can_be_taken_back(bench: Bench) -> None:
    """Open again, it has no day; its sentence may be put better at any time."""
    note(bench)
    suspect(bench)
    bench.do(JudgeCause, **JUDGED, state="confirmed", why="Measured.")
    bench.do(JudgeCause, **{**JUDGED, "opened_version": 2, "sentence": "The reservoir is weak"}, state="open")

    (cause,) = bench.rows(PossibleCause)

    assert (cause.state, cause.judged_on, cause.sentence, cause.why) == ("open", None, "The reservoir is weak", "")
    said = f"Symptom 1 of {TAG}, Hum, possible cause 1 is open: The reservoir is weak."
    assert said == bench.last_entry().words


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"judged_on": ""}, "judged_on"),
        ({"judged_on": "2025-01-09"}, "judged_on"),
        ({"state": "perhaps"}, "state"),
        ({"sentence": ""}, "sentence"),
    ],
)
def test_a_judgement_that_cannot_be_is_refused(bench: Bench, typed: dict[str, str], field: str) -> None:
    note(bench)
    suspect(bench)

    assert list(bench.refuse(JudgeCause, **{**JUDGED, "state": "ruled out", "why": "Swapped.", **typed})) == [field]


def test_a_cause_that_someone_else_judged_meanwhile_shows_both(bench: Bench) -> None:
    note(bench)
    suspect(bench)
    bench.do(JudgeCause, **JUDGED, state="confirmed", why="Measured.")

    told = stale(bench, JudgeCause, **JUDGED, state="ruled out", why="Swapped.")

    assert told == [("state", "ruled out", "confirmed"), ("why", "Swapped.", "Measured.")]


# ---- Questions ----


def test_open_symptoms_come_first_and_the_latest_before_the_earlier(bench: Bench) -> None:
    for title in ("One", "Two", "Three", "Four"):
        note(bench, title)
    for symptom in (2, 4):
        bench.do(EndSymptom, **{**ENDED, "symptom": symptom}, ended_as="accepted")

    with bench.store.reading() as session:
        machine = find_machine(session, TAG)
        latest = [(line.number, line.state) for line in latest_symptoms(session, machine, 3)]
        paged = [one.line.number for one in symptoms_of(session, machine, 1).rows]

    assert latest == [(3, "open"), (1, "open"), (4, "accepted")]
    assert paged == [3, 1, 4, 2]


def test_a_list_tells_the_causes_of_each_symptom_by_their_states(bench: Bench) -> None:
    note(bench)
    note(bench, "Blinking lamp")
    for number, state in enumerate(("ruled out", "confirmed", "open", "ruled out"), start=1):
        suspect(bench)
        bench.do(JudgeCause, **{**JUDGED, "cause": number}, state=state, why="Seen.")

    with bench.store.reading() as session:
        rows = symptoms_of(session, find_machine(session, TAG), 1).rows

    assert [(one.line.number, one.causes) for one in rows] == [(2, ""), (1, "1 confirmed, 1 open, 2 ruled out")]


def test_causes_take_as_many_queries_for_much_evidence_as_for_little(bench: Bench) -> None:
    note(bench)
    suspect(bench)
    run_trial(bench)
    attach_sum(bench)
    bench.do(AddEvidence, **EVIDENCE, side="for", trial=1)

    def asked() -> int:
        with bench.store.reading() as session:
            symptom = find_symptom(session, find_machine(session, TAG), 1)
            with statements(bench.store) as run:
                causes_of(session, symptom)
        return len(run)

    few = asked()
    for number in range(2, 6):
        suspect(bench, calculation="1/1", assumption="The load is steady.")
        bench.do(AddEvidence, **{**EVIDENCE, "cause": number}, side="against", calculation="1/1")

    assert (3, few) == (few, asked())


def test_calculations_are_offered_as_evidence_by_their_mods(bench: Bench) -> None:
    attach_sum(bench)

    with bench.store.reading() as session:
        offered = [(one.key, str(one)) for one in sums_offered(session, find_machine(session, TAG))]

    assert offered == [("1/1", "Calculation 1 of mod 1, Ripple")]
