"""`python -m tests.browser.pictures`: the README's pictures, taken anew from the demo."""

import shutil
import tempfile
from io import BytesIO
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

from seed_data.demo import MERLE, fill
from server.app import open_record
from server.settings import Settings
from tests.browser.serving import serving

FOLDER = Path(__file__).parent.parent.parent / "static" / "pictures"
WIDTH, HEIGHT = 1120, 1000
SHOTS = {
    "machine.png": f"/machines/{MERLE}",
    "calculation.png": f"/machines/{MERLE}/mods/1/calculations/1",
    "comparison.png": f"/machines/{MERLE}/compare?before=1&after=3",
    "map.jpg": f"/machines/{MERLE}/boards/main-board/map?picture=2&find=R2&turn=20#map",
    "circuit.png": f"/machines/{MERLE}/mods/1/calculations/3#sweeps",
    "sheet.png": f"/machines/{MERLE}/sheet",
}


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        settings = Settings(data=Path(folder), database_url="", log_level="error", port=0)
        store = open_record(settings)
        fill(store, lambda done, total: None)  # noqa: ARG005
        store.close()
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT}, color_scheme="light")
        with serving(settings) as address:
            for name, path in SHOTS.items():
                take(page, address + path, FOLDER / name)
        browser.close()


def take(page: Page, address: str, file: Path) -> None:
    """The first screen of a page, in few colours so that the checkout stays small; one with a photograph as a JPEG."""
    page.goto(address)
    page.evaluate("document.fonts.ready")
    page.wait_for_load_state("networkidle")
    with Image.open(BytesIO(page.screenshot())) as picture:
        seen = picture.convert("RGB")
    if file.suffix == ".jpg":
        seen.save(file, quality=80, optimize=True)
    else:
        seen.quantize(64).save(file, optimize=True)


if __name__ == "__main__":
    main()
