"""What the page of a net says of supplies, of who makes a level, and of what is left over."""

import re

import pytest
from starlette.testclient import TestClient

from tests.pages.benchwork import address_of, assert_sound, enter_part, message_beside, post, rows_of, set_up, words_of
from tests.pages.test_nets import INPUT, NETS, PATH, typed


@pytest.fixture
def board(client: TestClient) -> str:
    """A board with a gate, a listener, a port and a resistor."""
    address = set_up(client)
    for designator, kind in (("U1", "SN74LS00N"), ("U2", "7404"), ("U3", "8255A")):
        assert enter_part(client, designator, kind="chip", type=kind).status_code == 303
    assert enter_part(client, "R1", kind="resistor", value="10 kΩ ±5 %").status_code == 303
    return address


@pytest.fixture
def net(client: TestClient, board: str) -> str:  # noqa: ARG001
    return address_of(post(client, f"{NETS}/new", **typed(PATH)))


def test_a_supply_outside_the_tables_is_said_at_once(client: TestClient, net: str) -> None:
    """And not that the tables know no output, or that the pin is no two-way pin."""
    page = client.get(f"{net}?supply=12 V&pin=3&level=low")
    said = words_of(page)

    assert page.status_code == 422
    assert "A supply of 12 V is outside what the tables have, so no level can be worked out." in said
    assert "They hold for 74, 74LS and 8255A port from 4.75 V to 5.25 V." in said
    assert "The tables for 8255A port hold at a supply of 4.75 V to 5.25 V" in message_beside(page, "pin")
    assert "No output on this net is known" not in said
    assert "Choose one of the two-way pins" not in said
    assert_sound(page)


def test_what_is_shown_beside_an_unreadable_supply_says_for_which_it_is(client: TestClient, net: str) -> None:
    """Nothing is said of a fight then; nor where the supply that was typed will do."""
    wrong, right = client.get(f"{net}?supply=banana&pin=3&level=low"), client.get(f"{net}?supply=5 V ±1 %")

    assert "What follows is for 5 V ±5 %, not for the supply that was typed." in words_of(wrong)
    assert "U3 pin 4 made an output" not in words_of(wrong)
    assert "What follows is for" not in words_of(right)
    assert "“5 Ω” is a resistance; a voltage in V is asked for." in words_of(client.get(f"{net}?supply=5 Ω"))


def test_a_pin_set_against_itself_meets_whatever_can_pull_the_other_way(client: TestClient, net: str) -> None:
    itself, every = (client.get(f"{net}?pin=3&level=low&against={against}") for against in ("3", ""))

    assert itself.status_code == 200
    assert "U3 pin 4 made an output and low Set against every output that always drives." in words_of(itself)
    assert [row[1:] for row in rows_of(itself)] == [row[1:] for row in rows_of(every)]


def test_it_is_said_whose_level_it_is_and_what_the_pin_would_reach_by_itself(client: TestClient, board: str) -> None:  # noqa: ARG001
    """A port behind 10 kΩ could not hold a TTL input low; the gate beside it does."""
    port = PATH[2] | {"series": "R1"}
    said = words_of(client.get(address_of(post(client, f"{NETS}/new", **typed([PATH[0], PATH[1], port])))))

    assert "U3 pin 4 low: U1 pin 3 is taken to be low too, for nothing switches it off." in said
    assert re.search(r"By itself, through R1, 10 kΩ ±5 %, U3 pin 4 would bring the net to \S+ m?V to \S+ V, ", said)
    assert "which not every listener would read." in said


def test_nothing_to_spare_is_told_as_a_doubt(client: TestClient, board: str) -> None:  # noqa: ARG001
    """0.4 V promised against 0.4 V needed: the general NMOS port figures."""
    enter_part(client, "U6", kind="chip", type="6522")
    pins = [PATH[0], PATH[1], {"designator": "U6", "pin": "PA0", "role": INPUT}]
    page = client.get(address_of(post(client, f"{NETS}/new", **typed(pins))))
    low = next(row for row in rows_of(page) if row[:2] == ["U1 pin 3", "low"])

    assert "with nothing to spare at U6 pin PA0." in words_of(page)
    assert "The least to spare is 0 V" not in words_of(page)
    assert low[3:] == ["at risk", "nothing at U6 pin PA0"]


def test_a_current_out_of_the_net_is_told_as_that(client: TestClient, board: str) -> None:  # noqa: ARG001
    """A resistor to 0 V takes what the port that is high gives."""
    enter_part(client, "R2", kind="resistor", value="10 kΩ ±5 %")
    pins = [PATH[2], PATH[1], {"designator": "R2", "role": "passive", "other_end": "0 V"}]
    net = address_of(post(client, f"{NETS}/new", **typed(pins)))
    row = next(row for row in rows_of(client.get(f"{net}?pin=1&level=high")) if row[0] == "R2" and "net" in row[1])

    assert row[1] == "takes from the net"
    assert "-" not in row[2]
    assert "−" not in row[2]
