"""The tree of refusals: drawn as it is, and each with its facts."""

import inspect
import pickle

import pytest

from server.engineering import errors

CLASSES = [kind for _, kind in inspect.getmembers(errors, inspect.isclass) if kind.__module__ == errors.__name__]


@pytest.mark.parametrize("kind", CLASSES)
def test_every_refusal_stands_in_the_drawn_tree_and_under_the_root(kind: type[Exception]) -> None:
    """So that one `except EngineeringError` catches all of them."""
    assert kind.__name__ in (errors.__doc__ or "")
    assert issubclass(kind, errors.EngineeringError)
    assert issubclass(kind, ValueError)


def test_a_refusal_carries_its_facts_and_its_sentence() -> None:
    """The sentence is what str gives; the rest is for the page."""
    refusal = errors.AmbiguousQuantity("Which?", text="10M", position=2, readings=("10 MΩ", "10 MHz"))

    assert str(refusal) == refusal.sentence
    assert (refusal.text, refusal.position) == ("10M", 2)
    assert refusal.readings == ("10 MΩ", "10 MHz")


def test_a_calculations_refusal_can_be_told_its_line() -> None:
    """Same kind, same facts, the line in front."""
    refusal = errors.DivisionByZero("“x” is zero", name="x", text="1/x", position=2).on_line("I")

    assert isinstance(refusal, errors.DivisionByZero)
    assert str(refusal) == "Line I: “x” is zero"
    assert (refusal.line, refusal.name, refusal.field, refusal.position) == ("I", "x", "x", 2)


@pytest.mark.parametrize("kind", [kind for kind in CLASSES if kind is not errors.MethodError])
def test_a_refusal_survives_being_handed_to_another_process(kind: type[errors.EngineeringError]) -> None:
    """With its facts."""
    refusal = kind("No.", text="5 x", position=2)

    again = pickle.loads(pickle.dumps(refusal))  # noqa: S301

    assert (str(refusal), refusal.text, refusal.position) == (str(again), again.text, again.position)
