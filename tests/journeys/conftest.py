"""What do journeys share? The invented station after its year, built once."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

FIRST_TARGET_S = 180
AS_BUILT = "as-built.sqlite3"


def station_environment(home: Path) -> dict[str, str]:
    """The station's own settings, not those of the tests."""
    return {**os.environ, "FIRSTSILK_HOME": str(home), "DJANGO_SETTINGS_MODULE": "firstsilk.station.settings"}


@pytest.fixture(scope="session")
def demo_year(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The invented station after its year: its folder, and the account of it.

    Tests that use it belong to the xdist group ``year``, so that one process builds it once. A copy of the books as
    they were built lies beside them, whatever a journey does to the station afterwards.
    """
    home = tmp_path_factory.mktemp("eskerholm")
    began = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-m", "firstsilk", "demo", "--no-serve"],
        env=station_environment(home),
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert time.monotonic() - began < 3 * FIRST_TARGET_S
    with closing(sqlite3.connect(home / "books.sqlite3")) as books:
        books.execute("VACUUM INTO ?", (str(home / AS_BUILT),))
    return home, done.stdout


@pytest.fixture(scope="session")
def demo_books(demo_year) -> Iterator[sqlite3.Connection]:
    """The books of the year as they were built, read only and row by name."""
    home, _ = demo_year
    books = sqlite3.connect(f"file:{home / AS_BUILT}?mode=ro", uri=True)
    books.row_factory = sqlite3.Row
    yield books
    books.close()
