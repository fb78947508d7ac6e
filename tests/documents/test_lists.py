"""Lists as comma-separated text: what a spreadsheet reads, and what it must not run."""

import csv
import io
from datetime import UTC, date, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.documents.lists import MARK, as_csv, cell


def read(*rows: list[Any]) -> list[list[str]]:
    text = b"".join(as_csv(["a", "b"], rows)).decode()
    assert text.startswith(MARK)
    return list(csv.reader(io.StringIO(text.removeprefix(MARK), newline="")))


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (None, ""),
        (True, "yes"),
        (12, "12"),
        (-0.5, "-0.5"),
        (0.1 + 0.2, "0.3"),
        (date(2025, 1, 2), "2025-01-02"),
        (datetime(2025, 1, 2, 3, 4, 5, 6, tzinfo=UTC), "2025-01-02T03:04:05+00:00"),
        ([1.5, 2.0], "1.5 2"),
        (["mains inside", "static"], "mains inside, static"),
        ("330 Ω ±5 %", "330 Ω ±5 %"),
    ],
)
def test_a_value_reads_as_a_person_would_type_it(value: Any, words: str) -> None:
    assert cell(value) == words


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1 V", "@SUM(A1)", "\t=1", "\r=1", "'=1", "''-1"])
def test_what_would_be_a_formula_is_text(text: str) -> None:
    """Also in a list of words; one with an apostrophe of its own has another, so that it can come in again."""
    assert cell(text) == f"'{text}"
    assert cell([text]) == f"'{text}"


@given(st.lists(st.lists(st.text(st.characters(exclude_categories=["Cs"])), min_size=2, max_size=2), max_size=450))
def test_every_cell_comes_back(rows: list[list[str]]) -> None:
    """Line ends, quotes and commas in it too; however many rows there are."""
    heading, *back = read(*rows)

    assert heading == ["a", "b"]
    assert back == [[cell(value) for value in row] for row in rows]
