"""What can be said of a circuit's rows without asking the record.

Each fault is told beside its field: `elements.0.nodes`, `elements.2.text`, `questions.0.which`, `fall.0.text`.
"""

import unicodedata
from collections.abc import Iterator, Mapping
from typing import Any

from server.engineering import network as net
from server.engineering.errors import EngineeringError
from server.engineering.network.errors import NetworkError
from server.engineering.network.networks import LONGEST_NAME, MOST_NODES
from server.engineering.quantities import convert, parse, same_dimension
from server.records.amounts import not_taken
from server.records.circuit_kinds import (
    KINDS,
    NOTHING,
    WIRE,
    Kind,
    Unreadable,
    element,
    more_of,
    nodes_of,
    unacceptable,
)
from server.records.circuit_lines import ABOVE, BELOW, CONDUCTS, RELEASED
from server.records.circuits import conditions_of, rated
from server.records.commands.circuit_rows import (
    WATCHED_MOST,
    CircuitFields,
    ElementFields,
    QuestionFields,
    circuit_of,
    inputs_of_rows,
    swept_unit,
)
from server.records.commands.sum_rows import InputFields
from server.records.errors import Invalid
from server.records.words import Source

ELEMENTS_MOST, QUESTIONS_MOST = 120, 6
VALUE_FIELDS = {
    Source.PART: "designator",
    Source.TRIAL: "trial",
    Source.WAVEFORM: "figure",
    Source.LINE: "other_line",
}
STAND_INS = {"Ω": "1 kΩ", "V": "5 V", "A": "1 mA", "F": "1 µF", "": "100", "s": "10 ms", "W": "1 W"}


def check_circuit(command: CircuitFields) -> None:
    """What can be said of each row without the record, then of the circuit as a whole. Raises Invalid."""
    faults = _too_many(command)
    for number, row in enumerate(command.elements):
        faults |= {f"elements.{number}.{field}": said for field, said in _element_faults(row)}
    faults |= dict(_twice(command)) if not faults else {}
    faults |= dict(_by_case_alone(command)) if not faults else {}
    faults |= dict(_sweep_faults(command))
    for number, question in enumerate(command.questions):
        faults |= {f"questions.{number}.{field}": said for field, said in _question_faults(question, command)}
    if not faults:
        faults = dict(_input_faults(command))
    if faults := faults or _fault_of_the_whole(command):
        raise Invalid(faults)


def _too_many(command: CircuitFields) -> dict[str, str]:
    if not command.elements:
        return {"elements.0.name": "A circuit needs at least one element."}
    nodes = {node for row in command.elements for node in nodes_of(row.nodes)}
    if len(nodes) > MOST_NODES:
        return {"elements.0.nodes": f"The circuit has {len(nodes)} nodes; at most {MOST_NODES} are worked out."}
    for most, name, first in ((ELEMENTS_MOST, "elements", "name"), (QUESTIONS_MOST, "questions", "which")):
        if (count := len(getattr(command, name))) > most:
            return {f"{name}.0.{first}": f"There are {count} {name}; at most {most} fit."}
    return {}


def _element_faults(row: ElementFields) -> Iterator[tuple[str, str]]:
    if problem := _unfit(row.name):
        yield "name", problem
    if problem := next(filter(None, map(_unfit, nodes_of(row.nodes))), ""):
        yield "nodes", problem
    kind = KINDS.get(row.kind)
    if kind is None:
        yield "kind", f"Choose one of the kinds offered: {', '.join(one.words for one in KINDS.values())}."
        return
    nodes = nodes_of(row.nodes)
    if len(nodes) != len(kind.ends):
        wanted = ", ".join(kind.ends)
        yield (
            "nodes",
            f"Name {len(kind.ends)} nodes divided by commas, in this order: {wanted}. There are {len(nodes)}.",
        )
    for field, read, text in (("more", _read_more, row.more), ("rating", _read_ratings, row.rating)):
        if problem := read(kind, text):
            yield field, problem
    if row.source is Source.TYPED:
        text = row.text or kind.value.usual
        problem = unacceptable(kind, kind.value, text) if text else f"Write the {kind.value.word} of {row.name}."
        if problem:
            yield "text", problem
    instead = row.when_empty not in ("", WIRE, NOTHING)
    if instead and (problem := unacceptable(kind, kind.value, row.when_empty)):
        yield "when_empty", f"{problem} Or write {WIRE} or {NOTHING}."
    if row.when_empty == WIRE and len(kind.ends) != 2:
        yield "when_empty", f"A {kind.words} has three ends: where it is missing there is {NOTHING}, and no wire."


def _unfit(name: str) -> str:
    """Why an element or a node cannot be called this, in a sentence; empty if it can."""
    if len(name) > LONGEST_NAME:
        return f"{name[:LONGEST_NAME]}… is too long: a name has at most {LONGEST_NAME} letters."
    if not name.isprintable() or unicodedata.normalize("NFC", name) != name:
        return "A name has no letters that cannot be seen."
    return ""


def _read_more(kind: Kind, text: str) -> str:
    try:
        more_of(kind, text)
    except Unreadable as fault:
        return str(fault)
    return ""


def _read_ratings(_: Kind, text: str) -> str:
    try:
        rated(text)
    except Unreadable as fault:
        return str(fault)
    except EngineeringError as fault:
        return f"{str(fault).rstrip('.')}."
    return ""


def _twice(command: CircuitFields) -> Iterator[tuple[str, str]]:
    """A name that an earlier row has, or that a further value of an element (`T1_drop`) or of the fall goes by."""
    inputs = inputs_of_rows(command)
    taken = {given.entry.name for given in inputs if given.field.endswith(".more")}
    falls = {given.entry.name: given.entry.label for given in inputs if given.field.startswith("fall")}
    for number, row in enumerate(command.elements):
        if row.name in taken:
            yield f"elements.{number}.name", f"There is another {row.name} in this circuit."
        elif row.name in falls:
            said = f"{row.name} is what the {falls[row.name]} goes by: call the element something else."
            yield f"elements.{number}.name", said
        taken.add(row.name)


def _by_case_alone(command: CircuitFields) -> Iterator[tuple[str, str]]:
    """An element or a node that differs from an earlier one by capitals alone: the same one is meant, most likely."""
    elements: dict[str, str] = {}
    nodes: dict[str, str] = {}
    for number, row in enumerate(command.elements):
        first = elements.setdefault(row.name.casefold(), row.name)
        if first != row.name:
            said = f"{first} and {row.name} would be two elements: call one of them something else."
            yield f"elements.{number}.name", said
        for node in nodes_of(row.nodes):
            first = nodes.setdefault(node.casefold(), node)
            if first != node:
                yield f"elements.{number}.nodes", f"{first} and {node} would be two nodes: write it one way."


def _sweep_faults(command: CircuitFields) -> Iterator[tuple[str, str]]:
    if not command.sweep_source:
        if command.questions:
            yield "sweep_source", "Say which source is turned down: the questions are asked along it."
        return
    row = next((row for row in command.elements if row.name == command.sweep_source), None)
    if row is None:
        yield "sweep_source", f"There is no element {command.sweep_source}."
    elif row.kind not in ("source", "current", "output"):
        yield "sweep_source", f"{row.name} is no source: name a voltage source, a current source or a logic output."
    yield from _range_faults(command)
    nodes = {node for row in command.elements for node in nodes_of(row.nodes)}
    watched = nodes_of(command.watch)
    if unknown := [node for node in watched if node not in nodes]:
        yield "watch", f"There is no node {unknown[0]}."
    if len(watched) > WATCHED_MOST:
        yield "watch", f"The picture has room for {WATCHED_MOST} nodes."


def _range_faults(command: CircuitFields) -> Iterator[tuple[str, str]]:
    """What is wrong with the ends of the range, as values of the source that is turned down."""
    unit, ends = swept_unit(command), {}
    kind = KINDS["current" if unit == "A" else "source"]
    for name in ("low", "high"):
        text = getattr(command, f"sweep_{name}")
        if problem := _unreadable(text, unit, needed=True) or unacceptable(kind, kind.value, text):
            yield f"sweep_{name}", problem
            continue
        ends[name] = parse(text, unit=unit)
        if not ends[name].is_exact:
            yield f"sweep_{name}", "Give it without a tolerance."
    if len(ends) == 2 and convert(ends["low"], unit).nominal >= convert(ends["high"], unit).nominal:
        yield "sweep_high", "It must be above the lower end."


def _question_faults(row: QuestionFields, command: CircuitFields) -> Iterator[tuple[str, str]]:
    nodes = {node for one in command.elements for node in nodes_of(one.nodes)}
    names = {one.name for one in command.elements}
    if not row.which:
        yield "which", "Say what is asked about: an element that conducts, or a node."
    for suffix in ("", "_too"):
        which, how, value = (getattr(row, f"{field}{suffix}") for field in ("which", "how", "value"))
        if not which:
            continue
        if how in (CONDUCTS, RELEASED):
            if which not in names:
                yield f"which{suffix}", f"There is no element {which}."
        elif which not in nodes:
            yield f"which{suffix}", f"There is no node {which}."
        if problem := _unreadable(value, "A" if how in (CONDUCTS, RELEASED) else "V", how in (ABOVE, BELOW)):
            yield f"value{suffix}", problem
    if row.most and not command.fall_kind:
        yield "most", "How long it lasts is known once it is said how the rail falls."
    elif row.most and (problem := _positive(row.most, "s")):
        yield "most", problem
    if command.fall_kind and swept_unit(command) == "A":
        yield "which", "Only a voltage falls after switch-off, and what is turned down is a current."


def _unreadable(text: str, unit: str, needed: bool) -> str:
    if not text:
        return f"Say how many {unit}." if needed else ""
    try:
        value = parse(text, unit=unit)
        return "" if same_dimension(value.unit, unit) else f"It is in {value.unit}, and {unit} is expected here."
    except EngineeringError as fault:
        return not_taken(fault, text)


def _input_faults(command: CircuitFields) -> Iterator[tuple[str, str]]:
    """What an input's source needs, and typed values of the fall."""
    for field, entry in inputs_of_rows(command):
        rows = field.count(".") == 1
        timed = entry.source is Source.TYPED and field.startswith("fall")
        if timed and (problem := _positive(entry.text, entry.unit)):
            yield f"{field}.text" if rows else field, problem
        if field.startswith("fall") and (problem := _unreadable(entry.when_empty, entry.unit, needed=False)):
            yield f"{field}.when_empty", problem
        if entry.source is Source.PART and not entry.designator:
            yield f"{field}.designator", "Say at which position the part is, such as R7."
        if entry.source is Source.TRIAL and entry.trial is None:
            yield f"{field}.trial", "Say which trial's mean is read."
        if entry.source is Source.WAVEFORM and (entry.waveform is None or not entry.figure):
            yield f"{field}.figure", "Say which figure of which waveform is read."
        if entry.source is Source.LINE and (entry.other_calculation is None or not entry.other_line):
            yield f"{field}.other_line", "Say which calculation and which of its lines is read."


def _positive(text: str, unit: str) -> str:
    if problem := _unreadable(text, unit, needed=True):
        return problem
    return "" if parse(text, unit=unit).low > 0 else "It must be above 0, over its whole tolerance."


def _fault_of_the_whole(command: CircuitFields) -> dict[str, str]:
    """Floating nodes, loops of sources, conditions on what is not there: told with stand-ins for values to be read."""
    circuit = circuit_of(command)
    typed = {given.entry.name: given.entry for given in inputs_of_rows(command)}
    try:
        network = net.Network(tuple(_stand_in(row, typed) for row in circuit["elements"]), circuit["reference"])
        network.check_node(circuit["reference"])
    except EngineeringError as fault:
        return {field_at_fault(command, fault): f"{str(fault).rstrip('.')}."}
    return dict(_condition_faults(circuit, network))


def _condition_faults(circuit: Mapping[str, Any], network: net.Network) -> Iterator[tuple[str, str]]:
    """What is asked for and cannot be: its nodes and elements are there by now, so it is an amount."""
    for number, condition in enumerate(conditions_of(circuit)):
        parts = condition.parts if isinstance(condition, net.AllOf) else (condition,)
        for part, suffix in zip(parts, ("", "_too"), strict=False):
            try:
                part.check(network)
            except EngineeringError as fault:
                yield f"questions.{number}.value{suffix}", f"{str(fault).rstrip('.')}."


def _stand_in(row: Mapping[str, Any], typed: Mapping[str, InputFields]) -> net.Element:
    values = {}
    for field, name in row["values"].items():
        entry = typed[name]
        text = entry.text if entry.source is Source.TYPED else STAND_INS[entry.unit]
        values[field] = parse(text, unit=entry.unit or None)
    return element(KINDS[row["kind"]], row["name"], row["nodes"], values, rated(row["rating"]))


def field_at_fault(command: CircuitFields, fault: EngineeringError) -> str:
    """The field that a refusal of the engineering core speaks of; the whole form's, where it names none."""
    names = [row.name for row in command.elements]
    named, node = getattr(fault, "element", None), getattr(fault, "node", None)
    if isinstance(fault, net.UnknownNode) and node == (command.reference or "0"):
        return "reference"
    if isinstance(fault, net.BadElementValue):
        return _value_of(command, names.index(named)) if named in names else ""
    if not isinstance(fault, NetworkError) or named not in names:
        at = next((number for number, row in enumerate(command.elements) if node in nodes_of(row.nodes)), None)
        return f"elements.{at}.nodes" if at is not None else ""
    field = "name" if isinstance(fault, net.DuplicateElement) or (node is None and _is_name(fault)) else "nodes"
    return f"elements.{len(names) - 1 - names[::-1].index(named)}.{field}"


def _value_of(command: CircuitFields, number: int) -> str:
    """The field that says where an element's value is from."""
    return f"elements.{number}.{VALUE_FIELDS.get(command.elements[number].source, 'text')}"


def _is_name(fault: NetworkError) -> bool:
    return isinstance(fault, net.BadNodeOrElement | net.UnknownElement)
