"""Photographs as a keeper meets them: sent from a symptom's page, seen there, looked at by themselves, and fetched."""

import shutil
from collections.abc import Sequence
from io import BytesIO
from urllib.parse import unquote

import pytest
from fastapi import FastAPI
from httpx2 import Response
from PIL import Image
from starlette.testclient import TestClient

from server.pages.file_names import as_attachment, name_alone, with_ending
from server.records.files import DERIVED
from server.records.store import Store
from tests.pages.benchwork import (
    HOSTILE,
    HTMX,
    address_of,
    assert_sound,
    message_beside,
    post,
    queries,
    set_up,
    typed_in,
    words_of,
)
from tests.pages.reading import Page
from tests.pages.reading import words_of as words_in
from tests.pages.walking import faults_of_record
from tests.records.photographs import SECRETS, drawing, heic, jpeg, png, webp, written

BASE = "/machines/TM-03"
SYMPTOM = f"{BASE}/symptoms/1"
SEND = f"{BASE}/photographs/on/symptom/1"
FIRST = f"{BASE}/photographs/1"
SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
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


def send(client: TestClient, files: Sequence[File], htmx: bool = False, to: str = SEND, caption: str = "") -> Response:
    return client.post(
        to,
        data={"caption": caption},
        files=[("photographs", (name, content, "image/jpeg")) for name, content in files],
        headers=HTMX if htmx else {},
        follow_redirects=False,
    )


def images(page: Response) -> list[dict[str, str]]:
    return [dict(one.attrib) for one in Page(page.text, "/").document.iter("img")]


# ---- On the page of what they show ----


def test_a_page_without_photographs_says_how_to_add_one(client: TestClient) -> None:
    """On a telephone the field offers the camera; several files go at once; the place is told to be taken out."""
    page = client.get(SYMPTOM)

    picker, camera, _ = Page(page.text, SYMPTOM).document.xpath("//input[@type='file']")
    assert (picker.get("accept"), picker.get("multiple"), picker.get("capture")) == ("image/*", "multiple", None)
    assert (camera.get("accept"), camera.get("multiple"), camera.get("capture")) == ("image/*", None, "environment")
    assert "None yet." in words_of(page)
    assert "Where a picture was taken and with which camera is taken out of the file" in words_of(page)
    assert_sound(page)


@BOTH_WAYS
def test_a_photograph_is_added_and_seen_with_its_caption(client: TestClient, htmx: bool) -> None:
    """It leads to its own page; its place in the page is known before it has come."""
    answer = send(client, [("shot.jpg", jpeg(6))], htmx, caption="Stripes, cold")
    assert address_of(answer) == f"{SYMPTOM}#photographs"

    page = client.get(SYMPTOM)

    (image,) = images(page)
    assert (image["alt"], image["width"], image["height"]) == ("Stripes, cold", "80", "120")
    assert f'<a href="{FIRST}"><img' in page.text
    assert "Stripes, cold 2025-03-14" in words_of(page)
    assert_sound(page)


@pytest.mark.parametrize(
    ("taken", "alt"),
    [("2025:03:14 10:20:30", "Photograph 1 of symptom 1, 2025-03-14"), ("", "Photograph 1 of symptom 1")],
)
def test_a_photograph_without_a_caption_has_words_all_the_same(client: TestClient, taken: str, alt: str) -> None:
    send(client, [("shot.jpg", jpeg(taken=taken))])

    assert [one["alt"] for one in images(client.get(SYMPTOM))] == [alt]


def test_what_was_written_is_said_on_the_page_that_follows(client: TestClient) -> None:
    page = client.get(send(client, [("shot.jpg", jpeg())]).headers["location"])

    assert "Added photograph 1 of TM-03, to symptom 1." in words_of(page)


def test_each_file_is_an_act_of_its_own(client: TestClient) -> None:
    """In their order, each with the caption, each in the journal."""
    answer = send(client, [("1.jpg", jpeg()), ("2.png", png()), ("3.webp", webp())], caption="Stripes")
    assert answer.status_code == 303

    assert [one["alt"] for one in images(client.get(SYMPTOM))] == ["Stripes"] * 3
    journal = words_of(client.get("/journal"))
    assert all(f"Added photograph {number} of TM-03" in journal for number in (1, 2, 3))


def test_a_page_asks_no_more_for_many_photographs(client: TestClient, store: Store) -> None:
    send(client, [("1.jpg", jpeg())])
    with queries(store) as few:
        client.get(SYMPTOM)
    send(client, [(f"{number}.jpg", jpeg(taken=f"2025:03:{number:02} 10:00:00")) for number in range(2, 8)])
    with queries(store) as more:
        assert len(images(client.get(SYMPTOM))) == 7

    assert len(few) == len(more)


@pytest.fixture
def many(client: TestClient) -> str:
    """Twenty-six photographs, the last six sent later than the others; and where that led."""
    shots = [(f"{n}.jpg", jpeg(taken=f"2025:03:{n:02} 10:00:00")) for n in range(1, 27)]
    send(client, shots[:20], caption="Early")
    location: str = send(client, shots[20:], caption="Late").headers["location"]
    return location


def test_a_page_shows_the_first_of_many_and_leads_to_all(client: TestClient, many: str) -> None:
    """Twenty-four at a time; what was added last is seen after it was sent."""
    page, first, last = client.get(SYMPTOM), client.get(SEND), client.get(f"{SEND}?page=2")

    assert "These are the first 24. All 26 photographs" in words_of(page)
    assert f'href="{SEND}"' in page.text
    assert [len(images(one)) for one in (page, first, last)] == [24, 24, 2]
    assert "26 photographs, in the order in which they were added." in words_of(first)
    assert "Page 1 of 2" in words_of(first)
    assert [one["alt"] for one in images(last)] == ["Late"] * 2
    assert many.startswith(f"{SEND}?page=2&written=")
    assert f'href="{SYMPTOM}#photographs"' in last.text
    for one in (page, first, last):
        assert_sound(one)


@pytest.mark.usefixtures("many")
def test_an_answer_shows_the_last_of_many(client: TestClient) -> None:
    """With the way to those before."""
    answer = send(client, [("27.png", png()), ("evil.jpg", SVG)])

    assert len(images(answer)) == 3
    assert f'href="{SEND}?page=1"' in answer.text
    assert_sound(answer)


def test_an_album_without_photographs_has_the_form(client: TestClient) -> None:
    album = client.get(SEND)

    assert "None yet." in words_of(album)
    assert Page(album.text, SEND).document.xpath("//input[@type='file']")
    assert_sound(album)


def test_the_keyboard_goes_through_the_section_in_reading_order(client: TestClient) -> None:
    """Each photograph once, then what unfolds the form, then its fields; nothing jumps the order."""
    send(client, [("1.jpg", jpeg()), ("2.png", png())])
    document = Page(client.get(SYMPTOM).text, SYMPTOM).document

    stops = document.xpath(
        "//section[@aria-labelledby='photographs']//*[self::a or self::summary or self::input or self::button]"
    )

    assert [one.get("href") or one.get("name") or words_in(one) for one in stops] == [
        FIRST,
        f"{BASE}/photographs/2",
        "Add photographs",
        "photographs",
        "camera",
        "caption",
        "Add the photographs",
    ]
    assert document.xpath("//section//*[@tabindex]") == []


# ---- What will not do ----


@BOTH_WAYS
def test_of_several_files_the_bad_one_is_named_and_the_others_are_kept(client: TestClient, htmx: bool) -> None:
    """With its reason; it is said that the others stay."""
    answer = send(client, [("1.jpg", jpeg()), ("evil.jpg", SVG), ("3.png", png())], htmx, caption="Stripes")

    words = words_of(answer)
    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert "2 photographs were kept. This file was not:" in words
    assert "evil.jpg: This is no photograph of a kind that can be kept" in words
    assert len(images(answer)) == 2
    assert typed_in(answer, "caption") == "Stripes"
    assert f'href="{SYMPTOM}#photographs"' in answer.text
    assert_sound(answer)


def test_of_bad_files_alone_nothing_is_kept(client: TestClient) -> None:
    large = b"\x89PNG\r\n\x1a\n" + (13).to_bytes(4) + b"IHDR" + (50_000).to_bytes(4) * 2 + b"\x08\2\0\0\0" + bytes(4)
    end = bytes(4) + b"IEND" + bytes(4)

    answer = send(client, [("a.svg", SVG), ("cut.jpg", jpeg()[:-9]), ("bomb.png", large + end)])

    words = words_of(answer)
    assert "Nothing was kept. These 3 files were not:" in words
    assert "cut.jpg: The file breaks off before the picture's end." in words
    assert "bomb.png: This is 50,000 × 50,000 pixels." in words
    assert images(client.get(SYMPTOM)) == []


def test_a_form_that_is_sent_twice_adds_nothing(client: TestClient) -> None:
    send(client, [("1.jpg", jpeg())])

    answer = send(client, [("1.jpg", jpeg())])

    assert "1.jpg: This file is photograph 1 already." in words_of(answer)
    assert len(images(client.get(SYMPTOM))) == 1


@BOTH_WAYS
def test_a_form_without_a_file_comes_back_as_it_was_typed(client: TestClient, htmx: bool) -> None:
    answer = post(client, SEND, htmx, caption=HOSTILE)

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert "Choose a file, or several." in answer.text
    assert 'aria-describedby="photo-photographs-hint photo-photographs-error"' in answer.text
    assert typed_in(answer, "caption") == HOSTILE
    assert_sound(answer)


def test_a_caption_that_will_not_do_is_said_once(client: TestClient) -> None:
    """And not beside every file."""
    answer = send(client, [("1.jpg", jpeg()), ("2.png", png())], caption="x" * 301)

    assert answer.status_code == 422
    assert words_of(answer).count("This is 301 characters long") == 2  # in the summary, and beside its field
    assert "not:" not in words_of(answer)
    assert images(client.get(SYMPTOM)) == []


@BOTH_WAYS
def test_of_too_many_files_the_first_twenty_are_kept(client: TestClient, htmx: bool) -> None:
    """And the others are named, to be sent again."""
    shots = [(f"{n}.jpg", jpeg(taken=f"2025:03:{n:02} 10:00:00")) for n in range(1, 23)]

    answer = send(client, shots, htmx, caption="Stripes")

    words = words_of(answer)
    assert answer.status_code == 422
    assert "20 photographs were kept. These 2 files were not:" in words
    for name in ("21.jpg", "22.jpg"):
        assert f"{name}: It was not looked at, because 20 are taken at once. Send it again." in words
    assert typed_in(answer, "caption") == "Stripes"
    assert len(images(answer)) == 20
    assert_sound(answer)


@pytest.mark.parametrize("on", ["symptom/9", "symptom/x", "symptom/1/2", "lamp/1", "symptom/%00"])
def test_photographs_of_what_is_not_there_are_not_taken(client: TestClient, on: str) -> None:
    to = f"{BASE}/photographs/on/{on}"

    assert send(client, [("1.jpg", jpeg())], to=to).status_code == 404
    assert client.get(to).status_code == 404


# ---- A photograph's own page ----


def test_a_photograph_has_a_page_with_what_is_known_of_it(client: TestClient) -> None:
    """As large as a screen, with the way to what it shows and to the kept file."""
    send(client, [("IMG 7.jpg", written("JPEG", drawing((2400, 1800))))], caption="Stripes, cold")

    page = client.get(FIRST)

    words, (image,) = words_of(page), images(page)
    assert (image["width"], image["height"], image["alt"]) == ("1600", "1200", "Stripes, cold")
    assert image["src"].endswith("/1600")
    assert "It shows symptom 1." in words
    assert f'href="{SYMPTOM}#photographs"' in page.text
    assert f'<a href="{SEND}">All photographs of symptom 1</a>' in page.text
    assert "2,400 × 1,800 pixels" in words
    assert "IMG 7.jpg" in words
    assert "The file is kept as it was sent." in words
    assert "A display tube keeps a high voltage" in words
    assert_sound(page)


def test_it_says_when_the_file_is_not_as_it_was_sent(client: TestClient) -> None:
    send(client, [("1.jpg", jpeg())])

    assert "The kept file does not say where it was taken or with which camera" in words_of(client.get(FIRST))


@pytest.mark.parametrize("rest", ["", "/edit", "/file"])
@pytest.mark.parametrize("number", ["2", "0", "99999999999999999999", "x"])
def test_a_photograph_that_is_not_there_is_not_found(client: TestClient, number: str, rest: str) -> None:
    send(client, [("1.jpg", jpeg())])

    assert client.get(f"{BASE}/photographs/{number}{rest}").status_code == 404


REVISED = {"caption": "Stripes, warm", "taken_on": "2025-03-15", "opened_version": "1"}


@BOTH_WAYS
def test_a_caption_is_revised(client: TestClient, htmx: bool) -> None:
    send(client, [("1.jpg", jpeg())])
    form = client.get(f"{FIRST}/edit")
    assert (typed_in(form, "caption"), typed_in(form, "taken_on")) == ("", "2025-03-14")
    assert_sound(form)

    assert address_of(post(client, f"{FIRST}/edit", htmx, **REVISED)) == FIRST

    page = client.get(FIRST)
    assert "<h1>Stripes, warm</h1>" in page.text
    assert "Photograph 1 of TM-03, taken on 2025-03-15." in words_of(page)


@BOTH_WAYS
def test_a_revision_that_will_not_do_comes_back_as_it_was_typed(client: TestClient, htmx: bool) -> None:
    send(client, [("1.jpg", jpeg())])

    answer = post(client, f"{FIRST}/edit", htmx, caption=HOSTILE, taken_on="2025-02-30", opened_version="1")

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert "no day 2025-02-30 in the calendar" in message_beside(answer, "taken_on")
    assert typed_in(answer, "caption") == HOSTILE
    assert_sound(answer)


@BOTH_WAYS
def test_a_revision_of_an_older_version_shows_both(client: TestClient, htmx: bool) -> None:
    send(client, [("1.jpg", jpeg())])
    post(client, f"{FIRST}/edit", **REVISED)

    answer = post(client, f"{FIRST}/edit", htmx, **{**REVISED, "caption": "Mine"})

    assert answer.status_code == 409
    assert "Someone else saved this record" in words_of(answer)
    assert "Mine Stripes, warm" in words_of(answer)
    assert typed_in(answer, "opened_version") == "2"
    assert_sound(answer)


def test_hostile_words_stay_words(client: TestClient) -> None:
    """In a caption, in a name, in the words that stand for a picture."""
    send(client, [("<img src=x onerror=alert(1)>.jpg", jpeg())], caption=HOSTILE)

    for address in (SYMPTOM, FIRST, f"{FIRST}/edit"):
        page = client.get(address)
        assert "<script>alert" not in page.text
        assert "<img src=x" not in page.text
        assert [one["alt"] for one in images(page)] == [HOSTILE]
        assert_sound(page)
    assert faults_of_record(client) == []


# ---- Files ----


def view_of(client: TestClient) -> str:
    return images(client.get(SYMPTOM))[0]["src"]


def test_a_view_is_kept_by_browsers_for_good(client: TestClient) -> None:
    """What lies under a digest never changes; who has it already gets no more than that it is the same."""
    send(client, [("1.jpg", jpeg(6))])
    address = view_of(client)

    answer = client.get(address)
    again = client.get(address, headers={"If-None-Match": answer.headers["etag"]})

    assert Image.open(BytesIO(answer.content)).size == (80, 120)
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.headers["cache-control"] == "private, max-age=31536000, immutable"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", answer.headers["etag"])
    assert client.get(address, headers={"If-None-Match": '"other"'}).status_code == 200


def test_the_two_views_are_told_apart(client: TestClient) -> None:
    send(client, [("1.jpg", written("JPEG", drawing((2000, 1000))))])
    address = view_of(client)

    small, screen = client.get(address), client.get(address.replace("/480", "/1600"))

    assert [Image.open(BytesIO(one.content)).size for one in (small, screen)] == [(480, 240), (1600, 800)]
    assert small.headers["etag"] != screen.headers["etag"]


def test_a_view_that_is_gone_is_made_again(client: TestClient, store: Store) -> None:
    send(client, [("1.heic", heic())])
    before = client.get(view_of(client)).content
    shutil.rmtree(store.files.root / DERIVED)

    after = client.get(view_of(client))

    assert after.status_code == 200
    assert Image.open(BytesIO(before)).size == Image.open(BytesIO(after.content)).size


def test_nothing_else_of_the_files_folder_is_served(client: TestClient, store: Store) -> None:
    """The digest of a file that is no photograph's, one that nobody has, and what is no digest."""
    send(client, [("1.jpg", jpeg())])
    capture = store.files.keep(b"time,volts\n0,5\n")
    known = view_of(client)

    for address in (
        f"/photographs/{capture}/480",
        f"/photographs/{'0' * 64}/480",
        "/photographs/..%2F..%2Fputback.sqlite3/480",
        "/photographs/%00/480",
        known.replace("/480", "/481"),
        known.replace("/480", "/0"),
        known.replace("/480", ""),
    ):
        assert client.get(address).status_code == 404, address


@pytest.mark.parametrize(
    ("sent", "content", "saved", "media_type"),
    [
        ("shot.JPG", jpeg(), "shot.JPG", "image/jpeg"),
        ("IMG_1.HEIC", heic(), "IMG_1.HEIC", "image/heic"),
        ("page.html", png(), "page.png", "image/png"),
        ("Büro 7.webp", webp(), "Büro 7.webp", "image/webp"),
    ],
)
def test_the_kept_file_is_saved_under_its_name(
    client: TestClient, sent: str, content: bytes, saved: str, media_type: str
) -> None:
    """With the ending of what it is, and never shown as a page."""
    send(client, [(sent, content)])

    answer = client.get(f"{FIRST}/file")

    disposition = answer.headers["content-disposition"]
    assert disposition.startswith('attachment; filename="')
    assert unquote(disposition.split("filename*=UTF-8''")[1]) == saved
    assert answer.headers["content-type"] == media_type
    assert [secret for secret in SECRETS if secret in answer.content] == []


@pytest.mark.parametrize(
    ("sent", "alone"),
    [
        ("C:\\Users\\me\\shot.jpg", "shot.jpg"),
        ("../../etc/passwd", "passwd"),
        ("..", "photograph"),
        ("exe.\u202egpj", "exe.gpj"),
        ("a\r\nSet-Cookie: x=1\0.jpg", "aSet-Cookie: x=1.jpg"),
        (".htaccess", "htaccess"),
        ("日本.jpg", "日本.jpg"),
        ("x" * 400 + ".jpg", "x" * 296 + ".jpg"),
    ],
)
def test_a_name_is_taken_without_what_it_might_do(sent: str, alone: str) -> None:
    assert name_alone(sent, "photograph") == alone


def test_a_name_in_a_header_ends_nothing_and_adds_nothing() -> None:
    """Quotes, semicolons and characters of other tongues are written so that one name is read."""
    header = as_attachment('a"; filename="b.exe"; 日本.jpg')

    assert header == (
        'attachment; filename="a-filename-b.exe-.jpg"; '
        "filename*=UTF-8''a%22%3B%20filename%3D%22b.exe%22%3B%20%E6%97%A5%E6%9C%AC.jpg"
    )
    assert as_attachment("日本").startswith('attachment; filename="file"; ')
    assert with_ending("archive.tar.exe", (".jpg",)) == "archive.tar.jpg"
    assert with_ending("plain", (".jpg",)) == "plain.jpg"
