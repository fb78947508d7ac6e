"""What a network is refused for: one branch on the core's root, each with the element and the node at fault.

NetworkError (EngineeringError)
├── BadNodeOrElement        a name that is empty, too long or unprintable; both ends on one node
├── BadElementValue         a resistance of nothing or less, a value out of range or of another dimension
├── DuplicateElement        two elements of one name
├── UnknownNode, UnknownElement     asked for, and not in the network
├── FloatingNode            no path for a steady current to the reference node
├── SourceLoop              voltage sources that close a loop among themselves
├── NetworkTooLarge         more nodes, elements, points or draws than are let through
├── BadSweep                the swept element is no source, or the values are no range
└── NotSettled              no balance was found, or none that passes Kirchhoff's current law
"""

from server.engineering.errors import EngineeringError


class NetworkError(EngineeringError):
    """A network that is refused; `element` and `node` are what is at fault, as far as one of them is."""

    def __init__(self, sentence: str, *, element: str | None = None, node: str | None = None) -> None:
        super().__init__(sentence, field=element or node)
        self.element = element
        self.node = node


class BadNodeOrElement(NetworkError):
    """A name that cannot be one, or ends that make no element."""


class BadElementValue(NetworkError):
    """A value that this kind of element cannot have."""


class DuplicateElement(NetworkError):
    """Two elements share a name."""


class UnknownNode(NetworkError):
    """No element ends at the node, or it is not among those declared."""


class UnknownElement(NetworkError):
    """No element has the name."""


class FloatingNode(NetworkError):
    """Nothing holds the node's voltage: no steady current can flow between it and the reference node."""


class SourceLoop(NetworkError):
    """Voltage sources in a loop: they disagree, or their currents are anybody's guess."""


class NetworkTooLarge(NetworkError):
    """Past a bound on nodes, elements, points or draws."""


class BadSweep(NetworkError):
    """What is swept is no source, or the values make no sweep."""


class NotSettled(NetworkError):
    """No state was found in which the currents at every node add up to nothing."""
