"""Tokens that nobody can guess, each for one use: share links, and programs that act for somebody.

Only the SHA-256 of a token is stored, and looked up by its index: a stolen copy of the record opens nothing, and how
long an answer takes tells nothing of other tokens.
"""

import re
import secrets
from hashlib import sha256

TOKEN_BYTES = 24  # 192 random bits, which base 64 spells without a remainder in 32 letters
TOKEN = re.compile(r"[A-Za-z0-9_-]{32}", re.ASCII)


def new_token() -> str:
    return secrets.token_urlsafe(TOKEN_BYTES)


def digest_of_token(token: str) -> str:
    """What is stored of a token."""
    return sha256(token.encode("ascii")).hexdigest()
