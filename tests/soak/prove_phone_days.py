"""Three days without a network, 3,000 notes and twenty openings of the page: does the station get each note once?"""

from __future__ import annotations

import shutil
import time
from pathlib import Path

import pytest

from tests.journeys.chromium import CHROMIUM
from tests.journeys.phone_days import live_days_offline, make_phone
from tests.journeys.serving import StationServer

NOTES, OPENINGS = 3_000, 20

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(shutil.which(CHROMIUM) is None, reason=f"there is no chromium at {CHROMIUM}"),
]


def test_three_thousand_notes_of_three_days_arrive_once(tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    from playwright.sync_api import sync_playwright

    server = StationServer(tmp_path / "books")
    made = server.prepare()
    server.start()
    began = time.monotonic()
    with sync_playwright() as driver:
        phone = make_phone(driver, tmp_path, server)
        try:
            held = live_days_offline(phone, server, made, NOTES, OPENINGS)
        finally:
            server.kill()
            phone.kill()
    with capsys.disabled():
        print(f"\n{len(held['numbers'])} notes of {len(held['days'])} days in {time.monotonic() - began:.0f} s")
    assert held["numbers"] == list(range(1, NOTES + 1))
    assert (held["gaps"], held["ok"]) == ([], True)
    assert len(held["days"]) >= 3
