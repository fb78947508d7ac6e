"""Bags as the public conformance suite names them, read as dossiers are: `data/bagit_suite.json` has its verdicts.

The suite's own bags are not here, so each is made after its name. What RFC 8493 allows and a dossier never has (names
with percent signs or line ends, a path that goes up and down again) is refused on purpose, and listed below.
"""

import hashlib
import json
import unicodedata
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from server.documents.bag_reader import BadBag, OpenBag
from server.records.work import unheard

_CASES: dict[str, dict[str, Any]] = {
    case["case_id"]: case
    for case in json.loads(Path(__file__).with_name("data").joinpath("bagit_suite.json").read_text("utf-8"))["cases"]
}
HELLO, WORLD = "data/hello.txt", "data/sub folder/wörld.txt"
PAYLOAD = {HELLO: b"hello\n", WORLD: b"world\n"}
REFUSED_ON_PURPOSE = {
    "v0.97/valid/bag-with-encoded-names": "names with percent signs",
    "v0.97/valid/bag-with-escapable-characters": "names with line ends and percent signs",
    "v0.97/warning/relative-path": "a path that goes up and down again",
}


class Made:
    """A valid bag, to be spoilt: its payload, its tag files, and what else its manifest lists."""

    def __init__(self, version: str) -> None:
        self.version = version
        self.encoding = "UTF-8"
        self.payload = dict(PAYLOAD)
        self.algorithm = "sha512"
        self.between = "  "
        self.listed: dict[str, str] | None = None
        self.more_lines: list[str] = []
        self.info = "Contact-Name: Oda Finn\n"
        self.fetch = ""
        self.declaration = ""
        self.spoil: Callable[[dict[str, bytes]], object] = lambda files: files

    def digest(self, content: bytes) -> str:
        return hashlib.new(self.algorithm, content, usedforsecurity=False).hexdigest()

    def files(self) -> dict[str, bytes]:
        names = self.listed or {path: self.digest(content) for path, content in self.payload.items()}
        lines = [f"{digest}{self.between}{path}\n" for path, digest in names.items()]
        lines += [f"{line}\n" for line in self.more_lines]
        declared = f"BagIt-Version: {self.version}\nTag-File-Character-Encoding: {self.encoding}\n"
        files = {
            **self.payload,
            "bagit.txt": (self.declaration or declared).encode(),
            "bag-info.txt": self.info.encode(self.encoding),
            f"manifest-{self.algorithm}.txt": "".join(lines).encode(self.encoding),
        }
        if self.fetch:
            files["fetch.txt"] = self.fetch.encode(self.encoding)
        tags = "".join(f"{self.digest(files[path])}  {path}\n" for path in files if path not in self.payload)
        files[f"tagmanifest-{self.algorithm}.txt"] = tags.encode(self.encoding)
        self.spoil(files)
        return files

    def packed(self, place: Path) -> Path:
        with zipfile.ZipFile(place, "w") as packed:
            for path, content in self.files().items():
                packed.writestr(zipfile.ZipInfo(f"bag/{path}"), content)
        return place


def out_of_scope(path: str) -> Callable[[Made], None]:
    def make(bag: Made) -> None:
        bag.more_lines = [f"{'0' * 128}  {path}"]

    return make


def to_fetch(path: str) -> Callable[[Made], None]:
    def make(bag: Made) -> None:
        bag.fetch = f"http://example.org/x 6 {path}\n"

    return make


def declared(text: str) -> Callable[[Made], None]:
    def make(bag: Made) -> None:
        bag.declaration = text

    return make


def spoilt(how: Callable[[dict[str, bytes]], object]) -> Callable[[Made], None]:
    def make(bag: Made) -> None:
        bag.spoil = how

    return make


def set_to(**attributes: Any) -> Callable[[Made], None]:
    def make(bag: Made) -> None:
        for name, value in attributes.items():
            setattr(bag, name, value)

    return make


def listed_twice(digest: str | None = None) -> Callable[[Made], None]:
    def make(bag: Made) -> None:
        bag.more_lines = [f"{digest or bag.digest(PAYLOAD[HELLO])}  {HELLO}"]

    return make


def as_it_is(bag: Made) -> None:
    """The bag is not spoilt."""


def only_in_one_manifest(bag: Made) -> None:
    one = {HELLO: hashlib.sha256(PAYLOAD[HELLO]).hexdigest()}
    text = "".join(f"{digest}  {path}\n" for path, digest in one.items())
    bag.spoil = lambda files: files.update({"manifest-sha256.txt": text.encode()})


def with_dot_slash(bag: Made) -> None:
    bag.listed = {f"./{path}": bag.digest(content) for path, content in bag.payload.items()}


def named_twice_by_its_marks(bag: Made) -> None:
    bag.more_lines = [f"{bag.digest(PAYLOAD[WORLD])}  {unicodedata.normalize('NFD', WORLD)}"]


MADE: dict[str, Callable[[Made], None]] = {
    "v0.97/invalid/baginfo-missing-encoding": declared("BagIt-Version: 0.97\n"),
    "v0.97/invalid/bom-in-bagit.txt": declared("\ufeffBagIt-Version: 0.97\nTag-File-Character-Encoding: UTF-8\n"),
    "v0.97/invalid/corrupt-data-file": spoilt(lambda files: files.update({HELLO: b"hallo\n"})),
    "v0.97/invalid/corrupt-tag-file": spoilt(lambda files: files.update({"bag-info.txt": b"Contact-Name: Another\n"})),
    "v0.97/invalid/extra-file-in-bag": spoilt(lambda files: files.update({"data/more.txt": b"more"})),
    "v0.97/invalid/invalid-version-number": declared("BagIt-Version: .97\nTag-File-Character-Encoding: UTF-8\n"),
    "v0.97/invalid/missing-baginfo": spoilt(lambda files: files.pop("bag-info.txt")),
    "v0.97/invalid/missing-bagit.txt": spoilt(lambda files: files.pop("bagit.txt")),
    "v0.97/invalid/out-of-scope-file-paths-using-dot-notation": out_of_scope("../outside.txt"),
    "v0.97/invalid/out-of-scope-file-paths-using-dot-notation-for-fetch": to_fetch("data/../../outside.txt"),
    "v0.97/invalid/same-filename-listed-twice-with-different-hashes": listed_twice("0" * 128),
    "v0.97/linux-only/out-of-scope-file-paths-using-absolute-path": out_of_scope("/tmp/outside.txt"),  # noqa: S108
    "v0.97/linux-only/out-of-scope-file-paths-using-absolute-path-for-fetch": to_fetch("/tmp/outside.txt"),  # noqa: S108
    "v0.97/linux-only/out-of-scope-file-paths-using-shortcut": out_of_scope("~/outside.txt"),
    "v0.97/linux-only/out-of-scope-file-paths-using-shortcut-for-fetch": to_fetch("~/outside.txt"),
    "v0.97/linux-only/out-of-scope-file-paths-using-shortcut-username": out_of_scope("~root/outside.txt"),
    "v0.97/linux-only/out-of-scope-file-paths-using-shortcut-username-for-fetch": to_fetch("~root/outside.txt"),
    "v0.97/valid/ISO-8859-1-encoded-tag-files": set_to(encoding="ISO-8859-1"),
    "v0.97/valid/UTF-16-encoded-tag-files": set_to(encoding="UTF-16"),
    "v0.97/valid/bag-in-a-bag": set_to(payload=PAYLOAD | {"data/bag/bagit.txt": b"BagIt-Version: 0.97\n"}),
    "v0.97/valid/bag-with-encoded-names": set_to(payload=PAYLOAD | {"data/a%20b.txt": b"x"}),
    "v0.97/valid/bag-with-escapable-characters": set_to(
        payload=PAYLOAD | {"data/a%b\n.txt": b"x"},
        listed={"data/a%25b%0A.txt": hashlib.sha512(b"x").hexdigest()},
    ),
    "v0.97/valid/bag-with-leading-dot-slash-in-manifest": with_dot_slash,
    "v0.97/valid/bag-with-space": set_to(payload=PAYLOAD | {"data/a name with blanks.txt": b"x"}),
    "v0.97/valid/basic-bag": as_it_is,
    "v0.97/valid/duplicate-metadata-entries": set_to(info="Contact-Name: Oda Finn\nContact-Name: Ida Quern\n"),
    "v0.97/valid/holey-bag": to_fetch(HELLO),
    "v0.97/valid/minimal-bag": set_to(payload={HELLO: b""}),
    "v0.97/valid/uncommon-metadata-separators": set_to(info="Contact-Name\t:\tOda Finn\nContact-Email :  x\n"),
    "v0.97/warning/duplicate-file-with-different-case": set_to(payload=PAYLOAD | {"data/HELLO.txt": b"HELLO"}),
    "v0.97/warning/made-with-md5sum-tools": set_to(algorithm="md5", between=" *"),
    "v0.97/warning/relative-path": set_to(
        listed={f"data/../{path}": hashlib.sha512(content).hexdigest() for path, content in PAYLOAD.items()}
    ),
    "v0.97/warning/same-filename-listed-twice-with-different-normalization": named_twice_by_its_marks,
    "v0.97/warning/same-filename-listed-twice-with-the-same-hash": listed_twice(),
    "v0.97/warning/special-system-files": set_to(payload=PAYLOAD | {"data/.DS_Store": b"x", "data/Thumbs.db": b"x"}),
    "v0.97/windows-only/out-of-scope-file-paths-using-absolute-path": out_of_scope("C:\\outside.txt"),
    "v0.97/windows-only/out-of-scope-file-paths-using-absolute-path-for-fetch": to_fetch("C:\\outside.txt"),
    "v0.97/windows-only/out-of-scope-file-paths-using-shortcut": out_of_scope("%HOMEDRIVE%\\outside.txt"),
    "v0.97/windows-only/out-of-scope-file-paths-using-shortcut-for-fetch": to_fetch("%HOMEDRIVE%\\outside.txt"),
    "v0.97/windows-only/out-of-scope-file-paths-using-unc": out_of_scope("\\\\localhost\\outside.txt"),
    "v0.97/windows-only/out-of-scope-file-paths-using-unc-for-fetch": to_fetch("\\\\localhost\\outside.txt"),
    "v1.0/invalid/bagit-with-invalid-whitespace": declared(
        "BagIt-Version:   1.0\nTag-File-Character-Encoding: UTF-8\n"
    ),
    "v1.0/invalid/notAllManifestsListAllFiles": only_in_one_manifest,
    "v1.0/invalid/same-filename-listed-twice-with-different-hashes": listed_twice("0" * 128),
    "v1.0/invalid/same-filename-listed-twice-with-the-same-hash": listed_twice(),
    "v1.0/valid/basicBag": as_it_is,
}


def verdict_on(place: Path) -> str:
    """What is said against a bag; empty where it is taken."""
    try:
        with OpenBag(place) as bag:
            bag.check(unheard)
    except BadBag as refusal:
        return str(refusal)
    return ""


def test_every_name_of_the_suite_is_made() -> None:
    assert MADE.keys() == _CASES.keys()
    assert REFUSED_ON_PURPOSE.keys() < _CASES.keys()


@pytest.mark.parametrize("name", MADE)
def test_a_bag_of_that_name_is_taken_or_refused(tmp_path: Path, name: str) -> None:
    """As the suite says, but for what is refused on purpose; and always with a sentence."""
    bag = Made(name.partition("/")[0].removeprefix("v"))
    MADE[name](bag)

    said = verdict_on(bag.packed(tmp_path / "bag.zip"))

    expected = _CASES[name]["expected"]["verdict"].startswith("valid") and name not in REFUSED_ON_PURPOSE
    assert expected == (said == ""), said
    assert said == "" or said.endswith(".")


@pytest.mark.parametrize("version", ["0.97", "1.0"])
def test_what_is_not_spoilt_is_taken(tmp_path: Path, version: str) -> None:
    """So that each of them is refused for what its name says."""
    assert verdict_on(Made(version).packed(tmp_path / "bag.zip")) == ""
