"""Does SQLite know what the books hold, so that it takes the right index?"""

from __future__ import annotations

import pytest
from django.db import OperationalError, connection

from firstsilk.faces.command.station import refresh_statistics
from tests.factories import make_line, make_station

pytestmark = pytest.mark.django_db


@pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL looks by itself")
def test_statistics_are_there_once_they_were_refreshed():
    station = make_station()
    for at in range(50):
        make_line(station, f"E{at}")
    assert refresh_statistics()
    with connection.cursor() as cursor:
        cursor.execute("SELECT stat FROM sqlite_stat1 WHERE tbl = 'records_line'")
        found = cursor.fetchall()
    assert found
    assert all(int(stat.split()[0]) == 50 for (stat,) in found)
    assert refresh_statistics()


def test_books_that_are_being_written_are_left_alone(monkeypatch):
    class Busy:
        def __enter__(self):
            return self

        def __exit__(self, *_):
            return False

        def execute(self, _):
            raise OperationalError("database is locked")

    monkeypatch.setattr(connection, "cursor", Busy)
    assert refresh_statistics() is False
