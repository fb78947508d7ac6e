"""A board's map at a browser: pictures are pressed, matched and searched, with a script and without one."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Dialog, Page, expect

from tests.browser.conftest import DESK, PHONE, Opened, serving
from tests.browser.map_scene import (
    LAYOUT,
    MAP,
    PLACES,
    SHOT,
    SPOTS,
    begin,
    map_at,
    mark_of,
    middle_of,
    on_picture,
    on_screen,
    on_shot,
    page_pixels,
    press,
    record_with_map,
    seen,
)

SIZES = pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "telephone"])


@pytest.fixture
def fresh(tmp_path: Path) -> Iterator[str]:
    """A board with three positions and two photographs that are not on its map."""
    begin(tmp_path / "record").close()
    with serving(tmp_path / "record") as address:
        yield address


@pytest.fixture
def mapped(tmp_path: Path) -> Iterator[str]:
    """A board with its map made, R3 still to be placed, and a mod at R1 and R2."""
    record_with_map(tmp_path / "record")
    with serving(tmp_path / "record") as address:
        yield address


# ---- The story ----


@SIZES
def test_a_map_is_made_by_pressing(opened: Opened, fresh: str, viewport: dict[str, int]) -> None:
    """Two pictures, three pins, five points; then R2 is found on the photograph, on which nobody placed it."""
    page = opened(fresh, viewport=viewport)
    page.goto(MAP)
    page.get_by_role("button", name="Put it on the map as a layout").first.click()
    page.get_by_role("button", name="Put it on the map as a photograph").click()
    expect(page).to_have_url(re.compile(r"/map/2/match\b"))
    page.goto(MAP)
    page.get_by_role("link", name="Place the first").click()
    for designator, spot in PLACES.items():
        expect(page.get_by_label("Position")).to_have_value(designator)
        press(page, page.locator("svg.map.live"), spot)
        expect(page.locator(".pressed")).to_contain_text("Pointed out:")
        page.get_by_role("button", name="Pin it here").click()
        expect(page.locator("#notice")).to_contain_text(f"{designator} on Main board of TM-03 is pinned at")
    page.goto(f"{MAP}/2/match")
    reference, other = page.locator("#reference-picture"), page.locator("#other-picture")
    expect(other).to_have_class("map live whole")
    for spot in SPOTS:
        press(page, reference, spot)
        press(page, other, on_shot(*spot))
    expect(page.locator("#other-picture .cross")).to_have_count(5)
    page.get_by_role("button", name="Save the points").click()
    expect(page.locator("body")).to_contain_text("Matched by 5 points")

    svg = map_at(page, f"{MAP}?picture=2&find=r2")

    found = mark_of(svg, "R2")
    assert found == pytest.approx(on_shot(*PLACES["R2"]), abs=page_pixels(svg, 2) + 3)
    assert on_picture(svg, middle_of(svg)) == pytest.approx(found, abs=2)
    expect(svg.locator(".mark.found .ring")).to_be_visible()


@SIZES
def test_the_same_without_a_script(opened: Opened, fresh: str, viewport: dict[str, int]) -> None:
    page = opened(fresh, viewport=viewport, java_script_enabled=False)
    page.goto(MAP)
    page.get_by_role("button", name="Put it on the map as a layout").first.click()
    page.get_by_role("button", name="Put it on the map as a photograph").click()
    expect(page).to_have_url(re.compile(r"/map/2/match\b"))
    page.goto(MAP)
    page.get_by_role("link", name="Place the first").click()
    for spot in PLACES.values():
        press_image(page, "at", spot, LAYOUT)
    page.goto(f"{MAP}/2/match")
    for spot in SPOTS:
        press_image(page, "on_reference", spot, LAYOUT)
        press_image(page, "on_picture", on_shot(*spot), SHOT)
    page.get_by_role("button", name="Save the points").click()
    expect(page.locator("body")).to_contain_text("Matched by 5 points")
    page.goto(f"{MAP}?picture=2")
    page.get_by_label("Look for").fill("R2")
    page.get_by_role("button", name="Show").click()

    expect(page.locator(".mark.found text")).to_have_text("R2")
    row = page.get_by_role("row", name="R2")
    across, down = (float(one) for one in row.get_by_role("cell").nth(1).inner_text().split(", within")[0].split(", "))
    assert (across, down) == pytest.approx(on_shot(*PLACES["R2"]), abs=2)
    left, top, width, height = seen(page.locator("svg.map"))
    assert (left + width / 2, top + height / 2) == pytest.approx((across, down), abs=1)
    page.get_by_role("link", name="Closer").click()
    assert seen(page.locator("svg.map"))[2] == pytest.approx(width / 2)


# Where within its own box a picture that is a button is drawn.
DRAWN = """(image) => {
  const style = getComputedStyle(image), edge = (side) => parseFloat(style[`padding${side}`]) +
    parseFloat(style[`border${side}Width`]);
  const box = image.getBoundingClientRect(), [left, top] = [edge("Left"), edge("Top")];
  return [left, top, box.width - left - edge("Right"), box.height - top - edge("Bottom")];
}"""


def press_image(page: Page, name: str, spot: tuple[float, float], size: tuple[int, int]) -> None:
    """Press a picture that is itself a button, at a pixel of the picture that it shows."""
    image = page.locator(f"input[type=image][name={name}]")
    left, top, width, height = image.evaluate(DRAWN)
    assert (left, top, round(width), round(height)) == (0, 0, 1600, round(1600 * size[1] / size[0]))
    at = {"x": left + spot[0] * width / size[0], "y": top + spot[1] * height / size[1]}
    with page.expect_navigation():
        image.click(position=at)  # type: ignore[arg-type]


# ---- Pointing ----


@SIZES
def test_a_turned_and_mirrored_picture_is_pressed_where_it_lies(
    opened: Opened, mapped: str, viewport: dict[str, int]
) -> None:
    page = opened(mapped, viewport=viewport)
    svg = map_at(page, f"{MAP}/1/place?designator=R3&turn=30&mirror=yes")
    svg.focus()
    for _ in range(2):
        svg.scroll_into_view_if_needed()
        press(page, svg, PLACES["R3"])
        found = [float(page.get_by_label(axis).input_value()) for axis in ("Across", "Down")]
        assert found == pytest.approx(PLACES["R3"], abs=page_pixels(svg, 1.5))
        page.mouse.move(*on_screen(svg, PLACES["R3"]))
        page.mouse.wheel(0, -100)
        page.mouse.wheel(0, -100)
        page.wait_for_timeout(200)
    upright = svg.locator(".cross").evaluate(
        "(one) => { const m = one.getScreenCTM(); return [m.a > 0, Math.abs(m.b), Math.abs(m.c)]; }"
    )
    assert upright == [True, pytest.approx(0, abs=1e-3), pytest.approx(0, abs=1e-3)]
    assert mark_of(svg, "R1") == pytest.approx(PLACES["R1"], abs=1)


def test_a_drag_points_nothing_out(opened: Opened, mapped: str) -> None:
    page = opened(mapped)
    svg = map_at(page, f"{MAP}/1/place?designator=R3")
    svg.focus()
    page.keyboard.press("+")
    svg.scroll_into_view_if_needed()
    x, y = middle_of(svg)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 50, y, steps=5)
    page.mouse.up()

    expect(page.get_by_label("Across")).to_have_value("")


def test_a_row_whose_field_was_gone_into_is_pointed_out_anew(opened: Opened, mapped: str) -> None:
    """In both pictures; and when there is nowhere to put a spot, it says so."""
    page = opened(mapped)
    page.goto(f"{MAP}/2/match")
    reference, other = page.locator("#reference-picture"), page.locator("#other-picture")
    expect(other).to_have_class("map live whole")
    page.locator("[name='points.1.reference_x']").focus()
    press(page, reference, (1800, 300))
    press(page, other, on_shot(1800, 300))

    assert float(page.locator("[name='points.1.reference_x']").input_value()) == pytest.approx(1800, abs=5)
    assert float(page.locator("[name='points.1.x']").input_value()) == pytest.approx(on_shot(1800, 300)[0], abs=5)
    for n in range(4):
        press(page, reference, (500 + 100 * n, 900))
    expect(page.locator("figure", has=reference).locator(".pressed")).to_contain_text("Every point has a spot")
    expect(reference.locator(".cross")).to_have_count(8)


@SIZES
def test_points_that_are_refused_come_back_on_pictures_that_work(
    opened: Opened, mapped: str, viewport: dict[str, int]
) -> None:
    """The swapped-in pictures show the points, take further ones, and the browser asks before they are left behind."""
    page = opened(mapped, viewport=viewport)
    page.goto(f"{MAP}/2/match")
    for n in range(2, 5):
        for name in ("reference_x", "reference_y", "x", "y"):
            page.locator(f"[name='points.{n}.{name}']").fill("")
    page.get_by_role("button", name="Save the points").click()
    expect(page.locator(".error-summary")).to_be_focused()
    reference, other = page.locator("#reference-picture"), page.locator("#other-picture")
    expect(other).to_have_class("map live whole")
    expect(reference.locator(".cross")).to_have_count(2)
    expect(page.locator("input[type=image]:visible")).to_have_count(0)

    press(page, reference, SPOTS[2])
    press(page, other, on_shot(*SPOTS[2]))

    expect(other.locator(".cross")).to_have_count(3)
    asked: list[str] = []

    def stay(dialog: Dialog) -> None:
        asked.append(dialog.type)
        dialog.dismiss()

    page.on("dialog", stay)
    page.get_by_role("link", name="Journal").click()
    assert asked == ["beforeunload"]
    page.get_by_role("button", name="Save the points").click()
    expect(page.locator("body")).to_contain_text("Matched by 3 points")


def test_enter_points_at_the_middle(opened: Opened, mapped: str) -> None:
    """And sends nothing."""
    page = opened(mapped)
    svg = map_at(page, f"{MAP}/1/place?designator=R3")
    svg.focus()
    page.keyboard.press("+")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")

    assert float(page.get_by_label("Across").input_value()) == pytest.approx(1500, abs=2)
    assert float(page.get_by_label("Down").input_value()) == pytest.approx(800, abs=2)
    expect(svg).to_be_focused()
    expect(page.get_by_label("Position")).to_have_value("R3")
