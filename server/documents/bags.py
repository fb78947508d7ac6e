"""A BagIt 1.0 bag (RFC 8493), written straight into a zip file: each byte is read once, however large the payload.

    with BagWriter(path, "TM-03") as bag:
        bag.add("record.json", [record_json])
        bag.add("photographs/0001.jpg", store.pieces(sha256))
        bag.finish({"Bagging-Date": "2026-01-02"})

The payload lies below `data/`; manifests of SHA-256 and SHA-512 name every file of it, tag manifests every other file.
Names hold no control characters and no percent sign, because readers differ in how they take those; a name that could
leave the bag, or clash with another where upper and lower case are alike, is refused. Knows no record.
"""

import hashlib
import unicodedata
import zipfile
from collections.abc import Iterable, Mapping
from datetime import date
from pathlib import Path
from types import TracebackType
from typing import Self

from server.records import clock

ALGORITHMS = ("sha256", "sha512")
DECLARATION = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
NAME_MOST = 200
_TEXT = (".json", ".jsonld", ".txt", ".csv")
_DEVICES = {"con", "prn", "aux", "nul", *(f"{name}{n}" for name in ("com", "lpt") for n in range(1, 10))}
_NOT_IN_NAMES = set('%\\:*?"<>|')


class BadName(ValueError):
    """A name that a bag's file cannot have everywhere."""


class BagWriter:
    """One bag in one zip file, below a folder of its own; without `finish` there is no bag."""

    def __init__(self, place: Path, folder: str, day: date | None = None) -> None:
        self.folder = checked_name(folder)
        moment = (day or clock.today()).timetuple()
        self._moment = (moment.tm_year, moment.tm_mon, moment.tm_mday, 0, 0, 0)
        self._zip = zipfile.ZipFile(place, "w", allowZip64=True)
        self._payload: dict[str, tuple[str, ...]] = {}
        self._tags: dict[str, tuple[str, ...]] = {}
        self._taken: set[str] = set()
        self._octets = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._zip.close()

    def add(self, name: str, chunks: Iterable[bytes]) -> str:
        """A payload file; gives its SHA-256. Raises BadName."""
        path = f"data/{checked_name(name)}"
        folded = unicodedata.normalize("NFC", path).casefold()
        if folded in self._taken:
            raise BadName(f"Two files of a bag would be called {name}.")
        self._taken.add(folded)
        digests, size = self._write(path, chunks)
        self._payload[path] = digests
        self._octets += size
        return digests[0]

    def finish(self, info: Mapping[str, str]) -> None:
        """Write the tag files: what the bag is, `info` about it, and the manifests. Raises BadName for an empty bag."""
        if not self._payload:
            raise BadName("A bag has at least one file.")
        oxum = f"{self._octets}.{len(self._payload)}"
        self._tag("bagit.txt", DECLARATION)
        lines = {**info, "Payload-Oxum": oxum}
        self._tag("bag-info.txt", "".join(f"{label}: {_one_line(value)}\n" for label, value in lines.items()))
        for place, algorithm in enumerate(ALGORITHMS):
            self._tag(f"manifest-{algorithm}.txt", _manifest(self._payload, place))
        listed = dict(self._tags)
        for place, algorithm in enumerate(ALGORITHMS):
            self._tag(f"tagmanifest-{algorithm}.txt", _manifest(listed, place))

    def _tag(self, path: str, text: str) -> None:
        digests, _ = self._write(path, [text.encode()])
        self._tags[path] = digests

    def _write(self, path: str, chunks: Iterable[bytes]) -> tuple[tuple[str, ...], int]:
        entry = zipfile.ZipInfo(f"{self.folder}/{path}", self._moment)
        entry.compress_type = zipfile.ZIP_DEFLATED if path.endswith(_TEXT) else zipfile.ZIP_STORED
        entry.external_attr = 0o644 << 16
        running = [hashlib.new(algorithm) for algorithm in ALGORITHMS]
        size = 0
        with self._zip.open(entry, "w", force_zip64=True) as file:
            for chunk in chunks:
                file.write(chunk)
                size += len(chunk)
                for one in running:
                    one.update(chunk)
        return tuple(one.hexdigest() for one in running), size


def checked_name(name: str) -> str:
    """A path of a bag's file, with `/` between folders, that every system can write. Raises BadName."""
    for part in name.split("/"):
        unfit = (
            not part.strip()
            or part != part.strip()
            or len(part) > NAME_MOST
            or part[0] in "~."
            or part[-1] == "."
            or not part.isprintable()
            or _NOT_IN_NAMES & set(part)
            or part.partition(".")[0].casefold() in _DEVICES
        )
        if unfit:
            raise BadName(f"No file of a bag can be called {part!r}.")
    return name


def _manifest(files: Mapping[str, tuple[str, ...]], place: int) -> str:
    return "".join(f"{digests[place]}  {path}\n" for path, digests in sorted(files.items()))


def _one_line(value: str) -> str:
    return " ".join(value.split())
