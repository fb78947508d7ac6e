"""What can be set from outside: documented, read from the environment, and refused in words where it will not do."""

import re
from pathlib import Path

import pytest
from pydantic import ValidationError

from server.settings import Settings, unset

README = Path(__file__).parent.parent / "README.md"
ROW = re.compile(r"^\| `PUTBACK_([A-Z_]+)` \| ([^|]+) \| ([^|]*) \|$", re.MULTILINE)

GIVEN = {
    "data": ("/srv/records", Path("/srv/records")),
    "database_url": ("postgresql://club@db/records", "postgresql://club@db/records"),
    "host": ("::1", "::1"),
    "port": ("0", 0),
    "keeper": (" Ada Wren ", "Ada Wren"),
    "allowed_hosts": ("bench.local, 127.0.0.1", ["bench.local", "127.0.0.1"]),
    "public_url": ("https://records.example.org/club/", "https://records.example.org/club"),
    "upload_most_mb": ("7", 7),
    "parts_list_most_mb": ("1", 1),
    "daily_copies": ("no", "no"),
    "log_level": ("debug", "debug"),
    "log_format": ("json", "json"),
}

NO_ADDRESS = "Write the address that others reach this record at, such as https://records.example.org."


@pytest.fixture(autouse=True)
def bare_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in Settings.model_fields:
        monkeypatch.delenv(f"PUTBACK_{name.upper()}", raising=False)


def test_every_setting_stands_in_the_readme() -> None:
    """Name by name, with what it sets and what it usually is; and nothing stands there that cannot be set."""
    rows = {name.lower(): (words.strip(), usual.strip()) for name, words, usual in ROW.findall(README.read_text())}

    assert sorted(Settings.model_fields) == sorted(rows)
    assert all(words for words, _ in rows.values())


def test_the_readme_tells_the_usual_values() -> None:
    """As they are in the program."""
    rows = {name.lower(): usual for name, _, usual in ROW.findall(README.read_text())}
    plain = {
        name: field.default for name, field in Settings.model_fields.items() if isinstance(field.default, int | str)
    }

    assert [name for name, usual in plain.items() if str(usual) not in rows.get(name, "")] == []


@pytest.mark.parametrize("name", Settings.model_fields)
def test_each_is_read_from_the_environment(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """By its name in capitals."""
    typed, read = GIVEN[name]
    monkeypatch.setenv(f"PUTBACK_{name.upper()}", typed)

    assert read == getattr(Settings(), name)


def test_what_is_given_in_the_program_comes_before_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    """As options of the command line do."""
    monkeypatch.setenv("PUTBACK_PORT", "1234")

    assert Settings(port=4321).port == 4321


def test_the_usual_settings_listen_on_this_machine_only() -> None:
    """And answer to its own names."""
    usual = Settings()

    assert (usual.host, usual.allowed_hosts) == ("127.0.0.1", ["127.0.0.1", "localhost", "::1"])
    assert usual.url.startswith("sqlite:///")
    assert usual.keeper


@pytest.mark.parametrize(
    ("name", "typed", "sentence"),
    [
        ("port", "eighty", "Write a whole number."),
        ("port", "65536", "At most 65535 will do."),
        ("port", "-1", "At least 0 is needed."),
        ("upload_most_mb", "0", "At least 1 is needed."),
        ("parts_list_most_mb", "lots", "Write a whole number."),
        ("log_level", "loud", "Choose one of the words offered: 'debug', 'info', 'warning' or 'error'."),
        ("daily_copies", "off", "Choose one of the words offered: 'yes' or 'no'."),
        ("log_format", "", "Choose one of the words offered: 'plain' or 'json'."),
        ("keeper", " ", "This cannot be left empty."),
        ("keeper", "A\x1bB", "Character 2 is a control character that cannot be stored; take it out."),
        *(
            ("public_url", typed, NO_ADDRESS)
            for typed in ("records", "ftp://h", "https://", "https://a b", "https://h?x=1", "http://[::1")
        ),
        ("database_url", "records", "Write a PostgreSQL address, such as postgresql://user@host/name."),
        ("database_url", "mysql://h/records", "Write a PostgreSQL address, such as postgresql://user@host/name."),
        ("database_url", "sqlite:///x", "Write a PostgreSQL address, such as postgresql://user@host/name."),
    ],
)
def test_what_will_not_do_is_told_in_words(
    monkeypatch: pytest.MonkeyPatch, name: str, typed: str, sentence: str
) -> None:
    """By the name that is set in the environment."""
    monkeypatch.setenv(f"PUTBACK_{name.upper()}", typed)
    with pytest.raises(ValidationError) as problem:
        Settings()

    assert f"PUTBACK_{name.upper()}: {sentence}" == unset(problem.value)


def test_the_place_of_the_record_holds_no_password() -> None:
    """It is printed when the house opens."""
    assert Settings(database_url="postgresql://club:secret@db/records").place == "postgresql://club:***@db/records"
