"""What the codes of a board's parts allow."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.build_windows import MUCH_EARLIER_YEARS, build_window
from server.engineering.datecodes import DateCodeError, Reading, decode


def _read(code: str) -> Reading:
    return decode(code)[0]


def _on(day: date) -> Reading:
    return Reading(day, day + timedelta(days=6), "yyww_iso", f"the week from {day}")


def test_a_board_without_codes_says_nothing() -> None:
    """No parts: no day, no spread, and a sentence instead of a guess."""
    window = build_window([])

    assert (window.not_before, window.spread, window.newest) == (None, None, None)
    assert window.says == "No part is left whose code could date the board."


def test_the_sentence_leaves_the_judgement_to_the_keeper() -> None:
    """It says what the codes allow, on the condition that the part is original."""
    window = build_window([("U1", _read("8032")), ("U4", _read("8109"))])

    assert window.says == (
        "If U4 is original, the board was not built before 1981-02-23: "
        "week 9 of 1981, year before week, in ISO weeks, Monday to Sunday."
    )


def test_no_sentence_calls_a_machine_false() -> None:
    """A part made after its machine may be a repair: nothing here judges."""
    window = build_window([("U1", _read("8032")), ("U9", _read("8630"))], (date(1981, 1, 1), date(1981, 12, 31)))

    said = " ".join([window.says, *window.notes, *(misfit.why for misfit in window.misfits)]).lower()
    assert not any(word in said for word in ("fake", "false", "forged", "not genuine", "fraud"))
    assert "can have been changed since" in said


def test_a_code_with_one_reading_in_time_is_no_misfit() -> None:
    """`832` on a machine of 1981 may be 1978: the readings after the machine do not count against it."""
    readings = [("U1", reading) for reading in decode("832")]

    window = build_window(readings, (date(1981, 1, 1), date(1981, 12, 31)))

    assert window.misfits == ()
    assert window.not_before == date(1968, 8, 5)
    assert any("4 readings" in note for note in window.notes)


def test_a_late_part_alone_is_pointed_out_where_the_machine_is_undated() -> None:
    """Nothing says that it does not belong, but the keeper is told what hangs on it."""
    window = build_window([("U1", _read("8032")), ("U2", _read("8041")), ("U9", _read("8630"))])

    assert window.not_before == date(1986, 7, 21)
    assert window.misfits == ()
    assert window.notes == ("U9 alone is that late: if it was changed since, U2 allows 1980-10-06.",)


def test_a_type_number_that_sets_the_day_is_pointed_out() -> None:
    """A chip marked 8049 may be undated: the window would rest on its name."""
    window = build_window([("U1", _read("8032")), ("U2", _read("8049"))])

    assert any(note.startswith("U2: 8049 is also the type number") for note in window.notes)


def test_parts_decades_earlier_than_the_middle_of_the_others_do_not_belong() -> None:
    """Without a date for the machine the other parts are the measure."""
    window = build_window([("U1", _read("8032")), ("U2", _read("8041")), ("U10", _read("7012"))])

    assert [(misfit.label, misfit.how) for misfit in window.misfits] == [("U10", "much earlier")]
    assert window.oldest == "U1"


def test_slow_stock_belongs() -> None:
    """Parts a few years older than the machine were common; the limit is eight years."""
    machine = (date(1981, 6, 1), date(1981, 12, 31))

    window = build_window([("U1", _on(date(1974, 1, 7))), ("U2", _on(date(1973, 5, 7)))], machine)

    assert MUCH_EARLIER_YEARS == 8
    assert [misfit.label for misfit in window.misfits] == ["U2"]


def test_a_machine_with_its_days_the_wrong_way_round_is_refused() -> None:
    """The refusal names the machine's date."""
    with pytest.raises(DateCodeError, match="wrong way round") as refusal:
        build_window([], (date(1982, 1, 1), date(1981, 1, 1)))

    assert refusal.value.field == "machine"


@settings(max_examples=100, deadline=None)
@given(st.lists(st.dates(date(1975, 1, 1), date(1982, 12, 25)), min_size=1, max_size=12))
def test_the_window_is_the_latest_of_the_earliest_days(days: list[date]) -> None:
    """By definition, whatever the order of the parts; nothing within eight years is a misfit."""
    labelled = [(f"U{number}", _on(day)) for number, day in enumerate(days)]

    window = build_window(labelled)
    reversed_window = build_window(reversed(labelled))

    assert max(days) == window.not_before
    assert max(days) - min(days) == window.spread
    assert window.not_before == reversed_window.not_before
    assert window.misfits == ()


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.dates(date(1960, 1, 1), date(1999, 12, 25)), max_size=12),
    st.dates(date(1970, 1, 1), date(1989, 12, 31)),
)
def test_every_part_is_either_in_the_window_or_a_misfit_with_a_reason(days: list[date], made: date) -> None:
    """With a dated machine the kept parts can have been in it, and each other part is named once."""
    labelled = [(f"U{number}", _on(day)) for number, day in enumerate(days)]

    window = build_window(labelled, (made, made))

    off = {misfit.label for misfit in window.misfits}
    kept = [reading.earliest for label, reading in labelled if label not in off]
    assert len(off) == len(window.misfits)
    assert max(kept, default=None) == window.not_before
    assert all(day <= made for day in kept)
    assert all(misfit.label in misfit.why for misfit in window.misfits)
