"""How does a command open the station's books?"""

from __future__ import annotations

import os
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from firstsilk.answers import refuse
from firstsilk.faces.files.tables import FIRST_YEAR, LAST_YEAR, read_iso_date

if TYPE_CHECKING:
    from firstsilk.work.occasion import Occasion

StationCode = Annotated[str, typer.Option("--station", help="Code of the station, where there are several.")]
Today = Annotated[str, typer.Option("--today", help="The day to work on, as 2031-07-21; the station's day if absent.")]


def year_option(says: str) -> Any:
    """An option ``--year`` with the years that records may have."""
    return typer.Option("--year", min=FIRST_YEAR, max=LAST_YEAR, help=says)


def prepare_books() -> None:
    """Wire up the books without looking at them."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "firstsilk.station.settings")
    import django

    django.setup()


def build_books() -> None:
    """Make the tables, or bring them up to this version."""
    prepare_books()
    from django.core.management import call_command
    from django.db import connection
    from django.db.migrations.executor import MigrationExecutor

    # Asked first: `migrate` itself takes ten times as long to find that there is nothing to do.
    found = MigrationExecutor(connection)
    if found.migration_plan(found.loader.graph.leaf_nodes()):
        call_command("migrate", verbosity=0, interactive=False)


_ROWS_LOOKED_AT = 400
"""Rows of each index that are looked at for its statistics: enough to tell one index from another, and quick."""


def refresh_statistics() -> bool:
    """Let SQLite look at what its tables hold, so that it takes the right index in large books; True if it did.

    Books that somebody else is writing at this moment are left as they are: the next time will do. PostgreSQL looks
    by itself.
    """
    from django.db import OperationalError, connection

    if connection.vendor != "sqlite":
        return False
    try:
        with connection.cursor() as cursor:
            cursor.execute(f"PRAGMA analysis_limit={_ROWS_LOOKED_AT}")
            cursor.execute("PRAGMA optimize=0x10002")  # All tables, not only those that this connection asked of.
    except OperationalError:
        return False
    return True


def open_books(station: str | None = "", today: str = "") -> Occasion:
    """Open the books and say on what occasion.

    Parameters
    ----------
    station
        Code; empty for the only station; None where the command itself brings the station.
    today
        ISO date; the station's own day if empty.
    """
    build_books()
    from firstsilk.work.occasion import Occasion
    from firstsilk.work.station import read_station

    now = datetime.now(UTC)
    who = "command"
    if station is None:
        return Occasion("", read_day(today) or now.date(), now, who)
    facts = read_station(station)
    return Occasion(facts.code, read_day(today) or facts.today(now), now, who)


def read_day(text: str) -> date | None:
    """An ISO date given on the command line, or None if empty."""
    if not text:
        return None
    try:
        day = read_iso_date(text)
    except ValueError:
        raise refuse("not_a_date", f"{text!r} is not a date.", "Write it as year-month-day: 2031-07-21.") from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise refuse("year_far_off", f"The year of {text} cannot be.", f"Use {FIRST_YEAR} to {LAST_YEAR}.")
    return day
