"""What stands on a mod sheet: words and pictures in the order they are read, the same for the page and the PDF.

No private field has a place here, so none can reach a sheet. Fields called `…_text` hold Markdown as it was typed;
all others print literally.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from server.documents.drawing import Picture


@dataclass(frozen=True, slots=True)
class SheetBoard:
    """One board: what it is, which board holds it, and what is written on it."""

    name: str
    kind: str
    marks: str


@dataclass(frozen=True, slots=True)
class SheetPhotograph:
    """A photograph that the sheet shows: what it is there for, what it says itself, and what stands for it unseen.

    `tag` and `number` are its address, `sha256` names its kept file; `width` and `height` are those of the view that is
    shown, in pixels. `fault` says why it cannot be shown.
    """

    place: str
    caption: str
    taken_on: str
    alt: str
    tag: str
    number: int
    sha256: str
    width: int
    height: int
    fault: str = ""


@dataclass(frozen=True, slots=True)
class SheetAlbum:
    """What the sheet shows of one subject, and in sentences what it does not: what there is none of, how many more."""

    shown: tuple[SheetPhotograph, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SheetStep:
    """One step that was done: what, when, by whom, how it was before, and whether it was put back."""

    number: int
    words: str
    day: str
    by: str
    before: str
    put_back: str
    instruction_text: str
    note_text: str


@dataclass(frozen=True, slots=True)
class SheetDescribed:
    """A step that is described, and not recorded as done."""

    number: int
    words: str
    instruction_text: str


@dataclass(frozen=True, slots=True)
class SheetExpectation:
    """What the mod was expected to do, and what the trials say of it."""

    sentence: str
    verdict: str
    why: str


@dataclass(frozen=True, slots=True)
class SheetLimit:
    """One limit of a sum, as fitted."""

    verdict: str
    sentence: str
    basis: str


@dataclass(frozen=True, slots=True)
class SheetSum:
    """A calculation in short: its limits with their verdicts for what was really fitted, or why there are none.

    `answers` are a circuit's, each question with its sentences.
    """

    number: int
    title: str
    run_on: str
    limits: tuple[SheetLimit, ...]
    problem: str
    answers: tuple[str, ...]
    assumptions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SheetMod:
    """A modification that was done, wholly or in part; without an album where photographs were not chosen.

    Of one that is called done without a step that is, its steps are `described` as a list told of them.
    """

    number: int
    title: str
    state: str
    day: str
    signed: str
    note_text: str
    answers: str
    work: str
    purpose_text: str
    steps: tuple[SheetStep, ...]
    trace: str
    why: str
    expectations: tuple[SheetExpectation, ...]
    sums: tuple[SheetSum, ...]
    outcome_text: str
    described: tuple[SheetDescribed, ...] = ()
    album: SheetAlbum | None = None


@dataclass(frozen=True, slots=True)
class SheetReading:
    """One trial in a line: day, figures with their uncertainty, how many readings."""

    day: str
    figures: str
    count: str


@dataclass(frozen=True, slots=True)
class SheetTrial:
    """A procedure before and after a mod, drawn with every reading; without a pair, only the latest trial, as `after`.

    The drawing's title says all that is to be seen in it.
    """

    procedure: str
    mod: str
    before: SheetReading | None
    after: SheetReading
    words: str
    picture: Picture | None = None


@dataclass(frozen=True, slots=True)
class SheetBag:
    """A part kept aside that goes along with the machine; `lent` says that it is out of its bag, and since when.

    `kept_in` is private, and said only where the keeper chose so.
    """

    bag: int
    part: str
    origin: str
    came_from: str
    since: str
    condition: str
    lent: str
    kept_in: str = ""


@dataclass(frozen=True, slots=True)
class SheetBack:
    """One step of the way back, or why there is none."""

    step: str
    act: str
    needs: str
    obstacle: str


@dataclass(frozen=True, slots=True)
class SheetData:
    """Everything on the sheet of one machine.

    `check_at` is what the code of a signed sheet holds: where it can be checked. A sheet that nobody signed has none.
    `left_out` says which mods the keeper chose not to tell of; `is_short` and `is_private` are chosen likewise. Without
    photographs there is no album; `photographs` says in a sentence how many there are besides.
    """

    tag: str
    named: str
    facts: tuple[tuple[str, str], ...]
    boards: tuple[SheetBoard, ...]
    cautions: tuple[str, ...]
    as_found_text: str
    significance_text: str
    provenance_text: str
    ended_symptoms: tuple[str, ...]
    in_force: tuple[SheetMod, ...]
    undone: tuple[SheetMod, ...]
    went_along: tuple[str, ...]
    trials: tuple[SheetTrial, ...]
    bags: tuple[SheetBag, ...]
    missing: tuple[str, ...]
    back: tuple[SheetBack, ...]
    no_way_back: tuple[SheetBack, ...]
    not_covered: str
    not_known: tuple[str, ...]
    day: str
    signer: str
    digest: str
    check_at: str = ""
    left_out: tuple[tuple[int, str], ...] = ()
    is_short: bool = False
    is_private: bool = False
    album: SheetAlbum | None = None
    photographs: str = ""

    @property
    def shown(self) -> Iterator[SheetPhotograph]:
        """Every photograph on it."""
        for album in (self.album, *(mod.album for mod in (*self.in_force, *self.undone))):
            yield from album.shown if album else ()

    @property
    def short_digest(self) -> str:
        """Enough of the digest to compare by eye."""
        return " ".join(self.digest_in_fours[:4])

    @property
    def digest_in_fours(self) -> list[str]:
        """The whole digest as it is typed from paper."""
        return [self.digest[start : start + 4] for start in range(0, len(self.digest), 4)]

    def signed_for(self, check_at: str) -> "SheetData":
        """The same sheet as one that is signed, to be checked there."""
        return replace(self, check_at=check_at)
