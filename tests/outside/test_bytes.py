"""Digests of files and facts of PNG against outside values: `data/bytes.json` names the source beside each case."""

import json
from pathlib import Path
from typing import Any

import pytest

from server.records.file_facts import BadFile, facts_of
from server.records.files import digest_of
from server.records.picture_formats import PNG_SIGNATURE, strip_png
from server.records.pictures import take_in

_CASES: dict[str, dict[str, Any]] = {
    case["case_id"]: case
    for case in json.loads(Path(__file__).with_name("data").joinpath("bytes.json").read_text("utf-8"))["cases"]
}
_DIGESTS = [name for name in _CASES if name.startswith("digest_") and name != "digest_len0"]
_ONE_BY_ONE = ["digest_len0", "crc32_bitwise_independent", "png_signature", "png_iend", "png_1x1_grey"]


def test_every_case_is_used() -> None:
    """So that none of the file is decoration."""
    assert sorted(_CASES) == sorted([*_DIGESTS, *_ONE_BY_ONE])


@pytest.mark.parametrize("name", _DIGESTS)
def test_a_file_s_digests(name: str) -> None:
    """As a firmware dump shows them."""
    case = _CASES[name]

    content = bytes.fromhex(case["inputs"]["bytes_hex"])

    facts = facts_of(content)

    expected = case["expected"]
    assert (facts.crc32, facts.sha1, digest_of(content)) == (expected["crc32"], expected["sha1"], expected["sha256"])


def test_a_file_of_nothing_has_a_digest_and_is_not_kept() -> None:
    """There is nothing in it to tell apart."""
    assert digest_of(b"") == _CASES["digest_len0"]["expected"]["sha256"]
    with pytest.raises(BadFile, match="empty"):
        facts_of(b"")


def test_the_check_value_of_crc_32() -> None:
    """From a loop over bits that was written for it."""
    expected = _CASES["crc32_bitwise_independent"]["expected"]["crc32_of_123456789"]

    assert facts_of(b"123456789").crc32 == expected


def test_a_png_is_what_begins_and_ends_as_one() -> None:
    """A picture of one grey pixel, byte by byte, is kept as it is and seen as grey."""
    content = bytes.fromhex(_CASES["png_1x1_grey"]["expected"]["file_hex"])
    head = bytes.fromhex(_CASES["png_1x1_grey"]["expected"]["ihdr_hex"])

    stripped, picture = strip_png(content), take_in(content)

    assert bytes.fromhex(_CASES["png_signature"]["expected"]["hex"]) == PNG_SIGNATURE
    assert stripped.kept == content
    assert stripped.kept[8:].startswith(head)
    assert stripped.kept.endswith(bytes.fromhex(_CASES["png_iend"]["expected"]["hex"]))
    assert (picture.media_type, picture.width, picture.height) == ("image/png", 1, 1)


def test_an_added_chunk_is_left_out_and_the_rest_stays() -> None:
    """A text chunk, with its CRC-32 over type and data (PNG, third edition, 5.3 and 11.3.3)."""
    content = bytes.fromhex(_CASES["png_1x1_grey"]["expected"]["file_hex"])
    data = b"Comment\0made at home"
    chunk = len(data).to_bytes(4) + b"tEXt" + data + bytes.fromhex(facts_of(b"tEXt" + data).crc32)

    assert strip_png(content[:33] + chunk + content[33:]).kept == content
