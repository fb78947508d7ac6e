"""The pages of nets: written down row by row, shown in each case, with what holds and what would fight."""

import re
from html import unescape

import pytest
from starlette.testclient import TestClient

from server.documents.drawing import WIDTH
from server.pages.net_picture import MOST_A_SIDE
from tests.pages.benchwork import (
    HOSTILE,
    address_of,
    assert_sound,
    enter_part,
    message_beside,
    post,
    rows_of,
    set_up,
    typed_in,
    words_of,
)

NETS = "/machines/TM-03/boards/main-board/nets"
OUTPUT, INPUT, TWO_WAY = "totem-pole output", "input", "either way"
Pin = dict[str, str]
PATH: list[Pin] = [
    {"designator": "U1", "pin": "3", "role": OUTPUT, "seen_at": "B2"},
    {"designator": "U2", "pin": "1", "role": INPUT},
    {"designator": "U3", "pin": "4", "role": TWO_WAY},
    {"designator": "R1", "role": "passive", "other_end": "5 V"},
]


def typed(pins: list[Pin], **more: str) -> dict[str, str]:
    """A net as its form sends it, empty rows included."""
    fields = {"name": "KEY 2", "sheet": "2", "note": "", **more}
    for number, pin in enumerate(pins):
        given = {"role": INPUT, "family": "", "drives": "", "order": str(number + 1), **pin}
        fields |= {f"pins.{number}.{column}": value for column, value in given.items()}
    last = len(pins)
    return fields | {f"pins.{last}.designator": "", f"pins.{last}.role": INPUT, f"pins.{last}.order": ""}


@pytest.fixture
def board(client: TestClient) -> str:
    """A board with three chips and a resistor."""
    address = set_up(client)
    for designator, kind in (("U1", "SN74LS00N"), ("U2", "7404"), ("U3", "8255A"), ("U4", "odd one")):
        assert enter_part(client, designator, kind="chip", type=kind).status_code == 303
    assert enter_part(client, "R1", kind="resistor", value="10 kΩ ±5 %").status_code == 303
    return address


@pytest.fixture
def net(client: TestClient, board: str) -> str:  # noqa: ARG001
    return address_of(post(client, f"{NETS}/new", **typed(PATH)))


def plan(client: TestClient, *steps: dict[str, str]) -> None:
    """Mod 1, planned, with these steps."""
    day = {"day": "2024-03-01", "signer": "keeper"}
    address_of(post(client, "/machines/TM-03/mods/new", title="Test", state="planned", **day))
    for step in steps:
        address_of(post(client, "/machines/TM-03/mods/1/steps/new", board="main-board", **step))


# ---- Writing down ----


@pytest.mark.parametrize("htmx", [False, True])
def test_a_net_is_written_down_and_shown(client: TestClient, board: str, htmx: bool) -> None:
    """And listed, on its own page and on the board’s."""
    form = client.get(f"{NETS}/new")
    answer = post(client, f"{NETS}/new", htmx, **typed(PATH))
    shown, listed, of_board = client.get(address_of(answer)), client.get(NETS), client.get(board)

    assert address_of(answer) == f"{NETS}/1"
    assert ["U1 pin 3", "totem-pole output", "SN74LS00N chip", "74LS", "B2"] in rows_of(shown)
    assert "KEY 2 net 1 on Main board, TM-03, sheet 2" in words_of(shown)
    assert ["1, KEY 2", "2", "U1 pin 3, U3 pin 4", "U2 pin 1, U3 pin 4", "4"] in rows_of(listed)
    assert "KEY 2, driven by U1 pin 3, U3 pin 4; heard by U2 pin 1, U3 pin 4" in words_of(of_board)
    for page in (form, shown, listed, of_board):
        assert_sound(page)


def test_a_position_names_the_nets_that_its_pins_are_on(client: TestClient, board: str, net: str) -> None:
    page = client.get(f"{board}/positions/U3")

    assert f'<a href="{net}">KEY 2</a> (pin 4)' in page.text
    assert "On nets" not in words_of(client.get(f"{board}/positions/U4"))
    assert_sound(page)


def test_a_board_without_nets_says_what_to_do_next(client: TestClient, board: str) -> None:
    assert "Write down the first net" in words_of(client.get(NETS))
    assert f'href="{NETS}"' in client.get(board).text


@pytest.mark.parametrize("htmx", [False, True])
def test_a_net_that_will_not_do_comes_back_as_it_was_typed(client: TestClient, board: str, htmx: bool) -> None:  # noqa: ARG001
    """Each message beside its field, under the number that the row now has."""
    bad = [PATH[0], {"designator": "", "order": "2"}, {"designator": "U99", "pin": "1", "seen_at": HOSTILE}]
    bad.append({"designator": "R1", "role": "passive", "other_end": "high"})
    answer = post(client, f"{NETS}/new", htmx, **typed(bad, note=HOSTILE))

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert "There is no position “U99”" in message_beside(answer, "pins.1.designator")
    assert "begins with a number" in message_beside(answer, "pins.2.other_end")
    assert "Pin 2, position:" in words_of(answer)
    assert (typed_in(answer, "pins.1.seen_at"), typed_in(answer, "note")) == (HOSTILE, HOSTILE)
    assert (typed_in(answer, "pins.0.role"), typed_in(answer, "pins.2.role")) == (OUTPUT, "passive")
    assert_sound(answer)


def test_more_rows_come_from_the_server(client: TestClient, board: str) -> None:  # noqa: ARG001
    """Nothing is written, and nothing that was typed is lost."""
    answer = post(client, f"{NETS}/new", **typed(PATH), more="pins")

    assert answer.status_code == 200
    assert typed_in(answer, "pins.3.other_end") == "5 V"
    assert typed_in(answer, "pins.7.designator") == ""
    assert "Write down the first net" in words_of(client.get(NETS))


def test_a_pin_is_put_in_between_by_its_order(client: TestClient, net: str) -> None:
    form = client.get(f"{net}/edit")
    version = typed_in(form, "opened_version")
    rows = [*PATH, {"designator": "U4", "pin": "9", "order": "1,5"}]
    post(client, f"{net}/edit", **typed(rows, opened_version=version))
    again = client.get(f"{net}/edit")

    assert typed_in(form, "pins.3.designator") == "R1"
    assert [typed_in(again, f"pins.{row}.designator") for row in range(5)] == ["U1", "U4", "U2", "U3", "R1"]


@pytest.mark.parametrize("htmx", [False, True])
def test_a_net_that_someone_else_saved_shows_both_versions(client: TestClient, net: str, htmx: bool) -> None:
    """And what was typed; saving it again puts it on the record."""
    post(client, f"{net}/edit", **typed(PATH[:2], opened_version="1"))
    answer = post(client, f"{net}/edit", htmx, **typed(PATH, name="KEY 3", opened_version="1"))
    both = {row[0]: row[1:] for row in rows_of(answer)}
    saved = post(client, f"{net}/edit", **typed(PATH, name="KEY 3", opened_version=typed_in(answer, "opened_version")))

    assert answer.status_code == 409
    assert both["name differs"] == ["KEY 3", "KEY 2"]
    assert both["pins differs"][1] == "U1 · 3 · totem-pole output · B2; U2 · 1 · input"
    assert typed_in(answer, "pins.3.designator") == "R1"
    assert_sound(answer)
    assert "KEY 3" in words_of(client.get(address_of(saved)))


@pytest.mark.parametrize("htmx", [False, True])
def test_a_net_is_taken_off_the_record(client: TestClient, net: str, htmx: bool) -> None:
    """Not as it was before someone else saved it."""
    asked = client.get(f"{net}/drop")
    post(client, f"{net}/edit", **typed(PATH[:2], opened_version="1"))
    stale = post(client, f"{net}/drop", htmx, opened_version=typed_in(asked, "opened_version"))
    gone = post(client, f"{net}/drop", htmx, opened_version=typed_in(stale, "opened_version"))

    assert_sound(asked)
    assert stale.status_code == 409
    assert "Someone else saved this net" in words_of(stale)
    assert address_of(gone) == NETS
    assert client.get(net).status_code == 404


@pytest.mark.parametrize("path", ["/99", "/99/edit", "/99/drop", "/1?case=mod-9", "/9999999999999999999"])
def test_what_is_not_there_is_not_found(client: TestClient, net: str, path: str) -> None:  # noqa: ARG001
    assert client.get(f"{NETS}{path}").status_code == 404


# ---- What holds ----


def test_the_page_begins_with_a_plain_sentence(client: TestClient, net: str) -> None:
    """And tells each state of each driver, with what each listener has to spare, and its unit."""
    page = client.get(net)
    said, rows = words_of(page), rows_of(page)

    assert "Levels and loads hold by the data sheets. The least to spare is " in said
    states = [row for row in rows if row[1:2] in (["high"], ["low"])]
    assert [row[:2] for row in states] == [
        ["U1 pin 3", "high"], ["U1 pin 3", "low"],
        ["U3 pin 4, with U1 pin 3", "high"], ["U3 pin 4, with U1 pin 3", "low"],
    ]  # fmt: skip
    assert all(row[3] == "holds" and re.fullmatch(r"(\d+ mV|\d\.\d+ V) at U\d pin \d", row[4]) for row in states)
    spare = next(row for row in rows if row[0] == "U2 pin 1" and re.search("[0-9] m?V", row[1]))
    assert all(re.fullmatch(r"\d+ mV|\d\.\d+ V", cell) for cell in spare[1:])
    assert "U1 pin 3, a 74LS with 2 inputs: " in said
    assert "At most one of U1 pin 3, U3 pin 4 may drive at a time" in said


def test_what_the_tables_do_not_know_is_said(client: TestClient, net: str) -> None:
    """And what can be said without it stands."""
    rows = [*PATH, {"designator": "U4", "pin": "9"}]
    post(client, f"{net}/edit", **typed(rows, opened_version="1"))
    said = words_of(client.get(net))

    assert "Levels and loads hold as far as the tables reach" in said
    assert "U4 pin 9: the tables have no family for “odd one”" in said


def test_another_supply_can_be_asked_for(client: TestClient, net: str) -> None:
    """One that the tables do not have says so; one that is no voltage comes back beside its field."""
    wide, far = client.get(f"{net}?supply=5 V ± 1 %"), client.get(f"{net}?supply=12 V")
    wrong = client.get(f"{net}?supply=<b>5 Ω")

    assert "At a supply of 5 V ±1 %" in words_of(wide)
    assert "is outside them" in words_of(far)
    assert (far.status_code, wrong.status_code) == (200, 422)
    assert message_beside(wrong, "supply")
    assert typed_in(wrong, "supply") == "<b>5 Ω"
    assert_sound(wrong)


@pytest.mark.parametrize("supply", ["0 V", "-5 V", "1000 V", "31 V", "nan V", "9" * 400, "5 V ± 200 %"])
def test_no_sum_is_made_at_a_supply_that_cannot_be(client: TestClient, net: str, supply: str) -> None:
    answer = client.get(net, params={"supply": supply})

    assert answer.status_code == 422
    assert message_beside(answer, "supply")


# ---- Cases ----


def test_a_lifted_pin_in_a_mod_changes_the_answer(client: TestClient, net: str) -> None:
    """The mod's own case shows it off the net, and says what that changes against now."""
    plan(client, {"kind": "lift pin", "designator": "U1", "pin": "3"})
    now, then = client.get(net), client.get(f"{net}?case=mod-1")

    assert "As mod 1 plans it" in words_of(now)
    assert "U1 pin 3 is lifted (mod 1, step 1) and is not on the net." in words_of(then)
    assert "Against now, as mod 1 plans it: U1 pin 3 is lifted (mod 1, step 1). By the data sheets" in words_of(then)
    assert "U1 pin 3 off the net" in words_of(then)
    assert "is lifted" not in words_of(now)
    assert_sound(then)


def test_as_it_came_and_now_are_told_apart(client: TestClient, net: str) -> None:
    said = words_of(client.get(f"{net}?case=came"))

    assert "Nothing on this net is otherwise as it came than it is now." in said


# ---- Fights ----


def test_a_two_way_pin_made_an_output_fights(client: TestClient, net: str) -> None:
    """With the range of the node, currents, heat, who reads what, which limits are passed, and the caution."""
    page = client.get(f"{net}?pin=3&level=low&against=")
    said, rows = words_of(page), rows_of(page)

    assert "U3 pin 4 made an output and low Set against every output that always drives." in said
    assert "Caution Outputs that fight are outside every data sheet's promise" in said
    assert re.search(r"The net stands at \S+ V to \S+ V, from weak to strong samples", said)
    fighting = {row[0]: row[1:] for row in rows if row[1:2] in (["pulls down"], ["pulls up"])}
    assert fighting.keys() == {"U3 pin 4", "U1 pin 3"}
    assert all(" mA" in row[1] and "W" in row[2] for row in fighting.values())
    assert "U2 pin 1 (74) may read low, neither or high" in said
    assert re.search(r"U1 pin 3: .+ (can pass|is past) 400 µA \(I_OH of 74LS\)", said)
    assert (typed_in(page, "level"), typed_in(page, "pin")) == ("low", "3")
    assert_sound(page)


def test_a_two_way_pin_meets_the_other_one_where_nothing_drives_for_sure(client: TestClient, board: str) -> None:  # noqa: ARG001
    """Two ports and an input: it is said which of them pulls the other way, and not that nothing fights."""
    ports = [PATH[2], PATH[2] | {"pin": "3"}]
    net = address_of(post(client, f"{NETS}/new", **typed([*ports, PATH[1]])))
    page = client.get(f"{net}?pin=1&level=high&against=")
    said = words_of(page)

    assert "No output that always drives pulls the other way. The other two-way pin does: U3 pin 3." in said
    assert "Caution Outputs that fight are outside every data sheet's promise" in said
    assert "nothing fights" not in said
    assert_sound(page)


def test_outputs_that_always_fight_are_told_without_asking(client: TestClient, board: str) -> None:  # noqa: ARG001
    both = [{**PATH[0], "drives": "high"}, {**PATH[0], "pin": "6", "drives": "low"}, PATH[1]]
    said = words_of(client.get(address_of(post(client, f"{NETS}/new", **typed(both)))))

    assert "U1 pin 3 and U1 pin 6 can fight on this net" in said
    assert "Where outputs fight Caution" in said


@pytest.mark.parametrize(
    ("asked", "field"),
    [("pin=1&level=low", "pin"), ("pin=99&level=low", "pin"), ("pin=x&level=low", "pin"),
     ("pin=3&level=both", "level"), ("pin=3&level=low&against=9", "against"), ("pin=3&level=low&against=2", "against")],
)  # fmt: skip
def test_a_fight_that_cannot_be_asked_for_is_refused_in_words(
    client: TestClient, net: str, asked: str, field: str
) -> None:
    answer = client.get(f"{net}?{asked}")

    assert answer.status_code == 422
    assert message_beside(answer, field).startswith("Look again: Choose")


# ---- The picture ----


def test_the_picture_says_the_same_in_a_sentence(client: TestClient, net: str) -> None:
    """Its name, and the words under it."""
    text = client.get(net).text
    title = re.search(r'<title id="net-title">(.*?)</title>', text, re.DOTALL)

    assert title
    said = "KEY 2, now: U1 pin 3 drives; U2 pin 1 listens; U3 pin 4 either way; R1 10 kΩ ±5 % to 5 V."
    assert unescape(title[1]) == said


def test_many_pins_stay_within_the_picture(client: TestClient, board: str) -> None:  # noqa: ARG001
    """No stem or mark is outside, and the pins that have no room are counted."""
    pins = [PATH[0], *({"designator": "U2", "pin": f"P{number}"} for number in range(39))]
    text = client.get(address_of(post(client, f"{NETS}/new", **typed(pins)))).text
    start = text.index("<svg xmlns")
    drawing = text[start : text.index("</svg>", start)]
    places = [float(x) for x in re.findall(r'(?:translate\(| d="M| x=")([\d.]+)', drawing)]

    assert f"and {39 - MOST_A_SIDE + 1} more" in drawing
    assert all(0 <= x <= WIDTH for x in places)


# ---- Whatever is typed ----


def test_hostile_names_are_shown_as_text(client: TestClient, board: str) -> None:  # noqa: ARG001
    pins = [{**PATH[0], "seen_at": HOSTILE}, {**PATH[1], "pin": "<b>{{7*7}}\u202e"}]
    answer = post(client, f"{NETS}/new", **typed(pins, name=HOSTILE, sheet=HOSTILE))
    for page in (client.get(address_of(answer)), client.get(NETS)):
        assert page.status_code == 200
        assert HOSTILE not in page.text
        assert_sound(page)


@pytest.mark.parametrize("count", [41, 300])
def test_too_many_pins_are_refused_in_one_sentence(client: TestClient, board: str, count: int) -> None:  # noqa: ARG001
    pins = [{"designator": "U2", "pin": str(number)} for number in range(count)]
    answer = post(client, f"{NETS}/new", **typed(pins))
    said = message_beside(answer, "pins.0.designator")

    assert answer.status_code == 422
    assert said == f"Look again: There are {count} pins; at most 40 fit on one net."
