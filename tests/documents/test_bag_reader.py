"""Zip files that are no dossier, or want to be more than one: each is refused before anything is made of it."""

import struct
import zipfile
import zlib
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.documents import bag_reader
from server.documents.bag_reader import BadBag, OpenBag
from server.documents.bags import BagWriter
from server.records.work import unheard

DAY = date(2026, 1, 2)
RECORD = b'{"tag":"TM-03"}'


def whole(place: Path) -> Path:
    with BagWriter(place, "TM-03-2026-01-02", DAY) as bag:
        bag.add("record.json", [RECORD])
        bag.add("files/noise.bin", [bytes(range(256)) * 40])
        bag.finish({"Bagging-Date": "2026-01-02"})
    return place


def said_of(place: Path) -> str:
    with pytest.raises(BadBag) as refusal, OpenBag(place) as bag:
        bag.check(unheard)
    return str(refusal.value)


def zipped(place: Path, files: dict[str, bytes], how: int = zipfile.ZIP_STORED) -> Path:
    with zipfile.ZipFile(place, "w", how) as packed:
        for name, content in files.items():
            packed.writestr(name, content)
    return place


def test_a_whole_one_is_read(tmp_path: Path) -> None:
    with OpenBag(whole(tmp_path / "bag.zip")) as bag:
        heard: list[tuple[int, int]] = []
        bag.check(lambda done, total: heard.append((done, total)))

        assert bag.payload == ["record.json", "files/noise.bin"]
        assert bag.read("record.json", 100) == RECORD
        assert bag.info["Bagging-Date"] == "2026-01-02"
        assert set(bag.by_sha256().values()) == set(bag.payload)
        assert heard[-1][0] == heard[-1][1]
        assert heard == sorted(heard)


@pytest.mark.parametrize("content", [b"", b"no zip file", b"PK\x03\x04" + b"\0" * 40, b"%PDF-1.7\n"])
def test_what_is_no_zip_file(tmp_path: Path, content: bytes) -> None:
    place = tmp_path / "other.zip"
    place.write_bytes(content)

    assert said_of(place) == "This is no zip file, or it was cut short."


@pytest.mark.parametrize(
    ("files", "reason"),
    [
        ({}, "bagit.txt is missing"),
        ({"notes.txt": b"x"}, "bagit.txt is missing"),
        ({"a/b/c/bagit.txt": b"x"}, "bagit.txt is missing"),
        ({"bag/bagit.txt": b"x", "beside.txt": b"x"}, "files beside the dossier’s own folder"),
        ({"bag/bagit.txt": b"x", "bag/../../x": b"x"}, "would lie outside the dossier"),
        ({"bag/bagit.txt": b"x", "/etc/passwd": b"x"}, "files beside the dossier’s own folder"),
        ({"bag/bagit.txt": b"x", "bag/data/a\nb": b"x"}, "a line end or a percent sign in its name"),
        ({"bag/bagit.txt": b"x", "bag/data/a\rb": b"x"}, "a line end or a percent sign in its name"),
        ({"bag/bagit.txt": b"x", "bag/data/a%0Ab": b"x"}, "a line end or a percent sign in its name"),
        ({"bag/bagit.txt": b"x", "bag/data/100%": b"x"}, "a line end or a percent sign in its name"),
        ({"bag/bagit.txt": b"x", "bag/data/a\x07b": b"x"}, "cannot be called so"),
        ({"bag/bagit.txt": b"x", "bag/data/C:\\x": b"x"}, "cannot be called so"),
    ],
)
def test_what_is_no_bag_or_climbs_out_of_it(tmp_path: Path, files: dict[str, bytes], reason: str) -> None:
    assert reason in said_of(zipped(tmp_path / "odd.zip", files))


def test_a_file_that_grows_out_of_proportion_is_not_unpacked(tmp_path: Path) -> None:
    """Its size is read from the list of the zip file."""
    place = zipped(tmp_path / "bomb.zip", {"b/bagit.txt": b"x", "b/data/x": bytes(20_000_000)}, zipfile.ZIP_DEFLATED)

    assert "“b/data/x” would grow to 20 MB" in said_of(place)


def test_a_file_that_says_less_than_it_holds_is_cut_there(tmp_path: Path) -> None:
    """The list of the zip file promises ten octets; what comes after them is never read."""
    place = zipped(tmp_path / "liar.zip", {"b/bagit.txt": bytes(5_000_000)}, zipfile.ZIP_DEFLATED)
    content = bytearray(place.read_bytes())
    listed = content.index(b"PK\x01\x02")
    content[listed + 16 : listed + 20] = struct.pack("<I", zlib.crc32(bytes(10)))
    content[listed + 24 : listed + 28] = struct.pack("<I", 10)
    place.write_bytes(content)

    assert "bagit.txt does not hold its two lines" in said_of(place)


def test_files_that_lie_over_each_other_are_refused(tmp_path: Path) -> None:
    """A small zip file lists one stretch of itself many times."""
    place = zipped(tmp_path / "over.zip", {"b/bagit.txt": b"x", "b/data/x": bytes(range(256)) * 4_000})
    content = place.read_bytes()
    start, end = content.rindex(b"PK\x01\x02"), content.index(b"PK\x05\x06")
    entry = content[start:end]
    copies = b"".join(entry.replace(b"b/data/x", f"b/data/{letter}".encode()) for letter in "yz")
    tail = bytearray(content[end:])
    count = 4
    tail[8:12] = struct.pack("<HH", count, count)
    tail[12:16] = struct.pack("<I", struct.unpack("<I", tail[12:16])[0] + len(copies))
    place.write_bytes(content[:end] + copies + bytes(tail))

    assert "lie over each other" in said_of(place)


@pytest.mark.parametrize(
    ("limit", "reason"),
    [("FILES_MOST", "It holds 8 files; a dossier has at most 1."), ("OCTETS_MOST", "It would unpack to 0 GB; at most")],
)
def test_too_many_and_too_much(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, limit: str, reason: str) -> None:
    place = whole(tmp_path / "bag.zip")
    monkeypatch.setattr(bag_reader, limit, 1)

    assert reason in said_of(place)


def test_a_locked_one_is_refused(tmp_path: Path) -> None:
    place = whole(tmp_path / "bag.zip")
    content = bytearray(place.read_bytes())
    listed = content.index(b"PK\x01\x02")
    content[listed + 8] |= 1
    place.write_bytes(content)

    assert said_of(place) == "It is locked with a password."


def test_packed_in_another_way_it_is_refused(tmp_path: Path) -> None:
    place = zipped(tmp_path / "bag.zip", {"b/bagit.txt": b"x" * 100}, zipfile.ZIP_LZMA)

    assert "packed in a way that is not read here" in said_of(place)


def test_a_file_that_is_listed_twice_in_the_zip_is_refused(tmp_path: Path) -> None:
    place = whole(tmp_path / "bag.zip")
    with pytest.warns(UserWarning, match="Duplicate name"), zipfile.ZipFile(place, "a") as packed:
        packed.writestr("TM-03-2026-01-02/data/record.json", b'{"tag":"TM-04"}')

    assert said_of(place) == "It holds “data/record.json” twice."


def test_what_is_too_large_to_be_read_whole_says_so(tmp_path: Path) -> None:
    with OpenBag(whole(tmp_path / "bag.zip")) as bag:
        with pytest.raises(BadBag, match=r"“data/files/noise\.bin” is larger than 0 MB"):
            bag.read("files/noise.bin", 100)
        with pytest.raises(BadBag, match=r"The dossier has no file other\.json"):
            bag.read("other.json", 100)


@given(st.integers(0, 10**6), st.integers(1, 255))
def test_whatever_is_damaged_is_found_or_of_no_weight(at: int, bits: int) -> None:
    """One octet changed anywhere: refused in a sentence, or everything read is what it was."""
    with TemporaryDirectory() as folder:
        place = whole(Path(folder) / "bag.zip")
        content = bytearray(place.read_bytes())
        content[at % len(content)] ^= bits
        place.write_bytes(content)

        assert read_or_refused(place) in (RECORD, b"")


def read_or_refused(place: Path) -> bytes:
    """The record that a bag brings; nothing where it is refused."""
    try:
        with OpenBag(place) as bag:
            bag.check(unheard)
            return bag.read("record.json", 100)
    except BadBag:
        return b""
