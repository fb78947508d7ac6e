"""Share links: made with a digest alone, open through their last day, and withdrawn for good."""

from datetime import date, timedelta
from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import delete, update
from sqlmodel import SQLModel

from server.records.commands.board_moves import MoveBoard
from server.records.commands.machines import EnterMachine
from server.records.commands.share_links import MakeShareLink, WithdrawShareLink
from server.records.errors import NotFound
from server.records.questions.addresses import find_machine
from server.records.questions.share_links import opened_by, share_links, state_on
from server.records.store import Done
from server.records.tables import ShareLink
from tests.conftest import TODAY
from tests.records.conftest import KEEPER, MAIN, TAG, Bench, behind

TO_WHOM = "Ida Quern, buyer"
OTHER = "TM-09"
NEVER = {"lasts": "never"}


def digest(name: str = "first") -> str:
    """A digest of its own for each name."""
    return sha256(name.encode()).hexdigest()


def make(bench: Bench, name: str = "first", **typed: object) -> Done:
    usual = {"to_whom": TO_WHOM, "digest": digest(name), "expires_on": TODAY + timedelta(30)}
    return bench.do(MakeShareLink, **usual | typed)


def opens(bench: Bench, day: date = TODAY, name: str = "first") -> str | None:
    """The tag of the machine that a link opens on a day."""
    with bench.store.reading() as session:
        found = opened_by(session, digest(name), day)
        return found[1].tag if found else None


def test_a_link_is_kept_by_its_digest(bench: Bench) -> None:
    """One row, one entry; whom it was given to is in no sentence, for sentences go along with a machine."""
    done = make(bench, length="short")

    link = bench.row(ShareLink, done.key)
    assert (link.number, link.digest, link.to_whom, link.length) == (1, digest(), TO_WHOM, "short")
    assert (link.made_on, link.expires_on, link.created_by) == (TODAY, TODAY + timedelta(30), KEEPER)
    assert (link.withdrawn_on, link.withdrawn_by) == (None, "")
    entry = bench.last_entry()
    said = f"A share link was made for {TAG}: link 1, its short mod sheet, open until the end of {link.expires_on}."
    assert (entry.act, entry.words) == ("make share link", said)
    assert entry.machine is not None
    assert opens(bench) == TAG
    assert bench.faults() == []


@pytest.mark.parametrize(("days", "tag"), [(-1, TAG), (0, TAG), (6, TAG), (7, TAG), (8, None), (4000, None)])
def test_a_link_opens_its_sheet_through_its_last_day(bench: Bench, days: int, tag: str | None) -> None:
    make(bench, expires_on=str(TODAY + timedelta(7)))

    assert opens(bench, TODAY + timedelta(days)) == tag


def test_a_link_may_be_for_today_alone(bench: Bench) -> None:
    make(bench, expires_on=str(TODAY))

    assert opens(bench) == TAG
    assert opens(bench, TODAY + timedelta(1)) is None


def test_a_link_without_a_last_day_has_to_be_chosen(bench: Bench) -> None:
    """That a day was left out is no choice; where none is wanted, the one in the field does not count."""
    refused = bench.refuse(MakeShareLink, to_whom=TO_WHOM, digest=digest(), expires_on="")
    make(bench, **NEVER)

    assert refused == {"expires_on": "Say until which day it opens the sheet, or choose that it has no last day."}
    assert bench.rows(ShareLink)[0].expires_on is None
    assert bench.last_entry().words.endswith("open until it is withdrawn.")
    assert opens(bench, date(2999, 1, 1)) == TAG


def test_a_last_day_that_is_over_is_refused(bench: Bench) -> None:
    yesterday = TODAY - timedelta(1)
    refused = bench.refuse(MakeShareLink, to_whom=TO_WHOM, digest=digest(), expires_on=str(yesterday))

    assert refused == {"expires_on": f"{yesterday} is over. The first day that will do is {TODAY}."}


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"to_whom": " "}, "to_whom"),
        ({"length": "endless"}, "length"),
        ({"lasts": "forever"}, "lasts"),
        ({"expires_on": "soon"}, "expires_on"),
        ({"expires_on": "2999-02-30"}, "expires_on"),
        ({"digest": "token"}, "digest"),
        ({"digest": "g" * 64}, "digest"),
        ({"digest": "A" * 64}, "digest"),
        ({"token": "token"}, "token"),
    ],
)
def test_what_is_no_link_is_refused(bench: Bench, typed: dict[str, str], field: str) -> None:
    """A token among the rest: a command has no place for one."""
    usual = {"to_whom": TO_WHOM, "digest": digest(), "lasts": "day", "expires_on": str(TODAY)}

    assert list(bench.refuse(MakeShareLink, **usual | typed)) == [field]


def test_one_digest_opens_one_sheet(bench: Bench) -> None:
    bench.do(EnterMachine, tag=OTHER, model="Merle 40")
    make(bench)

    bench.refuse(MakeShareLink, machine=OTHER, to_whom=TO_WHOM, digest=digest(), **NEVER)
    assert opens(bench) == TAG


def test_a_withdrawn_link_opens_nothing_and_stays_on_the_list(bench: Bench) -> None:
    """Nor on any day before; the others go on."""
    make(bench, **NEVER)
    make(bench, "another")
    bench.do(WithdrawShareLink, number=1)

    link = bench.rows(ShareLink)[0]
    assert (link.withdrawn_on, link.withdrawn_by) == (TODAY, KEEPER)
    assert bench.last_entry().words == f"Share link 1 of {TAG} was withdrawn."
    assert opens(bench) is None
    assert opens(bench, TODAY - timedelta(1)) is None
    assert opens(bench, name="another") == TAG
    assert bench.faults() == []


def test_the_second_to_withdraw_a_link_is_told_who_was_first(bench: Bench) -> None:
    make(bench)
    bench.do(WithdrawShareLink, number=1)
    refused = bench.refuse(WithdrawShareLink, number=1)

    assert refused == {"": f"Link 1 was withdrawn on {TODAY} already, by {KEEPER}."}


def test_a_link_that_is_none_cannot_be_withdrawn(bench: Bench) -> None:
    """Neither can another machine's, by its number here."""
    bench.do(EnterMachine, tag=OTHER, model="Merle 40")
    make(bench)

    for machine, number in ((OTHER, 1), (TAG, 2), (TAG, 0), (TAG, 2**40)):
        with pytest.raises(NotFound, match="There is no share link"):
            bench.do(WithdrawShareLink, machine=machine, number=number)
    assert opens(bench) == TAG


def test_links_are_numbered_in_their_machine_and_listed_the_latest_first(bench: Bench) -> None:
    bench.do(EnterMachine, tag=OTHER, model="Merle 40")
    for number in range(52):
        make(bench, str(number), to_whom=f"Reader {number + 1}")
    make(bench, "other", machine=OTHER)
    bench.do(WithdrawShareLink, number=52)

    with bench.store.reading() as session:
        first, second = (share_links(session, find_machine(session, TAG), number, TODAY) for number in (1, 2))
        others = share_links(session, find_machine(session, OTHER), 1, TODAY)
    assert [line.link.number for line in first.rows] == list(range(52, 2, -1))
    assert [line.link.to_whom for line in second.rows] == ["Reader 2", "Reader 1"]
    assert [line.state for line in first.rows[:2]] == ["withdrawn", "open"]
    assert (first.last, first.total, [line.link.number for line in others.rows]) == (2, 52, [1])


DAYS = st.dates(date(2026, 1, 1), date(2026, 12, 31))


@given(last=st.none() | DAYS, withdrawn=st.none() | DAYS, day=DAYS)
def test_a_link_is_open_on_a_day_or_says_why_not(last: date | None, withdrawn: date | None, day: date) -> None:
    """Open through its last day unless it was withdrawn, which comes first."""
    link = ShareLink(
        machine_id=1,
        number=1,
        digest=digest(),
        to_whom=TO_WHOM,
        length="full",
        made_on=TODAY,
        expires_on=last,
        withdrawn_on=withdrawn,
    )
    state = state_on(link, day)

    assert (state == "withdrawn") == (withdrawn is not None)
    assert (state == "open") == (withdrawn is None and (last is None or day <= last))


# ---- The record stays whole ----


def test_a_link_follows_its_machine(bench: Bench) -> None:
    """Under another tag, and whatever moves out of it."""
    bench.do(EnterMachine, tag=OTHER, model="Merle 40")
    make(bench)
    bench.do(MoveBoard, board=MAIN, to=OTHER, day="2025-03-02", signer=KEEPER)
    machines = SQLModel.metadata.tables["machine"]
    behind(bench.store, update(machines).where(machines.c.tag == TAG).values(tag="NEW-1", tag_key="new-1"))

    assert opens(bench) == "NEW-1"


def test_a_link_that_was_changed_or_slipped_in_behind_the_journal_is_named(bench: Bench) -> None:
    """So nobody opens a sheet again, or for longer, without its being seen."""
    make(bench)
    make(bench, "another")
    bench.do(WithdrawShareLink, number=1)
    links = SQLModel.metadata.tables["share_link"]
    assert bench.faults() == []

    behind(bench.store, update(links).where(links.c.number == 1).values(withdrawn_on=None))
    behind(bench.store, delete(links).where(links.c.number == 2))
    faults = bench.faults()
    assert "share_link 1 differs from what the journal says of it: withdrawn_on." in faults
    assert any(said.startswith("share_link ") and said.endswith("missing from the record.") for said in faults)
