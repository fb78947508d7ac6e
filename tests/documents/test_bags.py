"""Bags: what may be in one, and that its size does not matter."""

import zipfile
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import bagit
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from server.documents.bags import BadName, BagWriter, checked_name

DAY = date(2026, 1, 2)


@pytest.mark.parametrize(
    "name",
    [
        "",
        "/etc/passwd",
        "../outside.txt",
        "a/../b",
        "~/x",
        "a/.hidden",
        "C:\\x",
        "a\\b",
        "nul",
        "lpt1.txt",
        "a\nb",
        "a%0Ab",
        " a",
        "a ",
        "a.",
        "x" * 201,
        "a\u202eb",
        "a/",
    ],
)
def test_a_name_that_leaves_the_bag_or_that_some_system_cannot_write_is_refused(name: str) -> None:
    with pytest.raises(BadName):
        checked_name(name)


def test_names_that_differ_by_case_alone_are_refused(tmp_path: Path) -> None:
    """On some systems the one would be written over the other."""
    with BagWriter(tmp_path / "b.zip", "b") as bag:
        bag.add("a.txt", [b"1"])
        with pytest.raises(BadName, match="Two files"):
            bag.add("A.txt", [b"2"])


def test_the_same_payload_gives_the_same_bytes(tmp_path: Path) -> None:
    """Of one day: what was archived can be compared with what is archived anew."""
    for name in ("first.zip", "second.zip"):
        with BagWriter(tmp_path / name, "b", DAY) as bag:
            bag.add("a.json", [b"{}"])
            bag.finish({"Bagging-Date": DAY.isoformat()})

    assert (tmp_path / "first.zip").read_bytes() == (tmp_path / "second.zip").read_bytes()


def test_an_empty_bag_is_none(tmp_path: Path) -> None:
    with BagWriter(tmp_path / "b.zip", "b") as bag, pytest.raises(BadName, match="at least one"):
        bag.finish({})


def test_text_in_bag_info_stays_on_its_line(tmp_path: Path) -> None:
    """A name with line ends in it forges no label."""
    with BagWriter(tmp_path / "b.zip", "b") as bag:
        bag.add("a.txt", [b"1"])
        bag.finish({"Contact-Name": "Ada\r\nPayload-Oxum: 9.9"})
    with zipfile.ZipFile(tmp_path / "b.zip") as packed:
        info = packed.read("b/bag-info.txt").decode()

    assert info == "Contact-Name: Ada Payload-Oxum: 9.9\nPayload-Oxum: 1.1\n"


names = st.text(st.characters(min_codepoint=33, max_codepoint=0x2FF), min_size=1, max_size=12)


@given(st.dictionaries(names, st.binary(max_size=50), max_size=6))
def test_whatever_is_taken_in_gives_a_valid_bag(
    tmp_path_factory: pytest.TempPathFactory, files: dict[str, bytes]
) -> None:
    folder = tmp_path_factory.mktemp("bag")
    with BagWriter(folder / "b.zip", "b") as bag:
        taken = [name for name in files if _is_taken(bag, name, files[name])]
        assume(taken)
        bag.finish({})
    with zipfile.ZipFile(folder / "b.zip") as packed:
        packed.extractall(folder)

    bagit.Bag(str(folder / "b")).validate()
    assert {name: (folder / "b/data" / name).read_bytes() for name in taken} == {name: files[name] for name in taken}


def _is_taken(bag: BagWriter, name: str, content: bytes) -> bool:
    def pieces() -> Iterator[bytes]:
        yield content

    try:
        bag.add(name, pieces())
    except BadName:
        return False
    return True
