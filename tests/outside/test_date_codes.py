"""Date codes against days worked out from the calendar: `data/date_codes.json` names the source beside each case.

The days are ISO 8601 weeks and plain counting. Which digits are a year and which a week is common practice, no source;
the production-date letters are from memory of IEC 60062.
"""

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from server.engineering.datecode_reading import iso_week
from server.engineering.datecodes import build_window, decode, type_number
from server.records.commands.base import Command
from server.records.commands.dating import ChooseReading
from server.records.commands.machines import AddBoard, EnterMachine
from server.records.commands.parts import EnterPart
from server.records.questions.addresses import find_board, find_machine
from server.records.questions.dating import BoardDating, dating_of
from server.records.store import Store

_DATA = json.loads(Path(__file__).with_name("data").joinpath("date_codes.json").read_text("utf-8"))
_CASES: dict[str, dict[str, Any]] = {case["case_id"]: case for case in _DATA["cases"]}
_CODES = [name for name, case in _CASES.items() if "text" in case["inputs"]]
_TYPE_NUMBERS = [name for name in _CODES if name.startswith("type_number")]
_ISO_DAYS = [name for name, case in _CASES.items() if "day" in case["inputs"]]

Found = set[tuple[str, str, str]]


def _day(inputs: dict[str, Any], name: str) -> date | None:
    return date.fromisoformat(inputs[name]) if name in inputs else None


@pytest.mark.parametrize("name", _CODES)
def test_every_reading_of_a_code_and_no_other_is_given(name: str) -> None:
    """The set of schemes and spans is the one that the calendar and the context allow."""
    case = _CASES[name]
    inputs = case["inputs"]
    schemes = [inputs["scheme"]] if "scheme" in inputs else None
    expected: Found = {(r["scheme"], r["earliest"], r["latest"]) for r in case["expected"]["readings"]}

    readings = decode(inputs["text"], _day(inputs, "not_before"), _day(inputs, "not_after"), schemes=schemes)

    found: Found = {(r.scheme, r.earliest.isoformat(), r.latest.isoformat()) for r in readings}
    assert expected == found
    assert len(readings) == len(found)


@pytest.mark.parametrize("name", _TYPE_NUMBERS)
def test_digits_that_are_also_a_type_number_are_flagged(name: str) -> None:
    """With a reading the warning comes on it; without one it can still be asked for."""
    text = _CASES[name]["inputs"]["text"]

    readings = decode(text)

    assert type_number(text) is not None
    assert all(reading.type_number == type_number(text) for reading in readings)


def test_a_letter_after_the_digits_is_told_as_a_lot_mark() -> None:
    """`8342A` is read as 8342, and the reading says what was left aside (case form_8342A)."""
    readings = decode("8342A")

    assert readings
    assert all("the A after it" in reading.why for reading in readings)


@pytest.mark.parametrize("name", _ISO_DAYS)
def test_days_lie_in_their_iso_week(name: str) -> None:
    """ISO 8601: days around New Year belong to the week of their Thursday."""
    case = _CASES[name]
    day = date.fromisoformat(case["inputs"]["day"])
    expected = case["expected"]

    week = iso_week(expected["iso_year"], expected["iso_week"])

    assert week is not None
    assert expected["iso_weekday"] == (day - week[0]).days + 1


def test_the_years_with_a_week_53_are_those_of_iso_8601() -> None:
    """A year has 53 ISO weeks if its 1 January is a Thursday, or a Wednesday in a leap year."""
    expected = _CASES["iso_years_with_week_53"]["expected"]["years"]

    found = [year for year in range(1950, 2050) if iso_week(year, 53)]

    assert expected == found


def test_the_window_of_a_board_starts_with_its_newest_part() -> None:
    """By definition: a board cannot predate the earliest possible day of its newest part."""
    case = _CASES["build_window_simple"]
    parts = [(ref, decode(code, schemes=["yyww_iso"])[0]) for ref, code in case["inputs"]["parts"]]
    expected = case["expected"]

    window = build_window(parts)

    assert date.fromisoformat(expected["not_before"]) == window.not_before
    assert expected["newest"] == window.newest
    assert expected["oldest"] == window.oldest
    assert window.spread is not None
    assert expected["spread_days"] == window.spread.days
    assert window.misfits == ()


def test_parts_that_do_not_belong_are_named_with_their_reason() -> None:
    """One later than the machine, one a decade earlier than the rest; the window is that of the others."""
    case = _CASES["build_window_misfits"]
    parts = [(ref, decode(code, schemes=["yyww_iso"])[0]) for ref, code in case["inputs"]["parts"]]
    year = int(case["inputs"]["machine_made"])

    window = build_window(parts, machine=(date(year, 1, 1), date(year, 12, 31)))

    assert [misfit["ref"] for misfit in case["expected"]["misfits"]] == [misfit.label for misfit in window.misfits]
    later, earlier = window.misfits
    assert "later than the machine" in later.why
    assert "week 30 of 1986" in later.why
    assert "1986-07-21" in later.why
    assert "earlier than the rest" in earlier.why
    assert "week 12 of 1970" in earlier.why
    assert date.fromisoformat(case["expected"]["not_before_without_misfits"]) == window.not_before


def test_an_undecided_code_counts_with_its_earliest_day_and_says_so() -> None:
    """Week 9 or September 1981: the cautious day is the start of week 9 (case build_window_with_ambiguous)."""
    parts = [(ref, reading) for ref, code in (("U1", "8032"), ("U2", "0981")) for reading in decode(code)]

    window = build_window(parts)

    assert date(1981, 2, 23) == window.not_before
    assert window.newest == "U2"
    assert any("U2 has 3 readings" in note for note in window.notes)


# ---- The same through the record ----


def _do(store: Store, command: type[Command], /, **typed: object) -> int:
    return store.carry_out(command.read(typed), "Test keeper").key


def _recorded(store: Store, parts: list[list[str]], made: str, iso: bool) -> BoardDating:
    """A board with these codes, each held to be original; read in ISO weeks where that is chosen for each."""
    _do(store, EnterMachine, tag="T-1", model="Tern", made=made)
    _do(store, AddBoard, machine="T-1", name="Main board", kind="main board")
    chip = {"machine": "T-1", "board": "main-board", "kind": "chip", "origin": "original"}
    for place, code in parts:
        key = _do(store, EnterPart, designator=place, date_code=code, **chip)
        week = decode(code, schemes=["yyww_iso"])
        if iso:
            _do(store, ChooseReading, part=key, reading=f"{week[0].earliest}/{week[0].latest}", opened_version=1)
    with store.reading() as session:
        return dating_of(session, find_board(session, find_machine(session, "T-1"), "main-board"))


def test_the_record_dates_a_board_as_the_calendar_does(store: Store) -> None:
    """Entered, read in ISO weeks and asked for: the same day, spread and parts (case build_window_simple)."""
    case = _CASES["build_window_simple"]

    found = _recorded(store, case["inputs"]["parts"], "", iso=True)

    expected, window = case["expected"], found.window
    assert found.allows == f"The codes allow a board built from {expected['not_before']} on."
    assert (window.newest, window.oldest) == (expected["newest"], expected["oldest"])
    assert window.spread is not None
    assert expected["spread_days"] == window.spread.days


def test_the_record_names_the_parts_that_do_not_belong(store: Store) -> None:
    """Against the year of its machine (case build_window_misfits)."""
    case = _CASES["build_window_misfits"]

    found = _recorded(store, case["inputs"]["parts"], case["inputs"]["machine_made"], iso=True)

    expected = case["expected"]
    assert {misfit["ref"] for misfit in expected["misfits"]} == {line.label for line in found.placed("does not belong")}
    assert date.fromisoformat(expected["not_before_without_misfits"]) == found.window.not_before


def test_the_record_takes_the_earliest_day_of_an_undecided_code(store: Store) -> None:
    """Week 9 or September 1981, and nobody has chosen (case build_window_with_ambiguous)."""
    case = _CASES["build_window_with_ambiguous"]

    found = _recorded(store, case["inputs"]["parts"], "", iso=False)

    assert date(1981, 2, 23) == found.window.not_before
    assert any("U2 has 3 readings; the earliest is used" in note for note in found.window.notes)
