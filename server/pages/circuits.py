"""The form that draws up a circuit of a mod. Its results are on the calculation's page."""

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from server.pages import circuit_form
from server.pages.calculation_form import beside_their_fields
from server.pages.circuit_form import FALL_ROWS, FALL_WORDS, HOW, HOW_TOO, KIND_WORDS, SOURCE_WORDS, Words
from server.pages.form_rows import count_rows
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.mod_places import address_of_new_calculation, calculation_address, found_mod, mod_address
from server.pages.offers import others_offered, read_figures_offered, trials_offered
from server.records.cautions import CAUTIONS
from server.records.circuit_kinds import KINDS
from server.records.circuits import DRAWS
from server.records.commands.circuits import AttachCircuit, ReviseCircuit
from server.records.questions.boards import all_boards
from server.records.questions.stays import home_of
from server.records.tables import Calculation, Machine, Mod
from server.records.words import Hazard, Source

router = APIRouter()
READING_ROWS = ("elements", "fall")


@dataclass(frozen=True, slots=True)
class CircuitFormPage:
    """The form that draws up a circuit; `rows` says how many rows of each kind are shown."""

    machine: Machine
    mod: Mod
    calculation: Calculation | None
    form: Form
    rows: dict[str, int]
    kinds: Words
    hints: Words
    how: Words
    how_too: Words
    falls: Words
    fall_rows: tuple[str, ...]
    boards: Words
    trials: Words
    figures: Words
    others: Words
    sources: Words
    elements: list[str]
    nodes: list[str]
    labels: dict[str, str]
    draws: int
    caution: str
    base: str
    action: str
    cancel: str


@router.get("/machines/{tag}/mods/{number}/circuits/new")
def new_circuit(house: AtHome, tag: str, number: int) -> Response:
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
    return form_page(house, machine, mod, None, circuit_form.blank())


@router.post("/machines/{tag}/mods/{number}/circuits/new")
def attach_circuit(house: AtHome, tag: str, number: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
    circuit_form.compact(form)
    if form.text("more"):
        return form_page(house, machine, mod, None, form)
    return house.write(
        form,
        AttachCircuit,
        to=lambda done: address_of_new_calculation(house, machine, mod, done.key),
        again=lambda form, status: form_page(house, machine, mod, None, form, status),
        machine=machine.tag,
        mod=mod.number,
        **circuit_form.rows_of(form),
    )


def revise(house: House, machine: Machine, mod: Mod, calculation: Calculation, form: Form) -> Response:
    """What the calculation's address does with a circuit's form."""
    circuit_form.compact(form)
    if form.text("more"):
        return form_page(house, machine, mod, calculation, form)
    return house.write(
        form,
        ReviseCircuit,
        to=lambda done: calculation_address(machine, mod, calculation),  # noqa: ARG005
        again=lambda form, status: form_page(house, machine, mod, calculation, form, status),
        machine=machine.tag,
        mod=mod.number,
        calculation=calculation.number,
        **circuit_form.rows_of(form),
    )


def form_page(
    house: House, machine: Machine, mod: Mod, calculation: Calculation | None, form: Form, status: int = 200
) -> Response:
    beside_their_fields(form)
    with house.reading() as session:
        boards = [(board.slug, board.name) for board in all_boards(session, home_of(session, mod))]
        trials = trials_offered(session, machine, form, *READING_ROWS)
        figures = read_figures_offered(session, machine, form, *READING_ROWS)
        others = others_offered(session, mod, calculation, form, *READING_ROWS)
    base = mod_address(machine, mod)
    here = calculation_address(machine, mod, calculation) if calculation else f"{base}/circuits/new"
    ties = {Source.PART: boards, Source.TRIAL: trials, Source.WAVEFORM: figures, Source.LINE: others}
    offered = {source.value for source in Source if ties.get(source, True)}
    offered |= {text for name, text in form.typed.items() if name.endswith(".source")}
    elements, nodes = _named(form)
    context = CircuitFormPage(
        machine=machine,
        mod=mod,
        calculation=calculation,
        form=form,
        rows=circuit_form.rows_shown(form),
        kinds=KIND_WORDS,
        hints=[(kind.words, kind.hint) for kind in KINDS.values()],
        how=HOW,
        how_too=HOW_TOO,
        falls=FALL_WORDS,
        fall_rows=FALL_ROWS,
        boards=boards,
        trials=trials,
        figures=figures,
        others=others,
        sources=[(source, words) for source, words in SOURCE_WORDS if source in offered],
        elements=elements,
        nodes=nodes,
        labels=circuit_form.labels_of(form),
        draws=DRAWS,
        caution=CAUTIONS[Hazard.MAINS_INSIDE],
        base=base,
        action=f"{here}/edit" if calculation else here,
        cancel=here if calculation else base,
    )
    return house.page("circuits/form.html", context, status)


def _named(form: Form) -> tuple[list[str], list[str]]:
    """The elements and nodes that are typed already, to be offered where one is asked for."""
    count = range(count_rows(form, "elements"))
    elements = [form.text(f"elements.{number}.name") for number in count]
    nodes = [node.strip() for number in count for node in form.text(f"elements.{number}.nodes").split(",")]
    return [name for name in dict.fromkeys(elements) if name], [node for node in dict.fromkeys(nodes) if node]
