"""Questions about photographs: what can have them, which a record has, and the views that pages show.

`KINDS` is the one place that says which kinds of record can have photographs, and how each is found and named.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from server.records.errors import Damaged, NotFound
from server.records.files import FileStore
from server.records.picture_formats import BadPicture
from server.records.pictures import take_in, view_name
from server.records.questions.addresses import find_symptom
from server.records.questions.paging import Paged, paged
from server.records.tables import Machine, Photograph, Symptom
from server.records.tables.base import Kept

NUMBER_DIGITS = 9
ON_A_PAGE = 24


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of record that can have photographs.

    `find` finds one by the name that people use within its machine, `named` gives that name, and `place` says where
    the record named so stands below its machine's own address.
    """

    table: type[Kept]
    find: Callable[[Session, Machine, str], Kept]
    named: Callable[[Any], str]
    place: Callable[[str], str]


def _numbered(kind: str, find: Callable[[Session, Machine, int], Kept]) -> Callable[[Session, Machine, str], Kept]:
    """What has a number within its machine, found by that number as it is typed."""

    def found(session: Session, machine: Machine, on: str) -> Kept:
        if not (on.isascii() and on.isdigit() and len(on) <= NUMBER_DIGITS):
            raise NotFound(kind, on)
        return find(session, machine, int(on))

    return found


KINDS: dict[str, Kind] = {
    "symptom": Kind(Symptom, _numbered("symptom", find_symptom), lambda row: str(row.number), "symptoms/{}".format),
}


@dataclass(frozen=True, slots=True)
class Subject:
    """The record that a photograph shows."""

    kind: str
    on: str
    row: Kept

    @property
    def place(self) -> str:
        """Where it stands below its machine's address."""
        return KINDS[self.kind].place(self.on)

    def __str__(self) -> str:
        return f"{self.kind} {self.on}".rstrip()


def find_subject(session: Session, machine: Machine, kind: str, on: str) -> Subject:
    """What photographs are to be added to: a `kind` of record of this machine, named as people name it."""
    if kind not in KINDS:
        raise NotFound("kind of record that has photographs,", kind)
    return subject(kind, KINDS[kind].find(session, machine, on))


def subject(kind: str, row: Kept) -> Subject:
    """A record that may have photographs, as what they show."""
    return Subject(kind, KINDS[kind].named(row), row)


def subject_of(session: Session, photograph: Photograph) -> Subject:
    """What a photograph shows."""
    table = KINDS[photograph.on_kind].table
    return subject(photograph.on_kind, session.exec(select(table).where(table.uuid == photograph.on_uuid)).one())


def those_of(shown: Subject) -> SelectOfScalar[Photograph]:
    """A select of the photographs of one record, in the order in which they were added."""
    mine = (Photograph.on_kind == shown.kind, Photograph.on_uuid == shown.row.uuid)
    return select(Photograph).where(*mine).order_by(col(Photograph.number))


def photographs_of(session: Session, shown: Subject, page: int = 1) -> Paged[Photograph]:
    """One page of the photographs of a record; two queries, however many there are."""
    return paged(session, those_of(shown), page, ON_A_PAGE)


def any_of_file(session: Session, sha256: str) -> Photograph:
    """A photograph whose kept file has this digest; what is no photograph's is not found."""
    found = session.exec(select(Photograph).where(Photograph.sha256 == sha256).limit(1)).first()
    if found is None:
        raise NotFound("photograph", sha256)
    return found


def view_of(files: FileStore, sha256: str, most: int) -> bytes:
    """A view of a kept file, made again where it is missing."""

    def make() -> bytes:
        try:
            return take_in(files.read(sha256)).views[most]
        except BadPicture as fault:
            raise Damaged(f"File {sha256} can no longer be decoded. {fault}") from fault

    return files.derived(sha256, view_name(most), make)
