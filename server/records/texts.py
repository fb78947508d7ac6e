"""Which text the record can hold: no control characters and no halves of characters, in one normal form (NFC)."""

import re
import unicodedata

# All but the end of a line and the tab, which a sentence may hold.
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff]")
_UNSTORABLE = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff]")


def normal(text: str) -> str:
    """One form for what looks the same: é as one character, however it was typed."""
    return unicodedata.normalize("NFC", text)


def unstorable_at(text: str, allowed: str = "") -> int | None:
    """The place, counted from 1, of the first character that cannot be stored; none when all can."""
    found = (mark.start() + 1 for mark in _UNSTORABLE.finditer(text) if mark[0] not in allowed)
    return next(found, None)


def sought(name: str) -> str:
    """A name to look for: one that no record can have finds nothing, rather than upsetting the database."""
    return _UNSTORABLE.sub("\N{REPLACEMENT CHARACTER}", normal(name))


def printable(text: str, most: int) -> str:
    """Text as a sentence can hold it: it can be printed whatever was typed, and it has an end."""
    cut = text if len(text) <= most else f"{text[:most]}…"
    return _CONTROL.sub("\N{REPLACEMENT CHARACTER}", cut)
