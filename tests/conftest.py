"""What do all tests share? A folder of books of their own, a small station, and the folder of published checks."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

from tests.small_station import NEW_OCCASION, SMALL_STATION

# A busy machine is no fault of a law; with CI set the draws are the same each time.
settings.register_profile("house", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "house")

PROJECT = Path(__file__).resolve().parent.parent


@pytest.fixture
def small_station() -> dict[str, str]:
    """The tables of the small station by file name, to be altered at will."""
    return dict(SMALL_STATION)


@pytest.fixture
def new_occasion():
    """An occasion on which a station that is not in the books yet is brought."""
    return NEW_OCCASION


@pytest.fixture
def on(db, new_occasion, small_station):
    """An occasion at the small station, which is in the books whole."""
    from dataclasses import replace

    from firstsilk.faces.files.station import read_station_files
    from firstsilk.work.bring.store import bring_station

    tables = read_station_files({name: text.encode() for name, text in small_station.items()})
    return replace(new_occasion, station=bring_station(new_occasion, tables).station)


@pytest.fixture(scope="session")
def checks_folder() -> Path:
    """The folder of published checks beside the project, or the one that FIRSTSILK_CHECKS names."""
    named = os.environ.get("FIRSTSILK_CHECKS")
    folder = Path(named) if named else PROJECT.parent / "shared" / "checks"
    if not (folder / "data").is_dir():
        pytest.skip(f"the published checks are not here ({folder}); name their folder in FIRSTSILK_CHECKS")
    return folder
