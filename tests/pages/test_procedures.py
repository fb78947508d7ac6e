"""Pages of procedures: written down, shown with their trials, revised."""

import pytest
from starlette.testclient import TestClient

from server.records.store import Store
from tests.records import trial_scene as scene

HTMX = {"HX-Request": "true"}
TYPED = {
    "title": "Time to count to a thousand",
    "how": "Start it and the watch **together**.",
    "better": "lower",
    "unit": "ms",
    "unit_meaning": "",
    "resolution": "0,5",
    "target": "",
}
HERE = f"/procedures/{scene.TIMING}"


@pytest.fixture
def shop(client: TestClient) -> Store:
    """The record behind the client, with one procedure."""
    store: Store = client.app.state.store  # type: ignore[attr-defined]
    scene.write_timing(store)
    return store


def test_an_empty_list_says_what_to_do_next(client: TestClient) -> None:
    """Nobody is left before an empty page."""
    page = client.get("/procedures")

    assert page.status_code == 200
    assert 'href="/procedures/new">Write down the first procedure' in page.text


def test_a_procedure_is_written_down_and_shown(client: TestClient) -> None:
    """How to run it, what is read, to which step and which way is better."""
    page = client.post("/procedures/new", data=TYPED)

    assert page.status_code == 200
    assert page.url.path == HERE
    assert "<strong>together</strong>" in page.text
    assert "<dt>Read to</dt><dd>0.5 ms</dd>" in page.text
    assert "<dt>Which way is better</dt><dd>lower is better</dd>" in page.text


def test_htmx_is_sent_on_to_the_procedure(client: TestClient) -> None:
    """With the header that htmx follows, not with a redirect that it would hide."""
    answer = client.post("/procedures/new", data=TYPED, headers=HTMX)

    assert answer.status_code == 204
    assert answer.headers["HX-Redirect"].startswith(HERE)


@pytest.mark.parametrize("headers", [{}, HTMX], ids=["plain", "htmx"])
def test_what_cannot_be_stored_comes_back_as_typed(client: TestClient, headers: dict[str, str]) -> None:
    """Every value, with the message beside its field; a fragment for htmx."""
    wrong = TYPED | {"better": "nearest", "resolution": "-1", "unit": '"><b>ms'}

    page = client.post("/procedures/new", data=wrong, headers=headers)

    assert page.status_code == 422
    assert ("<!doctype" in page.text) == (not headers)
    assert 'id="f-target-error"><strong>Look again:</strong> Name the target' in page.text
    assert 'id="f-resolution-error"><strong>Look again:</strong> The resolution must be a step above 0' in page.text
    assert 'value="-1"' in page.text
    assert "&#34;&gt;&lt;b&gt;ms" in page.text
    assert "Start it and the watch **together**." in page.text


@pytest.mark.parametrize("headers", [{}, HTMX], ids=["plain", "htmx"])
@pytest.mark.usefixtures("shop")
def test_it_is_revised(client: TestClient, headers: dict[str, str]) -> None:
    """And its address stays, so that old links hold."""
    answer = client.post(f"{HERE}/edit", data=TYPED | {"title": "Counting", "opened_version": "1"}, headers=headers)

    assert answer.status_code == (204 if headers else 200)
    assert "<h1>Counting</h1>" in client.get(HERE).text


@pytest.mark.parametrize("headers", [{}, HTMX], ids=["plain", "htmx"])
@pytest.mark.usefixtures("shop")
def test_a_stale_form_shows_both_versions(client: TestClient, headers: dict[str, str]) -> None:
    """What the other keeper saved meanwhile stands beside what was typed."""
    client.post(f"{HERE}/edit", data=TYPED | {"title": "Theirs", "opened_version": "1"})

    page = client.post(f"{HERE}/edit", data=TYPED | {"title": "Yours", "opened_version": "1"}, headers=headers)

    assert page.status_code == 409
    assert "<td>Yours</td>" in page.text
    assert "<td>Theirs</td>" in page.text
    assert 'name="opened_version" value="2"' in page.text
    assert "Theirs" in client.get(HERE).text


def test_revising_says_how_many_trials_rest_on_it(client: TestClient, shop: Store) -> None:
    """Another unit does not convert what was read."""
    scene.set_up(shop)
    scene.run(shop, "2024-03-01", "500 501")

    page = client.get(f"{HERE}/edit")

    assert "1 trial was run with it." in page.text
    assert 'name="title" type="text" value="Time to count to a thousand"' in page.text


def test_it_shows_the_latest_trials_over_all_machines(client: TestClient, shop: Store) -> None:
    """Each with machine, mean and uncertainty."""
    scene.set_up(shop)
    scene.run(shop, "2024-03-01", "500 501 502")

    page = client.get(HERE)

    assert 'href="/machines/TM-03/trials/1">TM-03, trial 1</a>' in page.text
    assert '501.00 <span class="give">± 0.65</span> <span class="unit">ms</span>' in page.text
    assert f'href="/machines/TM-03/trials/new?procedure={scene.TIMING}">TM-03</a>' in page.text


@pytest.mark.usefixtures("shop")
def test_without_a_machine_it_says_what_comes_first(client: TestClient) -> None:
    """A procedure is run on something."""
    page = client.get(HERE)

    assert page.status_code == 200
    assert 'href="/machines/new">Enter a machine' in page.text


def test_one_written_for_a_trial_leads_back_to_the_trial(client: TestClient) -> None:
    """The keeper stood at the bench with readings in hand."""
    client.post("/machines/new", data={"tag": "TM-03", "model": "Merle"})

    page = client.post("/procedures/new", data=TYPED | {"machine": "TM-03"})

    assert page.url.path == "/machines/TM-03/trials/new"
    assert f'<option value="{scene.TIMING}" selected>' in page.text


def test_the_machine_it_is_written_for_stays_through_a_mistake(client: TestClient) -> None:
    """A refused form forgets nothing, hidden fields included."""
    page = client.post("/procedures/new", data=TYPED | {"title": "", "machine": "TM-03"})

    assert 'name="machine" value="TM-03"' in page.text


def test_yes_or_no_has_no_unit_to_show(client: TestClient) -> None:
    """A resolution of a yes means nothing."""
    page = client.post("/procedures/new", data={"title": "Crashes", "better": "no", "unit": "ms", "resolution": "1"})

    assert "<dt>A reading is</dt><dd>yes or no</dd>" in page.text
    assert "Read to" not in page.text
    kept = client.get("/api/v1/procedures").json()["procedures"][0]
    assert (kept["unit"], kept["resolution"]) == ("", None)


def test_an_unknown_procedure_is_not_found(client: TestClient) -> None:
    """In words, not as a trace."""
    page = client.get("/procedures/nothing")

    assert page.status_code == 404
    assert "There is no procedure “nothing”." in page.text


def test_a_resolution_and_a_target_may_bring_their_unit(client: TestClient) -> None:
    """They are kept in the procedure's, and refused where they do not measure the same."""
    typed = TYPED | {"better": "nearest", "unit": "ms", "resolution": "500 us", "target": "0,6 s"}

    wrong = client.post("/procedures/new", data=typed | {"target": "2 V"})
    client.post("/procedures/new", data=typed)

    assert wrong.status_code == 422
    assert "V and ms do not measure the same. Write a number in ms." in wrong.text
    kept = client.get("/api/v1/procedures").json()["procedures"][0]
    assert (kept["resolution"], kept["target"]) == (0.5, 600.0)


def test_what_is_counted_may_be_named_behind_the_number(client: TestClient) -> None:
    """One tick, though the unit is ticks."""
    client.post("/procedures/new", data=TYPED | {"unit": "ticks", "resolution": "1 tick"})

    assert client.get("/api/v1/procedures").json()["procedures"][0]["resolution"] == 1.0
