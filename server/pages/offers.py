"""What the rows of a sum's or a circuit's form can read: trials, figures of waveforms, lines of other calculations.

`kinds` are the rows of the form that read them, such as `inputs`. What is chosen in some row and not on offer any more
stays as it was chosen until it is changed.
"""

from collections.abc import Iterator, Sequence

from sqlmodel import Session

from server.engineering.quantities import show
from server.pages.forms import Form
from server.records.questions.sums import lines_offered, means_offered
from server.records.questions.waveforms import FIGURES, figures_offered
from server.records.tables import Calculation, Machine, Mod

Words = list[tuple[str, str]]


def trials_offered(session: Session, machine: Machine, form: Form, *kinds: str) -> Words:
    offered = [
        (str(mean.number), f"Trial {mean.number}, {mean.day}: {mean.title}{f' ({mean.unit})' if mean.unit else ''}")
        for mean in means_offered(session, machine)
    ]
    return offered + [(number, f"Trial {number}") for number in _chosen(form, kinds, "trial", offered)]


def read_figures_offered(session: Session, machine: Machine, form: Form, *kinds: str) -> Words:
    offered = [
        (
            f"{read.waveform}:{read.figure}",
            f"{FIGURES[read.figure]} of waveform {read.waveform}, {read.title}: {show(read.value)}",
        )
        for read in figures_offered(session, machine)
    ]
    return offered + [(read, _not_offered(read)) for read in _chosen(form, kinds, "figure", offered)]


def _not_offered(read: str) -> str:
    waveform, _, figure = read.partition(":")
    return f"{FIGURES.get(figure, figure)} of waveform {waveform}"


def others_offered(session: Session, mod: Mod, calculation: Calculation | None, form: Form, *kinds: str) -> Words:
    offered = [
        (
            f"{read.calculation}:{read.line}",
            f"{read.line} of calculation {read.calculation}, {read.label or read.title}",
        )
        for read in lines_offered(session, mod, calculation)
    ]
    return offered + [(read, f"{read}, which is no longer there") for read in _chosen(form, kinds, "other", offered)]


def _chosen(form: Form, kinds: Sequence[str], column: str, offered: Sequence[tuple[str, str]]) -> Iterator[str]:
    known = {value for value, _ in offered}
    chosen = (
        text for name, text in form.typed.items() if name.partition(".")[0] in kinds and name.endswith(f".{column}")
    )
    yield from (value for value in dict.fromkeys(chosen) if value and value not in known)
