"""The invented machine with words in every private field, and links to its sheet as a keeper gives them out."""

import re
from datetime import timedelta
from html import unescape
from typing import Any

from httpx2 import Response
from sqlmodel import SQLModel, select

from server.access.share_links import shared_path
from server.access.tokens import digest_of_token, new_token
from server.records.commands.files import AddFile
from server.records.commands.loans import LendPart
from server.records.commands.photographs import AddPhotograph
from server.records.commands.share_links import MakeShareLink
from server.records.store import Store
from server.records.tables import Storage
from tests.conftest import TODAY
from tests.documents.invented import PRIVATE_WORDS, Bench, tell
from tests.records.photographs import jpeg

IN_A_MONTH = TODAY + timedelta(30)
TO_WHOM = "Nobody else, by agreement"
# A word in every private field that a record has.
SENTINELS = {
    "acquired_from": PRIVATE_WORDS[0],
    "price": PRIVATE_WORDS[1],
    "place": PRIVATE_WORDS[2],
    "to_whom": "Borrower Brindle",
    "note": "against a bottle of port",
}
FURNITURE = {"/static/favicon.svg", "/static/css/putback.css"}


def tell_in_private(store: Store) -> Bench:
    """The whole story, with a part that is lent, a photograph and a file beside."""
    bench = tell(store)
    with store.reading() as session:
        part = session.exec(select(Storage.part_id).where(Storage.place == SENTINELS["place"])).one()
    lent = {"to_whom": SENTINELS["to_whom"], "note": SENTINELS["note"], "day": "2025-06-01"}
    bench.do(LendPart, part=part, **lent)
    bench.do(AddPhotograph, on_kind="machine", on="", file_name="front.jpg", caption="Front", content=jpeg())
    bench.do(AddFile, on_kind="machine", on="", kind="other", file_name="notes.txt", content=b"notes")
    return bench


def share(bench: Bench, **typed: object) -> str:
    """Where the page is that a new link opens."""
    token = new_token()
    bench.do(MakeShareLink, **{"to_whom": TO_WHOM, "expires_on": IN_A_MONTH, "digest": digest_of_token(token)} | typed)
    return shared_path(token)


def led_to(page: Response) -> set[str]:
    """Every address that a page names in an attribute."""
    return set(map(unescape, re.findall(r'\b(?:href|src|srcset|action|formaction|hx-\w+)="([^"]*)"', page.text)))


def table(name: str) -> Any:
    return SQLModel.metadata.tables[name]
