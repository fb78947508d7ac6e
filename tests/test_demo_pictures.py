"""The demo's board map: what was drawn is the board of the parts list, and pins carried to the photograph hit."""

from collections.abc import Iterator
from csv import DictReader
from io import BytesIO
from itertools import combinations
from math import hypot
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from skimage.transform import ProjectiveTransform
from sqlmodel import Session

from seed_data.board_layout import SIZE as LAYOUT_SIZE
from seed_data.board_layout import draw_layout, layout_spot
from seed_data.board_photograph import CORNERS, draw_photograph, photograph_spot
from seed_data.board_photograph import SIZE as PHOTOGRAPH_SIZE
from seed_data.board_pictures import LAYOUT, MATCHED, PHOTOGRAPH, WAITING
from seed_data.board_plan import AT, HEIGHT, HOLES, PLACES, WIDTH
from seed_data.demo import MERLE
from server.records.mapping import carried
from server.records.questions.addresses import find_board, find_machine
from server.records.questions.maps import BoardMap, map_of
from server.records.store import Store, sqlite_url

LIST = Path(__file__).parent.parent / "seed_data" / "main_board.csv"
TAKEN = "2025:03:16 15:41:09"
PHOTOGRAPH_BYTES_MOST = 900_000


@pytest.fixture(scope="module")
def layout() -> bytes:
    return draw_layout()


@pytest.fixture(scope="module")
def photograph() -> bytes:
    return draw_photograph(TAKEN)


@pytest.fixture
def demo(demo_folder: Path) -> Iterator[Session]:
    store = Store(sqlite_url(demo_folder))
    with store.reading() as session:
        yield session
    store.close()


@pytest.fixture
def board_map(demo: Session) -> BoardMap:
    machine = find_machine(demo, MERLE)
    return map_of(demo, find_board(demo, machine, "main-board"))


def listed() -> list[str]:
    with LIST.open(encoding="utf-8") as file:
        return [row["Designator"] for row in DictReader(file, delimiter=";")]


def opened(content: bytes) -> Image.Image:
    image = Image.open(BytesIO(content))
    image.load()
    return image


# ---- What is drawn ----


def test_the_board_has_the_positions_of_the_parts_list() -> None:
    """Each once, none left out, none more; with a leg for the highest pin that a step names."""
    assert sorted(place.designator for place in PLACES) == sorted(listed())
    assert AT["U1"].pins >= 26


def test_no_pad_lies_on_another_or_beside_the_board() -> None:
    """Two legs in one hole, or a part that hangs over the edge, is no board."""
    pads = [(place.designator, pad) for place in PLACES for pad in place.pads]

    near = [(one, other) for (one, a), (other, b) in combinations(pads, 2) if hypot(a[0] - b[0], a[1] - b[1]) < 2]

    assert not near
    assert all(2 < x < WIDTH - 2 and 2 < y < HEIGHT - 2 for _, (x, y) in pads)


def test_each_designator_is_printed_on_the_layout(layout: bytes) -> None:
    """There is paper-coloured print where it is written, on a ground that is not."""
    image = opened(layout).convert("L")

    for place in PLACES:
        x, y = layout_spot(place.x + place.printed[0], place.y + place.printed[1])
        lettering = np.asarray(image.crop((round(x) - 22, round(y) - 14, round(x) + 22, round(y) + 14)))
        assert 0.1 < np.mean(lettering > 200) < 0.6, place.designator
        assert np.mean(lettering < 110) > 0.3, place.designator


def test_nothing_is_printed_on_the_chips_of_the_photograph(photograph: bytes) -> None:
    """Where the layout has a designator on a chip, the photograph has plain black."""
    image = opened(photograph).convert("L")

    for place in PLACES:
        if place.body == "chip":
            x, y = photograph_spot(place.x, place.y)
            seen = np.asarray(image.crop((round(x) - 22, round(y) - 14, round(x) + 22, round(y) + 14)))
            assert seen.max() < 100, place.designator


def test_the_mounting_holes_are_where_they_are_said_to_be(layout: bytes, photograph: bytes) -> None:
    """The middle of the paper in the layout's ring, and of the bench in the photograph's."""
    pictures = ((opened(layout), layout_spot, False, 0.6), (opened(photograph), photograph_spot, True, 1.5))

    for image, spot, dark, within in pictures:
        for hole in HOLES.values():
            x, y = spot(*hole)
            left, top = round(x) - 18, round(y) - 18
            seen = np.asarray(image.convert("L").crop((left, top, left + 37, top + 37)), dtype=float)
            inside = np.hypot(*(np.indices(seen.shape) - 18)) < 18
            hit = inside & ((seen < 130) if dark else (seen > 200))
            rows, columns = np.nonzero(hit)
            assert hypot(left + columns.mean() + 0.5 - x, top + rows.mean() + 0.5 - y) < within


def test_drawn_twice_a_picture_is_the_same_file(layout: bytes, photograph: bytes) -> None:
    """Whoever starts the demo has the same record."""
    assert draw_layout() == layout
    assert draw_photograph(TAKEN) == photograph


def test_pictures_have_their_sizes(layout: bytes, photograph: bytes) -> None:
    """Large enough to read, small enough for a demo."""
    assert (opened(layout).format, opened(layout).size) == ("PNG", LAYOUT_SIZE)
    assert (opened(photograph).format, opened(photograph).size) == ("JPEG", PHOTOGRAPH_SIZE)
    assert len(layout) < len(photograph) < PHOTOGRAPH_BYTES_MOST


def test_the_board_is_seen_through_a_projective_map() -> None:
    """As scikit-image's has it from the four corners, everywhere on the board."""
    corners = [(0, 0), (WIDTH, 0), (WIDTH, HEIGHT), (0, HEIGHT)]
    outside = ProjectiveTransform.from_estimate(np.array(corners, dtype=float), np.array(CORNERS))  # type: ignore[no-untyped-call]
    pads = [pad for place in PLACES for pad in place.pads]

    assert np.allclose([photograph_spot(*pad) for pad in pads], outside(np.array(pads)), atol=1e-6)


# ---- What the record makes of it ----


def test_the_photograph_is_matched_to_the_layout(board_map: BoardMap) -> None:
    """By a projective map that the points chose themselves, to less than three pixels, from the same side."""
    picture = board_map.picture(PHOTOGRAPH)
    assert picture
    assert board_map.reference
    assert board_map.reference.number == LAYOUT
    match = picture.match

    assert match
    assert (match.kind, picture.row.match_kind) == ("projective", "")
    assert match.left_out_rms is not None
    assert match.residual_rms <= match.left_out_rms < 3
    assert match.mirrored is False


def test_a_hand_pressed_the_points(board_map: BoardMap) -> None:
    """Whole pixels, none right by design, and none further off than a hand is."""
    picture = board_map.picture(PHOTOGRAPH)
    assert picture

    for point, (spot, hand) in zip(picture.points, MATCHED, strict=True):
        x, y = photograph_spot(*spot)
        assert (point.x % 1, point.y % 1, point.reference_x % 1, point.reference_y % 1) == (0, 0, 0, 0)
        assert 0 < hypot(*hand) <= 1.5
        assert hypot(point.x - x, point.y - y) <= 1.5


def test_carried_pins_hit_their_parts(board_map: BoardMap) -> None:
    """On the photograph, which shows no designator, nine of ten circles or more hold the place where the part sits."""
    picture = board_map.picture(PHOTOGRAPH)
    assert picture
    spots = carried(board_map.pins, picture.plane)

    off = []
    for pin, spot in zip(board_map.pins, spots, strict=True):
        x, y = photograph_spot(AT[pin.designator].x, AT[pin.designator].y)
        assert spot, pin.designator
        assert spot.radius, pin.designator
        off.append(hypot(spot.x - x, spot.y - y) / spot.radius)

    assert len(off) == len(PLACES) - len(WAITING)
    assert sum(share <= 1 for share in off) >= 0.9 * len(off)


def test_three_positions_wait_in_the_tray(board_map: BoardMap) -> None:
    """Two that nobody has placed yet, and one that is not on the board as it was made."""
    assert [line.designator for line in board_map.tray.rows] == [*WAITING, "R21"]


def test_both_pictures_say_that_they_are_drawn(board_map: BoardMap) -> None:
    """Nobody takes them for pictures of a machine that was."""
    assert all("drawn" in picture.photograph.caption for picture in board_map.pictures)
