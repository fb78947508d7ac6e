"""PostgreSQL databases for tests, used again and again: making one costs half a second, putting it right a fraction.

An original is made once. A test gets a copy of it; what the test wrote is taken back afterwards, from rows that lie in
a schema of their own. A copy whose tables themselves were changed is dropped.
"""

import os
import shutil
import subprocess
import tempfile
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from uuid import uuid4

import psycopg

POSTGRES_BIN = Path("/usr/lib/postgresql")
LAY_ASIDE = """
CREATE SCHEMA laid_aside;
DO $$
DECLARE one text;
BEGIN
  FOR one IN SELECT tablename FROM pg_tables WHERE schemaname = 'public' LOOP
    EXECUTE format('CREATE TABLE laid_aside.%1$I AS TABLE public.%1$I', one);
  END LOOP;
END $$;
CREATE FUNCTION laid_aside.put_right() RETURNS void LANGUAGE plpgsql AS $$
DECLARE one record; filled boolean; columns text;
BEGIN
  SET LOCAL session_replication_role = replica;
  FOR one IN SELECT oid, relname FROM pg_class WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace LOOP
    EXECUTE format('SELECT EXISTS (SELECT FROM public.%I)', one.relname) INTO filled;
    IF filled THEN
      EXECUTE format('DELETE FROM public.%I', one.relname);
    END IF;
    EXECUTE format('SELECT EXISTS (SELECT FROM laid_aside.%I)', one.relname) INTO filled;
    IF filled THEN
      SELECT string_agg(quote_ident(attname), ', ') INTO columns FROM pg_attribute
        WHERE attrelid = one.oid AND attnum > 0 AND NOT attisdropped AND attgenerated = '';
      EXECUTE format('INSERT INTO public.%1$I (%2$s) SELECT %2$s FROM laid_aside.%1$I', one.relname, columns);
    END IF;
  END LOOP;
  FOR one IN
    SELECT s.oid::regclass AS counter, t.relname, a.attname FROM pg_class s
    JOIN pg_depend d ON d.objid = s.oid AND d.deptype IN ('a', 'i') JOIN pg_class t ON t.oid = d.refobjid
    JOIN pg_attribute a ON a.attrelid = t.oid AND a.attnum = d.refobjsubid
    WHERE s.relkind = 'S' AND s.relnamespace = 'public'::regnamespace
  LOOP
    EXECUTE format('SELECT setval(%L, coalesce((SELECT max(%I) FROM public.%I), 0) + 1, false)',
                   one.counter, one.attname, one.relname);
  END LOOP;
END $$;
"""
SHAPE = """
SELECT md5(string_agg(said, ' ' ORDER BY said)) FROM (
  SELECT concat_ws(':', oid, relname) FROM pg_class WHERE relnamespace = 'public'::regnamespace
  UNION ALL SELECT concat_ws(':', tgrelid, tgname, tgenabled) FROM pg_trigger
  UNION ALL SELECT concat_ws(':', conrelid, conname) FROM pg_constraint WHERE connamespace = 'public'::regnamespace
  UNION ALL SELECT concat_ws(':', attrelid, attname, attnotnull) FROM pg_attribute
    WHERE attrelid IN (SELECT oid FROM pg_class WHERE relnamespace = 'public'::regnamespace)
) AS told (said)
"""
END_OTHERS = """
SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()
"""


def postgres_programs() -> Path | None:
    """The folder of the newest PostgreSQL's programs on this machine."""
    found = sorted(POSTGRES_BIN.glob("*/bin/initdb"), key=lambda one: int(one.parent.parent.name))
    return found[-1].parent if found else None


@contextmanager
def running_postgres(*settings: str) -> Iterator[str]:
    """A PostgreSQL server in a folder of its own, while the block runs; gives the folder, where its socket is."""
    programs = postgres_programs()
    if programs is None:
        raise FileNotFoundError("PostgreSQL's programs are not on this machine")
    folder = Path(tempfile.mkdtemp(prefix="putback-pg-"))
    as_owner: list[str] = []
    if os.geteuid() == 0:  # PostgreSQL refuses to run as root
        shutil.chown(folder, "postgres")
        as_owner = ["runuser", "-u", "postgres", "--"]
    data, log = folder / "data", folder / "log"
    how = ["-A", "trust", "-U", "app", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync"]
    subprocess.run([*as_owner, programs / "initdb", "-D", data, *how], check=True, capture_output=True)
    options = ["listen_addresses=''", f"unix_socket_directories={folder}", *(settings or ("fsync=off",))]
    said = " ".join(f"-c {option}" for option in options)
    control: list[str | Path] = [*as_owner, programs / "pg_ctl", "-D", data]
    subprocess.run([*control, "-w", "-l", log, "-o", said, "start"], check=True, capture_output=True)
    try:
        yield str(folder)
    finally:
        subprocess.run([*control, "-m", "immediate", "stop"], check=True, capture_output=True)
        shutil.rmtree(folder, ignore_errors=True)


class Databases:
    """The databases of one server, which lives in a folder; nobody else uses it."""

    def __init__(self, folder: str) -> None:
        self.folder = folder
        self._shape: dict[str, str] = {}  # of each copy, when it was made
        self._free: dict[str, list[str]] = defaultdict(list)
        self._originals: set[str] = set()

    def url(self, name: str) -> str:
        return f"postgresql+psycopg://app@/{name}?host={self.folder}"

    def original(self, name: str, make: Callable[[str], None]) -> None:
        """Make one by its address, unless it is there."""
        if name in self._originals:
            return
        self._command(f'CREATE DATABASE "{name}"')
        make(self.url(name))
        with self._within(name) as connection:
            connection.execute(LAY_ASIDE)
        self._originals.add(name)

    @contextmanager
    def copy(self, original: str) -> Iterator[str]:
        """The address of a copy of an original."""
        name = self._free[original].pop() if self._free[original] else self._made_from(original)
        try:
            yield self.url(name)
        finally:
            if self._put_right(name):
                self._free[original].append(name)
            else:
                self._drop(name)

    @contextmanager
    def empty(self) -> Iterator[str]:
        """The address of a database without any table, dropped afterwards."""
        name = f"t{uuid4().hex}"
        self._command(f'CREATE DATABASE "{name}"')
        try:
            yield self.url(name)
        finally:
            self._drop(name)

    def _made_from(self, original: str) -> str:
        name = f"t{uuid4().hex}"
        self._command(f'CREATE DATABASE "{name}" TEMPLATE "{original}"')
        with self._within(name) as connection:
            self._shape[name] = _shape_of(connection)
        return name

    def _put_right(self, name: str) -> bool:
        """As it was when it was made; false where that cannot be."""
        with self._within(name) as connection:
            connection.execute(END_OTHERS)
            if _shape_of(connection) != self._shape[name]:
                return False
            connection.execute("SELECT laid_aside.put_right()")
        return True

    def _drop(self, name: str) -> None:
        self._command(f'DROP DATABASE "{name}" WITH (FORCE)')

    def _within(self, name: str) -> psycopg.Connection[Any]:
        return psycopg.connect(f"host={self.folder} user=app dbname={name}", autocommit=True)

    def _command(self, words: str) -> None:
        with self._within("postgres") as connection:
            connection.execute(words.encode())


def _shape_of(connection: psycopg.Connection[Any]) -> str:
    return str(connection.execute(SHAPE).fetchall()[0][0])
