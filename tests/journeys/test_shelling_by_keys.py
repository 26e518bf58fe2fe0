"""Can a seed-room worker shell ear after ear, and several into one lot, with a keyboard and a scanner and no mouse?"""

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
FOUR_EARS = f"""
from datetime import UTC, date, datetime
from django.core.management import call_command
call_command("migrate", verbosity=0)
from firstsilk.records.models import Line, Row, Season, Site, Station
from firstsilk.science.seed.tags import tag_for_serial
from firstsilk.work.accounts import add_account
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.crates import give_crate_tags
day = date(2031, 10, 5)
station = Station.objects.create(code="eskerholm", name="Eskerholm", latitude=54.0, held_date=day, last_tag_serial=90)
site = Site.objects.create(station=station, code="home", name="Home", latitude=54.0, longitude=1.0, is_home=True)
season = Season.objects.create(station=station, name="2031", year=2031, site=site)
line = Line.objects.create(station=station, name="EK12", method="founder", generation="S0", pedigree="EK12")
row = Row.objects.create(station=station, season=season, tag=tag_for_serial(1), number=1, line=line, purpose="self",
                         field_row=1, field_col=1)
on = Occasion("eskerholm", day, datetime.now(UTC))
add_account(on, "bench", {PASSWORD!r}, "technician")
bags = [tag_for_serial(at) for at in range(11, 15)]
then = "2031-07-25T10:00:00"
write_notes(on, [NoteDraft("pollinated", row.tag, "1", "self", bag=bag, taken_local=then) for bag in bags])
print(*give_crate_tags(on, 1), *bags)
"""


@pytest.fixture
def served(tmp_path: Path) -> Iterator[tuple[StationServer, list[str]]]:
    """A station with an unfixed line selfed: the tag of a crate, and of the bags on four ears."""
    server = StationServer(tmp_path)
    codes = server.run(FOUR_EARS).split()
    server.start()
    yield server, codes
    server.kill()


def test_ears_are_shelled_one_by_one_and_two_on_purpose_by_keys_alone(served):
    from playwright.sync_api import expect, sync_playwright

    server, (crate, first, second, third, fourth) = served
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.goto(f"{server.address}/sign-in/?next=/seed/shelling/")
        page.fill("input[name=name]", "bench")
        page.fill("input[name=password]", PASSWORD)
        page.keyboard.press("Enter")
        keys, scan, weight = page.keyboard, page.locator("[data-scan] [name=lot]"), page.locator("[name=net_g]")
        book = page.locator("[data-book]")
        expect(scan).to_be_focused()

        _scan(keys, "0000-0000")
        expect(page.get_by_role("alert")).to_contain_text("no bag that a pollination names")
        _scan(keys, crate)
        expect(page.get_by_text("more bags or rows to shell")).to_be_visible()
        expect(scan).to_be_focused()

        # The bag of another ear scanned into the weight puts the first one back.
        _scan(keys, first)
        expect(weight).to_be_focused()
        _scan(keys, second)
        expect(page.locator(".bench")).to_contain_text(f"{second[:4]}-{second[4:]}")
        expect(weight).to_be_focused()
        for typed, step in (("30", "sample_g"), ("25", "sample_kernels"), ("", "kernels")):
            _scan(keys, typed)
            expect(page.locator(f"[name={step}]")).to_be_focused()
        _scan(keys, "")
        expect(book).to_be_focused()
        expect(page.locator("dl.big")).to_contain_text("EK12-1")
        page.wait_for_timeout(1100)
        keys.press("Enter")
        expect(page.get_by_role("status")).to_contain_text("120 kernels in")
        expect(page.get_by_text(f"{crate[:4]}-{crate[4:]}")).to_be_visible()
        expect(scan).to_be_focused()

        _scan(keys, third)
        expect(weight).to_be_focused()
        keys.press("+")
        expect(page.locator("[data-plus]")).to_be_focused()
        _scan(keys, fourth)
        expect(page.locator(".bench")).to_contain_text(f"{fourth[:4]}-{fourth[4:]}")
        expect(weight).to_be_focused()
        for typed in ("50", "25", ""):
            _scan(keys, typed)
        _scan(keys, "")
        expect(page.locator("dl.big")).to_contain_text("EK12-B")
        page.wait_for_timeout(1100)
        keys.press("Enter")
        expect(page.get_by_role("status")).to_contain_text("200 kernels in")
        with page.context.expect_page() as label:
            keys.press("Enter")
        assert "/seed/lot-labels.pdf" in label.value.url
        browser.close()
    with closing(sqlite3.connect(server.home / "books.sqlite3")) as books:
        moved = books.execute("select kernels from records_movement order by kernels").fetchall()
    assert [kernels for (kernels,) in moved] == [100, 100, 120]


def _scan(keys, text: str) -> None:
    """Type as a scanner does: all signs at once, then Enter."""
    keys.type(text)
    keys.press("Enter")
