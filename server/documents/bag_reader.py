"""Reading a bag (RFC 8493) out of a zip file that somebody else sent: nothing of it is believed before it is checked.

    with OpenBag(path) as bag:      # what it is, and whether all its files are there; nothing is unpacked
        bag.check(heard)            # every checksum of every manifest
        bag.read("record.json", most)

Bags of versions 0.93 to 1.0 are read. Names that lead out of the bag, hold control characters or a percent sign, or
mean something else on another system, files that are listed and missing or there and not listed, and a zip file that
grows out of all proportion are refused, each in a sentence. Knows no record.
"""

import hashlib
import re
import unicodedata
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path, PurePosixPath
from types import TracebackType
from typing import NamedTuple, Self

from server.records.errors import Refused
from server.records.texts import printable
from server.records.work import Heard

PAYLOAD = "data/"
PIECE = 1 << 20
FILES_MOST = 50_000
OCTETS_MOST = 64 * 10**9
TAG_MOST = 32 * 10**6  # octets of a manifest or another tag file
# Deflate can shrink nothing but repetition more than this; a record's JSON comes to a tenth or a twentieth.
GROWS_MOST, GROWS_FREELY = 200, 1_000_000
VERSIONS = ("0.93", "0.94", "0.95", "0.96", "0.97", "1.0")
ENCODINGS = {"utf-8": "utf-8", "iso-8859-1": "iso-8859-1", "utf-16": "utf-16", "us-ascii": "us-ascii"}
ALGORITHMS = {"md5", "sha1", "sha224", "sha256", "sha384", "sha512"}
LABEL = re.compile(r"([^:\s](?:[^:]*[^:\s])?)(\s*):(\s*)(.*)")
MANIFEST = re.compile(r"(tag)?manifest-([a-z0-9]+)\.txt")
LISTED = re.compile(r"([0-9A-Fa-f]+)[ \t]+\*?(.+)")
ENCODED = {"%0A": "\n", "%0a": "\n", "%0D": "\r", "%0d": "\r", "%25": "%"}
UNSAFE = set("\\:")  # apart the folders, and name the drives, of other systems
UNPLAIN = "has a line end or a percent sign in its name, which readers of bags take differently"
Manifest = Mapping[str, str]  # checksum by path


class BadBag(Refused):
    """Why a file is no bag that can be taken over, in one sentence for the keeper."""


class Declared(NamedTuple):
    """What bagit.txt says: the version of the format, and how the other tag files are written."""

    version: str
    encoding: str


class OpenBag:
    """A bag in a zip file, complete as its manifests say; `check` holds what its files hold against them."""

    def __init__(self, place: Path) -> None:
        try:
            self._zip = zipfile.ZipFile(place)
        except (zipfile.BadZipFile, OSError, NotImplementedError, ValueError) as fault:
            raise BadBag("This is no zip file, or it was cut short.") from fault
        try:
            self._entries = _entries(self._zip, place.stat().st_size)
            self.declared = self._declaration()
            self.manifests = self._manifests(tags=False)
            self.tag_manifests = self._manifests(tags=True)
            self.info = self._info()
            self._check_complete()
        except BaseException:
            self._zip.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        self._zip.close()

    @property
    def payload(self) -> list[str]:
        """The names of its files, without the folder that holds them."""
        return [path.removeprefix(PAYLOAD) for path in self._entries if path.startswith(PAYLOAD)]

    def by_sha256(self) -> dict[str, str]:
        """The name of a payload file that holds each digest, as a manifest says."""
        listed = self.manifests.get("sha256", {})
        return {digest.lower(): path.removeprefix(PAYLOAD) for path, digest in listed.items()}

    def read(self, name: str, most: int) -> bytes:
        """A whole payload file. Raises BadBag when it is missing or larger than `most` octets."""
        if f"{PAYLOAD}{name}" not in self._entries:
            raise BadBag(f"The dossier has no file {name}.")
        return self._read(f"{PAYLOAD}{name}", most)

    def check(self, heard: Heard) -> None:
        """Every file against every checksum that is given for it; `heard` is told how many octets were read."""
        total = sum(entry.file_size for entry in self._entries.values())
        done = 0
        for path in self._entries:
            told = self._told_of(path)
            running = {algorithm: hashlib.new(algorithm, usedforsecurity=False) for algorithm in told}
            for piece in self._pieces(path):
                done += len(piece)
                for one in running.values():
                    one.update(piece)
                heard(min(done, total - 1), total)
            for algorithm, digest in told.items():
                if running[algorithm].hexdigest() != digest.lower():
                    raise BadBag(f"{_shown(path)} is not as it was when the dossier was made: its {algorithm} differs.")
        heard(total, total)

    def _told_of(self, path: str) -> dict[str, str]:
        manifests = self.manifests if path.startswith(PAYLOAD) else self.tag_manifests
        return {algorithm: listed[path] for algorithm, listed in manifests.items() if path in listed}

    # ---- What it is ----

    def _declaration(self) -> Declared:
        """bagit.txt: two lines, each a label, a colon, one blank and a value."""
        content = self._tag_file("bagit.txt", "It is no dossier: the file bagit.txt is missing")
        lines = _text("bagit.txt", content, "utf-8").splitlines()
        said = [match for line in lines if (match := LABEL.fullmatch(line))]
        labels = [match[1].lower() for match in said]
        if len(lines) != 2 or labels != ["bagit-version", "tag-file-character-encoding"]:
            raise BadBag("It is no dossier: bagit.txt does not hold its two lines.")
        version, encoding = (match[4].strip() for match in said)
        if version not in VERSIONS:
            raise BadBag(f"It is a bag of version {printable(version, 20)}, which is not known here.")
        if version == "1.0" and any(
            match[2] or match[3] not in (" ", "\t") or match[4] != value
            for match, value in zip(said, (version, encoding), strict=True)
        ):
            raise BadBag("It is no bag of version 1.0: bagit.txt has blanks where none may be.")
        if encoding.lower() not in ENCODINGS:
            raise BadBag(f"Its tag files are written in {printable(encoding, 20)}, which is not read here.")
        return Declared(version, ENCODINGS[encoding.lower()])

    def _manifests(self, *, tags: bool) -> dict[str, Manifest]:
        found = {}
        for path in self._entries:
            match = MANIFEST.fullmatch(path)
            if match and bool(match[1]) == tags:
                if match[2] not in ALGORITHMS:
                    raise BadBag(f"{path} has checksums of a kind that is not known here.")
                found[match[2]] = self._manifest(path)
        if not found and not tags:
            raise BadBag("It is no dossier: it has no manifest of its files.")
        return found

    def _manifest(self, path: str) -> Manifest:
        listed: dict[str, str] = {}
        for line in _lines(self._tag_text(path)):
            match = LISTED.fullmatch(line)
            if match is None:
                raise BadBag(f"{path} has a line that is no checksum and name.")
            name = _plain_path(match[2], f"{path} lists a file that")
            if name in listed and (self.declared.version == "1.0" or listed[name].lower() != match[1].lower()):
                raise BadBag(f"{path} lists {_shown(name)} twice.")
            listed[name] = match[1]
        return listed

    def _info(self) -> dict[str, str]:
        """bag-info.txt by label; a line that begins with a blank goes on with the value before it."""
        if "bag-info.txt" not in self._entries:
            return {}
        said: list[tuple[str, str]] = []
        for line in _lines(self._tag_text("bag-info.txt")):
            if line[0] in " \t" and said:
                said[-1] = (said[-1][0], f"{said[-1][1]} {line.strip()}")
            elif match := LABEL.fullmatch(line):
                said.append((match[1], match[4].strip()))
            else:
                raise BadBag("bag-info.txt has a line without a label.")
        return dict(reversed(said))

    # ---- Whether all is there ----

    def _check_complete(self) -> None:
        there = {path for path in self._entries if path.startswith(PAYLOAD)}
        self._check_fetch(there)
        self._check_all_listed(there)
        for algorithm, listed in self.manifests.items():
            self._check_listed(f"manifest-{algorithm}.txt", listed, tags=False)
        for algorithm, listed in self.tag_manifests.items():
            self._check_listed(f"tagmanifest-{algorithm}.txt", listed, tags=True)
        if oxum := self.info.get("Payload-Oxum"):
            octets = sum(self._entries[path].file_size for path in there)
            if oxum != f"{octets}.{len(there)}":
                raise BadBag(
                    f"bag-info.txt promises {printable(oxum, 40)} octets and files; {octets}.{len(there)} are there."
                )

    def _check_all_listed(self, there: set[str]) -> None:
        """Version 1.0 wants every file in every manifest; before that, one of them was enough."""
        every = [set(listed) for listed in self.manifests.values()]
        for listed in every if self.declared.version == "1.0" else [set[str]().union(*every)]:
            if unlisted := sorted(there - listed):
                raise BadBag(f"{_shown(unlisted[0])} is in the dossier, and not in every manifest of its files.")

    def _check_listed(self, manifest: str, listed: Manifest, *, tags: bool) -> None:
        for path in listed:
            if path.startswith(PAYLOAD) == tags:
                raise BadBag(f"{manifest} lists {_shown(path)}, which does not belong there.")
            if path not in self._entries:
                raise BadBag(f"{_shown(path)} is listed in {manifest}, and missing from the dossier.")

    def _check_fetch(self, there: set[str]) -> None:
        """Files that wait elsewhere are fetched by nobody here."""
        if "fetch.txt" not in self._entries:
            return
        for line in _lines(self._tag_text("fetch.txt")):
            fields = line.split(None, 2)
            if len(fields) != 3 or _plain_path(fields[2], "fetch.txt lists a file that") not in there:
                raise BadBag("Some of its files would have to be fetched from elsewhere. Ask for a whole dossier.")

    # ---- Reading ----

    def _tag_file(self, path: str, missing: str) -> bytes:
        if path not in self._entries:
            raise BadBag(f"{missing}.")
        return self._read(path, TAG_MOST)

    def _tag_text(self, path: str) -> str:
        return _text(path, self._read(path, TAG_MOST), self.declared.encoding)

    def _read(self, path: str, most: int) -> bytes:
        if (size := self._entries[path].file_size) > most:
            raise BadBag(f"{_shown(path)} is larger than {most // 10**6:,} MB ({size // 10**6:,} MB).")
        return b"".join(self._pieces(path))

    def _pieces(self, path: str) -> Iterator[bytes]:
        """What a file holds; never more than the zip file promised, which was looked at before."""
        try:
            with self._zip.open(self._entries[path]) as file:
                while piece := file.read(PIECE):
                    yield piece
        except (zipfile.BadZipFile, zlib.error, OSError, EOFError, NotImplementedError, RuntimeError) as fault:
            raise BadBag(f"{_shown(path)} cannot be read: the zip file is damaged there.") from fault


def _entries(packed: zipfile.ZipFile, size: int) -> dict[str, zipfile.ZipInfo]:
    """The files below the bag's one folder, by their paths in it; what cannot be a dossier is refused."""
    listed = packed.infolist()
    files = [entry for entry in listed if not entry.is_dir()]
    if len(listed) > FILES_MOST:
        raise BadBag(f"It holds {len(listed):,} files; a dossier has at most {FILES_MOST:,}.")
    _check_growth(files, size)
    found: dict[str, zipfile.ZipInfo] = {}
    root = _folder_of(files)
    for entry in files:
        path = _plain_path(entry.orig_filename.removeprefix(root), "It holds a file that")
        if path in found:
            raise BadBag(f"It holds {_shown(path)} twice.")
        found[path] = entry
    return found


def _folder_of(files: Iterable[zipfile.ZipInfo]) -> str:
    """Where the bag lies: the shallowest bagit.txt, in the zip file itself or in one folder."""
    places = [PurePosixPath(entry.orig_filename) for entry in files]
    declared = sorted((place for place in places if place.name == "bagit.txt"), key=lambda place: len(place.parts))
    if not declared or len(declared[0].parts) > 2:
        raise BadBag("It is no dossier: the file bagit.txt is missing.")
    root = "" if len(declared[0].parts) == 1 else f"{declared[0].parts[0]}/"
    if any(not str(place).startswith(root) for place in places):
        raise BadBag("It holds files beside the dossier’s own folder.")
    return root


def _check_growth(files: list[zipfile.ZipInfo], size: int) -> None:
    """What the zip file promises to hold is in proportion, and no two files share their bytes."""
    for entry in files:
        if entry.flag_bits & 0x1:
            raise BadBag("It is locked with a password.")
        if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise BadBag("It is packed in a way that is not read here; only stored and deflated files are.")
        if entry.file_size > GROWS_FREELY and entry.file_size > GROWS_MOST * max(1, entry.compress_size):
            raise BadBag(f"{_shown(entry.orig_filename)} would grow to {entry.file_size // 10**6:,} MB; it is refused.")
    if sum(entry.compress_size for entry in files) > size:
        raise BadBag("Its files lie over each other in the zip file, which no dossier does.")
    if (octets := sum(entry.file_size for entry in files)) > OCTETS_MOST:
        raise BadBag(f"It would unpack to {octets // 10**9:,} GB; at most {OCTETS_MOST // 10**9:,} GB are taken.")


def _plain_path(path: str, whose: str) -> str:
    """A path as it is meant, in one spelling; one that no bag of ours could have is refused."""
    decoded = re.sub("|".join(ENCODED), lambda found: ENCODED[found[0]], path.removeprefix("./"))
    if "\n" in decoded or "\r" in decoded or "%" in decoded:
        raise BadBag(f"{whose} {UNPLAIN}: {_shown(path)}.")
    parts = decoded.split("/")
    if any(part in ("", ".", "..") or part[0] == "~" or not part.isprintable() or UNSAFE & set(part) for part in parts):
        raise BadBag(f"{whose} would lie outside the dossier, or cannot be called so: {_shown(path)}.")
    return unicodedata.normalize("NFC", decoded)


def _lines(text: str) -> list[str]:
    return [line for line in re.split(r"\r\n|\n|\r", text) if line.strip()]


def _text(path: str, content: bytes, encoding: str) -> str:
    if encoding == "utf-8" and content.startswith(b"\xef\xbb\xbf"):
        raise BadBag(f"{path} begins with a byte order mark, which a bag may not.")
    try:
        return content.decode(encoding)
    except UnicodeError as fault:
        raise BadBag(f"{path} is not written in {encoding}, as it should be.") from fault


def _shown(path: str) -> str:
    return f"“{printable(path, 120)}”"
