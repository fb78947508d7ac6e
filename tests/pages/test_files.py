"""Files as a keeper meets them: sent from the page of what they belong to, listed there, and saved; never shown."""

import hashlib
import zlib
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import unquote

import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.pages import files as pages
from server.records.commands.board_moves import MoveBoard
from server.records.commands.files import AddFile
from server.records.commands.machines import EnterMachine
from server.records.store import Store
from tests.pages.benchwork import (
    HOSTILE,
    HTMX,
    address_of,
    assert_sound,
    post,
    queries,
    set_up,
    typed_in,
    words_of,
)
from tests.pages.reading import Page
from tests.pages.walking import faults_of_record

BASE = "/machines/TM-03"
SYMPTOM = f"{BASE}/symptoms/1"
SEND = f"{BASE}/files/on/symptom/1"
FIRST = f"{BASE}/files/1"
SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
HTML = b"<!doctype html><script>alert(1)</script>"
DUMP = bytes(range(256)) * 8
BOTH_WAYS = pytest.mark.parametrize("htmx", [False, True], ids=["plain", "htmx"])
File = tuple[str, bytes]


@pytest.fixture
def store(app: FastAPI) -> Store:
    store: Store = app.state.store
    return store


@pytest.fixture(autouse=True)
def symptom(client: TestClient) -> None:
    set_up(client)
    post(client, f"{BASE}/symptoms/new", title="Stripes", seen_on="2025-01-10")


def send(
    client: TestClient,
    files: Sequence[File],
    htmx: bool = False,
    to: str = SEND,
    kind: str = "other",
    caption: str = "",
) -> Response:
    return client.post(
        to,
        data={"kind": kind, "caption": caption},
        files=[("files", (name, content, "text/html")) for name, content in files],
        headers=HTMX if htmx else {},
        follow_redirects=False,
    )


# ---- On the page of what they belong to ----


def test_a_page_without_files_says_what_can_be_kept(client: TestClient) -> None:
    page = client.get(SYMPTOM)

    assert "None yet: schematics, firmware dumps and captures can be kept here" in words_of(page)
    assert "each of at most 64 MB" in words_of(page)
    assert_sound(page)


@BOTH_WAYS
def test_a_firmware_dump_is_told_by_its_digests(client: TestClient, htmx: bool) -> None:
    """CRC-32 and SHA-1 on the page of what it belongs to and on its own."""
    answer = send(client, [("U7.bin", DUMP)], htmx, kind="firmware dump", caption="Read twice")
    assert address_of(answer) == f"{SYMPTOM}#files"

    listed, alone = client.get(SYMPTOM), client.get(FIRST)

    crc, sha = f"{zlib.crc32(DUMP):08x}", hashlib.sha1(DUMP, usedforsecurity=False).hexdigest()
    assert f"U7.bin: firmware dump, 2.05 kB. Read twice CRC-32 {crc}, SHA-1 {sha}" in words_of(listed)
    assert f"CRC-32 {crc} SHA-1 {sha}" in words_of(alone)
    assert "2,048 bytes" in words_of(alone)
    assert "It belongs to symptom 1." in words_of(alone)
    for page in (listed, alone):
        assert_sound(page)


def test_any_other_file_is_told_by_its_sha_256(client: TestClient) -> None:
    send(client, [("sheet 1.pdf", b"%PDF-1.4")], kind="schematic")

    sha = hashlib.sha256(b"%PDF-1.4").hexdigest()
    assert f"SHA-256 {sha[:12]}…" in words_of(client.get(SYMPTOM))
    assert f"SHA-256 {sha}" in words_of(client.get(FIRST))
    assert "CRC-32" not in words_of(client.get(FIRST))


def test_a_page_asks_no_more_for_many_files(client: TestClient, store: Store) -> None:
    send(client, [("1.bin", b"1")])
    with queries(store) as few:
        client.get(SYMPTOM)
    send(client, [(f"{number}.bin", b"%d" % number) for number in range(2, 9)])
    with queries(store) as more:
        assert client.get(SYMPTOM).text.count(".bin</a>") == 8

    assert len(few) == len(more)


def test_many_files_come_page_by_page(client: TestClient) -> None:
    """What was added last is seen after it was sent."""
    for start in (0, 20):
        answer = send(client, [(f"{n}.bin", b"%d" % n) for n in range(start, start + 20)])

    page, last = client.get(SYMPTOM), client.get(f"{SEND}?page=2")
    assert address_of(answer).startswith(f"{SEND}?page=2")
    assert "These are the first 24. All 40 files" in words_of(page)
    assert "40 files, in the order in which they were added." in words_of(last)
    assert [text in last.text for text in (">23.bin<", ">24.bin<", ">39.bin<")] == [False, True, True]
    for one in (page, last):
        assert_sound(one)


def test_files_of_a_board_that_moved_are_seen_where_it_is(client: TestClient, store: Store) -> None:
    """They keep their number and their address, which says where the board is now."""
    send(client, [("U7.bin", DUMP)], to=f"{BASE}/files/on/board/main-board", kind="firmware dump")
    store.carry_out(EnterMachine.read({"tag": "TM-09", "model": "Merle 40"}), "Tester")
    moved = {"machine": "TM-03", "board": "main-board", "to": "TM-09", "day": "2025-09-01", "signer": "Tester"}
    store.carry_out(MoveBoard.read(moved), "Tester")

    there, alone = client.get("/machines/TM-09/boards/main-board"), client.get(FIRST)

    assert f'href="{FIRST}"' in there.text
    assert "It belongs to Main board, which is in TM-09 now." in words_of(alone)
    assert 'href="/machines/TM-09/boards/main-board#files"' in alone.text
    assert_sound(alone)


# ---- What will not do ----


@BOTH_WAYS
def test_of_several_files_the_bad_one_is_named_and_the_others_are_kept(client: TestClient, htmx: bool) -> None:
    answer = send(client, [("1.bin", b"1"), ("empty.bin", b""), ("3.bin", b"3")], htmx, caption="Sheets")

    words = words_of(answer)
    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert "2 files were kept. This file was not: empty.bin: The file is empty." in words
    assert typed_in(answer, "caption") == "Sheets"
    assert client.get(SEND).text.count(".bin</a>") == 2
    assert_sound(answer)


def test_a_file_that_is_too_large_is_not_read(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its size is known before; the others of the form are kept."""
    monkeypatch.setattr(pages, "FILE_MOST", 1_000)
    read: list[int] = []
    whole = AddFile.read

    def noted(asked: Mapping[str, Any]) -> AddFile:
        read.append(len(asked["content"]))
        return whole(asked)

    monkeypatch.setattr(AddFile, "read", noted)

    answer = send(client, [("large.bin", bytes(1_001)), ("small.bin", bytes(1_000))])

    assert "One file was kept. This file was not: large.bin: It is larger than 64 MB" in words_of(answer)
    assert read == [1_000]


@pytest.mark.parametrize("what", ["files", "photographs"])
def test_more_than_a_gigabyte_is_refused_before_it_is_read(client: TestClient, what: str) -> None:
    """By what the request says of itself, with the most that is taken in words; nothing of it is waited for."""
    announced = {"content-length": "1100000000", "content-type": "multipart/form-data; boundary=x"}

    answer = client.post(f"{BASE}/{what}/on/symptom/1", content=iter([b"--x\r\n"]), headers=announced)

    assert answer.status_code == 413
    assert "That is larger than 1000 MB, the most that is taken. Nothing was stored." in words_of(answer)
    assert faults_of_record(client) == []


@BOTH_WAYS
def test_a_form_that_will_not_do_comes_back_as_it_was_typed(client: TestClient, htmx: bool) -> None:
    answer = post(client, SEND, htmx, kind="capture", caption=HOSTILE)
    assert answer.status_code == 422
    assert "Choose a file, or several." in answer.text
    assert typed_in(answer, "caption") == HOSTILE
    assert_sound(answer)

    answer = send(client, [("1.bin", b"1")], htmx, kind="firmware")
    assert answer.status_code == 422
    assert "Choose one of the words offered" in answer.text
    assert "not:" not in words_of(answer)
    assert ".bin</a>" not in client.get(SEND).text


def test_a_form_that_is_sent_twice_adds_nothing(client: TestClient) -> None:
    send(client, [("1.bin", b"1")])

    assert "again.bin: This file is file 1 already." in words_of(send(client, [("again.bin", b"1")]))


@pytest.mark.parametrize("on", ["symptom/9", "symptom/x", "step/1", "lamp/1", "lamp", "machine/1", "board", "part/%00"])
def test_files_of_what_is_not_there_are_not_taken(client: TestClient, on: str) -> None:
    to = f"{BASE}/files/on/{on}"

    assert send(client, [("1.bin", b"1")], to=to).status_code == 404
    assert client.get(to).status_code == 404


# ---- A file's own page, and saving it ----


@pytest.mark.parametrize(
    ("name", "content", "saved"),
    [
        ("drawing.svg", SVG, "drawing.svg"),
        ("page.html", HTML, "page.html"),
        ("sheet.pdf", b"%PDF-1.4", "sheet.pdf"),
        ("shot.jpg", b"\xff\xd8\xff", "shot.jpg"),
        ("../../etc/passwd", b"root", "passwd"),
        ("exe.\u202egpj", b"MZ", "exe.gpj"),
        ("日本.bin", b"1", "日本.bin"),
    ],
)
def test_a_file_is_saved_and_never_shown(client: TestClient, name: str, content: bytes, saved: str) -> None:
    """Byte for byte, as an attachment of no kind that a browser opens; no page has anything of it."""
    send(client, [(name, content)])

    answer = client.get(f"{FIRST}/file")

    assert answer.content == content
    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["content-disposition"].startswith('attachment; filename="')
    assert unquote(answer.headers["content-disposition"].split("filename*=UTF-8''")[1]) == saved
    for address in (SYMPTOM, SEND, FIRST, f"{FIRST}/edit"):
        page = client.get(address)
        assert "<script>alert" not in page.text
        document = Page(page.text, address).document
        assert document.xpath("//img | //iframe | //object | //embed | //main//svg[.//script]") == []
        assert_sound(page)


def test_hostile_words_stay_words(client: TestClient) -> None:
    send(client, [("<img src=x onerror=alert(1)>.bin", b"1")], caption=HOSTILE)

    for address in (SYMPTOM, SEND, FIRST, f"{FIRST}/edit"):
        page = client.get(address)
        assert "<script>alert" not in page.text
        assert "<img src=x" not in page.text
        assert_sound(page)
    assert faults_of_record(client) == []


@pytest.mark.parametrize("rest", ["", "/edit", "/file"])
@pytest.mark.parametrize("number", ["2", "0", "99999999999999999999", "x"])
def test_a_file_that_is_not_there_is_not_found(client: TestClient, number: str, rest: str) -> None:
    send(client, [("1.bin", b"1")])

    assert client.get(f"{BASE}/files/{number}{rest}").status_code == 404


REVISED = {"kind": "capture", "caption": "Rail", "opened_version": "1"}


@BOTH_WAYS
def test_kind_and_caption_are_revised(client: TestClient, htmx: bool) -> None:
    send(client, [("1.bin", b"1")])
    form = client.get(f"{FIRST}/edit")
    assert typed_in(form, "caption") == ""
    assert_sound(form)

    assert address_of(post(client, f"{FIRST}/edit", htmx, **REVISED)) == FIRST

    page = client.get(FIRST)
    assert "<h1>Rail</h1>" in page.text
    assert "File 1 of TM-03, a capture." in words_of(page)
    stale = post(client, f"{FIRST}/edit", htmx, **{**REVISED, "caption": "Mine"})
    assert stale.status_code == 409
    assert "Mine Rail" in words_of(stale)
    assert typed_in(stale, "opened_version") == "2"
    assert_sound(stale)
    refused = post(client, f"{FIRST}/edit", htmx, **{**REVISED, "kind": "x", "caption": HOSTILE})
    assert refused.status_code == 422
    assert typed_in(refused, "caption") == HOSTILE
    assert_sound(refused)


@BOTH_WAYS
def test_what_was_added_by_mistake_is_taken_off(client: TestClient, htmx: bool) -> None:
    """From the form that revises it; of a page that is old, both versions are shown first."""
    send(client, [("U7.bin", DUMP)])
    edit = client.get(f"{FIRST}/edit")
    assert "Take file 1 off the record" in words_of(edit)
    headers = HTMX if htmx else {}

    stale = client.post(f"{FIRST}/drop", data={"opened_version": "7"}, headers=headers, follow_redirects=False)
    done = client.post(f"{FIRST}/drop", data={"opened_version": "1"}, headers=headers, follow_redirects=False)

    assert stale.status_code == 409
    assert done.status_code == (204 if htmx else 303)
    assert client.get(FIRST).status_code == 404
    assert "U7.bin" not in words_of(client.get(SYMPTOM))
    assert client.post(f"{FIRST}/drop", data={"opened_version": "1"}).status_code == 404
