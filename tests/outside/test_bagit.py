"""Bags against outside values and the `bagit` package (1.9): `data/bagit.json` names the source of each case."""

import json
import zipfile
from pathlib import Path
from typing import Any

import bagit
import pytest

from server.documents.bag_reader import BadBag, OpenBag
from server.documents.bags import BadName, BagWriter
from server.records.work import unheard

_CASES: dict[str, dict[str, Any]] = {
    case["case_id"]: case
    for case in json.loads(Path(__file__).with_name("data").joinpath("bagit.json").read_text("utf-8"))["cases"]
}
_PAYLOAD: dict[str, str] = _CASES["worked_bag"]["inputs"]["payload"]
_REFUSED_NAMES = ["percent_in_name", "cr_lf_in_name"]
_DAMAGES = [name for name in _CASES if name.startswith("damage_")]

_REASONS = {
    "damage_flip_a_byte": "“data/record.json” is not as it was",
    "damage_drop_a_file": "“data/record.json” is listed in manifest-sha256.txt, and missing",
    "damage_add_a_file": "“data/more.txt” is in the dossier, and not in every manifest",
    "damage_wrong_oxum": "bag-info.txt promises 44.3 octets and files; 43.3 are there",
    "damage_change_tag_file": "“bag-info.txt” is not as it was",
    "damage_three_lines_in_bagit_txt": "bagit.txt does not hold its two lines",
    "damage_bom": "begins with a byte order mark",
    "damage_escape": "would lie outside the dossier",
}


@pytest.fixture
def worked(tmp_path: Path) -> Path:
    """The worked bag, written by us and unpacked."""
    place = tmp_path / "worked.zip"
    with BagWriter(place, "worked") as bag:
        for path, text in reversed(_PAYLOAD.items()):
            bag.add(path.removeprefix("data/"), [text[:3].encode(), text[3:].encode()])
        bag.finish({"Bagging-Date": _CASES["worked_bag"]["inputs"]["bagging_date"]})
    with zipfile.ZipFile(place) as packed:
        packed.extractall(tmp_path)
    return tmp_path / "worked"


def test_every_case_is_used() -> None:
    """So that none of the file is decoration."""
    assert sorted(_CASES) == sorted(["worked_bag", *_REFUSED_NAMES, *_DAMAGES])


def test_the_worked_bag_is_written_to_the_byte(worked: Path) -> None:
    """Each tag file as it was written by hand."""
    expected = _CASES["worked_bag"]["expected"]

    assert expected["files"] == {name: (worked / name).read_text("utf-8") for name in expected["files"]}
    assert f"Payload-Oxum: {expected['payload_oxum']}\n" in (worked / "bag-info.txt").read_text("utf-8")


def test_the_package_finds_it_valid(worked: Path) -> None:
    """Complete, and every checksum right, those of SHA-512 too."""
    bag = bagit.Bag(str(worked))

    bag.validate()
    assert bag.version_info == (1, 0)
    assert set(bag.algorithms) == {"sha256", "sha512"}


@pytest.mark.parametrize("name", _REFUSED_NAMES)
def test_a_name_that_would_be_encoded_is_never_written(tmp_path: Path, name: str) -> None:
    """The package does not decode every one, so a bag that all accept has none."""
    path = _CASES[name]["inputs"]["payload_path"].removeprefix("data/")

    with BagWriter(tmp_path / "odd.zip", "odd") as bag, pytest.raises(BadName):
        bag.add(path, [b"x"])


def _damage(bag: Path, name: str) -> None:
    match name:
        case "damage_flip_a_byte":
            (bag / "data/record.json").write_text('{"tag":"TM-04"}\n', "utf-8")
        case "damage_drop_a_file":
            (bag / "data/record.json").unlink()
        case "damage_add_a_file":
            (bag / "data/more.txt").write_text("more", "utf-8")
        case "damage_wrong_oxum":
            info = bag / "bag-info.txt"
            info.write_text(info.read_text("utf-8").replace("43.3", "44.3"), "utf-8")
        case "damage_change_tag_file":
            info = bag / "bag-info.txt"
            info.write_text(info.read_text("utf-8").replace("2024", "2025"), "utf-8")
        case "damage_three_lines_in_bagit_txt":
            with (bag / "bagit.txt").open("a", encoding="utf-8") as file:
                file.write("More: 1\n")
        case "damage_bom":
            (bag / "bagit.txt").write_bytes(b"\xef\xbb\xbf" + (bag / "bagit.txt").read_bytes())
        case "damage_escape":
            manifest = bag / "manifest-sha256.txt"
            manifest.write_text(manifest.read_text("utf-8") + f"{'0' * 64}  ../outside.txt\n", "utf-8")
        case _:
            raise AssertionError(name)


@pytest.mark.parametrize("name", _DAMAGES)
def test_a_damaged_bag_of_ours_is_found_out(worked: Path, name: str) -> None:
    """By the package, which is what someone else will open it with."""
    _damage(worked, name)

    with pytest.raises(bagit.BagError):
        bagit.Bag(str(worked)).validate()


@pytest.mark.parametrize("name", _DAMAGES)
def test_a_damaged_bag_is_refused_in_words(worked: Path, tmp_path: Path, name: str) -> None:
    """By us, who take nothing of it; undamaged it is read."""
    with OpenBag(_packed(worked, tmp_path / "whole.zip")) as bag:
        bag.check(unheard)
    _damage(worked, name)

    with pytest.raises(BadBag) as refusal, OpenBag(_packed(worked, tmp_path / "damaged.zip")) as bag:
        bag.check(unheard)

    assert _REASONS[name] in str(refusal.value)


def _packed(folder: Path, place: Path) -> Path:
    with zipfile.ZipFile(place, "w") as packed:
        for file in sorted(folder.rglob("*")):
            packed.write(file, file.relative_to(folder.parent))
    return place
