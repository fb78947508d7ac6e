"""What a step leaves behind when it is undone; a mod's trace is the worst of its steps (rule 4: derived)."""

from collections.abc import Iterable
from functools import lru_cache

from server.records.words import Mounting, StepKind, Trace

ORDER = list(Trace)
BY_MOUNTING = (StepKind.TAKE_OUT, StepKind.FIT)

BY_KIND = {
    StepKind.LIFT_PIN: Trace.A_MARK,
    StepKind.CUT_TRACE: Trace.A_MARK,
    StepKind.ADD_LINK: Trace.SOLDER_ONLY,
    StepKind.DRILL_OR_CUT_CASE: Trace.PERMANENT,
    StepKind.CHANGE_FIRMWARE: Trace.NONE,
    StepKind.ADJUST: Trace.NONE,
    StepKind.CLEAN: Trace.PERMANENT,
    StepKind.OTHER: Trace.A_MARK,
}

CANNOT_BE_PUT_BACK = frozenset({StepKind.CLEAN, StepKind.DRILL_OR_CUT_CASE})

WHY = {
    StepKind.TAKE_OUT: "a socketed part leaves nothing, a soldered one fresh solder",
    StepKind.FIT: "a socketed part leaves nothing, a soldered one fresh solder",
    StepKind.LIFT_PIN: "a pin that was bent shows it, and does not bend twice",
    StepKind.CUT_TRACE: "a bridged cut stays visible",
    StepKind.ADD_LINK: "a link comes off and leaves fresh solder",
    StepKind.DRILL_OR_CUT_CASE: "what was drilled or cut stays so",
    StepKind.CHANGE_FIRMWARE: "the old contents can be written back, if they were kept",
    StepKind.ADJUST: "it can be turned back to the setting written down",
    StepKind.CLEAN: "what was cleaned off does not come back",
    StepKind.OTHER: "without a closer word a mark is assumed",
}


def trace_of_kind(kind: StepKind, mounting: str | None) -> Trace:
    """What this kind of step leaves by itself, at a position mounted so."""
    if kind in BY_MOUNTING:
        return Trace.NONE if mounting == Mounting.SOCKETED else Trace.SOLDER_ONLY
    return BY_KIND[kind]


@lru_cache
def trace_of_step(kind: str, stated: str, mounting: str | None) -> Trace:
    """The trace of one step: that of its kind, or the worse one that the keeper states."""
    derived = trace_of_kind(StepKind(kind), mounting)
    return worst([derived, Trace(stated)]) if stated else derived


def rank_of(trace: Trace) -> int:
    """How bad a trace is, nothing being 0."""
    return ORDER.index(trace)


def worst(traces: Iterable[Trace]) -> Trace:
    """The worst of several; none at all leave nothing."""
    return max(traces, key=rank_of, default=Trace.NONE)


def why_it_leaves(kind: str, stated: str, reason: str) -> str:
    """Why a step leaves its trace: by its kind, unless a worse one is stated, and the reason that was written."""
    by_kind = WHY[StepKind(kind)]
    return "; ".join(filter(None, ["" if stated else by_kind, reason])) or by_kind


def words_of(kind: str, type_name: str, value: str, pin: str, where: str) -> str:
    """A step in few words: “fit 330 Ω at R7 on Main board”, “lift pin 3 at U7”."""
    act = "lift" if kind == StepKind.LIFT_PIN and pin else kind
    return " ".join(filter(None, [act, type_name, value, f"pin {pin}" if pin else "", f"at {where}" if where else ""]))
