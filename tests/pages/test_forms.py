"""What a form holds: the last of several texts of one name, and never slower the more there are."""

import pytest

from server.pages.form_rows import take_rows
from server.pages.forms import FIELDS_MOST, Form


def test_the_last_text_of_a_name_counts() -> None:
    form = Form({"a": ["1", "2"], "empty": []})

    assert (form.text("a"), form.text("empty"), form.text("none")) == ("2", "", "")
    assert form.many("a") == ["1", "2"]


def test_a_look_at_one_field_goes_through_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    """It did, and a form of some thousand fields took half a minute."""
    monkeypatch.setattr(Form, "typed", property(lambda _: pytest.fail("all of them were looked at")))
    form = Form({f"points.{number}.x": ["1"] for number in range(FIELDS_MOST)})

    assert len(take_rows(form, "points", ("x", "y"))) == FIELDS_MOST
