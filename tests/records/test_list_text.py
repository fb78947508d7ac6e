"""Bytes become text, the encoding is said where it is not certain, and what is no text is refused."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.records.errors import Invalid
from server.records.list_text import decode, encoding_of

SHEET = "Ref;Value;Note\nR1;330 Ω ±5 %;gehäuse geändert\nC1;4,7 µF;bis 85 °C\n"
WESTERN = SHEET.replace("Ω", "Ohm")


@pytest.mark.parametrize(
    "codec", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "mac_roman", "cp437"]
)
def test_a_list_is_read_in_the_encoding_it_was_saved_in(codec: str) -> None:
    assert decode(SHEET.encode(codec)) == SHEET


@pytest.mark.parametrize("codec", ["cp1252", "mac_roman", "cp437"])
def test_older_encodings_are_told_by_the_signs_of_the_trade(codec: str) -> None:
    assert decode(WESTERN.encode(codec)) == WESTERN


def test_accents_alone_are_read_as_windows_1252() -> None:
    assert decode("gerät;größe".encode("cp1252")) == "gerät;größe"


def test_another_alphabet_is_asked_of_the_detector() -> None:
    text = "Ref;Note\nR1;резистор постоянный, заменён при ремонте прибора\nC2;конденсатор новый\n" * 3

    assert text == decode(text.encode("cp1251"))


@pytest.mark.parametrize("codec", ["utf-8", "utf-16", "ascii"])
def test_a_certain_encoding_needs_no_words(codec: str) -> None:
    assert encoding_of("Ref;Value\nR1;330\n".encode(codec)).words == ""


def test_an_uncertain_encoding_asks_the_keeper_to_look() -> None:
    words = encoding_of(WESTERN.encode("cp1252")).words

    assert "read as Windows-1252" in words
    assert "save the file as UTF-8" in words


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"PK\x03\x04rest", "Save the sheet as CSV"),
        (b"\xd0\xcf\x11\xe0rest", "Save the sheet as CSV"),
        (b"%PDF-1.7", "PDF"),
        (b"\x89PNG\r\n", "picture"),
        (b"\xff\xd8\xff\xe0", "photograph"),
        (b"ref,value\nR1,\x00330\n", "not text"),
        (bytes(range(256)), "not text"),
        (b"\x01\x02\x03\x04", "not text"),
    ],
)
def test_what_is_no_text_is_refused(data: bytes, said: str) -> None:
    with pytest.raises(Invalid) as refused:
        decode(data)

    assert said in refused.value.messages["file"]


@pytest.mark.parametrize("data", [b"\xff\xfea\x00\x00\xd8", b"\xef\xbb\xbfref\xff\xff"])
def test_a_file_that_breaks_its_own_encoding_names_the_byte(data: bytes) -> None:
    with pytest.raises(Invalid) as refused:
        decode(data)

    assert "damaged on its way" in refused.value.messages["file"]


def test_an_empty_file_is_empty_text() -> None:
    assert decode(b"") == ""


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=400))
def test_any_bytes_are_read_or_refused_in_words(data: bytes) -> None:
    try:
        decode(data)
    except Invalid as refused:
        assert refused.messages["file"]  # noqa: PT017 (either outcome is right)
