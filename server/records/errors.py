"""What can go wrong when the record is read or written.

    RecordError                 root: one sentence for the keeper
    ├── NotFound                no such record at that address
    │   ├── BoardLeft           the board is in another machine now
    │   └── KnownByName         only dossiers of other machines speak of that machine
    ├── Invalid                 what was typed cannot be stored; one message a field
    ├── Refused                 a rule of the house forbids the act (rules 1 to 4)
    ├── Stale                   somebody saved a newer version meanwhile; carries both
    └── Damaged                 the stored record contradicts itself

Only `pages/` and `cli/` turn these into statuses and exit codes.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from server.records.texts import printable

NAME_MOST = 60
SENTENCE_MOST = 10_000  # a refused list names many lines


class RecordError(Exception):
    """Root of everything the record can answer instead of doing what was asked."""


class NotFound(RecordError):
    """No record at that address; `kind` and `name` say which was looked for."""

    def __init__(self, kind: str, name: object) -> None:
        self.kind = kind
        self.name = printable(str(name), NAME_MOST)
        super().__init__(f"There is no {kind} “{self.name}”.")


class BoardLeft(NotFound):
    """The board is in another machine now: `tag` is that machine's, `slug` what the board is called there."""

    def __init__(self, name: str, machine: str, tag: str, slug: str) -> None:
        super().__init__("board", name)
        self.machine, self.tag, self.slug = machine, tag, slug
        self.args = (f"That board left {machine} and is in {tag} now.",)


class KnownByName(NotFound):
    """The machine is kept elsewhere; a dossier that was taken in named it."""

    def __init__(self, tag: str) -> None:
        super().__init__("machine", tag)
        self.args = (f"{self.name} is known here by its name alone, from the dossier of another machine.",)


class Invalid(RecordError):
    """Fields that cannot be stored, each with its own sentence; key "" speaks of the whole form."""

    def __init__(self, messages: Mapping[str, str]) -> None:
        self.messages = {field: printable(sentence, SENTENCE_MOST) for field, sentence in messages.items()}
        super().__init__(" ".join(self.messages.values()))


class Refused(Invalid):
    """The values are readable, but a rule that always holds forbids the act."""

    def __init__(self, sentence: str, field: str = "") -> None:
        super().__init__({field: sentence})


@dataclass(frozen=True, slots=True)
class Difference:
    """One field of which two keepers hold different versions."""

    field: str
    yours: str
    theirs: str

    @property
    def differs(self) -> bool:
        return self.yours != self.theirs


class Stale(RecordError):
    """The form was opened on an older version than the one now stored."""

    def __init__(self, kind: str, current_version: int, rows: list[Difference]) -> None:
        self.kind = kind
        self.current_version = current_version
        self.rows = rows
        super().__init__(f"This {kind} was changed by someone else while you had it open.")


class Damaged(RecordError):
    """The stored record breaks a rule that every command keeps."""
