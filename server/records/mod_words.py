"""What people write in lists of mods, and the record's own word for it: headings, states, hazards, acts.

Words are compared with case and punctuation folded (common practice, no source).
"""

from collections.abc import Mapping
from typing import Any

from server.records.words import Aim, Hazard, ModState, StepKind

HEADINGS_OF_MODS: dict[str, tuple[str, ...]] = {
    "title": ("title", "modification", "mod title", "name", "change", "what was changed", "subject"),
    "number": ("number", "no", "nr", "mod", "mod number", "mod no", "id"),
    "state": ("state", "status", "stage"),
    "day": ("day", "date", "since", "on", "when", "fitted on", "date fitted"),
    "signer": ("signer", "signed", "signed by", "by", "who", "keeper"),
    "aim": ("aim", "kind of work", "type of work"),
    "purpose": ("purpose", "goal", "intention", "objective", "problem", "why"),
    "reasoning": (
        "reasoning", "rationale", "reason", "note", "notes", "remark", "remarks", "comment", "comments",
    ),
    "outcome": ("outcome", "result", "results", "what came of it"),
    "hazards": ("hazards", "hazard", "danger", "dangers", "caution", "cautions", "warnings"),
    "kind": ("kind", "act", "action", "kind of step", "step kind"),
    "board": ("board", "on board", "circuit board"),
    "designator": (
        "designator", "ref", "ref des", "refdes", "reference", "reference designator", "position", "pos", "location",
    ),
    "pin": ("pin", "pins"),
    "planned_type": ("planned type", "type to fit", "part to fit", "type", "part type"),
    "planned_value": ("planned value", "value to fit", "value"),
    "instruction": ("instruction", "instructions", "step", "steps", "how it is done", "how", "work", "work done"),
    "trace_reason": ("trace reason", "why nothing milder", "why nothing milder will do"),
    "done_on": ("done on", "step done on", "carried out on", "day done"),
}  # fmt: skip
CALLED = {
    "kind": "act of a step",
    "board": "board of a step",
    "designator": "position of a step",
    "pin": "pin of a step",
    "planned_type": "type to fit",
    "planned_value": "value to fit",
    "instruction": "how a step is done",
    "trace_reason": "why nothing milder will do",
    "done_on": "day a step was done",
}
MODS_ASIDE = ("machine", "tag", "item", "line")

STATES: dict[ModState, tuple[str, ...]] = {
    ModState.CONSIDERED: ("idea", "ideas", "maybe", "perhaps", "wish", "considering", "under consideration", "?"),
    ModState.PLANNED: ("plan", "to do", "todo", "next", "open", "decided", "begun", "in progress", "started"),
    ModState.FITTED: ("done", "installed", "complete", "completed", "finished", "in", "in force", "fitted and tested"),
    ModState.UNDONE: ("reverted", "reversed", "removed", "put back", "taken out again", "restored to stock"),
    ModState.DROPPED: ("abandoned", "cancelled", "canceled", "rejected", "given up", "discarded", "not done"),
}
HAZARDS: dict[Hazard, tuple[str, ...]] = {
    Hazard.DISPLAY_TUBE: ("crt", "tube", "picture tube", "eht"),
    Hazard.MAINS_INSIDE: ("mains", "mains voltage", "line voltage"),
    Hazard.CHARGED_RESERVOIR: ("reservoir", "charged capacitor", "charged capacitors"),
    Hazard.BATTERY: ("batteries", "leaking battery", "leaked battery"),
    Hazard.BRITTLE_PLASTIC: ("brittle", "brittle case", "fragile plastic"),
    Hazard.LEAD_AND_FUMES: ("lead", "leaded solder", "flux fumes", "solder fumes", "fumes"),
    Hazard.ASBESTOS: ("asbestos", "old thermal paste", "thermal paste"),
    Hazard.STATIC: ("esd", "electrostatic", "static electricity", "static sensitive"),
}
NO_HAZARD = ("none", "no", "nothing")
AIMS: dict[Aim, tuple[str, ...]] = {
    Aim.PREVENT: ("prevention", "preventive", "preventive conservation"),
    Aim.REMEDY: ("repair", "remedial", "remedial conservation"),
    Aim.RESTORE: ("restoration",),
    Aim.ADAPT: ("adapt", "adaptation", "upgrade", "improvement"),
}
STEP_KINDS: dict[StepKind, tuple[str, ...]] = {
    StepKind.TAKE_OUT: ("remove", "removed", "desolder", "took out", "taken out"),
    StepKind.FIT: ("fitted", "install", "installed", "solder in", "add part"),
    StepKind.LIFT_PIN: ("lift", "lifted pin", "lifted"),
    StepKind.CUT_TRACE: ("cut", "cut track", "trace cut", "track cut"),
    StepKind.ADD_LINK: ("link", "wire", "add wire", "jumper", "add jumper", "bodge wire"),
    StepKind.DRILL_OR_CUT_CASE: ("drill", "cut case", "case cut", "hole"),
    StepKind.CHANGE_FIRMWARE: ("firmware", "program", "rom change", "flash"),
    StepKind.ADJUST: ("adjusted", "trim", "set", "calibrate"),
    StepKind.CLEAN: ("cleaned", "wash"),
    StepKind.OTHER: ("misc", "various"),
}


def _by_word(several: Mapping[Any, tuple[str, ...]]) -> dict[str, str]:
    return {word: own.value for own, others in several.items() for word in (own.value, *others)}


MOD_WORDS: dict[str, dict[str, str]] = {
    "state": _by_word(STATES),
    "aim": _by_word(AIMS),
    "kind": _by_word(STEP_KINDS),
    "hazards": _by_word(HAZARDS),
}
MOD_OFFERED = {"state": ModState, "aim": Aim, "kind": StepKind, "hazards": Hazard}
