"""How columns of lists were matched before."""

from sqlmodel import Session, col, select

from server.records.list_columns import Remembered, keys_of
from server.records.list_kinds import ListKind
from server.records.tables import ColumnMatching

REMEMBERED_MOST = 500  # kinds of headings; the latest


def remembered(session: Session, kind: ListKind) -> dict[str, Remembered]:
    """Every matching of a kind of list, by the signature of its headings."""
    query = select(ColumnMatching).where(ColumnMatching.kind == kind.name)
    rows = session.exec(query.order_by(col(ColumnMatching.day).desc(), col(ColumnMatching.id)).limit(REMEMBERED_MOST))
    return {row.headings_sha256: _remembered(row) for row in rows}


def find_matching(session: Session, kind: ListKind, signature: str) -> ColumnMatching | None:
    query = select(ColumnMatching).where(ColumnMatching.kind == kind.name, ColumnMatching.headings_sha256 == signature)
    return session.exec(query).first()


def _remembered(row: ColumnMatching) -> Remembered:
    keys = keys_of([column["heading"] for column in row.columns])
    return Remembered(dict(zip(keys, (column["field"] for column in row.columns), strict=True)), row.day)
