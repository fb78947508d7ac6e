"""What is chosen before a mod sheet is printed: its mods, its length, its paper, its photographs, and what is private.

Cautions, what goes along and what cannot be undone are never left out: they hold for the machine, whatever is told of
it. A sheet names the mods that were left out of it; its record is whole in every case, and holds nothing private.
"""

from collections.abc import Collection
from typing import Literal

from pydantic import Field

from server.records.commands.base import Command
from server.records.errors import Invalid


class SheetChoice(Command):
    """`mods` are numbers; they count once something was `chosen`, so that none of them is a choice too."""

    chosen: Literal["", "yes"] = ""
    mods: list[str] = Field(default_factory=list)
    length: Literal["full", "short"] = "full"
    paper: Literal["A4", "Letter"] = "A4"
    photographs: Literal["with", "without"] = "with"
    private: Literal["", "yes"] = ""

    def takes(self, number: int) -> bool:
        return not self.chosen or str(number) in self.mods

    @property
    def shows_photographs(self) -> bool:
        """The short sheet has none in any case: it is one page for most machines."""
        return self.photographs == "with" and self.length == "full"

    def check(self, tag: str, begun: Collection[int]) -> None:
        """Raises Invalid where a mod was chosen that a sheet cannot tell of."""
        there = {str(number) for number in begun}
        if unknown := next((one for one in self.mods if one not in there), None):
            raise Invalid({"mods": f"{tag} has no mod {unknown[:20]} that was begun, so no sheet can tell of it."})


USUAL = SheetChoice()
