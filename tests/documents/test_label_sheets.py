"""Labels on a sheet, in millimetres: how many fit, where each lies, and what does not fit its paper.

The numbers of labels on a sheet are common practice, no source; the sums beside them are done by hand.
"""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.documents.label_sheets import (
    LEAST,
    LINE_SPACING,
    PAPERS,
    LabelSheet,
    Place,
    first_free,
    inside,
    mm,
    sheet_of,
)
from server.records.errors import Invalid

# paper, width, height, gap across -> across, down, left margin, top margin
SIZES = [
    ("A4", 70, 37, 0, 3, 8, 0, 0.5),  # 3 · 70 = 210; (297 - 8 · 37) / 2
    ("A4", 63.5, 38.1, 2.5, 3, 7, 7.25, 15.15),  # (210 - 3 · 63.5 - 2 · 2.5) / 2; (297 - 7 · 38.1) / 2
    ("A4", 105, 57, 0, 2, 5, 0, 6),
    ("A4", 52.5, 29.7, 0, 4, 10, 0, 0),
    ("Letter", 66.7, 25.4, 3.2, 3, 11, 4.7, 0),  # 11 · 25.4 = 279.4, the paper's own height
    ("Letter", 101.6, 50.8, 4.8, 2, 5, 3.95, 12.7),
]


@pytest.mark.parametrize(("paper", "width", "height", "gap", "across", "down", "left", "top"), SIZES)
def test_as_many_as_fit_lie_in_the_middle(
    paper: str, width: float, height: float, gap: float, across: int, down: int, left: float, top: float
) -> None:
    sheet = sheet_of(paper, width, height, gap_across=gap)

    assert (sheet.columns, sheet.rows) == (across, down)
    assert (sheet.left, sheet.top) == pytest.approx((left, top))
    assert sheet == sheet_of(paper, width, height, across, down, gap_across=gap)


def test_a_margin_that_is_given_is_kept() -> None:
    """With 10 mm at the left 200 mm are left, which hold two labels of 70 mm."""
    sheet = sheet_of("A4", 70, 37, left=10, top=20)

    assert (sheet.columns, sheet.rows, sheet.left, sheet.top) == (2, 7, 10, 20)


def test_labels_lie_row_by_row_from_the_first_free_one() -> None:
    sheet = sheet_of("A4", 63.5, 38.1, 3, 7, gap_across=2.5)

    places = list(sheet.places(21, first=3))

    assert places[:3] == [Place(0, 139.25, 15.15), Place(0, 7.25, 53.25), Place(0, 73.25, 53.25)]
    assert places[18:] == [Place(0, 139.25, 243.75), Place(1, 7.25, 15.15), Place(1, 73.25, 15.15)]


MISFITS = [
    ({"paper": "A5"}, "paper", "Choose one of the papers offered: A4, Letter."),
    ({"across": 4}, "across", "4 labels of 70 mm take 280 mm across; A4 is 210 mm wide."),
    ({"down": 9}, "down", "9 labels of 37 mm take 333 mm down; A4 is 297 mm high."),
    (
        {"across": 3, "gap_across": 2.5, "left": 5},
        "across",
        "3 labels of 70 mm, 2 gaps of 2.5 mm and a margin of 5 mm take 220 mm across; A4 is 210 mm wide.",
    ),
    ({"left": 150}, "left", "1 label of 70 mm and a margin of 150 mm take 220 mm across; A4 is 210 mm wide."),
    ({"width": 211}, "width", "From 0 to 210 mm will do on A4."),
    ({"width": 39.9}, "width", "39.9 mm is too little for words and a code: a label is at least 40 mm wide."),
    ({"height": 10}, "height", "10 mm is too little for words and a code: a label is at least 24 mm high."),
    ({"top": -1}, "top", "From 0 to 297 mm will do on A4."),
    ({"gap_down": 1e300}, "gap_down", "From 0 to 297 mm will do on A4."),
    ({"across": 0}, "across", "From 1 to 20 will do."),
    ({"down": 10**400}, "down", "From 1 to 20 will do."),
]


@pytest.mark.parametrize(("measured", "field", "said"), MISFITS)
def test_what_does_not_fit_is_refused_with_its_figures(measured: dict[str, object], field: str, said: str) -> None:
    with pytest.raises(Invalid) as refusal:
        sheet_of(**{"paper": "A4", "width": 70, "height": 37, **measured})  # type: ignore[arg-type]

    assert refusal.value.messages == {field: said}


def test_a_sheet_as_wide_as_its_paper_fits() -> None:
    """Measures are typed to a tenth: 3 × 71.97 mm is Letter's 215.9 mm to within its last digit."""
    assert sheet_of("Letter", 71.97, 37, 3).columns == 3


@pytest.mark.parametrize("first", [0, 25, -1])
def test_a_sheet_has_no_more_labels_than_it_has(first: int) -> None:
    sheet = sheet_of("A4", 70, 37)

    with pytest.raises(Invalid, match=r"24 labels, 3 across and 8 down: the first free one is from 1 to 24"):
        first_free(sheet, first)
    assert first_free(sheet, 24) == 24


MEASURES = st.floats(0, 60).map(lambda measure: round(measure, 1))


@given(
    st.sampled_from(list(PAPERS)),
    st.floats(LEAST[0], 210).map(lambda size: round(size, 1)),
    st.floats(LEAST[1], 270).map(lambda size: round(size, 1)),
    st.one_of(st.none(), MEASURES),
    MEASURES,
    st.integers(1, 60),
)
def test_labels_lie_on_the_paper_and_never_on_one_another(
    paper: str, width: float, height: float, margin: float | None, gap: float, count: int
) -> None:
    try:
        sheet = sheet_of(paper, width, height, left=margin, top=margin, gap_across=gap, gap_down=gap)
    except Invalid:
        return

    places = list(sheet.places(count))
    side, end = PAPERS[paper]
    assert all(place.x >= 0 and place.x + width <= side + 0.02 for place in places)
    assert all(place.y >= 0 and place.y + height <= end + 0.02 for place in places)
    assert [place.page for place in places] == [index // sheet.on_a_page for index in range(count)]
    apart = [
        abs(one.x - other.x) >= width - 0.02 or abs(one.y - other.y) >= height - 0.02
        for one, other in pairwise(places)
        if one.page == other.page
    ]
    assert all(apart)


@pytest.mark.parametrize(("width", "height"), [(40, 24), (70, 37), (105, 57), (210, 297)])
def test_what_stands_on_a_label_stays_within_it(width: float, height: float) -> None:
    """The number and the rows under it, four at least, and the code beside them, within the edge kept free."""
    sheet = LabelSheet("A4", width, height, 1, 1, 0, 0, 0, 0)

    shares = inside(sheet)

    assert 2 * shares.edge + shares.words + shares.code < width
    for rows in range(4, shares.rows + 1):
        assert 2 * shares.edge + shares.number + rows * shares.pitch(rows) <= height + 1e-9
    assert 2 * shares.edge + shares.code <= height + 1e-9
    assert shares.pitch(shares.rows) / LINE_SPACING > 2.2  # mm: 6.2 points


@pytest.mark.parametrize(("measure", "written"), [(70, "70"), (63.5, "63.5"), (0, "0"), (100, "100"), (4.65, "4.65")])
def test_a_measure_has_no_digits_to_spare(measure: float, written: str) -> None:
    assert mm(measure) == written
