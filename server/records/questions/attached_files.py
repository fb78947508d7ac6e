"""Questions about files other than photographs, and about all that is attached to the records of one machine."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, or_
from sqlmodel import Session, col, func, select
from sqlmodel.sql.expression import SelectOfScalar

from server.records.questions.paging import Paged, paged
from server.records.questions.subjects import STEP, Subject
from server.records.tables import AttachedFile, Machine, Photograph

ON_A_PAGE = 24


@dataclass(frozen=True, slots=True)
class NumberedFile:
    """A file, and the tag of the machine in which it is numbered."""

    file: AttachedFile
    tag: str


def files_on(held: Subject) -> SelectOfScalar[AttachedFile]:
    """A select of the files of one record, in the order in which they were added."""
    return select(AttachedFile).where(*_on(held)).order_by(col(AttachedFile.id))


def files_of(session: Session, held: Subject, page: int = 1) -> Paged[NumberedFile]:
    """One page of the files of a record; two queries, however many there are."""
    query = (
        select(AttachedFile, Machine.tag)
        .join(Machine, col(Machine.id) == col(AttachedFile.machine_id))
        .where(*_on(held))
        .order_by(col(AttachedFile.id))
    )
    found = paged(session, query, page, ON_A_PAGE)
    return Paged([NumberedFile(*row) for row in found.rows], found.number, found.last, found.total)


def _on(held: Subject) -> tuple[bool, bool]:
    return AttachedFile.on_kind == held.kind, AttachedFile.on_uuid == held.row.uuid


def files_on_steps(session: Session, steps: Iterable[UUID]) -> dict[UUID, int]:
    """How many files each of these steps has, those that have any; in one query."""
    query = (
        select(AttachedFile.on_uuid, func.count())
        .where(AttachedFile.on_kind == STEP, col(AttachedFile.on_uuid).in_(list(steps)))
        .group_by(col(AttachedFile.on_uuid))
    )
    return dict(session.exec(query).all())


def attached_within(table: type[Photograph] | type[AttachedFile], kinds: dict[str, Any]) -> ColumnElement[bool]:
    """The condition that something is attached to one of some records: for each kind, a select of their UUIDs."""
    return or_(*(col(table.on_uuid).in_(uuids) & (col(table.on_kind) == kind) for kind, uuids in kinds.items()))


def move_to(session: Session, held: Subject, onto: Subject) -> int:
    """Attach to another record what hangs on this one, which is about to go; how many that were."""
    photographs = session.exec(
        select(Photograph).where(Photograph.on_kind == held.kind, Photograph.on_uuid == held.row.uuid)
    ).all()
    for photograph in photographs:
        photograph.on_kind, photograph.on_uuid, photograph.moment = onto.kind, onto.row.uuid, ""
    files = session.exec(files_on(held)).all()
    for file in files:
        file.on_kind, file.on_uuid = onto.kind, onto.row.uuid
    return len(photographs) + len(files)
