"""What the phone has said is saved is saved, even if the whole browser is killed at that moment."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.journeys.chromium import CHROMIUM
from tests.journeys.phone_kills import kill_and_compare
from tests.journeys.serving import StationServer

KILLS = 50
SEED = 20310714

pytestmark = [
    pytest.mark.browser,
    pytest.mark.xdist_group("phone kills"),
    pytest.mark.skipif(shutil.which(CHROMIUM) is None, reason=f"there is no chromium at {CHROMIUM}"),
]


@pytest.fixture(scope="module")
def driver() -> Iterator[object]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        yield driver


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, object]]:
    """Books made once; each test works on a copy."""
    home = tmp_path_factory.mktemp("books")
    return home, StationServer(home).prepare()


@pytest.fixture
def station(tmp_path: Path, prepared) -> tuple[Path, dict[str, object]]:
    home, made = prepared
    shutil.copytree(home, tmp_path / "books")
    return tmp_path, made


def test_no_note_said_to_be_saved_is_lost_in_fifty_kills_of_the_browser(driver, station) -> None:
    told = kill_and_compare(driver, *station, KILLS, seed=SEED)
    print(told)
    # The test means something only if the page was writing whenever it was killed.
    assert told.saved >= 3 * KILLS
    assert (told.lost, told.doubled) == (0, 0)
    assert told.chain_ok
    assert told.held >= told.saved


def test_notes_are_whole_though_kills_take_the_stores_in_turn(driver, station) -> None:
    told = kill_and_compare(driver, *station, 2, seed=SEED, wipes=("IndexedDB", "File System"))
    print(told)
    assert told.put_back == 2
    assert (told.lost, told.doubled) == (0, 0)


def test_kill_loop_finds_a_page_that_keeps_notes_in_one_store_alone(driver, station) -> None:
    told = kill_and_compare(driver, *station, 1, seed=SEED, application="one_store:application", wipes=("IndexedDB",))
    print(told)
    assert told.saved > 0
    assert told.lost > 0
