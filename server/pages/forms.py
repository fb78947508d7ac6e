"""A form as it was typed: shown again whole when it will not do, with each message beside its field.

What is shown is always what was typed, never "typed or stored": a field that was cleared stays cleared.
"""

import types
from collections.abc import AsyncIterator, Mapping
from typing import Annotated, Any, Literal, Self, TypeVar, Union, get_args, get_origin

from fastapi import Depends, Request
from starlette.datastructures import FormData, UploadFile

from server.records.commands.base import Command, shown
from server.records.errors import Difference, Invalid
from server.records.tables.base import Kept

Asked = TypeVar("Asked", bound=Command)
NUMBER_DIGITS = 10
FIELDS_MOST = 5_000
FIELD_BYTES_MOST = 8_000_000


class Form:
    """Typed text by field name, the values of repeated fields, and what was wrong with them."""

    def __init__(self, values: Mapping[str, list[str]], files: Mapping[str, UploadFile] | None = None) -> None:
        self.values = dict(values)
        self.files = dict(files or {})
        self.errors: dict[str, str] = {}
        self.conflict: list[Difference] = []
        self.prefix = "f"

    @classmethod
    def blank(cls, **defaults: object) -> Self:
        """A form nobody has typed into yet."""
        return cls({name: _texts(value) for name, value in defaults.items()})

    @classmethod
    def of_row(cls, described: type[Command], row: Kept, **more: object) -> Self:
        """A form filled with what is stored, to be revised."""
        stored = {name: getattr(row, name) for name in described.model_fields if hasattr(row, name)}
        return cls.blank(**stored, opened_version=row.version, **more)

    def with_refusal_of(self, other: Self) -> Self:
        """This form with what was wrong with another act of the same page."""
        self.errors, self.conflict = other.errors, other.conflict
        return self

    @property
    def typed(self) -> dict[str, str]:
        return {name: values[-1] for name, values in self.values.items() if values}

    @property
    def versions(self) -> list[tuple[str, str, str, bool]]:
        """Both versions of a record that two people edited, row by row."""
        return [(row.field, row.yours, row.theirs, row.differs) for row in self.conflict]

    def text(self, name: str) -> str:
        values = self.values.get(name)
        return values[-1] if values else ""

    def many(self, name: str) -> list[str]:
        return self.values.get(name, [])

    def set(self, name: str, text: str) -> None:
        self.values[name] = [text]

    def read(self, kind: type[Asked], **fixed: object) -> Asked:
        """Build a command from what was typed; fields of the address are given as `fixed`."""
        asked = {}
        for name, field in kind.model_fields.items():
            if name in fixed or name not in self.values:
                continue
            asked[name] = self.many(name) if _is_list(field.annotation) else self.text(name)
        return kind.read({**asked, **fixed})

    def refuse(self, problem: Invalid) -> None:
        self.errors.update(problem.messages)


def number_of(text: str) -> int | None:
    """A whole number as people type it in an address; none when it is no number that a record could have."""
    text = text.strip()
    return int(text) if text.isascii() and text.isdigit() and len(text) < NUMBER_DIGITS else None


def _texts(value: object) -> list[str]:
    if isinstance(value, list):
        return [shown(item) for item in value]
    return [shown(value)]


def _is_list(annotation: Any) -> bool:
    if get_origin(annotation) is Annotated:
        return _is_list(get_args(annotation)[0])
    if get_origin(annotation) in (Union, types.UnionType, Literal):
        return False
    return get_origin(annotation) is list


async def posted(request: Request) -> AsyncIterator[Form]:
    """The form that came with this request; what was uploaded is let go once the answer is made."""
    data = await request.form(max_files=20, max_fields=FIELDS_MOST, max_part_size=FIELD_BYTES_MOST)
    try:
        yield of_data(data)
    finally:
        await data.close()


def of_data(data: FormData) -> Form:
    values: dict[str, list[str]] = {}
    files: dict[str, UploadFile] = {}
    for name, value in data.multi_items():
        if isinstance(value, str):
            values.setdefault(name, []).append(value)
        elif value.filename:
            files[name] = value
    return Form(values, files)


PostedForm = Annotated[Form, Depends(posted)]
