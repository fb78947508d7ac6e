"""A circuit's kept result as its page shows it: the verdict in a sentence, tables, answers in words, and pictures.

What was concluded is shown as it was kept; nothing is solved anew. It knows kept runs and no request.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from server.documents.drawing import NO_BREAK, Picture
from server.engineering.calculations import LimitResult, LineResult
from server.pages.circuit_pictures import Post, Stretch, Swept, graph_view, sweep_view
from server.pages.results import CaseView
from server.records.cautions import CAUTIONS
from server.records.circuit_answers import answer_in_words, of_the_looking, question_in_words, swept_unit, told
from server.records.circuit_kinds import KINDS
from server.records.circuits import DRAWS, MAY_CHANGE
from server.records.words import Hazard

SAFE_VOLTS = 50.0


@dataclass(frozen=True, slots=True)
class Cell:
    """A figure in one case, its interval where it has one, and the verdict where it has a limit."""

    words: str
    verdict: str = ""


@dataclass(frozen=True, slots=True)
class NodeRow:
    """A node's voltage in each case."""

    name: str
    cells: list[Cell]


@dataclass(frozen=True, slots=True)
class ElementRow:
    """An element with what it is, and its current and heat in each case against what it stands."""

    name: str
    kind: str
    between: str
    rating: str
    cells: list[Cell]


@dataclass(frozen=True, slots=True)
class AnswerView:
    """A question in words, and for each case its answer in sentences."""

    number: int
    question: str
    cases: list[tuple[str, list[str]]]


@dataclass(frozen=True, slots=True)
class CaseTold:
    """One case in short: its limits that do not hold or that answer a question, and how many others hold."""

    case: str
    problem: str
    verdict: str
    limits: list[LimitResult]
    held: int


@dataclass(frozen=True, slots=True)
class CircuitView:
    """All that a page tells of a circuit."""

    verdict: str
    cases: list[CaseTold]
    answers: list[AnswerView]
    graph: Picture
    nodes: list[NodeRow]
    elements: list[ElementRow]
    sweeps: list[Picture]
    notes: list[str]
    spread: str
    may_change: str
    cautions: list[str]
    reference: str


def circuit_view(circuit: Mapping[str, Any], kept: Mapping[str, Any], cases: Sequence[CaseView]) -> CircuitView:
    """The circuit by its latest run; `cases` are the same results read back."""
    known = [view for view in cases if not view.problem]
    answers = [_answer(number, circuit, kept, known) for number in range(1, len(circuit["questions"]) + 1)]
    posts = [Post(row["name"], row["kind"], row["nodes"]) for row in circuit["elements"]]
    return CircuitView(
        verdict=_verdict(circuit, known, kept),
        cases=[_case_told(view) for view in cases],
        answers=answers,
        graph=graph_view("circuit", posts, circuit["reference"]),
        nodes=_node_rows(circuit, known),
        elements=_element_rows(circuit, known),
        sweeps=_sweeps(circuit, kept, known),
        notes=_notes(kept, known),
        spread=_spread(kept, known),
        may_change=MAY_CHANGE if circuit["fall"] else "",
        cautions=_cautions(circuit, known),
        reference=circuit["reference"],
    )


# ---- In words ----


def _verdict(circuit: Mapping[str, Any], known: Sequence[CaseView], kept: Mapping[str, Any]) -> str:
    """What the machine does as it is now known: as fitted, else as planned, else as it was."""
    if not known:
        return "No case of it comes to a result yet."
    view = known[-1]
    limits = {
        "holds": "every limit holds",
        "at risk": "a limit is at risk over the tolerances",
        "fails": "a limit is broken",
    }
    said = [f"{view.case.capitalize()}, {limits.get(view.verdict, 'no limit is set')}."]
    of_case = kept[view.case]["circuit"]
    for number in range(1, len(circuit["questions"]) + 1):
        answered = " ".join(answer_in_words(circuit, of_case, number, in_full=False))
        said.append(f"{question_in_words(circuit, number)}: {answered[0].lower()}{answered[1:]}")
    if over := of_case["over"]:
        said.append(f"As the source is turned down, a rating is passed: {'; '.join(over)}.")
    return " ".join(said)


def _case_told(view: CaseView) -> CaseTold:
    telling = [one for one in view.limits if one.verdict != "holds" or one.limit.line.startswith("Q")]
    return CaseTold(view.case, view.problem, view.verdict, telling, len(view.limits) - len(telling))


def _answer(number: int, circuit: Mapping[str, Any], kept: Mapping[str, Any], known: Sequence[CaseView]) -> AnswerView:
    cases = [(view.case, answer_in_words(circuit, kept[view.case]["circuit"], number)) for view in known]
    return AnswerView(number, question_in_words(circuit, number), cases)


def _notes(kept: Mapping[str, Any], known: Sequence[CaseView]) -> list[str]:
    told_of: dict[str, list[str]] = {}
    for view in known:
        for note in kept[view.case]["circuit"]["notes"]:
            told_of.setdefault(note, []).append(view.case)
        for answer in kept[view.case]["circuit"]["answers"]:
            for note in answer["notes"]:
                if of_the_looking(note):
                    told_of.setdefault(note, []).append(view.case)
    every = len(known)
    return [
        note if len(set(cases)) == every else f"{', '.join(dict.fromkeys(cases)).capitalize()}: {note}"
        for note, cases in told_of.items()
    ]


def _spread(kept: Mapping[str, Any], known: Sequence[CaseView]) -> str:
    """What the brackets of the answers are; that there are none, where no value has a tolerance."""
    if not known:
        return ""
    circuits = [kept[view.case]["circuit"] for view in known]
    draws = max(circuit["draws"] for circuit in circuits)
    if not draws and all(band[1] == band[2] for circuit in circuits for band in _bands(circuit)):
        return "No value has a tolerance, so no answer has an interval."
    of_draws = f"over {draws or DRAWS} draws of the tolerances"
    return f"In brackets: the 95 % interval {of_draws}. What is told as at worst is the furthest of them."


def _bands(circuit: Mapping[str, Any]) -> Iterator[Sequence[float | None]]:
    """Every end and length that the answers tell, in the order nominal, low, high."""
    for answer in circuit["answers"]:
        for name, ends in (("stretches", ("low", "high")), ("windows", ("start", "end", "length"))):
            for found in answer.get(name, ()):
                yield from (found[end] for end in ends)


# ---- Tables ----


def _node_rows(circuit: Mapping[str, Any], known: Sequence[CaseView]) -> list[NodeRow]:
    nodes = dict.fromkeys(node for row in circuit["elements"] for node in row["nodes"])
    nodes.pop(circuit["reference"], None)
    return [NodeRow(node, [_cell(view, f"V_{node}") for view in known]) for node in nodes]


def _element_rows(circuit: Mapping[str, Any], known: Sequence[CaseView]) -> list[ElementRow]:
    rows = []
    for row in circuit["elements"]:
        name = row["name"]
        letters = [letter for letter in ("I", "P", "U") if letter != "U" or _has(known, f"U_{name}")]
        cells = [_joined([_cell(view, f"{letter}_{name}") for letter in letters]) for view in known]
        basis = f" ({row['basis']})" if row["basis"] else ""
        rating = f"{row['rating']}{basis}" if row["rating"] else ""
        rows.append(ElementRow(name, KINDS[row["kind"]].words, ", ".join(row["nodes"]), rating, cells))
    return rows


def _has(known: Sequence[CaseView], name: str) -> bool:
    return any(line.name == name for view in known for line in view.lines)


def _line_of(view: CaseView, name: str) -> LineResult | None:
    return next((line for line in view.lines if line.name == name), None)


def _cell(view: CaseView, name: str) -> Cell:
    line = _line_of(view, name)
    if line is None:
        return Cell("not there")
    judged: LimitResult | None = next((one for one in view.limits if one.limit.line == name), None)
    words = told((line.nominal, line.interval_low, line.interval_high), line.unit)
    return Cell(words, judged.verdict if judged else "")


def _joined(cells: Sequence[Cell]) -> Cell:
    worst = next((word for word in ("fails", "at risk", "holds") if word in {cell.verdict for cell in cells}), "")
    return Cell(", ".join(dict.fromkeys(cell.words for cell in cells)), worst)


# ---- Pictures and cautions ----


def _sweeps(circuit: Mapping[str, Any], kept: Mapping[str, Any], known: Sequence[CaseView]) -> list[Picture]:
    swept = {view.case: kept[view.case]["circuit"]["sweep"] for view in known}
    volts = [
        number
        for one in swept.values()
        if one
        for trace in one["nodes"].values()
        for side in ("low", "high", "nominal")
        for number in trace[side]
    ]
    if not volts:
        return []
    unit = swept_unit(circuit)
    pictures = []
    for place, (case, one) in enumerate(swept.items()):
        if not one["nodes"]:
            continue
        nodes = [Swept(node, trace["nominal"], trace["low"], trace["high"]) for node, trace in one["nodes"].items()]
        stretches = [
            Stretch(number, tuple(stretch["low"][:3]), tuple(stretch["high"][:3]))
            for number, answer in enumerate(kept[case]["circuit"]["answers"], start=1)
            for stretch in answer["stretches"]
        ]
        source, ends = (one["source"], unit), (min(volts), max(volts))
        pictures.append(sweep_view(f"sweep-{place}", case, source, one["values"], nodes, stretches, ends))
    return pictures


def _cautions(circuit: Mapping[str, Any], known: Sequence[CaseView]) -> list[str]:
    """Where more than 50 V stands at a node of any case, or the source is turned to it."""
    volts = [
        max(abs(line.worst_low), abs(line.worst_high)) for view in known for line in view.lines if line.unit == "V"
    ]
    swept = circuit["sweep"]
    volts += [abs(swept["low"]), abs(swept["high"])] if swept and swept_unit(circuit) == "V" else []
    if max(volts, default=0.0) <= SAFE_VOLTS:
        return []
    return [
        f"There is more than {SAFE_VOLTS:g}{NO_BREAK}V in this circuit: it can injure or kill. What is reckoned here "
        "is no promise of safety; live work is for someone trained, under the code of the place where you are.",
        CAUTIONS[Hazard.MAINS_INSIDE],
        CAUTIONS[Hazard.CHARGED_RESERVOIR],
    ]
