"""Questions about waveforms: a machine's list, what reads one, and the figures that a calculation's input can read.

A figure's name in the record is that of the engineering core; its words are here, for pages, journal and sums alike.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import sqlalchemy
from sqlalchemy.orm import defer
from sqlmodel import Session, col, select

from server.engineering.quantities import Toleranced
from server.records.questions.paging import Paged, paged
from server.records.tables import Calculation, CalculationInput, Machine, Mod, Waveform

FIGURES: Mapping[str, str] = {
    "period": "period",
    "frequency": "frequency",
    "duty": "duty cycle",
    "low": "low level",
    "high": "high level",
    "amplitude": "amplitude",
    "steady": "steady level",
    "rise": "rise time",
    "fall": "fall time",
    "overshoot": "overshoot",
    "undershoot": "undershoot",
    "tau": "time constant",
    "start_volts": "voltage at the start of the fit",
    "end_volts": "final voltage of the decay",
}
# What a drawing is made of is read only where it is drawn.
UNDRAWN = defer(Waveform.drawing)  # type: ignore[arg-type]  # a mapped column, which mypy cannot see
OFFERED_MOST = 25
READERS_MOST = 200


@dataclass(frozen=True, slots=True)
class FigureOffered:
    """A figure of a waveform that an input can read."""

    waveform: int
    day: date
    title: str
    figure: str
    value: Toleranced


@dataclass(frozen=True, slots=True)
class Reader:
    """An input of a calculation that reads a figure of a waveform."""

    mod: int
    calculation: int
    title: str
    input: str
    figure: str


def waveforms_of(session: Session, machine: Machine, number: int, most: int = 50) -> Paged[Waveform]:
    """The waveforms of a machine, the latest first; without their drawings, which a list does not show."""
    query = (
        select(Waveform)
        .where(Waveform.machine_id == machine.id)
        .options(UNDRAWN)
        .order_by(col(Waveform.day).desc(), col(Waveform.number).desc())
    )
    return paged(session, query, number, most)


def figures_of(waveform: Waveform) -> dict[str, Toleranced]:
    """The figures that a waveform gives, in their usual order."""
    return {name: Toleranced(**waveform.figures[name]) for name in FIGURES if name in waveform.figures}


def figures_offered(session: Session, machine: Machine, most: int = OFFERED_MOST) -> list[FigureOffered]:
    """Every figure that the latest waveforms of a machine give."""
    query = (
        select(Waveform)
        .where(Waveform.machine_id == machine.id)
        .options(UNDRAWN)
        .order_by(col(Waveform.day).desc(), col(Waveform.number).desc())
        .limit(most)
    )
    return [
        FigureOffered(waveform.number, waveform.day, waveform.title, name, value)
        for waveform in session.exec(query)
        for name, value in figures_of(waveform).items()
    ]


def why_none(waveform: Waveform, figure: str) -> str:
    """Why a waveform does not give a figure, in a sentence."""
    reason = waveform.reasons.get(figure, "")
    return f"Waveform {waveform.number} gives no {FIGURES.get(figure, figure)}{f': {reason}' if reason else '.'}"


def readers_of(session: Session, waveform: Waveform, most: int = READERS_MOST) -> list[Reader]:
    """The inputs of calculations that read it, in the order of mods and calculations."""
    query = (
        sqlalchemy.select(
            col(Mod.number),
            col(Calculation.number),
            col(Calculation.title),
            col(CalculationInput.name),
            col(CalculationInput.figure),
        )
        .join(Calculation, col(Calculation.id) == col(CalculationInput.calculation_id))
        .join(Mod, col(Mod.id) == col(Calculation.mod_id))
        .where(col(CalculationInput.waveform_id) == waveform.id)
        .order_by(col(Mod.number), col(Calculation.number), col(CalculationInput.place))
        .limit(most)
    )
    return [Reader(*row) for row in session.execute(query)]
