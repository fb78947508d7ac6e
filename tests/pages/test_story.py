"""The whole story, told through the pages without a browser."""

from starlette.testclient import TestClient

from tests.pages.clicking import Clicker
from tests.pages.walking import faults_of_record
from tests.story import tell


def test_the_story_can_be_told_through_the_pages(client: TestClient) -> None:
    """From an empty shelf to a mod that was tried, put right, compared and printed; the record is whole afterwards."""
    tell(Clicker(client))

    assert faults_of_record(client) == []
