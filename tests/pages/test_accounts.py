"""People let in: the first account closes the door, and from then on each may do what the keeper gave them."""

import re

import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.access.passwords import hashed
from server.records.commands.accounts import OpenAccount
from server.records.questions.journal import told
from server.records.store import FILES, Store
from tests.pages.benchwork import assert_sound, change_by_mod, enter_part, post, set_up, words_of

PASSWORD = "seven quiet lamps"  # noqa: S105
OTHER = "four other old lamps"
HTMX = {"HX-Request": "true"}


def opened(client: TestClient, name: str, role: str = "keeper", **more: str | list[str]) -> Response:
    typed = {"name": name, "signs_as": name.title(), "role": role, "password": PASSWORD, "again": PASSWORD, **more}
    return client.post("/people/new", data=typed, follow_redirects=False)


def signed_in(app: FastAPI, name: str, password: str = PASSWORD) -> TestClient:
    """A browser of somebody who is let in."""
    browser = TestClient(app, headers={"User-Agent": f"Browser of {name}"})
    answer = browser.post("/sign-in", data={"name": name, "password": password}, follow_redirects=False)
    assert answer.status_code == 303, words_of(answer)
    return browser


@pytest.fixture
def ada(app: FastAPI, client: TestClient) -> TestClient:
    """The first keeper, signed in to a record with two machines."""
    set_up(client)
    set_up(client, "TM-08")
    assert opened(client, "ada").status_code == 303
    return signed_in(app, "ada")


def who_wrote(app: FastAPI) -> str:
    store: Store = app.state.store
    with store.reading() as session:
        return told(session, 1).rows[0].who


def test_without_accounts_everything_is_open(client: TestClient) -> None:
    """And the pages say so."""
    set_up(client)

    assert client.get("/machines/TM-03").status_code == 200
    assert "Nobody needs to sign in here" in words_of(client.get("/sign-in"))
    assert "Nobody has an account." in words_of(client.get("/people"))
    assert client.get("/account").status_code == 404
    for page in ("/sign-in", "/people", "/people/new"):
        assert_sound(client.get(page))


def test_the_first_account_closes_the_door(client: TestClient) -> None:
    set_up(client)
    opened(client, "ada")

    answer = client.get("/machines/TM-03?page=2", follow_redirects=False)

    assert answer.status_code == 303
    assert answer.headers["location"] == "/sign-in?to=%2Fmachines%2FTM-03%3Fpage%3D2"
    page = client.get(answer.headers["location"])
    assert_sound(page)
    typed = {"name": "ada", "password": PASSWORD, "to": "/machines/TM-03?page=2"}
    back = client.post("/sign-in", data=typed, follow_redirects=False)
    assert back.headers["location"] == "/machines/TM-03?page=2"
    assert client.get("/machines/TM-03").status_code == 200


def test_the_first_account_is_told_what_is_next(client: TestClient) -> None:
    """Only a keeper's is offered, and whoever opened it is told how they come in from now on."""
    page = client.get("/people/new")
    assert_sound(page)
    assert 'type="radio"' not in page.text
    assert "member who reads" not in page.text

    answer = opened(client, "ada")
    after = client.get(answer.headers["location"])

    assert_sound(after)
    assert "You are the first keeper. From now on everybody has to sign in here" in words_of(after)
    assert 'type="password"' in after.text


def test_the_first_account_closes_every_server_of_the_record(app: FastAPI, client: TestClient) -> None:
    """One that another process opened, such as the command line, is found without a restart."""
    assert client.get("/").status_code == 200
    elsewhere = Store(app.state.store.url, app.state.settings.data / FILES)
    typed = {"name": "ada", "signs_as": "Ada", "role": "keeper", "password_hash": hashed(PASSWORD, "ada")}
    elsewhere.carry_out(OpenAccount.read(typed), "Ada")
    elsewhere.close()

    assert client.get("/", follow_redirects=False).headers["location"] == "/sign-in"
    assert client.post("/machines/new", data={"tag": "TM-09"}, follow_redirects=False).headers["location"] == "/sign-in"
    assert signed_in(app, "ada").get("/").status_code == 200


def test_the_first_account_has_to_be_a_keeper_s(client: TestClient) -> None:
    answer = opened(client, "ada", "member who reads")

    assert answer.status_code == 422
    assert "The first account is a keeper’s" in words_of(answer)
    assert client.get("/").status_code == 200


@pytest.mark.usefixtures("ada")
def test_what_nobody_has_to_sign_in_for(app: FastAPI) -> None:
    stranger = TestClient(app)

    for address in ("/healthz", "/sign-in", "/verify", "/robots.txt", "/static/css/putback.css"):
        assert stranger.get(address, follow_redirects=False).status_code == 200
    assert stranger.get("/shared/" + "x" * 32).status_code == 404
    assert stranger.get("/verify/0123456789ab", follow_redirects=False).status_code == 404


@pytest.mark.usefixtures("ada")
def test_a_stranger_writes_nothing(app: FastAPI) -> None:
    stranger, before = TestClient(app), who_wrote(app)

    plain = stranger.post("/machines/TM-03/mods/new", data={"title": "x"}, follow_redirects=False)
    htmx = stranger.post("/machines/TM-03/mods/new", data={"title": "x"}, headers=HTMX)
    script = stranger.post("/api/v1/machines/TM-03/trials", json={})

    assert (plain.status_code, plain.headers["location"]) == (303, "/sign-in")
    assert (htmx.status_code, htmx.headers["hx-redirect"]) == (204, "/sign-in")
    assert (script.status_code, script.json()) == (401, {"detail": "Sign in first. Nothing was changed."})
    assert before == who_wrote(app)


def test_what_is_written_is_signed_by_who_is_signed_in(ada: TestClient, app: FastAPI) -> None:
    """Who is named on every page, with the way out."""
    page = ada.get("/")
    assert "Ada" in words_of(page)
    assert 'action="/sign-out"' in page.text

    ada.post("/procedures/new", data={"title": "Timing", "better": "lower"})

    assert who_wrote(app) == "Ada"


def test_a_member_reads_everything_and_writes_nothing(ada: TestClient, app: FastAPI) -> None:
    opened(ada, "ida", "member who reads")
    ida = signed_in(app, "ida")

    assert ida.get("/machines/TM-03").status_code == 200
    for address in ("/machines/TM-03/boards/new", "/machines/new", "/people/new", "/dossiers/import"):
        answer = ida.post(address, data={"name": "x"})
        assert answer.status_code == 403
        assert "Nothing was changed." in words_of(answer)
        assert_sound(answer)
    assert ida.get("/people").status_code == 403
    assert ida.post("/api/v1/machines/TM-03/trials", json={}).status_code == 403


def test_a_keeper_of_one_machine_writes_about_that_one(ada: TestClient, app: FastAPI) -> None:
    opened(ada, "ida", "keeper of some machines", machines=["TM-03"])
    ida = signed_in(app, "ida")
    typed = {"name": "Drive", "kind": "drive"}

    own = ida.post("/machines/tm-03/boards/new", data=typed, follow_redirects=False)
    other = ida.post("/machines/TM-08/boards/new", data=typed)

    assert own.status_code == 303
    assert other.status_code == 403
    assert "Ask a keeper of this machine." in words_of(other)
    assert ida.get("/machines/TM-08").status_code == 200


def test_signing_out_ends_it(ada: TestClient, app: FastAPI) -> None:
    cookie = dict(ada.cookies)

    answer = ada.post("/sign-out", follow_redirects=False)

    assert answer.headers["location"] == "/sign-in"
    assert ada.get("/", follow_redirects=False).status_code == 303
    assert TestClient(app, cookies=cookie).get("/", follow_redirects=False).status_code == 303


@pytest.mark.usefixtures("ada")
def test_the_cookie_is_for_this_house_alone(app: FastAPI) -> None:
    """No script reads it, no other site sends it, and over https it is this very host's."""
    typed = {"name": "ada", "password": PASSWORD}
    plain = TestClient(app).post("/sign-in", data=typed, follow_redirects=False).headers["set-cookie"]
    safe = TestClient(app, base_url="https://testserver")
    answer = safe.post("/sign-in", data=typed, follow_redirects=False)

    assert re.fullmatch(r"putback=[\w.-]+; HttpOnly; Max-Age=1209600; Path=/; SameSite=lax", plain)
    assert answer.headers["set-cookie"].startswith("__Host-putback=")
    assert answer.headers["set-cookie"].endswith("Secure")
    assert safe.get("/").status_code == 200


@pytest.mark.usefixtures("ada")
@pytest.mark.parametrize("headers", [{}, HTMX], ids=["plain", "htmx"])
def test_a_wrong_password_is_told_and_the_name_kept(app: FastAPI, headers: dict[str, str]) -> None:
    typed = {"name": "ada", "password": "wrong", "to": "/journal"}
    answer = TestClient(app).post("/sign-in", data=typed, headers=headers)

    assert answer.status_code == 422
    assert "That name and password do not belong together." in words_of(answer)
    assert 'value="ada"' in answer.text
    assert 'value="/journal"' in answer.text
    assert "wrong" not in answer.text


@pytest.mark.usefixtures("ada")
@pytest.mark.parametrize(
    "to",
    ["https://example.org/", "//example.org", "/\\example.org", "javascript:alert(1)", "", "/sign-out", "/a\nb", "//["],
)
def test_nobody_is_sent_elsewhere_after_signing_in(app: FastAPI, to: str) -> None:
    typed = {"name": "ada", "password": PASSWORD, "to": to}

    assert TestClient(app).post("/sign-in", data=typed, follow_redirects=False).headers["location"] == "/"


def test_one_changes_ones_own_password(ada: TestClient, app: FastAPI) -> None:
    """This browser stays signed in, every other is not."""
    elsewhere = signed_in(app, "ada")
    assert_sound(ada.get("/account"))

    wrong = ada.post("/account/password", data={"old": "x", "password": OTHER, "again": OTHER})
    differs = ada.post("/account/password", data={"old": PASSWORD, "password": OTHER, "again": "x"})
    short = ada.post("/account/password", data={"old": PASSWORD, "password": "x", "again": "x"})
    done = ada.post("/account/password", data={"old": PASSWORD, "password": OTHER, "again": OTHER}, headers=HTMX)

    assert [answer.status_code for answer in (wrong, differs, short, done)] == [422, 422, 422, 204]
    assert "This is not your password." in words_of(wrong)
    assert "This is another one than the one above." in words_of(differs)
    assert ada.get("/account").status_code == 200
    assert elsewhere.get("/account", follow_redirects=False).status_code == 303
    assert signed_in(app, "ada", OTHER)


def test_one_sees_where_one_is_signed_in_and_ends_it(ada: TestClient, app: FastAPI) -> None:
    elsewhere = signed_in(app, "ada")
    page = ada.get("/account")
    assert words_of(page).count("Browser of ada") == 2
    (ends,) = re.findall(r'action="(/account/sign-ins/\d+/end)"', page.text)

    assert ada.post(ends, follow_redirects=False).status_code == 303

    assert elsewhere.get("/", follow_redirects=False).status_code == 303
    assert ada.get("/").status_code == 200
    assert ada.post(ends).status_code == 404


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"name": "a b"}, "A name to sign in with is up to 40 letters"),
        ({"name": "ADA"}, "Somebody signs in as ADA already."),
        ({"signs_as": ""}, "This cannot be left empty."),
        ({"role": "king"}, "Choose one of the words offered"),
        ({"password": "short", "again": "short"}, "A password has at least 12 characters"),
        ({"again": "another one"}, "This is another one than the one above."),
        ({"machines": "TM-99", "role": "keeper of some machines"}, "There is no machine “tm-99”."),
        ({"machines": "TM-03", "role": "keeper"}, "A keeper is given no machines."),
    ],
)
@pytest.mark.parametrize("headers", [{}, HTMX], ids=["plain", "htmx"])
def test_what_will_not_do_is_told_beside_its_field(
    ada: TestClient, typed: dict[str, str], said: str, headers: dict[str, str]
) -> None:
    usual = {"name": "ida", "signs_as": "Ida", "role": "member who reads", "password": PASSWORD, "again": PASSWORD}

    answer = ada.post("/people/new", data=usual | typed, headers=headers)

    assert answer.status_code == 422
    assert said in words_of(answer)
    assert PASSWORD not in answer.text


def test_an_account_is_revised_closed_and_opened_again(ada: TestClient, app: FastAPI) -> None:
    opened(ada, "ida", "member who reads")
    ida = signed_in(app, "ida")
    assert_sound(ada.get("/people"))
    assert_sound(ada.get("/people/ida"))
    keeps = {"signs_as": "Ida Quern", "role": "keeper of some machines", "machines": "TM-08", "opened_version": "1"}

    assert ada.post("/people/ida", data=keeps, follow_redirects=False).status_code == 303
    assert "Ida Quern" in words_of(ada.get("/people"))
    assert "TM-08" in words_of(ada.get("/people"))
    stale = ada.post("/people/ida", data=keeps)
    assert ada.post("/people/ida/close", data={"opened_version": "2"}, follow_redirects=False).status_code == 303
    assert ida.get("/", follow_redirects=False).status_code == 303
    assert ada.post("/people/ida/reopen", data={"opened_version": "3"}, follow_redirects=False).status_code == 303
    assert ida.get("/").status_code == 200
    assert stale.status_code == 409
    assert ada.get("/people/nobody").status_code == 404


def test_a_keeper_gives_another_password(ada: TestClient, app: FastAPI) -> None:
    opened(ada, "ida", "member who reads")

    short = ada.post("/people/ida/password", data={"password": "x", "again": "x"})
    differs = ada.post("/people/ida/password", data={"password": OTHER, "again": "x"})
    assert "This is another one than the one above." in words_of(differs)
    assert short.status_code == 422
    assert "A password has at least 12 characters" in words_of(short)
    typed = {"password": OTHER, "again": OTHER}
    assert ada.post("/people/ida/password", data=typed, follow_redirects=False).status_code == 303

    assert signed_in(app, "ida", OTHER).get("/").status_code == 200


def test_somebody_always_keeps_everything(ada: TestClient) -> None:
    """The last keeper is neither closed nor made a member."""
    closing = ada.post("/people/ada/close", data={"opened_version": "1"})
    typed = {"signs_as": "Ada", "role": "member who reads", "opened_version": "1"}
    revising = ada.post("/people/ada", data=typed)

    assert (closing.status_code, revising.status_code) == (422, 422)
    assert "Nobody would be left who may keep everything." in words_of(closing)
    assert ada.get("/people").status_code == 200


def test_a_part_is_written_about_by_who_keeps_its_machine(ada: TestClient, app: FastAPI) -> None:
    part = {"board": "main-board", "designator": "R1", "origin": "original", "kind": "resistor", "mounting": "soldered"}
    for tag in ("TM-03", "TM-08"):
        assert ada.post(f"/machines/{tag}/parts/new", data=part, follow_redirects=False).status_code == 303
    opened(ada, "ida", "keeper of some machines", machines=["TM-08"])
    ida = signed_in(app, "ida")
    typed = {"kind": "resistor", "origin": "original", "value": "1 kΩ", "opened_version": "1"}

    answers = [
        ida.post(f"/parts/{number}/edit", data=typed, follow_redirects=False).status_code for number in (1, 2, 9)
    ]

    assert answers == [403, 303, 403]


def test_another_machine_s_kept_original_is_not_fitted_by_who_does_not_keep_it(ada: TestClient, app: FastAPI) -> None:
    for tag in ("TM-03", "TM-08"):
        enter_part(ada, "R1", tag)
    change_by_mod(app.state.store)  # part 1, of TM-03, lies in a bag
    opened(ada, "ida", "keeper of some machines", machines=["TM-08"])
    ida = signed_in(app, "ida")
    post(ida, "/machines/TM-08/mods/new", title="Borrow", state="planned", day="2024-04-01", signer="Ida")
    step = {"kind": "take out", "board": "main-board", "designator": "R1"}
    post(ida, "/machines/TM-08/mods/1/steps/new", **step)
    post(ida, "/machines/TM-08/mods/1/steps/new", **(step | {"kind": "fit"}))
    done = {"day": "2024-04-01", "signer": "Ida", "becomes": "bag", "place": "Drawer 5"}
    assert post(ida, "/machines/TM-08/mods/1/steps/1/do", **done).status_code == 303

    refused = post(ida, "/machines/TM-08/mods/1/steps/2/do", **done, bagged_part="1")
    own = post(ida, "/machines/TM-08/mods/1/steps/2/do", **done, bagged_part="2")
    unknown = post(ida, "/machines/TM-08/mods/1/steps/2/undo", **done, bagged_part="99999")

    assert (refused.status_code, own.status_code, unknown.status_code) == (403, 303, 303)


def test_a_step_on_a_board_that_went_to_another_machine_is_done_by_who_keeps_that(
    ada: TestClient, app: FastAPI
) -> None:
    opened(ada, "ida", "keeper of some machines", machines=["TM-03"])
    ida = signed_in(app, "ida")
    post(ada, "/machines/TM-03/boards/new", name="Card", kind="expansion")
    enter_part(ada, "R1", board="card")
    post(ida, "/machines/TM-03/mods/new", title="Change", state="planned", day="2024-04-01", signer="Ida")
    post(ida, "/machines/TM-03/mods/1/steps/new", kind="take out", board="card", designator="R1")
    done = {"day": "2024-04-01", "signer": "Ida", "becomes": "bag", "place": "Drawer 5"}
    post(ida, "/machines/TM-03/mods/1/steps/1/do", **done)
    post(ida, "/machines/TM-03/mods/1/move", state="fitted", day="2024-04-01", signer="Ida")
    moved = post(ada, "/machines/TM-03/boards/card/move", to="TM-08", day="2024-05-01", signer="Ada")
    assert moved.status_code == 303, words_of(moved)

    answers = [
        post(who, f"/machines/TM-03/mods/1/steps/{what}", **done | {"day": "2024-06-01"}).status_code
        for who, what in ((ida, "1/drop"), (ida, "1/undo"), (ida, "1/to/1"), (ada, "1/undo"))
    ]

    assert answers == [403, 403, 403, 303]
