"""Steps are carried out in their order, and only those not done yet can change places."""

from datetime import date
from typing import Any

import pytest

from server.records.commands import machines, mods, steps
from server.records.commands.base import Command
from server.records.errors import Invalid, Refused
from server.records.store import Store


def do(store: Store, command: type[Command], **given: Any) -> None:
    store.carry_out(command.read(given), "Tester")


@pytest.fixture
def planned(store: Store) -> Store:
    """A mod with three links to add."""
    do(store, machines.EnterMachine, tag="ST-1", model="Stilt")
    do(store, mods.PlanMod, machine="ST-1", title="Three links", day="2025-01-01", signer="Tester", state="planned")
    for pin in "abc":
        do(store, steps.AddStep, machine="ST-1", mod=1, kind="add link", pin=pin)
    return store


def carry_out(store: Store, step: int, day: str = "2025-01-02") -> None:
    do(store, steps.CarryOutStep, machine="ST-1", mod=1, step=step, day=day, signer="Tester")


def test_a_step_waits_for_the_one_before_it(planned: Store) -> None:
    """Out of turn it is refused, and the sentence names the step that comes first."""
    with pytest.raises(Refused, match="Step 1 comes first"):
        carry_out(planned, 2)


def test_a_step_is_not_done_before_the_one_before_it(planned: Store) -> None:
    """Days go forward with the steps."""
    carry_out(planned, 1, "2025-01-05")

    with pytest.raises(Invalid) as refused:
        carry_out(planned, 2, str(date(2025, 1, 4)))
    assert "2025-01-05" in refused.value.messages["day"]


def test_only_steps_not_done_change_places(planned: Store) -> None:
    """What was done keeps its number; what comes after can be moved among itself."""
    carry_out(planned, 1)
    do(planned, steps.MoveStep, machine="ST-1", mod=1, step=3, to=2)

    with pytest.raises(Refused, match="keep their order"):
        do(planned, steps.MoveStep, machine="ST-1", mod=1, step=2, to=1)
