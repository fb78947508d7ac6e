"""Fields keep what was typed and put each message where it belongs."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

ENVIRONMENT = Environment(
    loader=FileSystemLoader(Path(__file__).parents[2] / "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
FIELDS: Any = ENVIRONMENT.get_template("_fields.html").module


@dataclass
class Typed:
    """The least that a field macro asks of a form."""

    typed: dict[str, str] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)
    chosen: list[str] = field(default_factory=list)
    prefix: str = "f"

    def many(self, name: str) -> list[str]:
        return self.chosen if name else []


def test_what_was_typed_is_shown_again_and_cannot_break_out() -> None:
    """A value is text, however hostile."""
    written = FIELDS.field(Typed(typed={"value": '"><b>330 Ω'}), "value", "Value")

    assert 'value="&#34;&gt;&lt;b&gt;330 Ω"' in written


def test_a_message_and_a_hint_are_tied_to_their_field() -> None:
    """A screen reader reads both with the field, and hears that it is wrong."""
    written = FIELDS.field(Typed(errors={"value": "That is no resistance."}), "value", "Value", "In ohms")

    assert 'aria-describedby="f-value-hint f-value-error" aria-invalid="true"' in written
    assert 'id="f-value-hint">In ohms<' in written
    assert 'id="f-value-error"><strong>Look again:</strong> That is no resistance.<' in written


def test_a_field_in_order_claims_nothing() -> None:
    """No empty ties, no false alarm."""
    written = FIELDS.field(Typed(), "value", "Value")

    assert "aria-" not in written


def test_a_password_is_never_shown_again() -> None:
    """A refused sign-in sends no password back."""
    written = FIELDS.field(Typed(typed={"password": "secret"}), "password", "Password", type="password")

    assert "secret" not in written


def test_a_text_keeps_its_first_empty_line() -> None:
    """HTML drops one line break after the opening tag, so the macro gives one away."""
    written = FIELDS.area(Typed(typed={"note": "\nfirst"}), "note", "Note")

    assert ">\n\nfirst</textarea>" in written


def test_a_choice_and_its_answers_stay_chosen() -> None:
    """Numbers and texts alike: what was sent is what is marked."""
    options = [(1, "one"), (2, "two")]

    assert '<option value="2" selected>two</option>' in FIELDS.choice(Typed({"n": "2"}), "n", "N", options)
    assert 'value="2" checked>' in FIELDS.radios(Typed({"n": "2"}), "n", "N", options)
    assert FIELDS.checks(Typed(chosen=["1", "2"]), "n", "N", options).count(" checked>") == 2


def test_the_summary_leads_to_the_fields() -> None:
    """Each sentence links to its field's own id, the form's own sentence to nothing."""
    form = Typed(errors={"kind": "Choose one.", "": "The whole does not add up."}, prefix="part")

    summary = FIELDS.error_summary(form)

    assert 'role="alert"' in summary
    assert '<a href="#part-kind">Kind: Choose one.</a>' in summary
    assert "<li>The whole does not add up.</li>" in summary
    assert 'id="part-kind"' in FIELDS.radios(form, "kind", "Kind", [("chip", "chip"), ("diode", "diode")])


def test_the_summary_names_each_field() -> None:
    """Two fields left empty are two different sentences."""
    form = Typed(errors={"as_found": "This cannot be left empty.", "edtf": "This cannot be left empty."})

    summary = FIELDS.error_summary(form, {"edtf": "Made"})

    assert ">As found: This cannot be left empty.<" in summary
    assert ">Made: This cannot be left empty.<" in summary


def test_nothing_wrong_has_no_summary() -> None:
    """A form seen for the first time raises no alarm."""
    assert FIELDS.error_summary(Typed()) == ""


def test_both_versions_stand_side_by_side_and_say_where_they_differ() -> None:
    """Rule 7 of the record: the second of two writers sees both, and the difference in a word."""
    written = FIELDS.both_versions([("Value", "330 Ω", "360 Ω", True), ("Kind", "resistor", "resistor", False)])

    assert "<td>330 Ω</td>" in written
    assert "<td>360 Ω</td>" in written
    assert written.count(">differs<") == 1
