"""Books that are dear to make are made once, by the first test that asks; the others have the same rows put in."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection

Rows = dict[str, tuple[str, list[tuple[object, ...]]]]


def keep_books(make: Callable[[], Any]) -> Any:
    """A fixture that gives what `make` gives, in the books that `make` makes; a test may change both at will.

    Only where the books are in SQLite: PostgreSQL would count on from its own numbers.
    """
    kept: list[tuple[Any, Rows]] = []

    @pytest.fixture
    def made(db: None) -> Any:
        if connection.vendor != "sqlite":
            return make()
        if kept:
            given, rows = kept[0]
            _put_in(rows)
            return copy.deepcopy(given)
        before = _read_rows()
        given = make()
        rows = _read_rows()
        assert all(rows[table] == before[table] for table in before), "the books held something of another test"
        kept.append((copy.deepcopy(given), {table: rows[table] for table in rows.keys() - before.keys()}))
        return given

    return made


def _read_rows() -> Rows:
    """The rows of every table that has some, each with the statement that puts one in."""
    found: Rows = {}
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            names = [f'"{column.name}"' for column in connection.introspection.get_table_description(cursor, table)]
            # With the sign a column is an expression: its value comes as it is stored, and not as Django reads it.
            cursor.execute(f'SELECT {", ".join(f"+{name}" for name in names)} FROM "{table}"')
            rows = cursor.fetchall()
            holes = ", ".join(["%s"] * len(names))
            if rows:
                found[table] = (f'INSERT INTO "{table}" ({", ".join(names)}) VALUES ({holes})', rows)
    return found


def _put_in(rows: Rows) -> None:
    with connection.cursor() as cursor:
        for statement, values in rows.values():
            cursor.executemany(statement, values)
