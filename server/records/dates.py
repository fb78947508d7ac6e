"""Days that are only known roughly, as EDTF (ISO 8601-2): `1979~`, `198X`, `1981-03`, `1977-06/..`."""

from functools import lru_cache

PLAIN_HINT = (
    "Write it as a year, month or day, roughly if need be: 1981, 1981-03, 1979~ (about 1979), 198X (in the 1980s)."
)


@lru_cache(maxsize=4096)
def check_made(text: str) -> str:
    """What is wrong with an EDTF date; empty when nothing is."""
    if not text:
        return ""
    from edtf import parse_edtf
    from edtf.parser.edtf_exceptions import EDTFParseException

    try:
        parse_edtf(text)
    except EDTFParseException:
        return PLAIN_HINT
    return ""
