"""The refusals of networks: drawn as they are, under the core's root, each with its facts."""

import inspect
import pickle

import pytest

from server.engineering import network
from server.engineering.errors import EngineeringError
from server.engineering.network import errors

CLASSES = [kind for _, kind in inspect.getmembers(errors, inspect.isclass) if kind.__module__ == errors.__name__]


@pytest.mark.parametrize("kind", CLASSES)
def test_every_refusal_stands_in_the_drawn_tree_and_is_public(kind: type[Exception]) -> None:
    """So that one `except EngineeringError` catches all of them."""
    assert kind.__name__ in (errors.__doc__ or "")
    assert issubclass(kind, EngineeringError)
    assert kind.__name__ in network.__all__


@pytest.mark.parametrize("kind", CLASSES)
def test_a_refusal_survives_being_handed_to_another_process(kind: type[errors.NetworkError]) -> None:
    """With its facts."""
    again = pickle.loads(pickle.dumps(kind("No.", element="R1", node="a")))  # noqa: S301

    assert (str(again), again.sentence) == ("No.", "No.")
    assert (again.element, again.node, again.field) == ("R1", "a", "R1")


def test_what_is_public_is_there_and_in_order() -> None:
    """Every name of the package's face can be had from it."""
    assert all(hasattr(network, name) for name in network.__all__)
    assert len(set(network.__all__)) == len(network.__all__)
