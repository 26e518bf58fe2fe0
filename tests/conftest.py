"""What do all tests share? A folder of books of their own, a small station, and the folder of published checks."""

from __future__ import annotations

import os
from collections.abc import Generator
from pathlib import Path

import pytest
from hypothesis import settings

from tests.small_station import NEW_OCCASION, SMALL_STATION

# A busy machine is no fault of a law; with CI set the draws are the same each time.
settings.register_profile("house", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "house")

PROJECT = Path(__file__).resolve().parent.parent

FIRST = ("year", "phone kills", "test_phone_days", "test_kill_server", "test_pocket_screens", "test_pocket_offline")
"""Groups and files that take longest, longest first: one that begins late leaves the other process idle at the end."""


@pytest.hookimpl(wrapper=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> Generator[None, None, None]:
    """Keep the browser tests of a file in one process, and let processes side by side begin with what takes longest.

    A file's browser, server and books are made once in each process that runs one of its tests: seconds each time.
    Plugins read the groups, and put tests with the books in memory first: so groups come before them, the order after.
    """
    for item in items:
        if item.get_closest_marker("browser") and not item.get_closest_marker("xdist_group"):
            item.add_marker(pytest.mark.xdist_group(item.path.stem))
    yield
    if hasattr(config, "workerinput"):
        items.sort(key=_find_turn)


def _find_turn(item: pytest.Item) -> int:
    group = item.get_closest_marker("xdist_group")
    name = str(group.args[0]) if group else item.path.stem
    return FIRST.index(name) if name in FIRST else len(FIRST)


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
