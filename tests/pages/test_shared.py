"""What a share link opens: the mod sheet as the record is now, and nothing that is private."""

import io
import json
import re
from collections.abc import Iterator

import pikepdf
import pytest
from fastapi import FastAPI
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from sqlalchemy import update
from starlette.testclient import TestClient

from server.app import create_app
from server.documents.mod_sheet import SheetData
from server.documents.record import PRIVATE_FIELDS, machine_record
from server.pages import shared
from server.pages.shared import shared_choice
from server.records.commands.machines import ReviseMachine
from server.records.commands.parts import EnterPart
from server.records.questions.addresses import find_machine
from server.records.tables import JournalEntry, ShareLink
from server.settings import Settings
from tests.conftest import TODAY
from tests.documents.invented import HOSTILE, TAG, Bench, hostile, tell
from tests.pages.benchwork import assert_sound, queries, words_of
from tests.pages.shared_scene import IN_A_MONTH, SENTINELS, TO_WHOM, share, table, tell_in_private
from tests.records.conftest import behind


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> FastAPI:
    """The machine and its story; tests that change more than its links have a record of their own."""
    folder = tmp_path_factory.mktemp("shared")
    settings = Settings(data=folder, keeper="K", allowed_hosts=["testserver"], log_level="error", database_url="")
    return create_app(settings)


@pytest.fixture(scope="module")
def told(house: FastAPI) -> Bench:
    return tell_in_private(house.state.store)


@pytest.fixture(scope="module")
def reader(house: FastAPI) -> Iterator[TestClient]:
    with TestClient(house) as client:
        yield client


def said_in(pdf: bytes) -> str:
    """What a PDF says on its pages, and in the record inside."""
    opened = PdfReader(io.BytesIO(pdf))
    (record,) = opened.attachments[f"{TAG}-record.json"]
    return "\n".join([*(page.extract_text() for page in opened.pages), record.decode()])


# ---- What it shows ----


def test_the_sheet_stands_there_as_the_record_is_now(client: TestClient, app: FastAPI) -> None:
    """What is written after the link was made is on it too."""
    bench = tell(app.state.store)
    address = share(bench)
    before = client.get(address)
    bench.do(ReviseMachine, model="Plover 81", opened_version=1)
    after = client.get(address)

    for expected in (
        "1. Brighter picture In force, signed Ada Wren.",
        "Fitted 330 Ω ±1 % resistor (new) at R7 on Main board",
        "legs a little short",
        "Put 470 µF ±20 % capacitor back at C3 on Main board.",
        f"You look at the keeper’s record as it is today, {TODAY}.",
        f"Whoever has this link can open it, until the end of {IN_A_MONTH}.",
    ):
        assert expected in words_of(before)
    assert ("Plover 80" in words_of(before), "Plover 81" in words_of(after)) == (True, True)
    assert_sound(before)


def test_it_says_the_same_as_the_keeper_s_own_sheet(reader: TestClient, told: Bench) -> None:
    """From the machine's facts to where the sheet comes from."""
    shared = reader.get(share(told))
    own = reader.get(f"/machines/{TAG}/sheet?photographs=without")

    facts = '<dl class="facts">'
    mine = own.text[own.text.index(facts) : own.text.index('<section id="sign"')].rpartition("</ol>")[0]
    theirs = shared.text[shared.text.index(facts) :].rpartition("</ol>")[0]
    assert "Brighter picture" in mine
    assert theirs == mine


def test_a_short_one_is_short(reader: TestClient, told: Bench) -> None:
    """On the page and on paper."""
    address = share(told, length="short")
    page, pdf = reader.get(address), reader.get(f"{address}/sheet.pdf")

    assert "This is the short mod sheet." in words_of(page)
    assert "What the sums say" not in words_of(page)
    with pikepdf.open(io.BytesIO(pdf.content)) as opened:
        assert len(opened.pages) == 1


def test_its_pdf_is_the_same_sheet(reader: TestClient, told: Bench) -> None:
    """With the record inside, whose digest the page bears, under a name that any system takes."""
    address = share(told)
    page, pdf = reader.get(address), reader.get(f"{address}/sheet.pdf")

    assert f'href="{address}/sheet.pdf"' in page.text
    assert pdf.headers["content-type"] == "application/pdf"
    assert pdf.headers["content-disposition"] == f'inline; filename="{TAG}-mod-sheet-{TODAY}.pdf"'
    assert "Brighter picture" in said_in(pdf.content)
    (digest,) = set(re.findall(r"[0-9a-f]{64}", page.text))
    assert re.sub(r"\s", "", digest) in re.sub(r"\s", "", said_in(pdf.content))


def test_a_pdf_is_drawn_once_for_what_stands_on_it(
    client: TestClient, app: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However often it is asked for; anew once the record says something else. Who asks for its headers gets those."""
    bench = tell(app.state.store)
    address, drawn = f"{share(bench)}/sheet.pdf", list[str]()

    def draw(sheet: SheetData, _record: object) -> bytes:
        drawn.append(sheet.named)
        return b"%PDF"

    monkeypatch.setattr(shared, "mod_sheet_pdf", draw)

    head = client.head(address)
    assert (head.status_code, head.headers["content-type"], drawn) == (200, "application/pdf", [])
    assert [client.get(address).content for _ in range(3)] == [b"%PDF"] * 3
    assert len(drawn) == 1
    bench.do(EnterPart, board="main-board", designator="R77", kind="resistor", value="1 kΩ", origin="new")
    client.get(address)
    assert len(drawn) == 2


def test_hostile_text_is_shown_and_never_obeyed(client: TestClient, app: FastAPI) -> None:
    page = client.get(share(hostile(app.state.store)))

    assert "<script>alert" not in page.text
    assert " ".join(HOSTILE.replace("\u202e", "").split()) in words_of(page)
    assert_sound(page)


def test_a_machine_that_was_tagged_anew_is_still_served(client: TestClient, app: FastAPI) -> None:
    """Under its new tag: a link is the machine's, and not the tag's."""
    bench = tell(app.state.store)
    address = share(bench)
    machines = table("machine")
    behind(bench.store, update(machines).where(machines.c.tag == TAG).values(tag="NEW-1", tag_key="new-1"))
    page, pdf = client.get(address), client.get(f"{address}/sheet.pdf")

    assert (page.status_code, pdf.status_code) == (200, 200)
    assert "Mod sheet of NEW-1" in page.text
    assert "NEW-1" in pdf.headers["content-disposition"]


def test_where_no_keeper_is_noted_it_names_who_made_the_link(client: TestClient, app: FastAPI) -> None:
    """And never the name by which this server signs for whoever asks."""
    bench = tell(app.state.store)
    address = share(bench)
    behind(bench.store, update(table("machine")).values(keeper=""))
    page = client.get(address)

    assert "Keeper: Ada Wren" in words_of(page)
    assert app.state.settings.keeper == "Test keeper"
    assert "Test keeper" not in page.text


# ---- Nothing private ----


def test_every_private_field_has_a_word_to_look_for(told: Bench) -> None:
    """A field that becomes private later joins them; each word does stand in the record that holds them all."""
    with told.store.reading() as session:
        whole = json.dumps(machine_record(session, find_machine(session, TAG), private=True))

    assert {name for names in PRIVATE_FIELDS.values() for name in names} == SENTINELS.keys()
    assert [name for name, word in SENTINELS.items() if word not in whole] == []


ASKED = ["", "private=yes", "chosen=yes&private=yes&length=full", "length=full&paper=Letter&private=yes&mods=1"]


@pytest.mark.parametrize("length", ["full", "short"])
@pytest.mark.parametrize("asked", ASKED)
def test_nothing_private_is_on_it_whatever_is_asked(reader: TestClient, told: Bench, length: str, asked: str) -> None:
    """Neither on the page, nor in the PDF and the record in that; nor whom the link was made for."""
    address = share(told, length=length)
    page, pdf = reader.get(f"{address}?{asked}"), reader.get(f"{address}/sheet.pdf?{asked}")

    said = words_of(page) + page.text + said_in(pdf.content)
    assert [word for word in (*SENTINELS.values(), TO_WHOM) if word in said] == []
    assert page.text == reader.get(address).text
    assert "Not to be handed on" not in said


# Letters that stand nowhere else in the record.
WORDS = st.text(alphabet="жщъэюяђћ", min_size=3, max_size=20)
COLUMNS = [
    ("machine", "acquired_from"),
    ("machine", "price"),
    ("storage", "place"),
    ("loan", "to_whom"),
    ("loan", "note"),
    ("share_link", "to_whom"),
]


@settings(max_examples=25)
@given(word=WORDS)
def test_no_word_of_a_private_column_comes_out(reader: TestClient, told: Bench, word: str) -> None:
    """Whatever was typed into them."""
    address = share(told)
    behind(told.store, *(update(table(name)).values({column: word}) for name, column in COLUMNS))
    own = reader.get(f"/machines/{TAG}/sheet?private=yes")
    shared = reader.get(f"{address}?private=yes")
    behind(told.store, *(update(table(name)).values({column: ""}) for name, column in COLUMNS))

    assert word in own.text
    assert shared.status_code == 200
    assert word not in shared.text


@pytest.mark.parametrize("length", ["full", "short"])
def test_what_is_shared_is_chosen_by_the_link_alone(length: str) -> None:
    """Every mod, nothing private, and no photographs, which have no address under a token yet."""
    link = ShareLink(machine_id=1, number=1, digest="0" * 64, to_whom=TO_WHOM, length=length, made_on=TODAY)
    choice = shared_choice(link)

    assert (choice.length, choice.chosen, choice.private, choice.photographs) == (length, "", "", "without")


def test_no_photograph_is_shown_for_now(reader: TestClient, told: Bench) -> None:
    """Though the machine has some."""
    address = share(told)
    page = reader.get(address)

    assert 'href="/machines/PL-01/photographs/' in reader.get("/machines/PL-01").text
    assert not re.search(r"<(img|picture|image)\b", page.text)
    assert "photographs/" not in page.text
    assert reader.get(f"{address}/photographs/1").status_code == 404


def test_an_address_does_not_make_it_tell_of_the_journal(reader: TestClient, told: Bench) -> None:
    """The keeper's own pages say what was just written; a number in the address of this one says nothing."""
    address = share(told)
    with told.store.reading() as session:
        said = session.get_one(JournalEntry, 3).words
    own = reader.get("/?written=3")
    pages = [reader.get(f"{one}?written=3") for one in (address, "/shared/none", "/shared")]

    assert said in words_of(own)
    assert [said in words_of(page) for page in pages] == [False] * 3


# ---- Questions ----


def test_looking_writes_nothing(reader: TestClient, told: Bench) -> None:
    address = share(told)
    with queries(told.store) as run:
        reader.get(address)
        reader.get(f"{address}/sheet.pdf")

    assert run
    assert [one for one in run if not one.startswith(("SELECT", "BEGIN"))] == []


def test_it_asks_as_many_questions_for_many_parts_and_links_as_for_few(client: TestClient, app: FastAPI) -> None:
    bench = tell(app.state.store)
    address = share(bench)
    with queries(bench.store) as few:
        client.get(address)
    for number in range(20):
        bench.do(EnterPart, board="main-board", designator=f"R{100 + number}", kind="resistor", origin="original")
        share(bench)
    with queries(bench.store) as many:
        client.get(address)

    assert len(few) == len(many)
