"""Is each rung of the ladder in docs/on-a-phone.md tested by name, or said not to be? And what does plain HTTP give?"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from tests.journeys.chromium import CHROMIUM, FLAGS
from tests.journeys.serving import StationServer

PROJECT = Path(__file__).resolve().parents[2]
HOST = "station.test"


def test_every_rung_of_the_ladder_names_its_tests_or_says_that_it_is_not_tested_here() -> None:
    page = (PROJECT / "docs" / "on-a-phone.md").read_text(encoding="utf-8")
    rungs = [line.split("|") for line in page.splitlines() if re.match(r"\| \d ", line)]
    assert [int(rung[1]) for rung in rungs] == [1, 2, 3, 4, 5, 6]
    known = "\n".join(path.read_text(encoding="utf-8") for path in (PROJECT / "tests").rglob("test_*.py"))
    for rung in rungs:
        named = re.findall(r"`(test_\w+)`", rung[4])
        assert named or "not tested here" in rung[4], f"rung {rung[1]} is silent"
        for name in named:
            assert f"def {name}(" in known, f"rung {rung[1]} names {name}, which is not there"


@pytest.mark.browser
@pytest.mark.skipif(shutil.which(CHROMIUM) is None, reason=f"there is no chromium at {CHROMIUM}")
def test_phone_page_over_plain_http_says_that_it_cannot_keep_notes(tmp_path: Path) -> None:
    from playwright.sync_api import sync_playwright

    server = StationServer(tmp_path / "books", extra={"FIRSTSILK_HOSTS": HOST})
    try:
        server.start()
        with sync_playwright() as driver:
            browser = driver.chromium.launch(
                executable_path=CHROMIUM, args=[*FLAGS, f"--host-resolver-rules=MAP {HOST} 127.0.0.1"]
            )
            page = browser.new_page()
            page.set_default_timeout(60_000)
            page.goto(f"http://{HOST}:{server.port}/pocket/")
            page.wait_for_selector("[data-screen=stop]")
            told = page.inner_text("main")
            has = page.evaluate("[window.isSecureContext, 'serviceWorker' in navigator, 'mediaDevices' in navigator]")
            browser.close()
    finally:
        server.kill()
    assert has == [False, False, False]
    assert "https" in told
    assert "paper" in told
