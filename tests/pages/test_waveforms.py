"""Pages of waveforms: recorded from a file, shown as a trace with figures, revised, taken away again as a file."""

import re
from typing import Any
from urllib.parse import unquote

import numpy as np
import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.app import create_app
from server.documents.drawing import PictureError
from server.engineering.quantities import Toleranced, parse
from server.pages.trace_picture import Band, LevelLine, Trace, trace_view
from server.pages.traces import amount_of
from server.records.commands.mods import PlanMod
from server.records.store import Store
from server.settings import Settings
from tests.conftest import TODAY
from tests.pages.benchwork import (
    HOSTILE,
    HTMX,
    address_of,
    assert_sound,
    message_beside,
    rows_of,
    set_up,
    typed_in,
    words_of,
)
from tests.records.captures import as_file, clocked, falling, ramping
from tests.records.trial_scene import fit_mod, undo_mod

BOTH_WAYS = pytest.mark.parametrize("headers", [{}, HTMX], ids=["plain", "htmx"])
BASE = "/machines/TM-03"
ALL, NEW, FIRST = f"{BASE}/waveforms", f"{BASE}/waveforms/new", f"{BASE}/waveforms/1"
SAID = {
    "title": "Rail at switch-off",
    "day": "2025-02-05",
    "signer": "Test keeper",
    "probed_at": "C3 against ground",
    "instrument": "old scope",
    "conditions": "21 °C",
    "note": "",
    "fit_from": "",
    "fit_to": "",
}


@pytest.fixture(autouse=True)
def machine(client: TestClient) -> None:
    set_up(client)


@pytest.fixture
def store(app: FastAPI) -> Store:
    store: Store = app.state.store
    return store


def send(
    client: TestClient,
    content: bytes | None = None,
    name: str = "rail.csv",
    headers: dict[str, str] | None = None,
    /,
    **said: str,
) -> Response:
    """Send the form with a file, as a browser does."""
    chosen = {"capture": (name, falling() if content is None else content, "text/csv")}
    return client.post(NEW, data=SAID | said, files=chosen, headers=headers or {}, follow_redirects=False)


def plan(store: Store) -> None:
    said = {"title": "More reservoir", "state": "planned", "day": "2025-01-05", "signer": "keeper", "machine": "TM-03"}
    store.carry_out(PlanMod.read(said), "keeper")


# ---- The list ----


def test_an_empty_list_says_what_to_bring(client: TestClient) -> None:
    """And where. The machine's cautions stand here as everywhere."""
    page = client.get(ALL)

    assert f'href="{NEW}">Record the first waveform' in page.text
    assert "comma-separated values" in page.text
    assert "display tube" in page.text.lower()
    assert_sound(page)


@BOTH_WAYS
def test_each_waveform_is_told_with_the_figures_that_tell_most(client: TestClient, headers: dict[str, str]) -> None:
    """A clock by its period, a rail that falls by its time constant, each with its uncertainty."""
    send(client)
    send(client, clocked(), title="Clock", day="2025-02-06")

    page = client.get(ALL, headers=headers)
    words = words_of(page)
    assert ("<!doctype" in page.text.lower()) == (not headers)
    assert words.index("Waveform 2, Clock") < words.index("Waveform 1, Rail at switch-off")
    assert re.search(r"period [\d.]+ ± [\d.]+ ms, duty cycle 40\.\d+ ± [\d.]+ %", words)
    assert re.search(r"time constant 39\d\.\d+ ± 0\.\d+ ms|time constant 40\d\.\d+ ± 0\.\d+ ms", words)
    assert "2,000 samples, probed at C3 against ground" in words
    assert_sound(page)


def test_the_list_has_pages(client: TestClient) -> None:
    """Fifty on one."""
    for _ in range(51):
        send(client, ramping(20))

    assert f'href="{ALL}?page=2"' in client.get(ALL).text
    assert "Waveform 1, Rail" in client.get(f"{ALL}?page=2").text


@pytest.mark.parametrize("path", ["", "/parts", "/trials", "/waveforms", "/history"])
def test_every_page_of_the_machine_leads_here(client: TestClient, path: str) -> None:
    """Beside the trials."""
    text = client.get(f"{BASE}{path}").text

    assert text.index(f'href="{BASE}/trials"') < text.index(f'href="{ALL}"') < text.index(f'href="{BASE}/way-back"')


# ---- Recording ----


def test_the_form_knows_today_and_the_signer_and_warns_of_the_ground_clip(client: TestClient) -> None:
    """The stretch of a decay says when it is needed."""
    page = client.get(NEW)

    assert f'value="{TODAY}"' in page.text
    assert typed_in(page, "signer") == "Test keeper"
    assert 'accept=".csv,.tsv,.txt,text/csv,text/plain"' in page.text
    assert "joined to protective earth" in words_of(page)
    assert "The stretch of a decay Only needed where a rail falls" in words_of(page)
    assert_sound(page)


@BOTH_WAYS
def test_a_waveform_is_recorded_and_shown(client: TestClient, headers: dict[str, str]) -> None:
    """On to its own page."""
    answer = send(client, None, "rail.csv", headers)

    assert answer.status_code == (204 if headers else 303)
    assert address_of(answer) == FIRST
    page = client.get(FIRST)
    words = words_of(page)
    assert "2,000 samples, probed at C3 against ground." in words
    assert "Decay fitted from 2" in words
    assert "as the fit found it" in words
    assert "rail.csv" in words
    assert "No calculation yet." in words
    assert_sound(page)


@BOTH_WAYS
@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "rail.csv is empty. Save the capture again, and choose that file."),
        (b"\x89PNG\r\n\x1a\n\0\0", "The file is not text; save the capture as comma-separated values."),
        (
            b"t,v\n" + b"".join(b"%d,1\n" % at for at in range(9)) + b"9,2,3\n",
            "In line 11, there are 3 columns where the",
        ),
        (b"a story\nof a rail\n", "There are no readings in the file: no line has two columns"),
    ],
)
def test_what_is_no_capture_is_told_beside_the_file(
    client: TestClient, headers: dict[str, str], content: bytes, said: str
) -> None:
    """With everything else still typed, and a word that the browser has let go of the file."""
    page = send(client, content, "rail.csv", headers, note="seen <twice>")

    assert page.status_code == 422
    assert ("<!doctype" in page.text.lower()) == (not headers)
    assert said in message_beside(page, "capture")
    assert "Choose the file again: a browser does not keep it" in words_of(page)
    assert [typed_in(page, name) for name in SAID] == [*[*SAID.values()][:6], "seen <twice>", "", ""]
    assert client.get(FIRST).status_code == 404
    assert_sound(page)


def test_no_file_chosen_is_told(client: TestClient) -> None:
    """Whether the browser sends an empty part or none at all, or text in its place."""
    said = "Choose the file that the scope saved."

    for page in (
        send(client, b"", ""),
        client.post(NEW, data=SAID),
        client.post(NEW, data=SAID | {"capture": "0,1\n1,2", "content": "x", "file_name": "x"}),
    ):
        assert page.status_code == 422
        assert message_beside(page, "capture").endswith(said)


@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"title": ""}, "title", "This cannot be left empty."),
        ({"day": "soon"}, "day", "Write the day as year-month-day"),
        ({"fit_from": "soon"}, "fit_from", "Write a number."),
        ({"fit_from": "1.9999"}, "fit_from", "too few samples"),
        ({"fit_to": "0"}, "fit_to", "too few samples"),
    ],
)
def test_a_good_file_beside_a_bad_field_has_to_be_chosen_again(
    client: TestClient, typed: dict[str, str], field: str, said: str
) -> None:
    """The form cannot hold it; the text beside its field says so."""
    page = send(client, None, "rail.csv", {}, **typed)

    assert page.status_code == 422
    assert said in message_beside(page, field)
    assert "Choose the file again" in words_of(page)
    assert typed_in(page, field) == typed[field]


@BOTH_WAYS
def test_a_file_over_the_servers_limit_is_refused(app: FastAPI, headers: dict[str, str]) -> None:
    """Before it is read."""
    settings: Settings = app.state.settings
    with TestClient(create_app(settings.model_copy(update={"upload_most_mb": 1}))) as client:
        page = send(client, falling() + b"\n" * 1_000_000, "rail.csv", headers)

    assert page.status_code == 413
    assert "1 MB" in words_of(page) or "larger" in words_of(page)


# ---- One waveform ----


def test_every_figure_has_its_uncertainty_or_its_reason(client: TestClient) -> None:
    """Figures that are missing for one reason stand on one line."""
    send(client)

    rows = {row[0]: row[1] for row in rows_of(client.get(FIRST))}
    assert re.fullmatch(r"(39|40)\d\.\d+ ± 0\.\d+ ms", rows["Time constant"])
    assert re.fullmatch(r"1[12]\.\d+ ± 0\.0\d+ V", rows["High level"])
    assert any(re.fullmatch(r"Voltage at the start of the fit \(2\d\d\.?\d? ms\)", words) for words in rows)
    assert rows["Period, frequency, duty cycle"].startswith("none. No whole cycle is in the capture")
    assert rows["Rise time"] == "none. The trace never rises from one level to the other."


def test_the_trace_is_drawn_with_its_levels_and_its_decay(client: TestClient) -> None:
    """In words too, for whoever does not see it."""
    send(client)
    text = client.get(FIRST).text

    assert text.count('<path class="band"') == text.count('<path class="fitted"') == 1
    assert text.count('<path class="level"') == 2
    assert 'role="img" aria-labelledby="trace-title"' in text
    assert '<title id="trace-title">Voltage over time, with the fitted decay</title>' in text
    caption = words_of(client.get(FIRST)).replace("\N{NO-BREAK SPACE}", " ")
    assert "From 0 to 1.999 s, between " in caption
    assert "The fitted decay has a time constant of " in caption
    assert re.search(r"The fit begins at 1[01]\.\d+ ± 0\.0\d+ V \(2\d\d\.?\d? ms\) and goes towards ", caption)
    assert "It is drawn in 286 columns, each from the lowest to the highest of some 7 samples;" in caption
    assert "Dashed: the decay as it was fitted." in caption


def test_few_samples_are_drawn_one_by_one_and_a_still_trace_is_at_one_voltage(client: TestClient) -> None:
    """No envelope is spoken of where there is none, and no range of nothing."""
    send(client, as_file(np.arange(20) / 20, np.full(20, 5.0)))
    page = client.get(FIRST)

    assert '<path class="trace"' in page.text
    assert "columns" not in words_of(page)
    assert "From 0 to 950 ms, at 5 V throughout." in words_of(page).replace("\N{NO-BREAK SPACE}", " ")


def test_a_square_wave_with_a_sample_on_its_edge_is_told_its_levels(client: TestClient) -> None:
    """And never that it stays half-way."""
    time = np.arange(5_000) * 1e-6
    send(client, as_file(time, 2.5 + 2.5 * np.sign(np.sin(2 * np.pi * 1_000 * time))))
    caption = words_of(client.get(FIRST)).replace("\N{NO-BREAK SPACE}", " ")

    assert "Its levels are 0 V and 5 V. It repeats after 1.0000" in caption
    assert "It stays at" not in caption


def test_a_trace_without_a_decay_is_drawn_without_one(client: TestClient) -> None:
    """And claims none."""
    send(client, ramping())
    page = client.get(FIRST)

    assert 'class="fitted"' not in page.text
    assert "Dashed" not in words_of(page)
    assert "Decay fitted none" in words_of(page)


def test_the_mods_in_force_that_day_are_shown(client: TestClient, store: Store) -> None:
    """By the days of their moves, as links."""
    fit_mod(store, 1, "2025-02-01", "More reservoir")
    undo_mod(store, 1, "2025-02-10")
    send(client)
    send(client, day="2025-02-11")

    link = f'<a href="{BASE}/mods/1">1 More reservoir</a>'
    assert link in client.get(FIRST).text
    assert link not in client.get(f"{ALL}/2").text
    assert "Mods in force then none" in words_of(client.get(f"{ALL}/2"))


@pytest.mark.parametrize("path", ["/waveforms/9", "/waveforms/9/edit", "/waveforms/9/file", "/waveforms/99999999999"])
def test_a_waveform_that_is_not_there_is_not_found(client: TestClient, path: str) -> None:
    """In words."""
    assert client.get(f"{BASE}{path}").status_code == 404


# ---- The file ----


def test_the_file_comes_back_byte_for_byte(client: TestClient) -> None:
    """As something to save, never as a page."""
    send(client)
    answer = client.get(f"{FIRST}/file")

    assert answer.content == falling()
    assert answer.headers["content-type"] == "text/csv"
    assert answer.headers["content-disposition"] == "attachment; filename=\"rail.csv\"; filename*=UTF-8''rail.csv"
    assert answer.headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\Scope\\rail 5 V.csv", "rail 5 V.csv"),
        ("…/Wellenform ä.csv", "Wellenform ä.csv"),
        ("\u202evsc.exe", "vsc.exe"),
        ("..", "capture.csv"),
        (".hidden", "hidden"),
        ('a";\u00a0filename=b.csv', "a%22;\u00a0filename=b.csv"),  # a browser sends a quotation mark so
        ("x" * 400 + ".csv", "x" * 296 + ".csv"),
        (HOSTILE, "etc"),
    ],
)
def test_a_file_name_is_only_a_name(client: TestClient, store: Store, sent: str, kept: str) -> None:
    """Folders are left out, and it comes back whole and in plain letters (RFC 6266)."""
    send(client, None, sent)

    said = client.get(f"{FIRST}/file").headers["content-disposition"]
    found = re.fullmatch(r"attachment; filename=\"([A-Za-z0-9._-]+)\"; filename\*=UTF-8''([A-Za-z0-9._~%-]+)", said)
    assert found
    assert unquote(found[2]) == kept
    assert [path.name for path in store.files.root.rglob("*") if path.is_file()] == [
        re.search(r"[0-9a-f]{64}", client.get(FIRST).text)[0]  # type: ignore[index]
    ]
    assert_sound(client.get(FIRST))


@pytest.mark.parametrize("harm", ["changed", "gone"])
def test_a_damaged_file_is_not_given_out(client: TestClient, store: Store, harm: str) -> None:
    """Its page stays, as does all that was read from it."""
    send(client)
    place = next(path for path in store.files.root.rglob("*") if path.is_file())
    if harm == "gone":
        place.unlink()
    else:
        place.write_bytes(b"0,1\n")
    page = client.get(f"{FIRST}/file")

    assert page.status_code == 500
    assert "no longer holds" in words_of(page) or "cannot be read" in words_of(page)
    assert client.get(FIRST).status_code == 200


# ---- Revising ----


@BOTH_WAYS
def test_a_waveform_is_revised(client: TestClient, headers: dict[str, str]) -> None:
    """What is said of it, and the stretch of its decay, in the file's unit of time."""
    send(client)
    form = client.get(f"{FIRST}/edit")
    assert [typed_in(form, name) for name in SAID] == [*SAID.values()]
    assert "In s." in words_of(form)
    assert 'type="file"' not in form.text
    assert_sound(form)

    answer = client.post(
        f"{FIRST}/edit",
        data=SAID | {"opened_version": "1", "title": "Main rail", "fit_from": "0.5", "fit_to": "1,5"},
        headers=headers,
        follow_redirects=False,
    )

    assert address_of(answer) == FIRST
    words = words_of(client.get(FIRST))
    assert "Waveform 1 Main rail" in words
    assert "from 500 ms to 1.5 s, as given" in words


@BOTH_WAYS
def test_a_bad_revision_comes_back_as_typed(client: TestClient, headers: dict[str, str]) -> None:
    """And nothing was changed."""
    send(client)
    typed = SAID | {"opened_version": "1", "title": HOSTILE, "fit_from": "1.9999"}
    page = client.post(f"{FIRST}/edit", data=typed, headers=headers)

    assert page.status_code == 422
    assert "too few samples" in message_beside(page, "fit_from")
    assert typed_in(page, "title") == HOSTILE
    assert "Rail at switch-off" in client.get(FIRST).text
    assert_sound(page)


@BOTH_WAYS
def test_a_stale_revision_shows_both(client: TestClient, headers: dict[str, str]) -> None:
    """And can be saved over once it was seen."""
    send(client)
    client.post(f"{FIRST}/edit", data=SAID | {"opened_version": "1", "title": "Theirs"})
    typed = SAID | {"opened_version": "1", "title": "Mine"}
    page = client.post(f"{FIRST}/edit", data=typed, headers=headers)

    assert page.status_code == 409
    assert ["title differs", "Mine", "Theirs"] in rows_of(page)
    again = client.post(
        f"{FIRST}/edit", data=typed | {"opened_version": typed_in(page, "opened_version")}, follow_redirects=False
    )
    assert address_of(again) == FIRST
    assert "Mine" in client.get(FIRST).text


def test_a_revision_of_a_damaged_file_keeps_what_was_typed(client: TestClient, store: Store) -> None:
    """The fit needs the file; the words would not."""
    send(client)
    next(path for path in store.files.root.rglob("*") if path.is_file()).unlink()
    page = client.post(f"{FIRST}/edit", data=SAID | {"opened_version": "1", "fit_from": "0.5"})

    assert page.status_code == 422
    assert "rail.csv cannot be read any more" in words_of(page)
    assert typed_in(page, "fit_from") == "0.5"


# ---- In a sum ----

SUM = {
    "title": "Reservoir",
    "inputs.0.name": "tau",
    "inputs.0.source": "waveform",
    "inputs.0.figure": "1:tau",
    "inputs.1.name": "R",
    "inputs.1.source": "typed",
    "inputs.1.text": "100 Ω",
    "lines.0.name": "C",
    "lines.0.expression": "tau / R",
    "lines.0.unit": "µF",
}
SUMS = f"{BASE}/mods/1/calculations"


def test_figures_are_offered_to_a_sum(client: TestClient, store: Store) -> None:
    """As one choice, with their values; not at all where there is no waveform."""
    plan(store)
    assert "a figure of a waveform" not in client.get(f"{SUMS}/new").text
    send(client)

    text = client.get(f"{SUMS}/new").text
    assert '<option value="waveform">a figure of a waveform</option>' in text
    assert re.search(
        r'<option value="1:tau">time constant of waveform 1, Rail at switch-off: [\d.]+\(\d+\) ms</option>', text
    )
    assert 'value="1:period"' not in text


@BOTH_WAYS
def test_a_sum_reads_a_figure(client: TestClient, store: Store, headers: dict[str, str]) -> None:
    """It says where the value is from, and the waveform says what reckons with it."""
    plan(store)
    send(client)
    answer = client.post(f"{SUMS}/new", data=SUM, headers=headers, follow_redirects=False)

    assert address_of(answer) == f"{SUMS}/1"
    inputs = {row[0]: row[1] for row in rows_of(client.get(f"{SUMS}/1")) if len(row) == 4}
    assert re.fullmatch(r"[\d.]+\(\d+\) ms time constant of waveform 1", inputs["tau"])
    assert "Reservoir, of mod 1, reads its time constant as tau." in words_of(client.get(FIRST))
    form = client.get(f"{SUMS}/1/edit")
    assert '<option value="1:tau" selected>' in form.text
    assert_sound(form)


@BOTH_WAYS
@pytest.mark.parametrize(
    ("chosen", "said"),
    [
        ("9:tau", "There is no waveform “9”."),
        ("1:period", "Waveform 1 gives no period: No whole cycle is in the capture"),
        ("1:shoe size", "Waveform 1 gives no shoe size."),
        ("", "Say which figure of which waveform is read."),
        ("tau", "Write a whole number."),
    ],
)
def test_a_choice_that_names_nothing_is_told_beside_it(
    client: TestClient, store: Store, headers: dict[str, str], chosen: str, said: str
) -> None:
    """And stays chosen until another is."""
    plan(store)
    send(client)
    page = client.post(f"{SUMS}/new", data=SUM | {"inputs.0.figure": chosen}, headers=headers)

    assert page.status_code == 422
    assert said in message_beside(page, "inputs.0.figure")
    assert f'<option value="{chosen}" selected>' in page.text or not chosen
    assert "tau, figure that is read" in words_of(page) or "Input 1, figure that is read" in words_of(page)
    assert_sound(page)


# ---- Figures and pictures ----


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (parse("0.04321(17) s"), "43.21 ± 0.17 ms"),
        (Toleranced(-2e-5, -0.01202, 0.01198, "V", "standard"), "0.0 ± 6.0 mV"),
        (Toleranced(5e-7, 0.0, 1e-6, "s"), "at most 1 µs"),
        (Toleranced(3.0, 3.0, 3.0, "V", "standard"), "3 V"),
        (Toleranced(0.0, 0.0, 0.0, "V", "standard"), "0 V"),
        (Toleranced(40.0, 39.0, 41.0, "%", "standard"), "40.00 ± 0.50 %"),
        (Toleranced(-12.0, -12.5, -11.5, "V", "standard"), "−12.00 ± 0.25 V"),
    ],
)
def test_a_figure_is_told_in_a_short_unit(value: Toleranced, said: str) -> None:
    """As fine as its uncertainty; one that is only limited has none."""
    assert str(amount_of(value)) == said


def drawn(**other: Any) -> str:
    given: dict[str, Any] = {
        "units": ("ms", "V"), "trace": Trace([0, 1, 2], [0.0, 5.0, 0.0]), "levels": [], "fitted": None, "told": [],
    } | other  # fmt: skip
    return trace_view("t", **given).curves[0].path


def test_a_trace_stays_within_its_picture() -> None:
    """Whatever its figures, and however long they are to write."""
    for volts in ([0.0, 5.0, 0.0], [1e6, 1e6 + 1, 1e6], [5.0, 5.0, 5.0], [-1e-9, 0.0, 1e-9]):
        view = trace_view("t", ("ms", "V"), Trace([0, 1, 2], volts), [LevelLine("low level", volts[0])], None, [])
        numbers = [float(number) for number in re.findall(r"[\d.]+", view.curves[0].path)]
        assert all(0 <= x <= view.width for x in numbers[::2])
        assert all(0 <= y <= view.height for y in numbers[1::2])
        assert all(0 <= words.x <= view.width and 0 <= words.y <= view.height for words in view.words)


def test_a_band_goes_along_its_tops_and_back_along_its_feet() -> None:
    """A column from lowest to highest for each run; a bound more than runs, or it is not drawn."""
    path = drawn(trace=Band([0, 1, 2], [0.0, 0.0], [5.0, 5.0]))

    numbers = [float(number) for number in re.findall(r"[\d.]+", path)]
    assert path.endswith("Z")
    assert len(set(numbers)) == 5
    with pytest.raises(PictureError):
        drawn(trace=Band([0, 1], [0.0, 0.0], [5.0, 5.0]))


@pytest.mark.parametrize(
    "trace", [Trace([0], [1]), Trace([0, 1], [1]), Trace([0, 0], [1, 2]), Trace([0, 1], [1, float("nan")])]
)
def test_what_is_no_trace_is_not_drawn(trace: Trace) -> None:
    """Rather than drawn wrong."""
    with pytest.raises(PictureError):
        drawn(trace=trace)
    with pytest.raises(PictureError):
        drawn(fitted=trace)
