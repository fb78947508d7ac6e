"""The pictures of a mod sheet on its page: the same as on paper, in the same words, at addresses that they have."""

import io
import re
from html import unescape

import pikepdf
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.records.commands.photographs import AddPhotograph
from tests.documents.invented import HOSTILE, TAG, Bench, tell
from tests.documents.test_pdf import figures
from tests.pages.benchwork import address_of, assert_sound, post, words_of
from tests.records.photographs import jpeg

SHEET, PDF = f"/machines/{TAG}/sheet", f"/machines/{TAG}/sheet.pdf"
IMAGE = re.compile(r'<a href="([^"]+)"><img src="([^"]+)" width="(\d+)" height="(\d+)" alt="([^"]*)">')


@pytest.fixture(autouse=True)
def bench(app: FastAPI) -> Bench:
    bench = tell(app.state.store)
    bench.do(AddPhotograph, on_kind="machine", on="", file_name="a.jpg", content=jpeg(1, "2025:01:05 10:00:00"),
             caption="On the bench")  # fmt: skip
    for turn, moment in ((2, "before"), (6, "after")):
        bench.do(AddPhotograph, on_kind="step", on=f"1/{2 - (moment == 'before')}", moment=moment, file_name="b.jpg",
                 content=jpeg(turn, "2025:02:03 10:00:00"))  # fmt: skip
    return bench


def alts_on_paper(client: TestClient, query: str = "") -> list[str]:
    with pikepdf.open(io.BytesIO(client.get(PDF + query).content)) as opened:
        return [str(one.Alt) for one in figures(opened.Root.StructTreeRoot)]


def drawings_on(html: str) -> list[str]:
    """The names of the drawings: that of each is the title that it points to."""
    named = re.findall(r'<svg [^>]*role="img" aria-labelledby="([^"]+)"', html)
    return [unescape(html.partition(f'<title id="{key}">')[2].partition("</title>")[0]) for key in named]


def test_photographs_are_shown_from_the_addresses_that_they_have(client: TestClient) -> None:
    page = client.get(SHEET)

    shown = IMAGE.findall(page.text)

    assert [alt for *_, alt in shown] == [
        "On the bench",
        "Photograph 2 of step 1 of mod 1, before it was done, taken on 2025-02-03",
        "Photograph 3 of step 2 of mod 1, after it was done, taken on 2025-02-03",
    ]
    for onward, source, *_ in shown:
        assert client.get(onward).status_code == 200
        assert client.get(source).headers["content-type"] == "image/jpeg"
    assert [(int(width), int(height)) for _, _, width, height, _ in shown] == [(120, 80), (120, 80), (80, 120)]
    assert "Before, step 1. Taken on 2025-02-03." in words_of(page)
    assert_sound(page)


def test_page_and_paper_describe_each_picture_in_the_same_words(client: TestClient) -> None:
    html = client.get(SHEET).text

    on_page = [*(unescape(alt) for *_, alt in IMAGE.findall(html)), *drawings_on(html)]

    assert on_page == alts_on_paper(client)
    assert len(on_page) == 5


def test_each_result_is_drawn_once_with_every_reading(client: TestClient) -> None:
    """Eight observations and four readings a side."""
    html = client.get(SHEET).text

    drawings = re.findall(r"<svg .*?</svg>", html, re.DOTALL)

    assert [drawing.count('d="M-5 0a5') for drawing in drawings if "before and after mod" in drawing] == [16, 8]
    assert "open before and filled after" in html


def test_where_there_is_no_photograph_the_page_says_so(client: TestClient) -> None:
    words = words_of(client.get(SHEET))

    assert words.count("No photograph from before it or from after it exists.") == 2
    assert "No photograph of the machine as it was found exists." not in words


@pytest.mark.parametrize("query", ["?photographs=without", "?length=short"])
def test_a_sheet_can_be_without(client: TestClient, query: str) -> None:
    page = client.get(SHEET + query)

    assert IMAGE.findall(page.text) == []
    assert "No photograph" not in words_of(page)
    assert [alt for alt in alts_on_paper(client, query) if "before and after mod" not in alt] == []
    assert ("its record names 3" in words_of(page)) == ("without" in query)
    assert_sound(page)


@pytest.mark.parametrize("photographs", ["without", "with"])
def test_it_is_signed_as_it_was_looked_at(client: TestClient, photographs: str) -> None:
    page = client.get(f"{SHEET}?photographs={photographs}")
    section = page.text.split('id="sign"')[1]
    seen = section.split('name="seen" value="')[1][:64]
    asked = dict(re.findall(r'name="(chosen|length|paper|photographs)" value="([^"]+)"', section))

    address_of(post(client, SHEET, seen=seen, signer="Ada Wren", day="2026-01-02", **asked))

    with pikepdf.open(io.BytesIO(client.get(f"/machines/{TAG}/sheets/1.pdf").content)) as opened:
        alts = [str(one.Alt) for one in figures(opened.Root.StructTreeRoot)]
    assert ("On the bench" in alts) == (photographs == "with")
    assert alts[-1].startswith("Code to check this sheet")


def test_a_file_that_is_gone_is_said_to_be_on_page_and_paper(client: TestClient, bench: Bench) -> None:
    onward, source, *_ = IMAGE.findall(client.get(SHEET).text)[0]
    bench.store.files.path(source.split("/")[2]).unlink()

    page = client.get(SHEET)

    assert (
        "The machine. On the bench. Taken on 2025-01-05. Photograph 1 cannot be shown: its file is missing."
        in words_of(page)
    )
    assert f'<a href="{onward}">Photograph 1</a>' in page.text
    assert len(IMAGE.findall(page.text)) == 2
    assert "On the bench" not in alts_on_paper(client)
    assert_sound(page)


def test_a_hostile_caption_is_shown_and_never_obeyed(client: TestClient, bench: Bench) -> None:
    bench.do(
        AddPhotograph, on_kind="step", on="2/1", moment="before", file_name="c.jpg", content=jpeg(4), caption=HOSTILE
    )

    html = client.get(SHEET).text

    assert "<script>alert" not in html
    shown = " ".join(HOSTILE.replace("\u202e", "").split())
    assert shown in [unescape(alt) for *_, alt in IMAGE.findall(html)]


def test_a_choice_of_photographs_that_is_none_is_said_so_beside_it(client: TestClient) -> None:
    page = client.get(f"{SHEET}?photographs=some")

    assert page.status_code == 422
    assert "Choose one of the words offered" in words_of(page)
    assert_sound(page)
