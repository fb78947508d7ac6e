"""Names of files, on their way in from a browser and out to one again."""

import re
import unicodedata
from pathlib import PurePosixPath
from urllib.parse import quote

from server.records.commands.base import LINE_MOST

UNSEEN = {"Cc", "Cf", "Cs", "Zl", "Zp"}


def name_alone(sent: str, nameless: str) -> str:
    """An uploaded file's name without folders, and without characters that are not seen or turn others round."""
    last = re.split(r"[/\\]", sent)[-1]
    seen = "".join(letter for letter in last if unicodedata.category(letter) not in UNSEEN)
    return seen.strip().lstrip(".").strip()[-LINE_MOST:].strip() or nameless


def with_ending(name: str, endings: tuple[str, ...]) -> str:
    """A name that ends as its file is: `IMG_1.heic`, kept as a JPEG, is `IMG_1.jpg`."""
    path = PurePosixPath(name)
    return name if path.suffix.lower() in endings else f"{path.stem}{endings[0]}"


def as_attachment(name: str) -> str:
    """The header that has a browser save a file under its name: in plain letters, and whole (RFC 6266, appendix D)."""
    plain = re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip("-.") or "file"
    return f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(name, safe='')}"
