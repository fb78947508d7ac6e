"""A capture that no scope ever took: the demo's reservoir at switch-off, reckoned with its ripple, noise and steps."""

from collections.abc import Iterator

import numpy as np

from seed_data.symptoms import Act
from server.records.commands.calculations import AttachCalculation
from server.records.commands.waveforms import RecordWaveform

SAMPLES, STEP_S, BEFORE_S = 2_000, 0.0007, 0.1
PEAK_V, RIPPLE_V, RIPPLE_HZ = 11.4, 0.5, 100.0
TAU_S = 0.2306  # 2306 µF over 100 Ω
NOISE_V, CODE_V = 0.02, 16 / 256


def reservoir(machine: str, keeper: str) -> Iterator[Act]:
    """The original C3 let down through a known resistor, and the sum that makes its capacitance of that."""
    yield RecordWaveform, {
        "machine": machine, "day": "2025-03-29", "title": "Reservoir at switch-off", "signer": keeper,
        "probed_at": "C3 against the supply's ground", "instrument": "an old two-channel scope, probe 10:1, 8 bits",
        "conditions": "Main board unplugged, the regulator's input lead taken off, 100 Ω ±1 % of 5 W across C3. "
        "Mains 230 V, pulled at 0 s.",
        "note": "The original capacitor. Does it still have what is printed on it?",
        "file_name": "C3-at-switch-off.csv", "content": reservoir_at_switch_off(),
    }  # fmt: skip
    yield AttachCalculation, {
        "machine": machine, "mod": 1, "title": "Capacitance of the original reservoir",
        "note": "Whether the hum comes of a capacitor that has dried out, or of one that was always small.",
        "inputs": [
            {"name": "tau", "label": "time constant at switch-off", "unit": "s", "source": "waveform", "waveform": "1",
             "figure": "tau"},
            {"name": "R", "label": "test resistor across it", "unit": "Ω", "text": "100 Ω ±1 %"},
        ],
        "lines": [{"name": "C", "expression": "tau / R", "unit": "µF", "label": "capacitance"}],
        "limits": [{"line": "C", "kind": "between", "value": "2200 µF ±20 %", "basis": "printed on the original C3"}],
        "assumptions": [
            {"sentence": "Nothing but the test resistor drains it.", "tested": True,
             "note": "without the resistor it holds for minutes"},
            {"sentence": "The scope's time base is right.", "tested": False},
        ],
    }  # fmt: skip


def reservoir_at_switch_off() -> bytes:
    """C3 over a test resistor of 100 Ω: mains ripple up to time 0, then nothing but the decay."""
    time = np.arange(SAMPLES) * STEP_S - BEFORE_S
    charged = PEAK_V - RIPPLE_V * ((time * RIPPLE_HZ) % 1.0)
    volts = np.where(time < 0, charged, PEAK_V * np.exp(-np.maximum(time, 0.0) / TAU_S))
    seen = volts + np.random.default_rng(1981).normal(0.0, NOISE_V, SAMPLES)
    codes = np.round(seen / CODE_V) * CODE_V
    lines = [f"{at:.4f},{level:.4f}" for at, level in zip(time, codes, strict=True)]
    return "\n".join(["C3 over 100 ohms", "Time (s),C3 (V)", *lines, ""]).encode()
