"""What a letter close behind a number means when no unit is written: the decimal sign of a code, or a prefix alone.

`4k7` on a resistor is 4.7 kΩ, `100n` on a capacitor 100 nF. Where nothing tells what is measured, only letters that
the trade uses for one kind of part are taken (`k`, `R`: resistance; `p`, `n`, `u`: capacitance; `V` between digits:
Zener voltage); a bare `M`, and a `K` with no digits after it, are left to the keeper. `m` alone is nowhere a prefix.

Source: IEC 60062 (letter and digit code), from memory; `V` as a decimal sign: common practice, no source.
"""

from collections.abc import Mapping

from server.engineering.units import factors

_BY_SYMBOL: Mapping[str, Mapping[str, str]] = {
    "Ω": {"R": "Ω", "k": "kΩ", "K": "kΩ", "M": "MΩ", "G": "GΩ", "T": "TΩ"},
    "F": {"p": "pF", "n": "nF", "u": "µF", "µ": "µF"},
    "H": {"n": "nH", "u": "µH", "µ": "µH"},
    "Hz": {"k": "kHz", "K": "kHz", "M": "MHz"},
    "V": {"V": "V"},
    "A": {"A": "A"},
}
_UNTOLD: Mapping[str, str] = {
    "R": "Ω", "k": "kΩ", "K": "kΩ", "p": "pF", "n": "nF", "u": "µF", "µ": "µF", "V": "V",
}  # fmt: skip


def letters(asked: str | None) -> Mapping[str, str]:
    """The unit that each letter stands for, where a unit is asked for or (None) nothing is known."""
    if asked is None:
        return _UNTOLD
    parts = factors(asked)
    return _BY_SYMBOL.get(parts[0].symbol, {}) if len(parts) == 1 else {}
