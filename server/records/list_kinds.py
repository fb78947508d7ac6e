"""The kinds of list that can be taken in, each with its fields and what people head their columns."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.records.list_words import ASIDE, HEADINGS, folded
from server.records.mod_words import CALLED, HEADINGS_OF_MODS, MODS_ASIDE


@dataclass(frozen=True, slots=True)
class ListKind:
    """One kind of list. `headings` gives the words for each field; columns headed by `aside` are known and left out.

    Without the field that is `needed` nothing can be read; `missing` says so to someone who cannot choose a column,
    `why_needed` to someone who can. `called` are the words for fields whose names say too little.
    """

    name: str
    headings: Mapping[str, tuple[str, ...]]
    aside: tuple[str, ...]
    needed: str
    missing: str
    why_needed: str
    known: Mapping[str, str]
    called: Mapping[str, str]

    def words(self, name: str) -> str:
        """A field as people read it."""
        return self.called.get(name, name.replace("_", " "))

    def field_of(self, heading: str) -> str:
        """The field that a heading names; empty where it names none."""
        return self.known.get(folded(heading), "")

    def leaves_out(self, heading: str) -> bool:
        return folded(heading) in self.aside


def _kind(
    name: str,
    headings: Mapping[str, tuple[str, ...]],
    aside: tuple[str, ...],
    needed: str,
    missing: str,
    why: str,
    called: Mapping[str, str],
) -> ListKind:
    known = {heading: field for field, several in headings.items() for heading in several}
    return ListKind(name, headings, aside, needed, missing, why, known, called)


PARTS = _kind(
    "parts",
    HEADINGS,
    ASIDE,
    "designator",
    "No column says where each part sits. Give one the heading “designator” (or “ref”, or “position”), in a heading "
    "line above the rows.",
    "it says where each part sits",
    {},
)
MODS = _kind(
    "mods",
    HEADINGS_OF_MODS,
    MODS_ASIDE,
    "title",
    "No column says what each mod is called. Give one the heading “title” (or “modification”), in a heading line above "
    "the rows.",
    "it says what each mod is called",
    CALLED,
)
KINDS = {kind.name: kind for kind in (PARTS, MODS)}
