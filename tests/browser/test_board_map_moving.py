"""A board's map seen closer, dragged and turned: by mouse, by keyboard and by fingers, with labels that can be read."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, PHONE, Opened, serving
from tests.browser.map_scene import (
    LAYOUT,
    MAP,
    PLACES,
    begin,
    map_at,
    mark_of,
    middle_of,
    on_picture,
    on_screen,
    page_pixels,
    place,
    put_on_map,
    record_with_map,
    seen,
)

SIZES = pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "telephone"])


@pytest.fixture
def mapped(tmp_path: Path) -> Iterator[str]:
    """A board with its map made, R3 still to be placed, and a mod at R1 and R2."""
    record_with_map(tmp_path / "record")
    with serving(tmp_path / "record") as address:
        yield address


# ---- Moving about ----


@SIZES
def test_the_mouse_drags_and_the_wheel_comes_closer(opened: Opened, mapped: str, viewport: dict[str, int]) -> None:
    """The wheel is the page's until the picture was taken hold of; what lies under the mouse stays under it."""
    page = opened(mapped, viewport=viewport)
    svg = map_at(page, MAP)
    svg.scroll_into_view_if_needed()
    spot = on_screen(svg, PLACES["R3"])
    page.mouse.move(*spot)
    page.mouse.wheel(0, -100)
    page.wait_for_timeout(500)  # the page glides to where it scrolls
    assert seen(svg)[2] == pytest.approx(LAYOUT[0])
    svg.focus()
    spot = on_screen(svg, PLACES["R3"])
    page.mouse.move(*spot)
    page.mouse.wheel(0, -100)
    page.mouse.wheel(0, -100)
    expect(svg).to_have_class("map live")
    page.wait_for_timeout(200)
    assert seen(svg)[2] == pytest.approx(LAYOUT[0] / 2)
    assert on_picture(svg, spot) == pytest.approx(PLACES["R3"], abs=2)

    page.mouse.down()
    page.mouse.move(spot[0] + 40, spot[1] - 30, steps=5)
    page.mouse.up()

    assert on_picture(svg, (spot[0] + 40, spot[1] - 30)) == pytest.approx(PLACES["R3"], abs=3)
    page.mouse.move(spot[0] - 40, spot[1])
    assert on_picture(svg, (spot[0] + 40, spot[1] - 30)) == pytest.approx(PLACES["R3"], abs=3)


def test_a_press_that_was_a_drag_opens_nothing(opened: Opened, mapped: str) -> None:
    """And one that was none opens the position."""
    page = opened(mapped)
    svg = map_at(page, f"{MAP}?find=R1")
    svg.scroll_into_view_if_needed()
    x, y = on_screen(svg, mark_of(svg, "R1"))
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 60, y + 20, steps=6)
    page.mouse.up()
    page.wait_for_timeout(200)
    assert "/map" in page.url

    page.mouse.click(*on_screen(svg, mark_of(svg, "R1")))

    page.wait_for_url("**/positions/R1")


def test_a_drag_that_ends_outside_lets_go(opened: Opened, mapped: str) -> None:
    page = opened(mapped)
    svg = map_at(page, f"{MAP}?find=R1")
    svg.scroll_into_view_if_needed()
    box = svg.bounding_box()
    assert box
    page.mouse.move(box["x"] + 2, box["y"] + 200)
    page.mouse.down()
    page.mouse.move(box["x"] - 1, box["y"] + 200)
    page.mouse.up()
    before = seen(svg)

    page.mouse.move(box["x"] + 200, box["y"] + 250, steps=5)

    assert seen(svg) == before


def test_the_keyboard_moves_it(opened: Opened, mapped: str) -> None:
    page = opened(mapped)
    svg = map_at(page, MAP)
    svg.focus()
    scrolled = page.evaluate("scrollY")
    steps = {
        "+": [600, 400, 1200, 800],
        "=": [900, 600, 600, 400],
        "ArrowRight": [1050, 600, 600, 400],
        "ArrowDown": [1050, 700, 600, 400],
        "ArrowLeft": [900, 700, 600, 400],
        "ArrowUp": [900, 600, 600, 400],
        "-": [600, 400, 1200, 800],
        "0": [0, 0, 2400, 1600],
    }
    for key, box in steps.items():
        page.keyboard.press(key)
        assert seen(svg) == pytest.approx(box), key
    assert page.evaluate("scrollY") == scrolled
    for _ in range(9):
        page.keyboard.press("+")
    assert seen(svg)[2] == pytest.approx(LAYOUT[0] / 16)
    page.get_by_role("link", name="Whole").click()
    assert seen(svg) == pytest.approx([0, 0, *LAYOUT])
    assert "zoom=" not in page.url


# ---- Fingers ----


def touch(page: Page, *moments: list[tuple[float, float]]) -> None:
    """Fingers put down at the places of the first moment, moved through the others and lifted."""
    session = page.context.new_cdp_session(page)
    for number, places in enumerate(moments):
        points = [{"x": x, "y": y, "id": finger} for finger, (x, y) in enumerate(places)]
        kind = "touchMove" if number else "touchStart"
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    session.detach()
    page.wait_for_timeout(100)


def line(start: tuple[float, float], end: tuple[float, float], steps: int = 8) -> list[tuple[float, float]]:
    return [
        (start[0] + (end[0] - start[0]) * n / steps, start[1] + (end[1] - start[1]) * n / steps)
        for n in range(steps + 1)
    ]


@pytest.fixture
def telephone(opened: Opened, mapped: str) -> Page:
    return opened(mapped, viewport=PHONE, has_touch=True, is_mobile=True, device_scale_factor=2)


def test_two_fingers_spread_it_and_one_drags_it(telephone: Page) -> None:
    """What lies between the fingers goes on lying there, also while the page could be scrolled."""
    svg = map_at(telephone, MAP)
    svg.scroll_into_view_if_needed()
    x, y = middle_of(svg)
    spot = on_picture(svg, (x, y))

    touch(
        telephone,
        *(
            [left, right]
            for left, right in zip(line((x - 20, y), (x - 80, y)), line((x + 20, y), (x + 80, y)), strict=True)
        ),
    )

    assert seen(svg)[2] == pytest.approx(LAYOUT[0] / 4, rel=0.15)
    assert on_picture(svg, (x, y)) == pytest.approx(spot, abs=15)
    spot = on_picture(svg, (x, y))
    touch(telephone, *([at] for at in line((x, y), (x + 60, y + 40))))
    assert on_picture(svg, (x + 60, y + 40)) == pytest.approx(spot, abs=25)


def test_fingers_that_move_together_move_it(telephone: Page) -> None:
    svg = map_at(telephone, f"{MAP}?find=R1")
    svg.scroll_into_view_if_needed()
    x, y = middle_of(svg)
    before, spot = seen(svg), on_picture(svg, (x, y))

    touch(telephone, *([(a - 30, b), (a + 30, b)] for a, b in line((x, y), (x + 40, y + 30))))

    assert seen(svg)[2] == pytest.approx(before[2], rel=0.15)
    assert on_picture(svg, (x + 40, y + 30)) == pytest.approx(spot, abs=30)


def test_one_finger_moves_the_page_past_a_whole_picture(telephone: Page) -> None:
    svg = map_at(telephone, MAP)
    svg.scroll_into_view_if_needed()
    x, y = middle_of(svg)
    before = telephone.evaluate("scrollY")

    touch(telephone, *([at] for at in line((x, y), (x, y - 200))))
    telephone.wait_for_timeout(300)

    assert telephone.evaluate("scrollY") > before + 50
    assert seen(svg) == pytest.approx([0, 0, *LAYOUT])


def test_there_is_room_beside_the_picture_to_move_the_page(telephone: Page) -> None:
    """However it is turned."""
    for turn in ("", "&turn=90"):
        svg = map_at(telephone, f"{MAP}?find=R1{turn}")
        box = svg.bounding_box()
        assert box
        assert box["height"] <= PHONE["height"] * 0.8 + 3


def test_a_finger_pins(telephone: Page) -> None:
    svg = map_at(telephone, f"{MAP}/1/place?designator=R3")
    svg.scroll_into_view_if_needed()
    x, y = on_screen(svg, PLACES["R3"])
    telephone.touchscreen.tap(x, y)

    found = [float(telephone.get_by_label(axis).input_value()) for axis in ("Across", "Down")]
    assert found == pytest.approx(PLACES["R3"], abs=page_pixels(svg, 1))


# ---- Legible ----


LABELS = """(svg) => [...svg.querySelectorAll(".mark text")].filter((one) => one.checkVisibility()).map((one) => {
  const m = one.getScreenCTM();
  return [parseFloat(getComputedStyle(one).fontSize) * m.a, Math.abs(m.b) + Math.abs(m.c), m.a > 0];
})"""


@SIZES
def test_labels_stay_upright_and_of_one_size(opened: Opened, mapped: str, viewport: dict[str, int]) -> None:
    page = opened(mapped, viewport=viewport)
    svg = map_at(page, f"{MAP}?picture=2&turn=200&mirror=yes&mod=1")
    svg.focus()
    for _ in range(5):
        labels = svg.evaluate(LABELS)
        assert len(labels) == 2
        assert all(size == pytest.approx(16, abs=0.5) and skew < 1e-6 and ahead for size, skew, ahead in labels)
        page.keyboard.press("+")
    assert svg.locator(".mark text").all_text_contents() == ["R1, steps 1, 2", "R2, step 3"]


def test_a_crowd_is_named_from_close_by(opened: Opened, tmp_path: Path) -> None:
    """Dots from afar, designators once there are fewer in sight; what is looked for always has its name."""
    store = begin(tmp_path / "record", positions=170)
    put_on_map(store)
    for n in range(170):
        place(store, f"R{n + 1}", 100 + (n % 17) * 135, 100 + (n // 17) * 140)
    store.close()
    with serving(tmp_path / "record") as site:
        page = opened(site)
        svg = map_at(page, f"{MAP}?find=R9&zoom=1")
        expect(svg.locator("text:visible")).to_have_text(["R9"])
        svg.focus()
        page.keyboard.press("+")
        expect(svg).to_have_class("map live")
        assert svg.locator("text:visible").count() > 100
