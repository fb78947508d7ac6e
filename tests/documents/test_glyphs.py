"""What is printed where a typeface lacks a character."""

import pytest

from server.documents.glyphs import FONTS, STAND_IN, characters_of, covered, printable


@pytest.mark.parametrize(
    "text", ["Plain words.", "2.2 kΩ ±5 %, 4700 µF", "Übergröße, naïve, Ærø, Łódź", "line\nline", "– “x” ’ ≤ →"]
)
def test_what_the_fonts_have_prints_as_it_is(text: str) -> None:
    assert printable(text) == text


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("日本", "□□"),
        ("🙂!", "□!"),
        ("a\x07b\x00c", "abc"),
        ("a\u202eb\u200dc\ufeff", "abc"),
        ("✏\ufe0f", "□"),
        ("tab\there", "tab here"),
        ("e\u0301", "é"),
        ("\ue000", "□"),
    ],
    ids=["letters", "beyond the first plane", "controls", "joiners", "variants", "tab", "composed", "private use"],
)
def test_what_they_lack_is_replaced_or_left_out(text: str, printed: str) -> None:
    assert printable(text) == printed


def test_the_stand_in_can_be_printed_itself() -> None:
    assert ord(STAND_IN) in covered()


def test_the_faces_of_the_text_have_the_same_characters() -> None:
    regular, italic, bold = (
        characters_of(FONTS / f"FiraSans-{face}.ttf") for face in ("Regular", "Italic", "SemiBold")
    )

    assert regular == italic == bold
    assert set(map(ord, "ABCxyz019Ωµ±→–“”")) <= regular


def test_a_file_that_is_no_font_is_refused(tmp_path_factory: pytest.TempPathFactory) -> None:
    other = tmp_path_factory.mktemp("fonts") / "other.ttf"
    other.write_bytes(b"\x00\x01\x00\x00\x00\x00" + b"\x00" * 20)

    with pytest.raises(ValueError, match="no character map"):
        characters_of(other)
