"""What is known of a file that is kept as it came, from its bytes alone: its size, and the digests that tell it apart.

CRC-32 (from memory of ITU-T V.42 (2002), 8.1.1.6.2) and SHA-1 (from memory of FIPS 180-4 (2015), section 6.1) are what
lists of firmware dumps name. Knows no record and no web, and never looks at what a file means.
"""

import hashlib
import zlib
from dataclasses import dataclass

from server.records.files import digest_of

MEGABYTE = 1_000_000
FILE_MOST_MB = 64
FILE_MOST = FILE_MOST_MB * MEGABYTE  # bytes
EMPTY = "The file is empty."
TOO_LARGE = f"It is larger than {FILE_MOST_MB} MB, the most that a file has here."


class BadFile(ValueError):
    """Why a file cannot be kept, in one sentence for the keeper."""


@dataclass(frozen=True, slots=True)
class FileFacts:
    """A file with its digests, in hexadecimal."""

    content: bytes
    sha256: str
    crc32: str
    sha1: str


def facts_of(content: bytes) -> FileFacts:
    """What a file is known by; raises BadFile when it is empty or too large."""
    if not content:
        raise BadFile(EMPTY)
    if len(content) > FILE_MOST:
        raise BadFile(TOO_LARGE)
    sha1 = hashlib.sha1(content, usedforsecurity=False).hexdigest()
    return FileFacts(content, digest_of(content), f"{zlib.crc32(content):08x}", sha1)
