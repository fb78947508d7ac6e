"""What tests of boards and parts do over and over: a machine with a board, parts on it, and looking at a page."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from html import unescape
from itertools import pairwise

from httpx2 import Response
from sqlalchemy import event
from starlette.testclient import TestClient

from server.records.commands.mods import PlanMod
from server.records.commands.steps import AddStep, CarryOutStep
from server.records.store import Store

HTMX = {"HX-Request": "true"}
HOSTILE = "<script>alert('x')</script>\" onmouseover=\"x {{ 7*7 }} \u202e ../../etc"


def set_up(client: TestClient, tag: str = "TM-03", board: str = "Main board", **about: str) -> str:
    """Enter a machine and a board; the board's address."""
    post(client, "/machines/new", tag=tag, model="Test machine", hazards="display tube")
    added = post(client, f"/machines/{tag}/boards/new", name=board, kind="main board", hazards="static", **about)
    return address_of(added)


def post(client: TestClient, address: str, htmx: bool = False, /, **typed: str) -> Response:
    return client.post(address, data=typed, headers=HTMX if htmx else {}, follow_redirects=False)


def enter_part(client: TestClient, designator: str, tag: str = "TM-03", **about: str) -> Response:
    typed = {"board": "main-board", "designator": designator, "kind": "", "origin": "original", "mounting": "", **about}
    return post(client, f"/machines/{tag}/parts/new", **typed)


def change_by_mod(store: Store, designator: str = "R1") -> None:
    """Take what sits at a position out into a bag and fit 1 kΩ, by the steps of a mod."""
    day = {"day": "2024-03-01", "signer": "keeper"}
    store.carry_out(PlanMod.read({"machine": "TM-03", "title": "Test", "state": "planned", **day}), "keeper")
    for number, kind, fitted in ((1, "take out", {"place": "Drawer 4"}), (2, "fit", {"value": "1 kΩ"})):
        step = {"machine": "TM-03", "mod": 1}
        planned = {**step, "kind": kind, "board": "main-board", "designator": designator}
        store.carry_out(AddStep.read(planned), "keeper")
        store.carry_out(CarryOutStep.read({**step, "step": number, **day, **fitted}), "keeper")


def address_of(answer: Response) -> str:
    """Where a write goes on to, without the number of what was written."""
    assert answer.status_code in (303, 204), answer.text
    address = answer.headers["location"] if answer.status_code == 303 else answer.headers["hx-redirect"]
    return re.sub(r"[?&]written=\d+", "", address)


def words_of(answer: Response) -> str:
    """A page as it reads, without its tags."""
    text = re.sub(r"<(script|style|svg)\b.*?</\1>", " ", answer.text, flags=re.DOTALL)
    text = re.sub(r"</?(?:a|span|strong|em|time)\b[^>]*>", "", text)
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", text)).split())


def rows_of(answer: Response) -> list[list[str]]:
    """The cells of a page's tables, row by row, without their headings."""
    rows = []
    for row in re.findall(r"<tr[^>]*>(.*?)</tr>", answer.text, re.DOTALL):
        if "<td" in row:
            cells = re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL)
            rows.append([" ".join(unescape(re.sub(r"<[^>]*>", " ", cell)).split()) for cell in cells])
    return rows


def typed_in(answer: Response, name: str) -> str:
    """What a field holds."""
    for tag in re.findall(rf'<(?:input|textarea|select)[^>]*name="{name}"[^>]*>', answer.text):
        if tag.startswith("<input"):
            if value := re.search(r'value="([^"]*)"', tag):
                return unescape(value[1])
            continue  # the search in the masthead, say
        start = answer.text.index(tag) + len(tag)
        body = answer.text[start:]
        if tag.startswith("<textarea"):
            return unescape(body[: body.index("</textarea>")]).removeprefix("\n")
        chosen = re.search(r'value="([^"]*)" selected', body[: body.index("</select>")])
        return unescape(chosen[1]) if chosen else ""
    raise AssertionError(f"the page has no field {name}")


def message_beside(answer: Response, name: str) -> str:
    """The message of a field, found by the id that its control names."""
    found = re.search(rf'<p class="error" id="f-{name}-error">(.*?)</p>', answer.text, re.DOTALL)
    assert found, f"no message beside {name}"
    assert f"f-{name}-error" in answer.text.replace(found[0], "")
    return unescape(re.sub(r"<[^>]*>", "", found[1]))


def assert_sound(answer: Response) -> None:
    """One h1, headings that skip no level, nothing inline that the policy forbids, no hostile markup let through."""
    levels = [int(level) for level in re.findall(r"<h([1-6])\b", answer.text)]
    assert levels[:1] == [1]
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    tags = [re.sub(r'"[^"]*"', '""', tag) for tag in re.findall(r'<[a-z](?:"[^"]*"|[^>"])*>', answer.text)]
    assert not [tag for tag in tags if re.search(r"<script(?!.* src=)|<style|\sstyle=|\son[a-z]+=", tag)]
    ids = re.findall(r'\bid="([^"]*)"', answer.text)
    assert sorted(set(ids)) == sorted(ids)


@contextmanager
def queries(store: Store) -> Iterator[list[str]]:
    """The statements that are run meanwhile."""
    run: list[str] = []

    def heard(_connection: object, _cursor: object, statement: str, *_: object) -> None:
        run.append(statement)

    event.listen(store.engine, "before_cursor_execute", heard)
    yield run
    event.remove(store.engine, "before_cursor_execute", heard)
