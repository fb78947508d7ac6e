"""A mod as a list tells of it: what it is for, since when it is what it is, and its steps as they are described.

A list moves no parts. So a step that takes one out or fits one is never recorded as done from it, nor is any step after
such a one: the day that the list gives stands in the step's words, and its keeper carries it out where the part is
named.
"""

from typing import Any, Literal

from server.records.commands.base import Line, OptionalDay, Prose
from server.records.commands.mods import ModFields
from server.records.commands.steps import StepFields
from server.records.traces import BY_MOUNTING
from server.records.words import Aim, ModState, StepKind

LIVES: dict[ModState, tuple[ModState, ...]] = {
    ModState.CONSIDERED: (ModState.CONSIDERED,),
    ModState.PLANNED: (ModState.PLANNED,),
    ModState.FITTED: (ModState.PLANNED, ModState.FITTED),
    ModState.UNDONE: (ModState.PLANNED, ModState.FITTED, ModState.UNDONE),
    ModState.DROPPED: (ModState.CONSIDERED, ModState.DROPPED),
}
WORKED_ON = (ModState.PLANNED, ModState.FITTED)
ON_THE_WAY = "Taken from a list, which gives one day for all of its life."
AS_LISTED = "Taken from a list."
AS_DESCRIBED = "Taken from a list: what was done is described there, and not recorded step by step."


class ListedStep(StepFields):
    """One step of a listed mod; its board by its name or by its name in an address."""

    kind: StepKind = StepKind.OTHER
    done_on: OptionalDay = None

    def told(self, *, recorded: bool) -> dict[str, Any]:
        """The step's own columns; a day on which it was done stands in its words, where it is not recorded as done."""
        told = self.columns(StepFields)
        if self.done_on and not recorded:
            noted = f"In the list that this comes from it is done on {self.done_on}."
            told["instruction"] = "\n\n".join(filter(None, [self.instruction, noted]))
        return {name: value for name, value in told.items() if name not in ("board", "designator")}


class ListedMod(ModFields):
    """One mod of a list. `day` is that on which it became what `state` says, signed by `signer`."""

    aim: Aim | Literal[""] = ""
    outcome: Prose = ""
    state: ModState = ModState.CONSIDERED
    day: OptionalDay = None
    signer: Line = ""
    steps: list[ListedStep] = []

    @property
    def recorded(self) -> int:
        """How many of its steps, from the first on, are recorded as done."""
        if self.state not in WORKED_ON:
            return 0
        waits = (number for number, step in enumerate(self.steps) if not step.done_on or step.kind in BY_MOUNTING)
        return next(waits, len(self.steps))

    @property
    def only_described(self) -> bool:
        """Whether something was done to the machine that no step is recorded of."""
        was_done = self.state in (ModState.FITTED, ModState.UNDONE)
        return was_done and (not self.steps or self.recorded < len(self.steps))

    def moves(self) -> list[tuple[ModState, str]]:
        """The states that it came through, each with its note."""
        *earlier, last = LIVES[self.state]
        note = AS_DESCRIBED if self.only_described else AS_LISTED
        return [*((state, ON_THE_WAY) for state in earlier), (last, note)]
