"""The tests' own PostgreSQL databases: what one test writes, the next does not find."""

import psycopg

from tests.databases import Databases

MAKE = (
    "CREATE TABLE one (id serial PRIMARY KEY, word text, twice text GENERATED ALWAYS AS (word || word) STORED)",
    "CREATE TABLE two (id serial PRIMARY KEY, one_id int REFERENCES one (id))",
    "INSERT INTO one (word) VALUES ('first')",
)


def do(url: str, *statements: str) -> list[tuple[object, ...]]:
    with psycopg.connect(url.replace("+psycopg", ""), autocommit=True) as connection:
        for statement in statements:
            found = connection.execute(statement.encode())
        return found.fetchall() if found.description else []


def make(url: str) -> None:
    do(url, *MAKE)


def test_a_copy_is_as_its_original_whatever_the_one_before_wrote(databases: Databases) -> None:
    """Its next keys too; and it is the same database, put right."""
    databases.original("two_tables", make)
    with databases.copy("two_tables") as url:
        do(url, "INSERT INTO one (word) VALUES ('second')", "INSERT INTO two (one_id) VALUES (2)", "DELETE FROM two")
        do(url, "UPDATE one SET word = 'changed' WHERE id = 1", "INSERT INTO two (one_id) VALUES (1)")

    with databases.copy("two_tables") as again:
        assert again == url
        assert do(again, "SELECT * FROM one") == [(1, "first", "firstfirst")]
        assert do(again, "INSERT INTO one (word) VALUES ('x') RETURNING id") == [(2,)]
        assert do(again, "INSERT INTO two (one_id) VALUES (2) RETURNING id") == [(1,)]


def test_a_copy_whose_tables_were_changed_is_not_used_again(databases: Databases) -> None:
    databases.original("two_tables", make)
    with databases.copy("two_tables") as url:
        do(url, "ALTER TABLE one DISABLE TRIGGER ALL")

    with databases.copy("two_tables") as other:
        assert other != url


def test_who_is_still_connected_is_let_go(databases: Databases) -> None:
    """A transaction that a test left open holds up nothing."""
    databases.original("two_tables", make)
    with databases.copy("two_tables") as url:
        forgotten = psycopg.connect(url.replace("+psycopg", ""))
        forgotten.execute("UPDATE one SET word = 'held'")

    with databases.copy("two_tables") as again:
        assert do(again, "SELECT word FROM one") == [("first",)]
    forgotten.close()
