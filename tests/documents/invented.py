"""An invented machine with a story, entered through the commands as a keeper would: what documents are made of.

Its private fields hold words that no document may show; `hostile` puts awkward text into every field that takes any.
"""

from collections.abc import Mapping

from server.records.commands.base import Command
from server.records.commands.calculations import (
    AssumptionFields,
    AttachCalculation,
    InputFields,
    LimitFields,
    LineFields,
)
from server.records.commands.machines import AddBoard, AddPosition, EnterMachine
from server.records.commands.mods import Expect, MoveMod, PlanMod, ReviseMod
from server.records.commands.parts import EnterPart
from server.records.commands.steps import AddStep, CarryOutStep, UndoStep
from server.records.commands.symptoms import AddEvidence, EndSymptom, JudgeCause, NoteSymptom, SuspectCause
from server.records.commands.trials import RecordTrial, WriteProcedure
from server.records.store import Done, Store
from server.records.words import BoardKind, Mounting, Origin, PartKind, Source, StepKind

TAG = "PL-01"
KEEPER = "Ada Wren"
PRIVATE_WORDS = ("from a private seller", "ninety guineas", "attic shelf nine")
HOSTILE = (
    '#panic("x") $x^2$ <script>alert(1)</script> {{ 7*7 }} \\u{1F} "q" @ref //c /*c*/ 日本 مرحبا 🙂 a\u202eb\u200dc'
)


class Bench:
    """A store and one machine's tag: commands are carried out with both filled in."""

    def __init__(self, store: Store, tag: str = TAG) -> None:
        self.store = store
        self.tag = tag

    def do(self, command: type[Command], /, **typed: object) -> Done:
        given: Mapping[str, object] = {"machine": self.tag} | typed if "machine" in command.model_fields else typed
        return self.store.carry_out(command.read(given), KEEPER)

    def carry_out(self, mod: int, step: int, day: str, **more: object) -> None:
        self.do(CarryOutStep, mod=mod, step=step, day=day, signer=KEEPER, **more)

    def move(self, mod: int, state: str, day: str, note: str = "") -> None:
        self.do(MoveMod, mod=mod, state=state, day=day, signer=KEEPER, note=note)


def tell(store: Store, tag: str = TAG) -> Bench:
    """The whole story: a machine with four mods, one of them undone and one only considered, and two symptoms."""
    bench = Bench(store, tag)
    enter(bench)
    brighten(bench)
    route_reset(bench)
    try_oscillator(bench)
    bench.do(PlanMod, title="A quieter fan", state="considered", day="2025-05-01", signer=KEEPER)
    puzzle_over(bench)
    return bench


def enter(bench: Bench) -> None:
    bench.do(
        EnterMachine,
        tag=bench.tag,
        maker="Wherrymoor",
        model="Plover 80",
        variant="with the second drive",
        serial_number="00417",
        made="1982~",
        acquired_on="2025-01-04",
        acquired_from=PRIVATE_WORDS[0],
        price=PRIVATE_WORDS[1],
        provenance="Used in a boatyard's office until 1991.",
        as_found="Starts, but the picture is *faint*.\n\n- case scratched at the left\n- key `7` missing",
        hazards=["mains inside", "charged reservoir"],
        keeper=KEEPER,
    )
    bench.do(AddBoard, name="Main board", kind=BoardKind.MAIN, revision="C", hazards=["static"])
    bench.do(AddBoard, name="Supply", kind=BoardKind.SUPPLY, parent="main-board", part_number="SP-2")
    parts: list[dict[str, object]] = [
        {"designator": "R7", "kind": PartKind.RESISTOR, "value": "360 Ω ±5 %"},
        {"designator": "U4", "kind": PartKind.CHIP, "type": "7414", "mounting": Mounting.SOCKETED, "date_code": "8207"},
        {"designator": "C3", "kind": PartKind.CAPACITOR, "value": "470 µF ±20 %", "rating": "16 V"},
        {"designator": "X1", "kind": PartKind.CRYSTAL, "value": "4 MHz", "mounting": Mounting.SOCKETED},
    ]
    for part in parts:
        bench.do(EnterPart, board="main-board", origin=Origin.ORIGINAL, **part)
    bench.do(EnterPart, board="main-board", designator="U9", kind=PartKind.CHIP, type="7400", origin=Origin.UNKNOWN)
    bench.do(AddPosition, board="main-board", designator="R8", kind=PartKind.RESISTOR, mounting=Mounting.SOLDERED)


def brighten(bench: Bench) -> None:
    """Mod 1: reversible, met its expectation, with a sum that still holds for the part really fitted."""
    bench.do(WriteProcedure, title="Picture level", unit="V", resolution="0.01", better="higher")
    bench.do(WriteProcedure, title="Faint lines seen", better="no")
    bench.do(RecordTrial, procedure="picture-level", day="2025-01-10", readings="0.61 0.62 0.60 0.61", signer=KEEPER)
    bench.do(RecordTrial, procedure="faint-lines-seen", day="2025-01-10", readings="y y y n y y y y", signer=KEEPER)
    bench.do(
        PlanMod,
        title="Brighter picture",
        purpose="Raise the level at the **video pin** to what a monitor wants.",
        reasoning="The driver can give more.",
        state="planned",
        day="2025-02-01",
        signer=KEEPER,
    )
    bench.do(AddStep, mod=1, kind=StepKind.TAKE_OUT, board="main-board", designator="R7")
    bench.do(AddStep, mod=1, kind=StepKind.FIT, board="main-board", designator="R7", planned_value="300 Ω")
    _attach_current(bench)
    bench.do(Expect, mod=1, sentence="The level rises above 0.65 V", procedure="picture-level", sense="rises above",
             bound="0.65")  # fmt: skip
    bench.carry_out(1, 1, "2025-02-03", place=PRIVATE_WORDS[2], condition="legs a little short")
    bench.carry_out(1, 2, "2025-02-03", value="330 Ω ±1 %", note="No 300 Ω in the drawer.")
    bench.move(1, "fitted", "2025-02-03")
    bench.do(RecordTrial, procedure="picture-level", day="2025-02-04", readings="0.68 0.69 0.68 0.70", signer=KEEPER)
    bench.do(RecordTrial, procedure="faint-lines-seen", day="2025-02-04", readings="n n n n n n n n", signer=KEEPER)
    bench.do(
        ReviseMod, mod=1, opened_version=_version(bench, 1), title="Brighter picture",
        purpose="Raise the level at the **video pin** to what a monitor wants.", reasoning="The driver can give more.",
        outcome="The picture is plain from across the room.",
    )  # fmt: skip


def _attach_current(bench: Bench) -> None:
    bench.do(
        AttachCalculation,
        mod=1,
        title="Current in the video driver",
        inputs=[
            InputFields(name="U", label="Supply", unit="V", text="5 V ±5 %"),
            InputFields(name="R", label="Series resistor", unit="Ω", source=Source.PART, board="main-board",
                        designator="R7"),
        ],
        lines=[LineFields(name="I", expression="U / R", unit="mA", label="Driver current")],
        limits=[LimitFields(line="I", kind="at_most", value="16 mA", basis="what a buffer of its kind may sink")],
        assumptions=[AssumptionFields(sentence="The driver's own drop is small.")],
    )  # fmt: skip


def route_reset(bench: Bench) -> None:
    """Mod 2: leaves a mark, and something that cannot be taken back; an original was thrown away."""
    bench.do(PlanMod, title="Reset on its own line", state="planned", day="2025-03-01", signer=KEEPER,
             hazards=["lead and flux fumes"])  # fmt: skip
    bench.do(
        AddStep,
        mod=2,
        kind=StepKind.CLEAN,
        instruction="Old flux round U4.",
        trace_reason="Flux that creeps under the chip cannot be left there",
    )
    bench.do(AddStep, mod=2, kind=StepKind.CUT_TRACE, board="main-board", designator="U4", pin="3")
    bench.do(AddStep, mod=2, kind=StepKind.TAKE_OUT, board="main-board", designator="C3")
    bench.do(AddStep, mod=2, kind=StepKind.FIT, board="main-board", designator="C3", planned_value="470 µF")
    for step in (1, 2):
        bench.carry_out(2, step, "2025-03-08")
    bench.carry_out(2, 3, "2025-03-08", becomes="discarded")
    bench.carry_out(2, 4, "2025-03-08", value="470 µF ±20 %")
    bench.move(2, "fitted", "2025-03-09")


def try_oscillator(bench: Bench) -> None:
    """Mod 3: tried and undone."""
    bench.do(PlanMod, title="Faster clock", purpose="See whether it bears it.", state="planned", day="2025-04-01",
             signer=KEEPER)  # fmt: skip
    bench.do(AddStep, mod=3, kind=StepKind.TAKE_OUT, board="main-board", designator="X1")
    bench.do(AddStep, mod=3, kind=StepKind.FIT, board="main-board", designator="X1", planned_value="5 MHz")
    bench.carry_out(3, 1, "2025-04-02")
    bench.carry_out(3, 2, "2025-04-02", value="5 MHz")
    bench.move(3, "fitted", "2025-04-02")
    for step in (2, 1):
        bench.do(UndoStep, mod=3, step=step, day="2025-04-09", signer=KEEPER)
    bench.move(3, "undone", "2025-04-09", note="It did not bear it.")


def puzzle_over(bench: Bench) -> None:
    """Two symptoms: one cured by mod 1 with its cause confirmed, one open with a cause suspected and one ruled out."""
    bench.do(NoteSymptom, title="Faint picture", seen_on="2025-01-04", bring_about="Switch on.")
    bench.do(SuspectCause, symptom=1, sentence="The driver gives too little.")
    bench.do(AddEvidence, symptom=1, cause=1, side="for", day="2025-02-04", trial=3, note="Brighter by a tenth.")
    bench.do(JudgeCause, symptom=1, cause=1, opened_version=1, sentence="The driver gives too little.",
             state="confirmed", judged_on="2025-02-04")  # fmt: skip
    bench.do(EndSymptom, symptom=1, opened_version=1, ended_as="cured", ended_on="2025-02-04", mod=1)
    bench.do(NoteSymptom, title="Stops after an hour", seen_on="2025-01-20")
    bench.do(SuspectCause, symptom=2, sentence="The supply sags", calculation="1/1",
             assumption="The driver's own drop is small.")  # fmt: skip
    bench.do(SuspectCause, symptom=2, sentence="A cold joint at U4")
    bench.do(JudgeCause, symptom=2, cause=2, opened_version=1, sentence="A cold joint at U4", state="ruled out",
             judged_on="2025-03-08", why="Soldered anew, no change.")  # fmt: skip
    bench.do(AddEvidence, symptom=2, cause=1, side="against", day="2025-03-09", calculation="1/1")


def hostile(store: Store, tag: str = "HX-1") -> Bench:
    """A machine whose every text is awkward: markup of three kinds, letters no font has, a very long word."""
    bench, text, long = Bench(store, tag), HOSTILE, "W" * 240
    bench.do(
        EnterMachine, tag=tag, maker=text, model=text, variant=long, serial_number=text, acquired_on="2025-01-04",
        provenance=f"{text}\n\n{long}", as_found=f"# {text}\n\n> {text}\n\n1. {text}\n   - {long}\n\n```\n{text}\n```",
        keeper=text, handed_over_on="2025-12-01", handed_over_to=text,
    )  # fmt: skip
    bench.do(AddBoard, name=text, kind=BoardKind.MAIN, part_number=text, revision=text, serial_number=long, note=text)
    board = _only_board(bench)
    bench.do(EnterPart, board=board, designator="R$1", kind=PartKind.OTHER, type=text, marking=text, rating=text,
             origin=Origin.ORIGINAL, condition=text)  # fmt: skip
    bench.do(WriteProcedure, title=text, unit=text, better="lower", how=text)
    bench.do(PlanMod, title=text, purpose=text, state="planned", day="2025-02-01", signer=text)
    bench.do(AddStep, mod=1, kind=StepKind.TAKE_OUT, board=board, designator="R$1", instruction=text, before_state=text)
    bench.do(AddStep, mod=1, kind=StepKind.OTHER, instruction=text, trace_stated="permanent", trace_reason=text)
    bench.do(Expect, mod=1, sentence=text)
    procedure = _only_procedure(bench)
    bench.do(RecordTrial, procedure=procedure, day="2025-02-01", readings="3 4 5", signer=text, conditions=text)
    bench.carry_out(1, 1, "2025-02-03", condition=long, note=text)
    bench.carry_out(1, 2, "2025-02-03", note=text)
    bench.move(1, "fitted", "2025-02-03", note=text)
    bench.do(RecordTrial, procedure=procedure, day="2025-02-04", readings="2 2 1", signer=text)
    bench.do(ReviseMod, mod=1, opened_version=_version(bench, 1), title=text, purpose=text, outcome=text)
    for number in (1, 2):
        bench.do(NoteSymptom, title=text, seen_on="2025-01-04", bring_about=text, note=text)
        bench.do(SuspectCause, symptom=number, sentence=text)
    bench.do(EndSymptom, symptom=2, opened_version=1, ended_as="explained", ended_on="2025-02-04", ended_note=text)
    return bench


def _version(bench: Bench, number: int) -> int:
    from server.records.questions.addresses import find_machine, find_mod

    with bench.store.reading() as session:
        return find_mod(session, find_machine(session, bench.tag), number).version


def _only_board(bench: Bench) -> str:
    from server.records.questions.addresses import find_machine
    from server.records.questions.machines import boards_of

    with bench.store.reading() as session:
        return boards_of(session, find_machine(session, bench.tag))[0].board.slug


def _only_procedure(bench: Bench) -> str:
    from sqlmodel import col, select

    from server.records.tables import Procedure

    with bench.store.reading() as session:
        return session.exec(select(Procedure.slug).order_by(col(Procedure.id).desc())).first() or ""
