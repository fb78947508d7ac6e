"""A machine, a mod and trials, put on record through the commands, for tests that compare before with after."""

from typing import Any

from sqlmodel import select

from server.records.commands import machines, mods, parts, steps, trials
from server.records.commands.base import Command
from server.records.store import Done, Store
from server.records.tables import Machine, Mod, Trial

TAG = "TM-03"
KEEPER = "Test keeper"
TIMING = "time-to-count-to-a-thousand"
CRASH = "crashes-within-ten-minutes"


def do(store: Store, kind: type[Command], /, **fields: Any) -> Done:
    return store.carry_out(kind.read(fields), KEEPER)


def set_up(store: Store) -> None:
    """A machine with one board and one original resistor on it."""
    do(store, machines.EnterMachine, tag=TAG, model="Merle 40", hazards=["mains inside"])
    do(store, machines.AddBoard, machine=TAG, name="Main board", kind="main board")
    enter_part(store, board="main-board", designator="R2", kind="resistor", value="360 Ω ±5 %", origin="original")


def enter_part(store: Store, **part: Any) -> None:
    do(store, parts.EnterPart, machine=TAG, **part)


def write_timing(store: Store, **more: Any) -> None:
    """A procedure that gives figures, where lower is better."""
    fields = {"title": "Time to count to a thousand", "unit": "ms", "resolution": "1", "better": "lower"}
    do(store, trials.WriteProcedure, **fields | more)


def write_crash(store: Store, **more: Any) -> None:
    """A procedure that gives yes or no, where no is better."""
    do(store, trials.WriteProcedure, **{"title": "Crashes within ten minutes", "better": "no"} | more)


def run(store: Store, day: str, readings: str, procedure: str = TIMING, **more: Any) -> int:
    """Record a trial and give its number."""
    fields = {"machine": TAG, "procedure": procedure, "day": day, "readings": readings, "signer": KEEPER}
    return trial(store, do(store, trials.RecordTrial, **fields | more).key).number


def fit_mod(store: Store, number: int, day: str, title: str = "Another resistor") -> None:
    """Plan mod `number` and fit it: its one step turns a screw and moves no part."""
    do(store, mods.PlanMod, machine=TAG, title=title, day=day, state="planned", signer=KEEPER)
    do(store, steps.AddStep, machine=TAG, mod=number, kind="adjust", instruction="Turn the trimmer.")
    do(store, steps.CarryOutStep, machine=TAG, mod=number, step=1, day=day, signer=KEEPER)
    move(store, number, "fitted", day)


def fit_resistor(store: Store, number: int, day: str) -> None:
    """Plan mod `number` and fit it: R2 gets 330 Ω, and the original goes into a bag."""
    do(store, mods.PlanMod, machine=TAG, title="Lower R2", day=day, state="planned", signer=KEEPER)
    place = {"board": "main-board", "designator": "R2"}
    do(store, steps.AddStep, machine=TAG, mod=number, kind="take out", **place)
    do(store, steps.AddStep, machine=TAG, mod=number, kind="fit", planned_value="330 Ω ±5 %", **place)
    do(store, steps.CarryOutStep, machine=TAG, mod=number, step=1, day=day, signer=KEEPER)
    do(store, steps.CarryOutStep, machine=TAG, mod=number, step=2, day=day, signer=KEEPER, value="330 Ω ±5 %")
    move(store, number, "fitted", day)


def take_out(store: Store, number: int, day: str) -> None:
    """Plan mod `number` and fit it: R2 stays empty."""
    do(store, mods.PlanMod, machine=TAG, title="Without R2", day=day, state="planned", signer=KEEPER)
    do(store, steps.AddStep, machine=TAG, mod=number, kind="take out", board="main-board", designator="R2")
    do(store, steps.CarryOutStep, machine=TAG, mod=number, step=1, day=day, signer=KEEPER)
    move(store, number, "fitted", day)


def undo_mod(store: Store, number: int, day: str) -> None:
    do(store, steps.UndoStep, machine=TAG, mod=number, step=1, day=day, signer=KEEPER)
    move(store, number, "undone", day)


def move(store: Store, number: int, state: str, day: str) -> None:
    do(store, mods.MoveMod, machine=TAG, mod=number, state=state, day=day, signer=KEEPER)


def machine(store: Store) -> Machine:
    with store.reading() as session:
        return session.exec(select(Machine)).one()


def mod(store: Store, number: int) -> Mod:
    with store.reading() as session:
        return session.exec(select(Mod).where(Mod.number == number)).one()


def trial(store: Store, key: int) -> Trial:
    with store.reading() as session:
        return session.get_one(Trial, key)
