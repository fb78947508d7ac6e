"""Dossiers between two records: written in one, looked at and taken in by another."""

from collections.abc import Iterable
from datetime import date
from pathlib import Path
from uuid import UUID

from server.documents.dossier import Asked, write_dossier
from server.documents.dossier_import import Choice, Dossier, read_dossier, take_in
from server.documents.dossier_look import Look, look_at
from server.documents.record import canonical, machine_record
from server.records import checks
from server.records.questions.addresses import find_machine
from server.records.store import Done, Store
from server.records.work import unheard

TODAY = date(2026, 1, 2)
KEEPER = "Test keeper"


def write(store: Store, tag: str, place: Path, *, private: bool = True) -> Path:
    """A machine's dossier as its own record writes it."""
    write_dossier(store, Asked(tag, TODAY, KEEPER, private), place, unheard)
    return place


def read(place: Path) -> Dossier:
    return read_dossier(place, unheard)


def look(store: Store, place: Path) -> Look:
    """What a record would make of a dossier."""
    dossier = read(place)
    with store.reading() as session:
        return look_at(session, store.files, dossier)


def take(store: Store, place: Path, *, tag: str = "", take: Iterable[UUID] = ()) -> Done:
    """Look at a dossier and take it in."""
    return take_in(store, place, Choice(look(store, place).seen, tag, frozenset(take)), KEEPER, unheard)


def record_in(store: Store, tag: str, *, private: bool = True) -> bytes:
    """A machine's record, to the byte."""
    with store.reading() as session:
        return canonical(machine_record(session, find_machine(session, tag), private=private))


def faults_in(store: Store) -> list[str]:
    with store.reading() as session:
        return list(checks.faults(session, store.files))
