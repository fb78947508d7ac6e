"""What a circuit's rows come to where a field was left empty."""

from typing import Any

import pytest

from server.records.tables import Calculation, CalculationInput, CalculationRun
from tests.records.circuit_scene import attach, place, rows
from tests.records.conftest import Bench

LOOSE = "12 V ±10 %"
FALL = {"fall_kind": "time constant", "fall": [{"text": "100 ms"}]}


@pytest.fixture
def scene(bench: Bench) -> Bench:
    place(bench)
    return bench


def started(bench: Bench) -> str:
    """Where the rail begins to fall, as it is stored."""
    return next(str(row.text) for row in bench.rows(CalculationInput) if row.name == "fall_start")


@pytest.mark.parametrize(
    ("changed", "start"),
    [
        ({"elements": rows(V1={"text": LOOSE})}, LOOSE),
        ({"elements": rows(V1={"text": LOOSE}), "sweep_high": "12000 mV"}, LOOSE),
        ({"elements": rows(V1={"text": "10.8..13.2 V"})}, "10.8..13.2 V"),
        ({"elements": rows(V1={"text": LOOSE}), "sweep_high": "9 V"}, "9 V"),
        ({"elements": rows(V1={"text": LOOSE}), "fall_start": "12 V"}, "12 V"),
        ({}, "12 V"),
        ({"sweep_source": "U9", "elements": rows(U9={"kind": "output", "nodes": "o, 0", "text": "5 V ±5 %"},
          R9={"nodes": "o, 0", "text": "1 kΩ"}), "sweep_high": "5 V"}, "5 V ±5 %"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_a_fall_begins_at_the_source_s_own_value_where_the_range_does(
    scene: Bench, changed: dict[str, Any], start: str
) -> None:
    """With its tolerance; else at the upper end, and where something is written, there."""
    attach(scene, **{"questions": []} | changed | FALL)

    assert started(scene) == start


def test_the_times_of_a_loose_rail_have_an_interval(scene: Bench) -> None:
    """From 12 V ±10 % to 7.7 V in 100 ms ln(V0/7.7): 34 to 54 ms."""
    attach(scene, elements=rows(V1={"text": LOOSE}), **FALL)
    (window,) = scene.rows(CalculationRun)[-1].cases["stock"]["circuit"]["answers"][0]["windows"]
    nominal, low, high, least, most = window["start"]

    assert nominal == pytest.approx(0.0444, abs=2e-4)
    assert 0.0338 <= least <= low < 0.037
    assert 0.051 < high <= most <= 0.05394
    assert scene.row(Calculation, 1).version == 1
