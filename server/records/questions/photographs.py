"""Questions about photographs: which a record has, and the views that pages show."""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from sqlmodel import Session, col, func, select
from sqlmodel.sql.expression import SelectOfScalar

from server.records.errors import Damaged, NotFound
from server.records.files import FileStore
from server.records.picture_formats import BadPicture
from server.records.pictures import view_at, view_name
from server.records.questions.paging import Paged, paged
from server.records.questions.subjects import STEP, Subject
from server.records.tables import Machine, Photograph
from server.records.words import Moment

ON_A_PAGE = 24


@dataclass(frozen=True, slots=True)
class Counted:
    """How many photographs there are of a step, and how many of them were taken before it and after it."""

    total: int
    before: int
    after: int


@dataclass(frozen=True, slots=True)
class Numbered:
    """A photograph, and the tag of the machine in which it is numbered."""

    photograph: Photograph
    tag: str


def those_of(shown: Subject) -> SelectOfScalar[Photograph]:
    """A select of the photographs of one record, in the order in which they were added."""
    return select(Photograph).where(*_on(shown)).order_by(col(Photograph.id))


def photographs_of(session: Session, shown: Subject, page: int = 1) -> Paged[Numbered]:
    """One page of the photographs of a record; two queries, however many there are."""
    query = (
        select(Photograph, Machine.tag)
        .join(Machine, col(Machine.id) == col(Photograph.machine_id))
        .where(*_on(shown))
        .order_by(col(Photograph.id))
    )
    found = paged(session, query, page, ON_A_PAGE)
    return Paged([Numbered(*row) for row in found.rows], found.number, found.last, found.total)


def _on(shown: Subject) -> tuple[bool, bool]:
    return Photograph.on_kind == shown.kind, Photograph.on_uuid == shown.row.uuid


def counted_on_steps(session: Session, steps: Iterable[UUID]) -> dict[UUID, Counted]:
    """How many photographs each of these steps has, those that have any; in one query."""
    query = (
        select(Photograph.on_uuid, Photograph.moment, func.count())
        .where(Photograph.on_kind == STEP, col(Photograph.on_uuid).in_(list(steps)))
        .group_by(col(Photograph.on_uuid), col(Photograph.moment))
    )
    found: dict[UUID, dict[str, int]] = {}
    for step, moment, many in session.exec(query):
        found.setdefault(step, {})[moment] = many
    return {
        step: Counted(sum(many.values()), many.get(Moment.BEFORE, 0), many.get(Moment.AFTER, 0))
        for step, many in found.items()
    }


def any_of_file(session: Session, sha256: str) -> Photograph:
    """A photograph whose kept file has this digest; what is no photograph's is not found."""
    found = session.exec(select(Photograph).where(Photograph.sha256 == sha256).limit(1)).first()
    if found is None:
        raise NotFound("photograph", sha256)
    return found


def view_of(files: FileStore, sha256: str, most: int) -> bytes:
    """A view of a kept file, made again where it is missing."""
    return files.derived(sha256, view_name(most), lambda: fresh_view_of(files, sha256, most))


def fresh_view_of(files: FileStore, sha256: str, most: int) -> bytes:
    """A view made anew of a kept file; raises Damaged where that is not whole."""
    try:
        return view_at(files.read(sha256), most)
    except BadPicture as fault:
        raise Damaged(f"File {sha256} can no longer be decoded. {fault}") from fault
