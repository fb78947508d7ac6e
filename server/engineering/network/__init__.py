"""DC networks: elements between named nodes, their steady state, sweeps, thresholds, and windows after switch-off.

    elements      what can stand in a network                     networks     what is refused unsolved
    junctions     the currents of junctions                       equations    the matrices, made by `assembly`
    balance       many networks' junctions solved at once         ports        the linear part, once a draw
    points        `operating_point` and `sweep`                   conditions   what is watched
    thresholds    where a condition holds                         windows      for how long, as a rail falls

Everything is a steady state: no capacitance, no time but that of the falling rail. Numbers in SI units, or
`Toleranced`, whose tolerance is carried by draws.
"""

from server.engineering.network.bands import Band, Trace
from server.engineering.network.conditions import (
    AllOf,
    AnyCondition,
    Condition,
    Figure,
    all_of,
    conducting,
    conducting_while_released,
    current,
    power,
    released,
    told,
    voltage,
)
from server.engineering.network.elements import (
    NPN,
    PNP,
    Capacitor,
    CurrentSource,
    Diode,
    Element,
    LogicOutput,
    Ratings,
    Resistor,
    Switch,
    Transistor,
    Value,
    VoltageSource,
    Zener,
)
from server.engineering.network.errors import (
    BadElementValue,
    BadNodeOrElement,
    BadSweep,
    DuplicateElement,
    FloatingNode,
    NetworkError,
    NetworkTooLarge,
    NotSettled,
    SourceLoop,
    UnknownElement,
    UnknownNode,
)
from server.engineering.network.falls import (
    ExponentialFall,
    Fall,
    ResistorFall,
    SteadyCurrentFall,
    SteadyPowerFall,
)
from server.engineering.network.networks import Network
from server.engineering.network.points import ElementReading, OperatingPoint, OverRating, Sweep, operating_point, sweep
from server.engineering.network.thresholds import Interval, Thresholds, thresholds
from server.engineering.network.windows import Window, Windows, windows_over_decay

__all__ = [
    "NPN",
    "PNP",
    "AllOf",
    "AnyCondition",
    "BadElementValue",
    "BadNodeOrElement",
    "BadSweep",
    "Band",
    "Capacitor",
    "Condition",
    "CurrentSource",
    "Diode",
    "DuplicateElement",
    "Element",
    "ElementReading",
    "ExponentialFall",
    "Fall",
    "Figure",
    "FloatingNode",
    "Interval",
    "LogicOutput",
    "Network",
    "NetworkError",
    "NetworkTooLarge",
    "NotSettled",
    "OperatingPoint",
    "OverRating",
    "Ratings",
    "Resistor",
    "ResistorFall",
    "SourceLoop",
    "SteadyCurrentFall",
    "SteadyPowerFall",
    "Sweep",
    "Switch",
    "Thresholds",
    "Trace",
    "Transistor",
    "UnknownElement",
    "UnknownNode",
    "Value",
    "VoltageSource",
    "Window",
    "Windows",
    "Zener",
    "all_of",
    "conducting",
    "conducting_while_released",
    "current",
    "operating_point",
    "power",
    "released",
    "sweep",
    "thresholds",
    "told",
    "voltage",
    "windows_over_decay",
]
