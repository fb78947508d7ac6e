"""Machines: how they are entered, found and revised."""

import pytest

from server.records.commands.machines import EnterMachine, ReviseMachine
from server.records.errors import NotFound
from server.records.questions.addresses import find_machine
from server.records.tables import Machine
from tests.records.conftest import TAG, Bench

MACHINE = {"maker": "Tarn & Fell", "model": "Merle 40", "made": "1982~", "hazards": ["mains inside"]}


@pytest.mark.parametrize("tag", ["TM-03", "tm-03", " Tm-03 "])
def test_a_machine_is_found_whatever_the_case_of_its_tag(bench: Bench, tag: str) -> None:
    """And the tag is shown as it was first written."""
    with bench.store.reading() as session:
        assert find_machine(session, tag).tag == TAG


@pytest.mark.parametrize("tag", ["tm-03", "TM-03"])
def test_a_tag_belongs_to_one_machine(bench: Bench, tag: str) -> None:
    """Whatever its case."""
    assert list(bench.refuse(EnterMachine, tag=tag, model="Another")) == ["tag"]


@pytest.mark.parametrize("tag", ["new", "NEW", "a b", "-x", ".", "..", "a/b", "é", "x" * 41, "%41", "a?b", ""])
def test_a_tag_is_part_of_an_address(bench: Bench, tag: str) -> None:
    """So it is plain letters, digits and three marks, and no word that the addresses use."""
    assert list(bench.refuse(EnterMachine, tag=tag, model="Another")) == ["tag"]


@pytest.mark.parametrize("tag", ["", "TM-99", "x" * 10_000, "TM-03\0", "\ud800", "TM-03%", "' OR 1=1 --"])
def test_a_machine_that_is_not_there_is_told_by_name(bench: Bench, tag: str) -> None:
    """In a sentence that can be printed, however odd the name."""
    with bench.store.reading() as session, pytest.raises(NotFound) as missing:
        find_machine(session, tag)

    assert str(missing.value).startswith("There is no machine “")
    assert len(str(missing.value).encode()) < 300


def test_every_fault_of_a_form_is_told_at_once(bench: Bench) -> None:
    """Each beside its field."""
    odd = {"tag": "", "model": " ", "acquired_on": "4.1.2025", "hazards": ["mains inside", "ghosts"], "colour": "red"}

    assert set(odd) == set(bench.refuse(EnterMachine, **odd))


@pytest.mark.parametrize("day", ["2025-02-29", "25-01-01", "2025-1-1", "yesterday", "0000-01-01", "2025-01-01T00:00"])
def test_a_day_is_written_year_month_day(bench: Bench, day: str) -> None:
    """And is a day of the calendar."""
    assert list(bench.refuse(EnterMachine, tag="X", model="Y", acquired_on=day)) == ["acquired_on"]


@pytest.mark.parametrize(
    "made", ["1982", "1982~", "198X", "1982-03", "1982-03-09?", "1977-06/..", "../1984", "1981/1983"]
)
def test_a_machine_may_be_dated_roughly(bench: Bench, made: str) -> None:
    """In the forms of ISO 8601-2 (EDTF)."""
    done = bench.do(EnterMachine, tag="X", model="Y", made=made)

    assert made == bench.row(Machine, done.key).made


@pytest.mark.parametrize("made", ["about 1982", "1982-13", "1982-02-30", "82", "19826", "(" * 300, "1982/1981/1980"])
def test_what_is_no_date_is_refused(bench: Bench, made: str) -> None:
    """With examples of what would do."""
    assert "1979~ (about 1979)" in bench.refuse(EnterMachine, tag="X", model="Y", made=made)["made"]


def test_it_is_handed_over_after_it_came_in(bench: Bench) -> None:
    """On the same day at the earliest."""
    early = {"acquired_on": "2025-03-02", "handed_over_on": "2025-03-01"}
    same = {"acquired_on": "2025-03-02", "handed_over_on": "2025-03-02"}

    assert list(bench.refuse(ReviseMachine, opened_version=1, **MACHINE, **early)) == ["handed_over_on"]
    assert bench.do(ReviseMachine, opened_version=1, **MACHINE, **same).seq


def test_a_revision_says_what_changed(bench: Bench) -> None:
    """Noted, changed, taken away; of long texts and of what is private (rule 8) only that they are other ones."""
    changed = MACHINE | {"model": "Merle 41", "maker": "", "price": "a song", "provenance": "word " * 50}
    bench.do(ReviseMachine, opened_version=1, **changed)

    assert bench.last_entry().words == (
        "Machine TM-03: maker “Tarn & Fell” taken away; model from “Merle 40” to “Merle 41”; "
        "price changed; provenance rewritten."
    )
