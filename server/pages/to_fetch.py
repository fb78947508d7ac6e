"""Files that were made to be fetched: they lie beside what else can be made again, and are let go after a day."""

import re
from contextlib import suppress
from pathlib import Path
from time import time

from server.pages.house import House
from server.records.errors import NotFound

KEPT_S = 24 * 3600
KEY = re.compile(r"[A-Za-z0-9_-]{6,40}", re.ASCII)


def place_of(house: House, kind: str, key: str) -> Path:
    """Where one is written. Raises NotFound for what is no key."""
    if not KEY.fullmatch(key):
        raise NotFound(kind, "of that name")
    return _folder(house, kind) / f"{key}.zip"


def written(house: House, kind: str, key: str) -> Path:
    """One that is there. Raises NotFound."""
    place = place_of(house, kind, key)
    if not place.is_file():
        raise NotFound(kind, "of that name. It is kept for a day once it is written; write it anew")
    return place


def forget_old(house: House, kind: str) -> None:
    """Those of yesterday, and what a stopped server left half written."""
    folder = _folder(house, kind)
    for place in folder.glob("*") if folder.is_dir() else ():
        with suppress(OSError):
            if time() - place.stat().st_mtime > KEPT_S:
                place.unlink()


def _folder(house: House, kind: str) -> Path:
    return house.store.files.root / "derived" / f"{kind}s"
