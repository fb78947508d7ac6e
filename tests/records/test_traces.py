"""The trace that a step leaves is derived from its kind and mounting; it is only ever stated worse (rule 4)."""

import itertools

import pytest

from server.records.commands.machines import RevisePosition
from server.records.commands.steps import AddStep, ReviseStep
from server.records.questions.addresses import find_machine, find_mod
from server.records.questions.machines import mods_of
from server.records.questions.mods import steps_of, trace_of, why_of
from server.records.traces import ORDER, WHY, trace_of_kind, worst
from server.records.words import Mounting, StepKind, Trace
from tests.records.conftest import MAIN, TAG, Bench

USUAL = [
    ("take out", "socketed", "none"),
    ("take out", "soldered", "solder only"),
    ("take out", "wired", "solder only"),
    ("fit", "socketed", "none"),
    ("fit", "soldered", "solder only"),
    ("lift pin", "socketed", "a mark"),
    ("cut trace", None, "a mark"),
    ("add link", None, "solder only"),
    ("drill or cut case", None, "permanent"),
    ("change firmware", None, "none"),
    ("adjust", None, "none"),
    ("clean", None, "permanent"),
    ("other", None, "a mark"),
]


@pytest.mark.parametrize(("kind", "mounting", "trace"), USUAL)
def test_each_kind_leaves_its_usual_trace(kind: str, mounting: str | None, trace: str) -> None:
    """Common practice, no source."""
    assert trace_of_kind(StepKind(kind), mounting) == trace


def test_every_kind_at_every_mounting_has_a_trace_and_a_reason() -> None:
    """A kind that is added later needs both."""
    for kind, mounting in itertools.product(StepKind, [*Mounting, None]):
        assert trace_of_kind(kind, mounting) in Trace
        assert WHY[kind]


def test_the_worst_of_several_is_theirs() -> None:
    """And nothing leaves nothing."""
    assert worst([]) == Trace.NONE
    for one, other in itertools.product(Trace, Trace):
        assert worst([one, other]) == max(one, other, key=ORDER.index)


def traces(bench: Bench) -> tuple[list[str], str, str]:
    """Each step's trace, the mod's, and why."""
    with bench.store.reading() as session:
        machine = find_machine(session, TAG)
        lines = steps_of(session, find_mod(session, machine, 1))
        assert mods_of(session, machine, 1).rows[0].trace == trace_of(lines)
        return [line.trace.value for line in lines], trace_of(lines).value, why_of(lines)


def test_a_mods_trace_is_the_worst_of_its_steps(bench: Bench) -> None:
    """With the reason of that step; the list of mods says the same."""
    bench.plan()
    assert traces(bench)[:2] == ([], "none")
    bench.step("take out", "U7")
    bench.step("take out", "R2")
    bench.step("lift pin", "U7", pin="3")
    bench.step("adjust")

    assert traces(bench) == (["none", "solder only", "a mark", "none"], "a mark", WHY[StepKind.LIFT_PIN])


@pytest.mark.parametrize("stated", list(Trace))
@pytest.mark.parametrize("kind", ["adjust", "add link", "lift pin", "clean"])
def test_a_trace_is_stated_worse_and_never_better(bench: Bench, kind: str, stated: Trace) -> None:
    """And then with a reason."""
    bench.plan()
    usual = trace_of_kind(StepKind(kind), "socketed")
    step = {"mod": 1, "kind": kind, "board": MAIN, "designator": "U7", "pin": "3", "trace_stated": stated.value}

    if ORDER.index(stated) < ORDER.index(usual):
        assert list(bench.refuse(AddStep, trace_reason="I was careful.", **step)) == ["trace_stated"]
    elif stated != usual:
        assert list(bench.refuse(AddStep, **step)) == ["trace_reason"]
        bench.do(AddStep, trace_reason="The pad came off.", **step)
        assert traces(bench) == ([stated], stated, "The pad came off.")
    else:
        assert bench.do(AddStep, trace_reason="Nothing milder did.", **step).seq


@pytest.mark.parametrize(
    "stays", [{"kind": "clean"}, {"kind": "drill or cut case"}, {"kind": "other", "trace_stated": "permanent"}]
)
def test_what_stays_for_good_has_its_reason(bench: Bench, stays: dict[str, str]) -> None:
    """Written when the step is planned, and kept when it is revised; it is told with the trace."""
    bench.plan()
    asked = "This stays for good: write why nothing milder will do."

    assert bench.refuse(AddStep, mod=1, **stays) == {"trace_reason": asked}
    bench.do(AddStep, mod=1, trace_reason="The leak had eaten into it.", **stays)
    assert bench.refuse(ReviseStep, mod=1, step=1, opened_version=1, **stays) == {"trace_reason": asked}
    assert traces(bench)[2].endswith("The leak had eaten into it.")


def test_a_revised_step_is_held_to_the_same(bench: Bench) -> None:
    """Also when its kind changes under what was stated."""
    bench.plan()
    bench.step("adjust", trace_stated="solder only", trace_reason="A wire had to come off.")
    worse = {"mod": 1, "step": 1, "opened_version": 1, "trace_stated": "solder only", "trace_reason": "As before."}

    assert list(bench.refuse(ReviseStep, kind="clean", **worse)) == ["trace_stated"]


def test_the_trace_follows_what_is_written_of_the_position(bench: Bench) -> None:
    """It is derived each time: a socket that turns out to be none makes the trace worse by itself."""
    bench.plan()
    bench.step("take out", "U7")
    before = traces(bench)[1]
    bench.do(RevisePosition, board=MAIN, designator="U7", kind="chip", mounting="soldered", opened_version=1)

    assert (before, traces(bench)[1]) == ("none", "solder only")
