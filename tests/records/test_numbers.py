"""What people number on paper keeps its number for good: nothing later is called the same."""

from server.records.commands.mods import DropExpectation, Expect
from server.records.commands.trials import WriteProcedure
from server.records.tables import Expectation
from tests.records.conftest import Bench


def expected(bench: Bench, sentence: str, mod: int = 1) -> int:
    key = bench.do(Expect, mod=mod, sentence=sentence, sense="seen", procedure="lamp").key
    return int(bench.row(Expectation, key).number)


def test_an_expectation_s_number_is_not_given_again(bench: Bench) -> None:
    """Another mod counts for itself."""
    bench.do(WriteProcedure, title="Lamp", better="yes")
    bench.plan()
    bench.plan("Quieter fan")
    assert [expected(bench, "The lamp glows"), expected(bench, "The fan hums")] == [1, 2]

    bench.do(DropExpectation, mod=1, number=2, sentence="The fan hums")

    assert expected(bench, "The fan stands") == 3
    assert expected(bench, "The fan turns", mod=2) == 1
