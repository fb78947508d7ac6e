"""Whatever was legally done to a machine, its way back restores what was there: tried at random on both databases."""

from contextlib import ExitStack
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from server.records.commands.steps import FitAnother, UndoStep
from server.records.errors import Invalid
from server.records.questions.addresses import find_machine
from server.records.questions.way_back import way_back
from server.records.tables import Mod, Step, Storage
from server.records.words import ModState
from tests.records.conftest import KEEPER, TAG, Bench, Copies
from tests.records.test_way_back import seated

DAYS = st.sampled_from(["2025-06-01", "2025-06-01", "2025-06-02", "2025-06-03"])
LAST = "2025-06-30"
SIGNED: dict[str, Any] = {"signer": KEEPER}
POSITIONS = st.sampled_from(["R2", "R7", "U7", "R9"])
KINDS = st.sampled_from(["take out", "fit", "take out", "fit", "lift pin", "cut trace", "add link", "adjust", "clean"])
VALUES = st.sampled_from(["300 Ω", "330 Ω", "1 kΩ"])
# What comes out is kept: the way back of a part that is gone needs another one, and is not the same machine again.
KEPT: dict[str, Any] = {"becomes": "bag"}


class Restorer(RuleBasedStateMachine):
    """Somebody who plans mods, carries steps out, fits other parts and puts some back, in whatever order is allowed."""

    copies: Copies
    kind: str

    def __init__(self) -> None:
        super().__init__()
        self.open = ExitStack()
        self.bench = Bench(self.open.enter_context(self.copies(self.kind, "entered")))
        self.came_with = seated(self.bench)

    def teardown(self) -> None:
        self.put_all_back()
        self.open.close()

    def mods(self) -> list[Mod]:
        return [mod for mod in self.bench.rows(Mod) if mod.state in (ModState.PLANNED, ModState.FITTED)]

    def try_to(self, command: Any, /, **typed: Any) -> None:
        """Refusals are part of it: they change nothing."""
        before = seated(self.bench)
        try:
            self.bench.do(command, **typed)
        except Invalid:
            assert seated(self.bench) == before

    @initialize(first=KINDS, at=POSITIONS)
    def begin(self, first: str, at: str) -> None:
        self.bench.plan()
        self.write(first, at, 0)

    @rule(at=POSITIONS, lift=st.booleans())
    def plan(self, at: str, lift: bool) -> None:
        """Another part at a position, as most mods are; some lift a pin as well."""
        if len(self.bench.rows(Mod)) < 5:
            self.bench.plan()
            number = self.bench.rows(Mod)[-1].number
            for kind in ("take out", "fit", *(["lift pin"] if lift else [])):
                self.bench.step(kind, at, number, pin="3")

    @rule(kind=KINDS, at=POSITIONS, which=st.integers(0, 9))
    def write(self, kind: str, at: str, which: int) -> None:
        mods = [mod for mod in self.mods() if mod.state == ModState.PLANNED]
        if mods:
            number = mods[which % len(mods)].number
            self.bench.step(kind, at, number, pin="3")

    @rule(which=st.integers(0, 9), value=VALUES, from_bag=st.booleans(), then=st.integers(0, 9), day=DAYS)
    def carry_two_out(self, which: int, value: str, from_bag: bool, then: int, day: str) -> None:
        self.carry_out(which, value, from_bag, day)
        self.carry_out(then, value, from_bag, day)

    @rule(which=st.integers(0, 9), value=VALUES, from_bag=st.booleans(), day=DAYS)
    def carry_out(self, which: int, value: str, from_bag: bool, day: str) -> None:
        waiting = {step.mod_id: step for step in reversed(self.bench.rows(Step)) if step.done_on is None}
        if not waiting:
            return
        step = list(waiting.values())[which % len(waiting)]
        mod = next(mod.number for mod in self.bench.rows(Mod) if mod.id == step.mod_id)
        taken = self.part(which, value, from_bag) if step.kind == "fit" else KEPT
        self.try_to_step(mod, step.number, day, taken)

    def part(self, which: int, value: str, from_bag: bool) -> dict[str, Any]:
        """One that lies in a bag, of whatever kind, or one described on the spot."""
        bags = [bag.part_id for bag in self.bench.rows(Storage) if bag.until is None]
        return {"bagged_part": bags[which % len(bags)], "other_kind": True} if bags and from_bag else {"value": value}

    def try_to_step(self, mod: int, number: int, day: str, taken: dict[str, Any]) -> None:
        before = seated(self.bench)
        try:
            self.bench.carry_out(number, day, mod, **taken)
        except Invalid:
            assert seated(self.bench) == before

    @rule(which=st.integers(0, 9), value=VALUES, from_bag=st.booleans(), day=DAYS)
    def fit_another(self, which: int, value: str, from_bag: bool, day: str) -> None:
        fitted = [step for step in self.bench.rows(Step) if step.kind == "fit" and step.done_on and not step.undone_on]
        if fitted:
            step = fitted[which % len(fitted)]
            mod = next(mod.number for mod in self.bench.rows(Mod) if mod.id == step.mod_id)
            part = self.part(which, value, from_bag)
            self.try_to(FitAnother, mod=mod, step=step.number, day=day, **part, **KEPT, **SIGNED)

    @rule(which=st.integers(0, 9), day=DAYS)
    def put_one_back(self, which: int, day: str) -> None:
        standing = [step for step in self.bench.rows(Step) if step.done_on and not step.undone_on]
        if standing:
            step = standing[which % len(standing)]
            mod = next(mod.number for mod in self.bench.rows(Mod) if mod.id == step.mod_id)
            self.try_to(UndoStep, mod=mod, step=step.number, day=day, **KEPT, **SIGNED)

    @precondition(lambda self: self.mods())
    @rule(which=st.integers(0, 9))
    def call_fitted(self, which: int) -> None:
        mods = self.mods()
        try:
            self.bench.move("fitted", LAST, mods[which % len(mods)].number)
        except Invalid:
            return

    @invariant()
    def no_act_brings_a_circle_about(self) -> None:
        with self.bench.store.reading() as session:
            assert way_back(session, find_machine(session, TAG)).circle == []

    def put_all_back(self) -> None:
        """Walk the way back to its end, always the first step; no step of it is refused."""
        while True:
            with self.bench.store.reading() as session:
                back = way_back(session, find_machine(session, TAG)).back
            if not back:
                break
            first = back[0]
            self.bench.do(UndoStep, mod=first.step.mod, step=first.step.number, day=LAST, **KEPT, **SIGNED)
        assert seated(self.bench) == self.came_with
        assert self.bench.faults() == []


@pytest.mark.parametrize(("kind", "runs"), [("sqlite", 25), ("postgresql", 6)])
def test_any_run_of_legal_acts_undone_by_its_way_back_gives_what_was_there(
    copies: Copies, kind: str, runs: int
) -> None:
    """The name is the promise."""

    class Here(Restorer):
        pass

    Here.copies, Here.kind = staticmethod(copies), kind
    run_state_machine_as_test(
        Here,
        settings=settings(
            max_examples=runs, stateful_step_count=25, deadline=None, derandomize=True,
            suppress_health_check=list(HealthCheck),
        ),
    )  # fmt: skip
