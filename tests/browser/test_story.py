"""The whole story at a real browser: quicker with JavaScript, the same without it."""

import pytest

from tests.browser.conftest import Opened
from tests.browser.hands import Hands
from tests.story import tell


@pytest.mark.parametrize("scripts", [True, False], ids=["with JavaScript", "without JavaScript"])
def test_the_story_can_be_told_at_a_browser(opened: Opened, empty_site: str, scripts: bool) -> None:
    """From an empty shelf to a mod that was tried, put right, compared and printed."""
    page = opened(empty_site, java_script_enabled=scripts)

    tell(Hands(page))

    assert page.url.startswith(empty_site)
