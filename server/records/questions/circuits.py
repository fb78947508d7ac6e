"""A stored circuit in the rows in which it was typed, for its form and for the two versions of a conflict."""

from typing import Any

from sqlmodel import Session

from server.records.circuit_kinds import KINDS
from server.records.circuit_lines import FALLS
from server.records.questions.sums import TiedInput, tied_inputs
from server.records.tables import Calculation

# What a row takes over from its input; the rest of it is kept with the circuit.
READ = (
    "source", "text", "board", "designator", "when_empty", "trial", "waveform", "figure", "other_calculation",
    "other_line",
)  # fmt: skip
ELEMENT = ("name", "kind", "nodes", *READ, "more", "rating", "basis")


def rows_typed(session: Session, calculation: Calculation) -> dict[str, Any]:
    """Every column of the circuit's form, as its command takes it."""
    circuit = calculation.circuit or {}
    tied = {one.entry.name: one for one in tied_inputs(session, calculation)}
    swept = circuit["sweep"] or {}
    return {
        "title": calculation.title,
        "note": calculation.note,
        "elements": [_element(row, tied) for row in circuit["elements"]],
        "reference": circuit["reference"],
        "sweep_source": swept.get("source", ""),
        "sweep_low": swept.get("low_text", ""),
        "sweep_high": swept.get("high_text", ""),
        "watch": swept.get("watch_text", ""),
        "questions": [_question(row) for row in circuit["questions"]],
        **_fall(circuit["fall"], tied),
        "assumptions": calculation.assumptions,
    }


def _element(row: dict[str, Any], tied: dict[str, TiedInput]) -> dict[str, str]:
    typed = tied[row["values"][KINDS[row["kind"]].value.field]].as_typed()
    told = typed | row | {"nodes": ", ".join(row["nodes"])}
    return {name: told[name] for name in ELEMENT}


def _question(row: dict[str, Any]) -> dict[str, str]:
    parts: list[dict[str, str]] = row["parts"]
    first, *others = parts
    second = others[0] if others else {"which": "", "how": "no longer conducts", "value": ""}
    too = {f"{name}_too": text for name, text in second.items()}
    return first | too | {"most": row["most"], "basis": row["basis"]}


def _fall(fall: dict[str, Any] | None, tied: dict[str, TiedInput]) -> dict[str, Any]:
    if not fall:
        return {"fall_kind": "", "fall_start": "", "fall": []}
    typed = [tied[fall["values"][field]].as_typed() for field in FALLS[fall["kind"]]]
    rows = [{name: row[name] for name in READ} for row in typed]
    return {"fall_kind": fall["kind"], "fall_start": tied["fall_start"].entry.text, "fall": rows}
