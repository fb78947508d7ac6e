"""Files that were made to be fetched: they lie beside what else can be made again, and are let go after a day."""

import re
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from pathlib import Path
from time import time

from starlette.responses import FileResponse, Response

from server.pages.file_names import as_attachment
from server.pages.house import House
from server.records.errors import NotFound

KEPT_S = 24 * 3600
KEY = re.compile(r"[A-Za-z0-9_-]{6,40}", re.ASCII)


def place_of(house: House, kind: str, key: str) -> Path:
    """Where one is written. Raises NotFound for what is no key."""
    if not KEY.fullmatch(key):
        raise NotFound(kind, "of that name")
    return _folder(house, kind) / f"{key}.zip"


def fetched(house: House, kind: str, key: str, name_on: Callable[[date], str]) -> Response:
    """One that is there, called as it is for the day on which it was written. Raises NotFound."""
    place = place_of(house, kind, key)
    if not place.is_file():
        raise NotFound(kind, "of that name. It is kept for a day once it is written; write it anew")
    day = date.fromtimestamp(place.stat().st_mtime)  # noqa: DTZ012 (the keeper's own calendar day)
    headers = {"Content-Disposition": as_attachment(name_on(day)), "Cache-Control": "no-store"}
    return FileResponse(place, media_type="application/zip", headers=headers)


def forget_old(house: House, kind: str) -> None:
    """Those of yesterday, and what a stopped server left half written."""
    folder = _folder(house, kind)
    for place in folder.glob("*") if folder.is_dir() else ():
        with suppress(OSError):
            if time() - place.stat().st_mtime > KEPT_S:
                place.unlink()


def _folder(house: House, kind: str) -> Path:
    return house.store.files.root / "derived" / f"{kind}s"
