"""Why a marking is not read, in one sentence for the keeper.

Patterns of what goes wrong at the bench, first match first. It only explains: what is legal is decided by the codes
themselves. Common practice, no source.
"""

import re

from server.engineering.tolerance_letters import MarkedKind

_FAULTS: tuple[tuple[str, str], ...] = (
    (r"", "There is no marking here."),
    (r"-.*", "{code} has a minus sign, and no {kind} is negative."),
    (r"\S*\s.*", "{code} has a blank inside: a code is printed in one piece."),
    (r".*[.,].*", "{code} has a decimal sign beside its letter: a code has one or the other."),
    (r"[^0-9]*", "{code} has no digits."),
    (r".*[^0-9A-Za-zµ].*", "{code} has a sign that is in no code."),
    (r".*[Oo].*", "{code} has a letter O where a zero may be meant."),
    (r"0[0-9]*", "{code} begins with zero, which no digit code does."),
    (r"[0-9]*", "A digit code has three or four digits, which {code} has not."),
    (
        r"[0-9]+[Ee][0-9]+",
        "{code} may have E for the decimal point or for a power of ten: write R or the whole number.",
    ),
    (r"[0-9]*[A-Zkpnuµ][0-9]*[a-z]", "{code} ends in a small letter: tolerance letters are capitals."),
    (r"[0-9]+[A-Za-zµ][0-9]*[A-Za-zµ][0-9]+", "{code} has two letters for its decimal point."),
    (r"[0-9]*[A-Za-zµ][0-9]*[A-Z]{2,}", "{code} has more than one letter for its tolerance."),
)
_RESISTOR_FAULTS: tuple[tuple[str, str], ...] = (
    (r"[A-Z][0-9]{2}", "{code} begins with its letter, which EIA-96 does not; codes that do are each maker's own."),
    (r"(00|9[7-9])[A-Z]", "{code} counts outside EIA-96, which goes from 01 to 96."),
)
_LETTER = re.compile(r"[A-Za-zµ]")
_DECIMAL_POINTS: dict[MarkedKind, str] = {"resistor": "R, k, M, G or T", "capacitor": "p, n, µ or m"}


def fault(code: str, kind: MarkedKind, scheme: str | None = None) -> str:
    """Why a marking without a reading (in one scheme, if given) has none, in one sentence.

    Raises nothing. Source: common practice.
    """
    for pattern, sentence in (*_FAULTS, *(_RESISTOR_FAULTS if kind == "resistor" else ())):
        if re.fullmatch(pattern, code):
            return sentence.format(code=f"“{code}”", kind=kind)
    if scheme:
        return f"“{code}” has no reading as {scheme}."
    letter = _LETTER.search(code)
    named = f"the letter {letter[0]}" if letter else "what stands there"
    return f"“{code}” is no code of a {kind}: its decimal point is {_DECIMAL_POINTS[kind]}, and {named} is none here."
