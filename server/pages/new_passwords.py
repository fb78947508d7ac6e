"""A form that brings a new password, typed twice, with the rest of what it asks for."""

from server.access.passwords import hashed_twice
from server.pages.forms import Asked, Form
from server.records.errors import Invalid


def read_with_password(form: Form, kind: type[Asked], **fixed: object) -> Asked:
    """The command that the form asks for. What is wrong with the password and with the rest is told at once."""
    wrong: dict[str, str] = {}
    try:
        password_hash = hashed_twice(form.text("password"), form.text("again"), form.text("name"))
    except Invalid as problem:
        wrong, password_hash = dict(problem.messages), _no_password_yet()
    try:
        command = form.read(kind, password_hash=password_hash, **fixed)
    except Invalid as problem:
        raise Invalid({**problem.messages, **wrong}) from None
    if wrong:
        raise Invalid(wrong)
    return command


def _no_password_yet() -> str:
    """Stands for the hash while the other fields are looked at; it is never kept."""
    return f"$argon2id${'-' * 40}"
