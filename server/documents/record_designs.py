"""The rows of a design as a record tells them: plain mappings with keys of their own, told of roles.

They are stored as they are read, and commands carry them out later: a key that is missing would show only then.
"""

from typing import Any, Literal, NotRequired

from pydantic import ConfigDict, with_config
from typing_extensions import TypedDict

from server.records.words import BoardKind, PartKind, StepKind, Trace

CLOSED = ConfigDict(extra="forbid", use_enum_values=True)
Row = dict[str, Any]


@with_config(CLOSED)
class DesignRole(TypedDict):
    """What the design calls a position, and what sits there on a board of which kind."""

    name: str
    kind: PartKind
    board_kind: BoardKind


@with_config(CLOSED)
class DesignStep(TypedDict):
    """A step, at the position of a role where it has one."""

    kind: StepKind
    role: str
    pin: str
    instruction: str
    planned_type: str
    planned_value: str
    trace_stated: Trace | Literal[""]
    trace_reason: str


@with_config(CLOSED)
class DesignSum(TypedDict):
    """A calculation with what it reads, its lines, limits and assumptions; a circuit with its rows as typed."""

    title: str
    method: str
    note: str
    inputs: list[Row]
    lines: list[Row]
    limits: list[Row]
    assumptions: list[Row]
    circuit: NotRequired[Row]


@with_config(CLOSED)
class DesignExpectation(TypedDict):
    """What a fitting is expected to do; `calculation` is the number of one of the design's own."""

    sentence: str
    procedure: str
    sense: str
    bound: float | None
    unit: str
    calculation: int | None
    line: str
