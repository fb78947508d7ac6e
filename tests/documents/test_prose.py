"""A keeper's Markdown as blocks for paper."""

from typing import Any

import pytest

from server.documents.prose import blocks


def words(some: list[dict[str, Any]]) -> str:
    return "".join(span["text"] for span in some)


def test_no_text_gives_no_blocks() -> None:
    assert blocks("") == []


def test_paragraphs_keep_their_lines() -> None:
    first, second = blocks("one\ntwo\n\nthree")

    assert words(first["spans"]) == "one\ntwo"
    assert words(second["spans"]) == "three"


def test_emphasis_becomes_a_style_of_its_words() -> None:
    (paragraph,) = blocks("a *b* **c *d*** `e*`")

    assert [(span["text"], span["em"], span["strong"], span["code"]) for span in paragraph["spans"]] == [
        ("a ", False, False, False),
        ("b", True, False, False),
        (" ", False, False, False),
        ("c ", False, True, False),
        ("d", True, True, False),
        (" ", False, False, False),
        ("e*", False, False, True),
    ]


def test_lists_hold_blocks_and_keep_their_first_number() -> None:
    (outer,) = blocks("3. three\n   - inner\n4. four")

    assert (outer["kind"], outer["ordered"], outer["start"]) == ("list", True, 3)
    assert [block["kind"] for block in outer["items"][0]] == ["paragraph", "list"]
    assert words(outer["items"][1][0]["spans"]) == "four"


def test_html_is_text() -> None:
    block, inline = blocks("<script>alert(1)</script>\n\na <b>b</b>")

    assert words(block["spans"]) == "<script>alert(1)</script>"
    assert words(inline["spans"]) == "a <b>b</b>"


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("[data sheet](https://example.org/a)", "data sheet (https://example.org/a)"),
        ("<https://example.org/a>", "https://example.org/a"),
        ("![the board](board.png)", "the board"),
    ],
)
def test_paper_shows_where_a_link_leads(text: str, shown: str) -> None:
    (paragraph,) = blocks(text)

    assert words(paragraph["spans"]) == shown


def test_a_script_address_is_never_made_a_link() -> None:
    (paragraph,) = blocks("[press](javascript:alert(1))")

    assert words(paragraph["spans"]) == "[press](javascript:alert(1))"


def test_tables_quotes_code_and_rules_keep_their_shape() -> None:
    table, quote, rule, code = blocks("| a | b |\n|---|---|\n| 1 | 2 |\n\n> said\n\n---\n\n```\nx = 1\n  y\n```")

    assert (table["columns"], [words(cell) for cell in table["head"]]) == (2, ["a", "b"])
    assert [words(cell) for cell in table["cells"]] == ["1", "2"]
    assert quote["blocks"][0]["kind"] == "paragraph"
    assert rule == {"kind": "rule"}
    assert code == {"kind": "code", "text": "x = 1\n  y"}
