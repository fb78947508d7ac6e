"""What a scope saw on a machine: its file, the figures that were read from it, and the few samples that draw it."""

from datetime import date
from typing import Any

from sqlalchemy import JSON, Column, UniqueConstraint
from sqlmodel import Field

from server.records.tables.base import Kept


class Waveform(Kept, table=True):
    """One capture. The file itself lies in the files folder under `sha256`.

    `figures` holds toleranced values by name, `reasons` a sentence for each figure that the capture does not give.
    `fit_from` and `fit_to` bound the decay that was fitted, in `time_unit`; neither: the fit found its own beginning.
    `drawing` is the trace in few samples (`time`, `volts`) and the fitted decay beside it (`fit_time`, `fit_volts`), in
    `time_unit` and `volt_unit`.
    """

    __table_args__ = (UniqueConstraint("machine_id", "number"),)

    machine_id: int = Field(foreign_key="machine.id", index=True)
    number: int
    day: date
    title: str
    probed_at: str = ""
    instrument: str = ""
    conditions: str = ""
    signer: str = ""
    note: str = ""
    file_name: str
    size: int
    sha256: str = Field(max_length=64)
    samples: int
    time_unit: str
    volt_unit: str
    fit_from: float | None = None
    fit_to: float | None = None
    figures: dict[str, Any] = Field(default_factory=dict, sa_column=Column(JSON, nullable=False))
    reasons: dict[str, str] = Field(default_factory=dict, sa_column=Column(JSON, nullable=False))
    notes: list[str] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    drawing: dict[str, list[float]] = Field(default_factory=dict, sa_column=Column(JSON, nullable=False))
