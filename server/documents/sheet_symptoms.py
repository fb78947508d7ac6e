"""The symptoms of a sheet: how each of those that are over ended, and what is open still."""

from server.records.questions.sheet import WholeMachine
from server.records.tables import PossibleCause, Symptom
from server.records.words import CauseState, SymptomEnd


def ended_symptoms(whole: WholeMachine) -> list[str]:
    """A line for each symptom that was cured, explained or accepted."""
    return [_ended(whole, symptom) for symptom in whole.symptoms if symptom.ended_as]


def open_symptoms(whole: WholeMachine) -> list[str]:
    """A line for each symptom that is open, with what is held of its causes."""
    return [
        f"{_named(symptom)}, seen first on {symptom.seen_on.isoformat()}, is open: {_held(whole, symptom)}."
        for symptom in whole.symptoms
        if not symptom.ended_as
    ]


def _ended(whole: WholeMachine, symptom: Symptom) -> str:
    since = f" since {symptom.ended_on.isoformat()}" if symptom.ended_on else ""
    mod = next((mod for mod in whole.mods if mod.id == symptom.ended_by_mod_id), None)
    by = f", by mod {mod.number}" if mod else ""
    trait = ", as a trait of the design" if symptom.ended_as == SymptomEnd.EXPLAINED else ""
    confirmed = _confirmed(whole, symptom)
    cause = f". Confirmed: {_listed(confirmed)}" if confirmed else ""
    return f"{_named(symptom)}: {symptom.ended_as}{since}{by}{trait}{cause}."


def _held(whole: WholeMachine, symptom: Symptom) -> str:
    causes = whole.causes_of.get(symptom.key, [])
    if confirmed := _confirmed(whole, symptom):
        return f"confirmed is {_listed(confirmed)}"
    if not causes:
        return "no cause is suspected yet"
    suspected = [cause for cause in causes if cause.state == CauseState.OPEN]
    ruled_out = len(causes) - len(suspected)
    told = f"suspected is {_listed(suspected)}" if suspected else "no cause is suspected any more"
    return f"{told}; {ruled_out} ruled out" if ruled_out else told


def _confirmed(whole: WholeMachine, symptom: Symptom) -> list[PossibleCause]:
    return [cause for cause in whole.causes_of.get(symptom.key, []) if cause.state == CauseState.CONFIRMED]


def _named(symptom: Symptom) -> str:
    return f"Symptom {symptom.number}, {symptom.title}"


def _listed(causes: list[PossibleCause]) -> str:
    return " and ".join(f"“{cause.sentence.rstrip('.')}”" for cause in causes)
