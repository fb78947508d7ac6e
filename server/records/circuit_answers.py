"""What a circuit's questions came to, in sentences: told alike on its page and on the printed sheet.

It reads the plain values that a run keeps; nothing is solved here.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from server.records.circuit_lines import in_words, part_in_words

NO_BREAK = "\N{NO-BREAK SPACE}"
_PREFIXES = ((1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"))
Band = Sequence[float | None]


def question_in_words(circuit: Mapping[str, Any], number: int) -> str:
    """`When T1 conducts while T2 no longer holds it off`."""
    return f"When {in_words(circuit['questions'][number - 1]['parts'])}"


def answer_in_words(
    circuit: Mapping[str, Any], kept: Mapping[str, Any], number: int, *, in_full: bool = True
) -> list[str]:
    """Over which stretches and for how long it holds in one case, and what has to be known with that.

    In full also where each condition holds by itself.
    """
    found = kept["answers"][number - 1]
    if found.get("missing"):
        return [found["missing"]]
    unit, asked = swept_unit(circuit), circuit["questions"][number - 1]["parts"]
    return [
        *_sentences(found, circuit["sweep"], unit),
        *(_each_by_itself(asked, found.get("parts", []), unit) if in_full else ()),
        *filter(_is_news, found["notes"]),
    ]


def of_the_looking(note: str) -> bool:
    """Whether a note tells how closely was looked, which is told once for all answers."""
    return note.startswith("Looked at")


def _is_news(note: str) -> bool:
    """That a rail stays where it is is said in the answer itself."""
    return not of_the_looking(note) and not note.endswith("it is never left.")


def swept_unit(circuit: Mapping[str, Any]) -> str:
    """The unit of the source that is turned down."""
    swept = circuit["sweep"]
    is_current = bool(swept) and any(
        row["name"] == swept["source"] and row["kind"] == "current" for row in circuit["elements"]
    )
    return "A" if is_current else "V"


def told(band: Band, unit: str, *, in_unit: bool = False) -> str:
    """`7.70 (7.52 to 7.89) V`, in the multiple of the unit that keeps the figure short, or in the unit itself.

    As fine as two digits of half the interval (GUM 7.2.6), but never finer than four digits of the figure.
    """
    middle, low, high = band[:3]
    if middle is None or low is None:
        return "no end"
    size = 1.0 if in_unit else max(abs(number) for number in (middle, low, high) if number is not None)
    factor, prefix = next((one for one in _PREFIXES if size >= one[0] * 0.9999), _PREFIXES[0 if size == 0 else -1])
    if middle == low == high:
        return f"{_figure(float(f'{middle / factor:.4g}'))}{NO_BREAK}{prefix}{unit}"
    decimals = _decimals(middle / factor, low / factor, None if high is None else high / factor)
    first, *ends = ("no end" if one is None else _figure(one / factor, decimals) for one in (middle, low, high))
    words = first if ends == [first, first] else f"{first} ({ends[0]} to {ends[1]})"
    return f"{words}{NO_BREAK}{prefix}{unit}"


def _decimals(middle: float, low: float, high: float | None) -> int:
    """How many places behind the point are told."""
    fine = 3 - _power(middle)
    spread = (high if high is not None else middle) - low
    return max(0, min(fine, 1 - _power(spread / 2)) if spread > 0 else fine)


def _power(number: float) -> int:
    """The power of ten of a number's first digit."""
    return math.floor(math.log10(abs(number))) if number else 0


def _figure(number: float, decimals: int | None = None) -> str:
    shown = f"{number:.6g}" if decimals is None else f"{number:.{decimals}f}"
    return ("0" if float(shown) == 0 else shown).replace("-", "−")


def _sentences(found: Mapping[str, Any], swept: Mapping[str, Any], unit: str) -> Iterator[str]:
    if not found["stretches"]:
        yield f"Never, from {swept['high_text']} down to {swept['low_text']}."
    for one in reversed(found["stretches"]):
        high = "where it begins" if one["open_high"] else ""
        low = "where the looking ended" if one["open_low"] else ""
        ends = [
            f"{told(one['high'], unit, in_unit=True)}{f', {high},' if high else ''}",
            f"{told(one['low'], unit, in_unit=True)}{f', {low}' if low else ''}",
        ]
        yield f"From {ends[0]} down to {ends[1]}{_share(one['share'])}."
    for one in found["windows"]:
        yield f"{_begins(one)} {_lasts(one)}{_share(one['share'])}."
    if found["timed"] and found["stretches"] and not found["windows"]:
        yield "The rail as it falls never comes there."


def _each_by_itself(
    asked: Sequence[Mapping[str, str]], parts: Sequence[Sequence[Mapping[str, Any]]], unit: str
) -> Iterator[str]:
    """Where each condition holds without the other: so it is seen which of them decides."""
    told_of = [f"{part_in_words(one)} {_spans(found, unit)}" for one, found in zip(asked, parts, strict=False)]
    if told_of:
        yield f"By itself {'; '.join(told_of)}."


def _spans(found: Sequence[Mapping[str, Any]], unit: str) -> str:
    if not found:
        return "nowhere"
    spans = (
        f"from {told(one['high'], unit, in_unit=True)} to {told(one['low'], unit, in_unit=True)}"
        for one in reversed(found)
    )
    return " and ".join(spans)


def _begins(window: Mapping[str, Any]) -> str:
    if window["start"][0] == 0 == window["start"][4]:
        return "It begins at switch-off"
    return f"It begins {told(window['start'], 's')} after switch-off"


def _lasts(window: Mapping[str, Any]) -> str:
    if window["length"][0] is None:
        return "and has no end that the rail comes to"
    return f"and lasts {'at least ' if window['at_least'] else ''}{told(window['length'], 's')}"


def _share(share: float) -> str:
    return "" if share >= 1 else f", in {100 * share:.3g}{NO_BREAK}% of the draws"
