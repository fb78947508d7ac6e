"""Procedures and trials: what is stored of them, and what is asked of them afterwards."""

from datetime import date

import pytest
from sqlalchemy import Engine, event
from sqlmodel import col, select

from server.records.commands import mods, trials
from server.records.commands.base import Command
from server.records.errors import Invalid, Refused, Stale
from server.records.questions.states import SeatChange, differences
from server.records.questions.trials import (
    figures_of,
    instruments_of,
    mods_noted,
    mods_offered,
    numbered,
    procedures,
    trial_before,
    trial_names,
    trials_of,
    trials_with,
)
from server.records.store import Store
from server.records.tables import JournalEntry, Mod, Procedure, Trial
from tests.records import trial_scene as scene
from tests.records.trial_scene import CRASH, KEEPER, TAG, TIMING, do

MORNING = "Read in the morning, before it was fitted"


@pytest.fixture
def shop(store: Store) -> Store:
    scene.set_up(store)
    scene.write_timing(store)
    scene.write_crash(store)
    return store


def noted(store: Store, number: int) -> str:
    """The mods noted with a trial, by number."""
    with store.reading() as session:
        trial = session.exec(select(Trial).where(Trial.number == number)).one()
        return numbered(mods_noted(session, [trial.key])[trial.key])


def reason(store: Store, number: int) -> str:
    """Why the mods noted are others than the days give."""
    with store.reading() as session:
        return session.exec(select(Trial.mods_reason).where(Trial.number == number)).one()


def last_words(store: Store) -> str:
    """What the journal last said."""
    with store.reading() as session:
        return session.exec(select(JournalEntry.words).order_by(col(JournalEntry.seq).desc())).first() or ""


def told(change: SeatChange) -> tuple[str, str, str, int]:
    """A change as position, value before, value after, and the mod's number."""
    before, after = change.before, change.after
    mod = change.mod.number if change.mod else 0
    return change.position.designator, before.value if before else "", after.value if after else "", mod


def statements(engine: Engine) -> list[str]:
    """Every statement that the engine runs from now on."""
    run: list[str] = []
    event.listen(engine, "before_cursor_execute", lambda *details: run.append(details[2]))
    return run


def refusal(store: Store, kind: type[Command], /, **fields: object) -> dict[str, str]:
    with pytest.raises(Invalid) as refused:
        do(store, kind, **fields)
    return refused.value.messages


# ---- Procedures ----


def test_a_procedure_is_found_by_a_slug_of_its_title(shop: Store) -> None:
    """A second one of the same title gets a number, and “new” never becomes an address."""
    scene.write_timing(shop)
    scene.write_timing(shop, title="New")

    with shop.reading() as session:
        assert {TIMING, f"{TIMING}-2", "new-procedure", CRASH} == set(session.exec(select(Procedure.slug)))


@pytest.mark.parametrize("resolution", ["0", "-1", "1e-300", "1e300"])
def test_a_resolution_is_a_step_that_can_be_reckoned_with(shop: Store, resolution: str) -> None:
    """Otherwise every later comparison would be refused."""
    messages = refusal(shop, trials.WriteProcedure, title="X", resolution=resolution)

    assert list(messages) == ["resolution"]


def test_nearest_needs_a_target_within_reach(shop: Store) -> None:
    """“Nearest” to nothing means nothing."""
    nothing = refusal(shop, trials.WriteProcedure, title="X", better="nearest")
    too_far = refusal(shop, trials.WriteProcedure, title="X", better="nearest", target="1e99")

    assert ["target"] == list(nothing) == list(too_far)


def test_figures_do_not_turn_into_yes_or_no_once_there_are_some(shop: Store) -> None:
    """A reading of 500 ms is not a yes."""
    scene.run(shop, "2024-03-01", "500 501")

    with pytest.raises(Refused) as refused:
        do(shop, trials.ReviseProcedure, procedure=TIMING, opened_version=1, title="X", better="yes")

    assert list(refused.value.messages) == ["better"]


def test_a_procedure_not_run_yet_may_change_its_kind(shop: Store) -> None:
    """Nothing rests on it."""
    do(shop, trials.ReviseProcedure, procedure=TIMING, opened_version=1, title="X", better="yes")

    with shop.reading() as session:
        assert session.exec(select(Procedure.better).where(Procedure.slug == TIMING)).one() == "yes"


def test_procedures_tell_how_often_and_when_they_were_run(shop: Store) -> None:
    """By title, with nothing for the one that was not run."""
    scene.run(shop, "2024-03-01", "500")
    scene.run(shop, "2024-04-01", "400")

    with shop.reading() as session:
        lines = procedures(session, 1).rows

    assert [(CRASH, 0, None), (TIMING, 2, date(2024, 4, 1))] == [
        (line.procedure.slug, line.trials, line.latest) for line in lines
    ]


# ---- Recording ----


def test_readings_are_stored_in_the_order_they_were_typed(shop: Store) -> None:
    """Drift shows in the order, so it is kept."""
    scene.write_timing(shop, title="Hum", resolution="0.5")
    scene.run(shop, "2024-03-01", "503,5 501\n499; 500", "hum")

    with shop.reading() as session:
        assert session.exec(select(Trial)).one().readings == [503.5, 501.0, 499.0, 500.0]


@pytest.mark.parametrize(
    ("procedure", "readings", "sentence"),
    [
        (TIMING, "500 5oo", "Line 1, reading 2: “5oo” is not a number; leave out units and other text."),
        (TIMING, " ", "There are no readings in the text; type at least one number."),
        (CRASH, "yes maybe", "Observation 2, “maybe”, is neither yes nor no."),
        (CRASH, " ; ", "There is nothing to record yet; write yes or no for each occasion."),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_place(
    shop: Store, procedure: str, readings: str, sentence: str
) -> None:
    """And nothing is stored."""
    messages = refusal(
        shop,
        trials.RecordTrial,
        machine=TAG,
        procedure=procedure,
        day="2024-03-01",
        readings=readings,
        signer=KEEPER,
    )

    with shop.reading() as session:
        assert {"readings": sentence} == messages
        assert session.exec(select(Trial)).all() == []


def test_an_unknown_procedure_is_told_beside_its_field(shop: Store) -> None:
    """It is a choice in the form, not an address."""
    messages = refusal(
        shop, trials.RecordTrial, machine=TAG, procedure="gone", day="2024-03-01", readings="1", signer=KEEPER
    )

    assert messages == {"procedure": "There is no procedure “gone”."}


def test_observations_are_kept_as_ones_and_noughts(shop: Store) -> None:
    """Yes is 1, however it was written."""
    scene.run(shop, "2024-03-01", "Yes, n; y 0 NO 1", CRASH)

    with shop.reading() as session:
        trial, procedure = session.exec(
            select(Trial, Procedure).join(Procedure).where(Procedure.slug == CRASH)  # the only one
        ).one()

    assert trial.readings == [1.0, 0.0, 1.0, 0.0, 0.0, 1.0]
    assert str(figures_of(trial, procedure)) == "yes 3 of 6 times"


def test_a_trial_is_journalled_in_words(shop: Store) -> None:
    """Who reads the journal need not look up numbers."""
    scene.run(shop, "2024-03-01", "500 501")

    assert last_words(shop) == "Trial 1 of TM-03, Time to count to a thousand, on 2024-03-01: 2 readings."


# ---- Mods in force ----


def test_the_mods_in_force_are_noted_by_the_day(shop: Store) -> None:
    """Before it was fitted, while it was, and after it was undone."""
    scene.fit_mod(shop, 1, "2024-03-10")
    scene.undo_mod(shop, 1, "2024-05-10")
    for day in ("2024-03-01", "2024-04-01", "2024-06-01"):
        scene.run(shop, day, "500")

    assert [noted(shop, number) for number in (1, 2, 3)] == ["", "1", ""]


def test_another_day_brings_its_own_mods(shop: Store) -> None:
    """A mistyped day is put right with what hangs on it."""
    scene.fit_mod(shop, 1, "2024-03-10")
    scene.run(shop, "2024-03-01", "500")

    do(
        shop,
        trials.ReviseTrial,
        machine=TAG,
        trial=1,
        opened_version=1,
        day="2024-04-01",
        readings="500",
        signer=KEEPER,
    )

    assert noted(shop, 1) == "1"


def test_mods_noted_by_hand_stay_when_the_readings_are_revised(shop: Store) -> None:
    """Read in the morning, fitted in the afternoon: the day alone does not know."""
    scene.fit_mod(shop, 1, "2024-03-10")
    scene.run(shop, "2024-03-10", "500")
    do(shop, trials.NoteModsInForce, machine=TAG, trial=1, mods=[], reason=MORNING, opened_with="1")

    do(
        shop,
        trials.ReviseTrial,
        machine=TAG,
        trial=1,
        opened_version=2,
        day="2024-03-10",
        readings="501",
        signer=KEEPER,
    )

    assert (noted(shop, 1), reason(shop, 1)) == ("", MORNING)


def test_other_mods_than_the_days_give_need_a_reason(shop: Store) -> None:
    """It is kept with the trial and told in the journal; without one nothing is noted."""
    scene.fit_mod(shop, 1, "2024-03-10")
    scene.run(shop, "2024-03-10", "500")

    messages = refusal(shop, trials.NoteModsInForce, machine=TAG, trial=1, mods=[], opened_with="1")
    before = noted(shop, 1)
    do(shop, trials.NoteModsInForce, machine=TAG, trial=1, mods=[], reason=f"{MORNING}.", opened_with="1")

    assert messages == {"reason": "By the days of their moves it would be 1. Say why it was not so."}
    assert before == "1"
    assert (noted(shop, 1), reason(shop, 1)) == ("", f"{MORNING}.")
    assert last_words(shop) == f"Trial 1 of TM-03: mods in force: none; because: {MORNING}."


def test_a_reason_alone_explains_what_is_noted_already(shop: Store) -> None:
    """The mod was called fitted only after the trial of its day was recorded."""
    scene.run(shop, "2024-03-10", "500")
    scene.fit_mod(shop, 1, "2024-03-10")

    do(shop, trials.NoteModsInForce, machine=TAG, trial=1, mods=[], reason=MORNING)

    assert (noted(shop, 1), reason(shop, 1)) == ("", MORNING)
    assert last_words(shop) == f"Trial 1 of TM-03: because: {MORNING}."


def test_a_reason_goes_when_the_days_are_right_after_all(shop: Store) -> None:
    """Though the form still holds it."""
    scene.fit_mod(shop, 1, "2024-03-10")
    scene.run(shop, "2024-03-10", "500")
    noting = {"machine": TAG, "trial": 1, "reason": MORNING}
    do(shop, trials.NoteModsInForce, **noting, mods=[], opened_with="1")

    do(shop, trials.NoteModsInForce, **noting, mods=[1], opened_with="", opened_reason=MORNING)

    assert (noted(shop, 1), reason(shop, 1)) == ("1", "")
    assert last_words(shop) == ("Trial 1 of TM-03: mods in force: 1; the reason why they differed taken away.")


def test_another_day_takes_the_reason_away(shop: Store) -> None:
    """Its mods are noted anew, by the days."""
    scene.fit_mod(shop, 1, "2024-03-10")
    scene.run(shop, "2024-03-10", "500")
    do(shop, trials.NoteModsInForce, machine=TAG, trial=1, mods=[], reason=MORNING, opened_with="1")

    revised = {"day": "2024-04-01", "readings": "500", "signer": KEEPER, "opened_version": 2}
    do(shop, trials.ReviseTrial, machine=TAG, trial=1, **revised)

    assert (noted(shop, 1), reason(shop, 1)) == ("1", "")
    assert last_words(shop).endswith("; mods in force: 1; the reason why they differed taken away.")


def test_a_reason_given_meanwhile_is_not_overwritten_unseen(shop: Store) -> None:
    """Rule 7, where the mods are the same and only the reason is another."""
    scene.fit_mod(shop, 1, "2024-03-10")
    scene.run(shop, "2024-03-10", "500")
    do(shop, trials.NoteModsInForce, machine=TAG, trial=1, mods=[], reason=MORNING, opened_with="1")

    with pytest.raises(Stale) as stale:
        do(shop, trials.NoteModsInForce, machine=TAG, trial=1, mods=[], reason="The evening before", opened_with="")

    assert [(row.field, row.yours, row.theirs) for row in stale.value.rows if row.differs] == [
        ("reason", "The evening before", MORNING)
    ]
    assert reason(shop, 1) == MORNING


def test_mods_noted_meanwhile_are_not_overwritten_unseen(shop: Store) -> None:
    """Rule 7, for ticked boxes too."""
    scene.fit_mod(shop, 1, "2024-03-10")
    scene.run(shop, "2024-03-10", "500")

    with pytest.raises(Stale) as stale:
        do(shop, trials.NoteModsInForce, machine=TAG, trial=1, mods=[1], opened_with="")

    assert [(row.yours, row.theirs) for row in stale.value.rows if row.field == "mods in force"] == [("1", "1")]
    assert noted(shop, 1) == "1"


def test_a_mod_that_the_machine_does_not_have_cannot_be_noted(shop: Store) -> None:
    """Numbers are a machine's own."""
    scene.run(shop, "2024-03-10", "500")

    messages = refusal(shop, trials.NoteModsInForce, machine=TAG, trial=1, mods=[7])

    assert messages == {"mods": "TM-03 has no mod 7."}


def test_a_trial_changed_meanwhile_is_not_overwritten_unseen(shop: Store) -> None:
    """Rule 7: the second keeper is shown both."""
    scene.run(shop, "2024-03-10", "500")
    revised = {"machine": TAG, "trial": 1, "opened_version": 1, "day": "2024-03-10", "signer": KEEPER}
    do(shop, trials.ReviseTrial, **revised, readings="501")

    with pytest.raises(Stale) as stale:
        do(shop, trials.ReviseTrial, **revised, readings="502")

    assert [(row.yours, row.theirs) for row in stale.value.rows if row.field == "readings"] == [("502.0", "501.0")]


# ---- Lists ----


def test_lists_are_paged_the_latest_first(shop: Store) -> None:
    """Of one machine, of one procedure, and over all machines."""
    for day in ("2024-03-01", "2024-05-01", "2024-04-01"):
        scene.run(shop, day, "500")
    scene.run(shop, "2024-06-01", "no no", CRASH)
    machine = scene.machine(shop)

    with shop.reading() as session:
        timing = session.exec(select(Procedure).where(Procedure.slug == TIMING)).one()
        all_of_it = trials_of(session, machine, 1, most=3)
        second = trials_of(session, machine, 2, most=3)
        only = trials_of(session, machine, 1, timing)
        everywhere = trials_with(session, timing, 1)

    assert [line.trial.number for line in all_of_it.rows] == [4, 2, 3]
    assert ([line.trial.number for line in second.rows], second.last, second.total) == ([1], 2, 4)
    assert [2, 3, 1] == [line.trial.number for line in only.rows] == [line.trial.number for line in everywhere.rows]


def test_a_longer_list_takes_no_more_queries(shop: Store) -> None:
    """The mods of all its trials come at once."""
    scene.fit_mod(shop, 1, "2024-03-01")
    machine = scene.machine(shop)
    scene.run(shop, "2024-03-02", "500")
    ran = statements(shop.engine)
    with shop.reading() as session:
        trials_of(session, machine, 1)
    short = len(ran)
    for _ in range(5):
        scene.run(shop, "2024-03-02", "500")
    del ran[:]

    with shop.reading() as session:
        trials_of(session, machine, 1)

    assert short == len(ran)


def test_a_trial_knows_the_one_before_it(shop: Store) -> None:
    """By day and then by number, of the same procedure."""
    for day, procedure in (
        ("2024-03-01", TIMING),
        ("2024-05-01", TIMING),
        ("2024-04-30", CRASH),
        ("2024-05-01", TIMING),
    ):
        scene.run(shop, day, "1", procedure)

    with shop.reading() as session:
        by_number = {trial.number: trial for trial in session.exec(select(Trial))}
        found = {number: trial_before(session, trial) for number, trial in by_number.items()}

    assert {number: trial and trial.number for number, trial in found.items()} == {1: None, 2: 1, 3: None, 4: 2}


def test_choices_name_trials_by_procedure_and_day(shop: Store) -> None:
    """The latest ones where there are too many, sorted for a person."""
    for day in ("2024-03-01", "2024-05-01", "2024-04-01"):
        scene.run(shop, day, "1")
    scene.run(shop, "2024-06-01", "no", CRASH)

    with shop.reading() as session:
        names = trial_names(session, scene.machine(shop), most=3)

    assert [name.number for name in names] == [4, 3, 2]


def test_instruments_used_before_are_offered_once(shop: Store) -> None:
    """Typing the same name twice in two ways helps nobody."""
    for instrument in ("stop-watch", "", "counter", "stop-watch"):
        scene.run(shop, "2024-03-01", "1", instrument=instrument)

    with shop.reading() as session:
        assert list(instruments_of(session, scene.machine(shop))) == ["counter", "stop-watch"]


# ---- What differs between two days ----


def test_positions_that_hold_another_part_are_told_with_their_mod(shop: Store) -> None:
    """The original before, the substitute after, whichever way round one looks."""
    scene.fit_resistor(shop, 1, "2024-03-10")
    machine = scene.machine(shop)
    early, late = date(2024, 3, 1), date(2024, 4, 1)

    with shop.reading() as session:
        forth = differences(session, machine, early, late).rows
        back = differences(session, machine, late, early).rows

    assert [told(change) for change in forth] == [("R2", "360 Ω ±5 %", "330 Ω ±5 %", 1)]
    assert [told(change) for change in back] == [("R2", "330 Ω ±5 %", "360 Ω ±5 %", 1)]


def test_an_emptied_position_differs_too(shop: Store) -> None:
    """Nothing is not the same as a part."""
    machine = scene.machine(shop)
    scene.take_out(shop, 1, "2024-03-10")

    with shop.reading() as session:
        changes = differences(session, machine, date(2024, 3, 1), date(2024, 4, 1)).rows

    assert [told(change) for change in changes] == [("R2", "360 Ω ±5 %", "", 1)]


def test_days_between_which_nothing_moved_do_not_differ(shop: Store) -> None:
    """Both before the mod, or both after it."""
    scene.fit_resistor(shop, 1, "2024-03-10")
    machine = scene.machine(shop)

    with shop.reading() as session:
        assert differences(session, machine, date(2024, 3, 1), date(2024, 3, 9)).rows == []
        assert differences(session, machine, date(2024, 3, 10), date(2024, 4, 1)).rows == []


def test_a_mod_that_never_stood_was_not_in_force(shop: Store) -> None:
    """What is only planned is not offered at a trial, and refused."""
    scene.do(shop, mods.PlanMod, machine=TAG, title="Planned", day="2024-01-01", state="planned", signer=KEEPER)
    number = scene.run(shop, "2024-03-01", "500 501")
    with shop.reading() as session:
        planned = max(mod.number for mod in session.exec(select(Mod)))
        offered = [one for one, _ in mods_offered(session, scene.machine(shop))]

    messages = refusal(
        shop, trials.NoteModsInForce, machine=TAG, trial=number, mods=[planned], reason="It was", opened_with=""
    )

    assert planned not in offered
    assert messages == {"mods": f"No step of mod {planned} was ever done, so it was not in force."}
