"""Labels for bags: what stands on each, and the PDF of them on sheets of labels.

A label bears the bag's number, what lies in it, where that came from, and a code that opens the bag's page. Nothing
private: no storage place, no price, no name of a borrower. Built from rows that were read already.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date

from server.documents.codes import qr_code
from server.documents.label_sheets import LINE_SPACING, LINES, LabelSheet, inside, mm
from server.documents.pdf import compiled
from server.records.errors import Invalid
from server.records.questions.bags import Aside
from server.records.tables import Part

LABELS_MOST = 500  # choosing the best mask of a code takes its time
PARTS_NAMED = 3
MODULE_LEAST = 0.3  # mm; common practice, no source: smaller squares run together on ordinary printers


@dataclass(frozen=True, slots=True)
class Label:
    """One bag's label: its number, up to four lines of words, the first one bold, and the address in its code."""

    bag: int
    lines: tuple[str, ...]
    address: str


def labels_of(lying: Sequence[Aside], base: str) -> list[Label]:
    """One label a bag, in the order of their numbers. `base` is the address that the pages are at."""
    bags: dict[int, list[Aside]] = {}
    for line in lying:
        bags.setdefault(line.storage.bag, []).append(line)
    return [Label(bag, _words(held), f"{base}/kept-aside/{bag}") for bag, held in sorted(bags.items())]


def labels_pdf(labels: Sequence[Label], sheet: LabelSheet, first: int, day: date) -> bytes:
    """The labels on their sheets, from the first free label on; a page ends when its labels are used up."""
    if len(labels) > LABELS_MOST:
        said = f"That makes {len(labels):,} labels; one file takes {LABELS_MOST}. Name some of the bags, such as 1-200."
        raise Invalid({"bags": said})
    shares, codes = inside(sheet), [qr_code(label.address) for label in labels]
    _check_code(sheet, max((modules for _, modules in codes), default=0))
    placed = zip(labels, codes, sheet.places(len(labels), first), strict=True)
    data = {
        "paper": {"A4": "a4", "Letter": "us-letter"}[sheet.paper],
        "sheet": asdict(sheet),
        "inside": asdict(shares),
        "pitches": [shares.pitch(rows) for rows in range(LINES, shares.rows + 1)],
        "spacing": LINE_SPACING,
        "labels": [
            {"bag": label.bag, "lines": label.lines, "address": label.address, "code": svg, **asdict(place)}
            for label, (svg, _), place in placed
        ],
    }
    return compiled("labels.typ", data, day)


def _words(held: Sequence[Aside]) -> tuple[str, ...]:
    if len(held) == 1:
        line = held[0]
        marked = f"marked {line.part.marking}" if line.part.marking else ""
        what = (_name(line.part), marked, _came_from(line), f"{line.since}, {line.part.origin}")
        return tuple(filter(None, what))
    named = held[:PARTS_NAMED] if len(held) == PARTS_NAMED else held[: PARTS_NAMED - 1]
    each = [f"{_name(line.part)}, {_from(line)}, {line.since}, {line.part.origin}" for line in named]
    more = [f"and {len(held) - len(named)} more"] if len(held) > len(named) else []
    return (f"{len(held)} parts", *each, *more)


def _name(part: Part) -> str:
    return " ".join(filter(None, [part.type, part.value])) or part.kind


def _came_from(line: Aside) -> str:
    return f"{_from(line)} on {line.seat.board.name}" if line.seat else _from(line)


def _from(line: Aside) -> str:
    if line.seat:
        return f"{line.seat.machine.tag}, {line.seat.position.designator}"
    return f"from {line.part.pedigree}" if line.part.pedigree else "a spare"


def _check_code(sheet: LabelSheet, modules: int) -> None:
    if modules and inside(sheet).code / modules < MODULE_LEAST:
        size = inside(sheet).code / modules
        raise Invalid(
            {"height": f"The squares of the code would be {mm(size)} mm on a label of {mm(sheet.width)} × "
             f"{mm(sheet.height)} mm; below {mm(MODULE_LEAST)} mm a phone may not read them. Take a larger label."}
        )  # fmt: skip
