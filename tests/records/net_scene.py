"""A net to try the record with: chips of three families on the main board, and an empty place for a resistor."""

from server.engineering.quantities import parse
from server.records.commands.machines import AddPosition
from server.records.commands.nets import AddNet
from server.records.commands.parts import EnterPart
from server.records.questions.addresses import find_board, find_machine, find_net
from server.records.questions.net_cases import NOW, NetAt, record_of
from server.records.signals import Judged, judge
from server.records.tables import NetPin
from tests.records.conftest import MAIN, TAG, Bench

FIVE = parse("5 V ±5 %")
OUTPUT, OPEN, INPUT = "totem-pole output", "open collector", "input"
Row = dict[str, str]


def pin(designator: str, number: str, role: str = INPUT, **more: str) -> Row:
    return {"designator": designator, "pin": number, "role": role, **more}


def pull(designator: str, end: str = "5 V") -> Row:
    return {"designator": designator, "role": "passive", "other_end": end}


# U11 drives, U12 listens, U13 can do either, R7 (1 kΩ) pulls up.
PATH = [pin("U11", "3", OUTPUT), pin("U12", "1"), pin("U13", "4", "either way"), pull("R7")]


def place(bench: Bench) -> None:
    """Chips of three families on the main board, and an empty place for a resistor."""
    chips = {"U11": "SN74LS00N", "U12": "7404", "U13": "8255A", "U14": "odd one"}
    for designator, kind in chips.items():
        bench.do(EnterPart, board=MAIN, designator=designator, kind="chip", type=kind, origin="original")
    bench.do(AddPosition, board=MAIN, designator="R30", kind="resistor", mounting="wired")


def add(bench: Bench, pins: list[Row] = PATH, **more: object) -> None:
    bench.do(AddNet, board=MAIN, **{"name": "KEY 2", "pins": pins, **more})


def refused(bench: Bench, *pins: Row) -> dict[str, str]:
    return bench.refuse(AddNet, board=MAIN, name="KEY 2", pins=list(pins))


def seen(bench: Bench, case: str = NOW, number: int = 1) -> NetAt:
    with bench.store.reading() as session:
        machine = find_machine(session, TAG)
        return record_of(session, machine, find_net(session, find_board(session, machine, MAIN), number)).at(case)


def judged(bench: Bench, case: str = NOW) -> Judged:
    return judge(seen(bench, case), FIVE)


def cases_of(bench: Bench) -> list[str]:
    with bench.store.reading() as session:
        machine = find_machine(session, TAG)
        record = record_of(session, machine, find_net(session, find_board(session, machine, MAIN), 1))
        return [case.words for case in record.cases()]


def rows_in_order(bench: Bench) -> list[NetPin]:
    return sorted(bench.rows(NetPin), key=lambda row: row.place)
