"""Can a seed-room worker scan, weigh, place, label and go on, with a keyboard and a scanner and no mouse?"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.journeys.chromium import CHROMIUM, FLAGS
from tests.journeys.serving import StationServer

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(shutil.which(CHROMIUM) is None, reason=f"there is no chromium at {CHROMIUM}"),
]

PASSWORD = "bright-silk-31"
TWO_LOTS = f"""
from datetime import UTC, date, datetime
from django.core.management import call_command
call_command("migrate", verbosity=0)
from firstsilk.records.models import Line, Station
from firstsilk.work.accounts import add_account
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.lots import receive_lot
station = Station.objects.create(code="eskerholm", name="Eskerholm", latitude=54.0, held_date=date(2031, 7, 20))
on = Occasion("eskerholm", date(2031, 7, 20), datetime.now(UTC))
add_account(on, "bench", {PASSWORD!r}, "technician")
for name in ("EH-014", "EH-207"):
    Line.objects.create(station=station, name=name)
    print(receive_lot(on, name + " seed", name, 200, "exchange").stock.tag)
"""
LATE = """(ms) => {
  const asked = window.soon = window.soon || window.fetch;
  window.fetch = (...what) => asked(...what).then((answer) => new Promise((go) => setTimeout(() => go(answer), ms)));
}"""


@pytest.fixture
def served(tmp_path: Path) -> Iterator[tuple[StationServer, list[str]]]:
    """A small station with a technician and two lots of 200 kernels, and the tags of these."""
    server = StationServer(tmp_path)
    tags = server.run(TWO_LOTS).split()
    server.start()
    yield server, tags
    server.kill()


def _scan_into_a_place(page, tag: str, opens: str) -> None:
    """Scan a tag into the field of the shelf. A busy machine may write slower than any scanner: then once more."""
    for _ in range(5):
        page.fill("input[name=shelf]", "")
        page.focus("input[name=shelf]")
        _scan(page.keyboard, tag)
        page.wait_for_timeout(700)
        if opens in page.inner_text(".lot-name"):
            return
    raise AssertionError(f"{tag} into the field of the shelf does not open {opens}")


def test_a_lot_is_weighed_placed_and_labelled_by_keys_alone_and_a_wrong_tag_is_no_dead_end(served):
    from playwright.sync_api import expect, sync_playwright

    server, (tag, other) = served
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.goto(f"{server.address}/sign-in/?next=/seed/bench/")
        page.fill("input[name=name]", "bench")
        page.fill("input[name=password]", PASSWORD)
        page.keyboard.press("Enter")
        keys, scan = page.keyboard, page.locator("input[name=lot]")
        expect(scan).to_be_focused()

        _scan(keys, "0000-0000")
        expect(page.get_by_role("alert")).to_contain_text("There is no lot")
        expect(scan).to_be_focused()

        _scan(keys, tag)
        expect(page.locator("input[name=net_g]")).to_be_focused()
        for typed, step in (("45", "sample_g"), ("25", "sample_kernels"), ("", "shelf"), ("A", "box"), ("3", "slot")):
            _scan(keys, typed)
            expect(page.locator(f"input[name={step}]")).to_be_focused()
        _scan(keys, "12")
        expect(page.get_by_role("button", name="Book it")).to_be_focused()
        expect(page.locator("dl.big")).to_contain_text("180")

        # The next lot scanned too soon books nothing; Escape goes back with all that was entered.
        _scan(keys, other)
        expect(page.locator("[data-told]")).to_contain_text("First book this lot")
        keys.press("Escape")
        expect(page.locator("input[name=net_g]")).to_have_value("45")
        for _ in range(6):
            keys.press("Enter")
        expect(page.get_by_role("button", name="Book it")).to_be_focused()
        page.wait_for_timeout(1100)
        keys.press("Enter")
        expect(page.get_by_role("status")).to_contain_text("before 200, after 180 kernels")
        expect(scan).to_be_focused()

        with page.context.expect_page() as label:
            keys.press("Enter")
        assert tag in label.value.url or "lot-labels" in label.value.url
        page.bring_to_front()

        # A tag scanned into the field of a weight is the next lot.
        _scan(keys, tag)
        expect(page.locator("input[name=net_g]")).to_be_focused()
        _scan(keys, other)
        expect(page.locator(".lot-name")).to_contain_text("EH-207 seed")
        # Into the field of a place too, where it would have become a shelf.
        _scan_into_a_place(page, tag, "EH-014 seed")
        keys.press("Escape")
        expect(scan).to_be_focused()
        # Two scans, the second before, while or after the page answers the first: the lot scanned last is open.
        for answered_after_ms in (0, 15, 60, 400):
            page.evaluate(LATE, answered_after_ms)
            _scan(keys, tag)
            _scan(keys, other)
            expect(page.locator(".lot-name")).to_contain_text("EH-207 seed")
            page.wait_for_timeout(500)
            assert "EH-207 seed" in page.inner_text(".lot-name")
            keys.press("Escape")
            expect(scan).to_be_focused()
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        browser.close()
    with closing(sqlite3.connect(server.home / "books.sqlite3")) as books:
        asked = "SELECT lot_id, kernels FROM records_movement WHERE reason = 'counted'"
        counted = books.execute(asked).fetchall()
        assert counted == [(books.execute("SELECT id FROM records_lot WHERE tag = ?", (tag,)).fetchone()[0], -20)]


def _scan(keys, text: str) -> None:
    """What a scanner does: the signs, then Enter."""
    keys.type(text)
    keys.press("Enter")
