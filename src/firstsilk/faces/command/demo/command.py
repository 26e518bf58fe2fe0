"""What does `firstsilk demo` do?

It builds the invented station from one seed, brings its tables in like any station's, plays one whole year through the
work functions, says what came of it against the known truth, and serves the pages.
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import say
from firstsilk.faces.command.station import build_books

PASSWORD = "early-silk-2031"  # noqa: S105 - of the invented station only, printed at each run
ACCOUNTS = (
    ("breeder", "breeder"),
    ("technician", "technician"),
    ("leader", "crew_leader"),
    ("cooperator", "cooperator"),
)


def demo(
    seed: Annotated[int, typer.Option(help="Seed of the invented world; same seed, same station.")] = 1,
    fresh: Annotated[bool, typer.Option("--fresh", help="Begin anew if an invented station is there already.")] = False,
    serve: Annotated[bool, typer.Option(help="Serve the pages after the run.")] = True,
    host: Annotated[str, typer.Option(help="Address to listen at.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="Port to listen at.")] = 8000,
) -> None:
    """Build the invented station, run its year, say what came of it, and serve its pages."""
    _clear_place(fresh)
    build_books()
    from firstsilk.faces.command.demo.account import write_account
    from firstsilk.faces.command.demo.play import play_year

    began = time.monotonic()
    year = play_year(seed, say, PASSWORD, ACCOUNTS)
    print(write_account(year))
    say(f"The year took {time.monotonic() - began:.0f} s.")
    print(f"\nSign in as {', '.join(name for name, _ in ACCOUNTS)}; the password of all four is {PASSWORD}")
    if serve:
        from firstsilk.faces.command.serve import serve as serve_pages

        serve_pages(host, port)


def _clear_place(fresh: bool) -> None:
    """Make room for the invented station; books of a real station are never touched."""
    import os

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "firstsilk.station.settings")
    from django.conf import settings

    books = Path(str(settings.DATABASES["default"]["NAME"]))
    if settings.DATABASES["default"]["ENGINE"] != "django.db.backends.sqlite3":
        raise refuse(
            "demo_needs_sqlite", "The invented station lives in an embedded database.", "Unset FIRSTSILK_DATABASE."
        )
    if not books.exists():
        return
    build_books()
    from django.db import connections

    from firstsilk.work.station import list_stations

    stations = list_stations()
    real = [one.code for one in stations if not one.is_invented]
    if real:
        raise refuse(
            "station_is_real",
            f"{books.parent} holds the books of a real station ({', '.join(real)}).",
            "Name another folder with FIRSTSILK_HOME.",
        )
    if stations and not fresh:
        raise refuse(
            "demo_is_there", f"{books.parent} holds an invented station already.", "Add --fresh to begin anew."
        )
    connections.close_all()
    for file in books.parent.glob(books.name + "*"):
        file.unlink()
