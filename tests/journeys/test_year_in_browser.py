"""The whole way in a browser: sign in, the home page, every room, a note without a network, and its row at the desk.

The station is the invented one, its year run by `firstsilk demo` and its pages by `firstsilk serve`.
"""

from __future__ import annotations

import http.client
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.journeys.chromium import CHROMIUM, FLAGS
from tests.journeys.conftest import station_environment
from tests.journeys.phone import go_home
from tests.journeys.serving import find_port

pytestmark = [
    pytest.mark.browser,
    pytest.mark.xdist_group("year"),
    pytest.mark.skipif(shutil.which(CHROMIUM) is None, reason=f"there is no chromium at {CHROMIUM}"),
]

ROOMS = ("season", "climate", "lineage", "nursery", "flowering", "seed", "trials", "analysis", "choice")
AXE = Path(__file__).resolve().parent / "assets" / "axe.min.js"


@pytest.fixture(scope="module")
def year(demo_year) -> tuple[Path, str]:
    """The invented station after its year: its folder, and the account of it."""
    return demo_year


@pytest.fixture(scope="module")
def address(year) -> Iterator[str]:
    """The served station; the server and its worker end with the whole process group."""
    home, _ = year
    port = find_port()
    process = subprocess.Popen(
        [sys.executable, "-m", "firstsilk", "serve", "--port", str(port)],
        env=station_environment(home),
        start_new_session=True,
        stdin=subprocess.DEVNULL,
        stdout=(log := (home / "serve.log").open("wb")),
        stderr=subprocess.STDOUT,
    )
    where = f"http://127.0.0.1:{port}"
    _wait_for(f"{where}/sign-in/", process, home / "serve.log")
    yield where
    os.killpg(process.pid, signal.SIGKILL)
    process.wait(timeout=10)
    log.close()


def _wait_for(where: str, process: subprocess.Popen[bytes], log: Path) -> None:
    deadline = time.monotonic() + 40
    while time.monotonic() < deadline:
        try:
            with urllib.request.urlopen(where, timeout=5):
                return
        except (OSError, http.client.HTTPException):
            assert process.poll() is None, log.read_text()
            time.sleep(0.1)
    raise AssertionError(f"the server did not answer within 40 s: {log.read_text()}")


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield started
        started.close()


@pytest.fixture
def desk(browser, address: str, year):
    """A desk page, signed in as the breeder."""
    password = re.search(r"the password of all four is (\S+)", year[1])
    assert password is not None
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    context.set_default_timeout(60_000)
    page = context.new_page()
    page.goto(f"{address}/")
    assert "/sign-in/" in page.url
    page.fill("input[name=name]", "breeder")
    page.fill("input[name=password]", password.group(1))
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:has-text('What needs doing now')")
    yield page
    context.close()


def test_account_of_the_year_tells_its_figures_and_a_whole_chain(year) -> None:
    account = year[1]
    for start in ("Brought", "Planned", "Noted", "Harvested", "Trials", "Chosen", "Next plan"):
        assert re.search(rf"^{start}", account, flags=re.MULTILINE), start
    assert "holds" in account
    match = re.search(r"correlation of estimate and true value (\d\.\d\d)", " ".join(account.split()))
    assert match is not None
    assert float(match.group(1)) > 0.5


def test_home_says_what_is_due_and_each_item_leads_to_its_room(desk) -> None:
    desk.wait_for_selector(".due li >> nth=2")
    items = desk.locator(".due li")
    for link in items.locator("a").all():
        assert link.get_attribute("href")
    items.locator("a").first.click()
    desk.wait_for_selector("nav a[aria-current=page]")
    desk.wait_for_selector("h1")


@pytest.mark.parametrize("room", ROOMS)
def test_room_opens_from_the_bar_with_real_data_and_its_basis(desk, room: str) -> None:
    desk.click(f"nav[aria-label=Rooms] a:has-text('{room.capitalize()}')")
    desk.wait_for_selector(f"nav a[aria-current=page]:has-text('{room.capitalize()}')")
    desk.wait_for_selector(".basis")
    assert "Rests on" in desk.locator(".basis").first.inner_text()
    assert desk.evaluate("document.documentElement.scrollWidth") <= 1280


@pytest.mark.parametrize("room", ROOMS)
def test_room_fits_a_phone_without_sideways_scrolling(desk, address: str, room: str) -> None:
    desk.set_viewport_size({"width": 390, "height": 844})
    desk.goto(f"{address}/{room}/")
    assert desk.evaluate("document.documentElement.scrollWidth") <= 390


DAY_PAGES = [
    f"flowering/{page}" for page in ("phones", "crew", "window", "supplies", "cutoff", "people", "close", "sprays")
]
HARVEST_PAGES = ["seed/pick", "seed/crates", "seed/ears", "audit"]

ANALYSIS_PAGES = ["analysis/field/of/EH30-kettle", "analysis/series/of/early hybrids 2030"]


@pytest.mark.parametrize("room", ["", *ROOMS, "bring", "accounts", *DAY_PAGES, *HARVEST_PAGES, *ANALYSIS_PAGES])
def test_page_has_no_accessibility_violation(desk, address: str, room: str) -> None:
    autumn = "?day=2031-10-02" if room in HARVEST_PAGES else ""
    desk.goto(f"{address}/{room}/{autumn}" if room else f"{address}/")
    desk.evaluate(AXE.read_text(encoding="utf-8"))
    found = desk.evaluate("axe.run(document, {resultTypes: ['violations']})")
    told = [
        f"{one['id']}: {node['target']}: {node['failureSummary']}"
        for one in found["violations"]
        for node in one["nodes"]
    ]
    assert told == []


@pytest.mark.parametrize("page", ANALYSIS_PAGES)
def test_page_of_a_field_or_series_fits_a_phone_without_sideways_scrolling(desk, address: str, page: str) -> None:
    desk.set_viewport_size({"width": 390, "height": 844})
    desk.goto(f"{address}/{page}/")
    assert desk.evaluate("document.documentElement.scrollWidth") <= 390


def test_field_is_switched_without_a_reload_and_walked_with_the_arrow_keys(desk, address: str) -> None:
    desk.goto(f"{address}/{ANALYSIS_PAGES[0]}/")
    desk.evaluate("window.stayed = true")
    shown = "[...document.querySelectorAll('.view')].filter((one) => one.offsetParent).map((one) => one.dataset.view)"
    assert desk.evaluate(shown) == ["measured"]
    desk.focus("input[value=measured]")
    desk.keyboard.press("ArrowRight")
    assert desk.evaluate(shown) == ["ground"]
    desk.keyboard.press("ArrowRight")
    assert desk.evaluate(shown) == ["left"]
    desk.focus(".view[data-view=left]")
    desk.keyboard.press("ArrowRight")
    first = desk.inner_text("[data-said]")
    desk.keyboard.press("ArrowUp")
    assert re.match(r"Plot \d+, row 1, column 1, ", first)
    assert re.match(r"Plot \d+, row 2, column 1, ", desk.inner_text("[data-said]"))
    for place in ("3 4", "5 5"):
        # Figures, crosses and the edges of checks lie over the cells.
        desk.hover(f".view[data-view=left] path[data-place='{place}']", timeout=10_000)
        assert ", row {}, column {}, ".format(*place.split()) in desk.inner_text("[data-said]")
    assert desk.evaluate("window.stayed")
    desk.emulate_media(media="print")
    assert desk.evaluate("document.querySelectorAll('.on-paper svg').length") == 3
    assert desk.evaluate("document.querySelector('.on-paper').offsetHeight") > 0
    assert desk.evaluate(shown) == []


def test_who_looks_at_an_earlier_day_stays_on_it_until_led_back(desk, address: str) -> None:
    desk.goto(f"{address}/flowering/?day=2031-07-25")
    assert "as they stand on Friday 25 July 2031" in desk.inner_text(".looked-at")
    desk.click("nav[aria-label=Rooms] a:has-text('Nursery')")
    desk.wait_for_url("**/nursery/?day=2031-07-25")
    desk.goto(f"{address}/seed/bench/?day=2031-07-25")
    desk.fill("input[name=lot]", "no-lot")
    desk.keyboard.press("Enter")
    desk.wait_for_selector("[role=alert]")
    assert "day=2031-07-25" in desk.url
    desk.click(".looked-at a")
    desk.wait_for_url("**/seed/bench/")
    assert desk.locator(".looked-at").count() == 0


def test_keyboard_alone_reaches_the_rooms_and_skips_to_the_page(desk, address: str) -> None:
    desk.goto(f"{address}/")
    desk.keyboard.press("Tab")
    assert desk.evaluate("document.activeElement.textContent") == "Skip to the page"
    desk.keyboard.press("Enter")
    assert desk.evaluate("document.activeElement.id") == "main"
    reached = set()
    desk.goto(f"{address}/")
    for _ in range(16):
        desk.keyboard.press("Tab")
        reached.add(desk.evaluate("document.activeElement.textContent.trim()"))
    assert {"Climate", "Choice"} <= reached


def test_two_records_are_merged_and_parted_again_by_keys_alone(desk, address: str) -> None:
    def press_to(words: str) -> None:
        """Tab on until what has the keys reads so."""
        for _ in range(80):
            desk.keyboard.press("Tab")
            if words in desk.evaluate("document.activeElement.textContent"):
                return
        raise AssertionError(f"no way by keys to {words!r}")

    desk.goto(f"{address}/lineage/merge/")
    desk.keyboard.type("EK301")
    desk.keyboard.press("Tab")
    desk.keyboard.type("EK302")
    desk.keyboard.press("Enter")
    desk.wait_for_selector("h2:has-text('Side by side')")
    assert desk.evaluate("document.activeElement.name") == "reason"
    desk.keyboard.type("one packet under two names")
    desk.keyboard.press("Enter")
    desk.wait_for_selector("text=EK302 is merged into EK301")
    desk.goto(f"{address}/lineage/merge/")
    press_to("Undo the merge of EK302 into EK301")
    desk.keyboard.press("Enter")
    desk.wait_for_selector("text=EK302 stands by itself again")


def test_analysis_runs_as_a_job_by_the_minded_worker_and_leads_back_to_its_room(desk, address: str) -> None:
    desk.goto(f"{address}/analysis/")
    desk.click("button:has-text('Analyse')")
    desk.wait_for_selector("h1:has-text('Job')")
    desk.wait_for_selector("#job:has-text('Done')", timeout=90_000)
    assert "Rests on" in desk.locator("#job").inner_text()
    desk.click("a.button:has-text('Open analysis')")
    desk.wait_for_selector("h1:has-text('Analysis')")


def test_note_taken_without_a_network_arrives_once_and_stands_on_its_rows_page(desk, browser, address: str) -> None:
    desk.goto(f"{address}/flowering/phones/")
    desk.fill("input[name=label]", "journey phone")
    desk.click("main form:has(input[name=label]) button")
    desk.wait_for_selector("text=/[0-9A-Z]{4}-[0-9A-Z]{4}/")
    code = re.search(r"\b[0-9A-Z]{4}-[0-9A-Z]{4}\b", desk.locator("main").inner_text())
    assert code is not None
    desk.goto(f"{address}/nursery/")
    row = desk.locator("a[href*='/flowering/rows/']").first
    href = row.get_attribute("href")
    assert href is not None
    tag = re.search(r"/rows/([0-9A-Z]{8})", href)
    assert tag is not None

    desk.goto(f"{address}{href}")
    before = desk.locator("main").inner_text()

    phone = browser.new_context(viewport={"width": 390, "height": 844})
    phone.set_default_timeout(60_000)
    page = phone.new_page()
    page.goto(f"{address}/pocket/")
    page.wait_for_selector("[data-screen=join]")
    page.fill("#field", code.group(0))
    page.keyboard.press("Enter")
    go_home(page)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_timeout(500)
    phone.set_offline(True)
    page.reload()
    page.wait_for_selector("[data-screen=home]")
    page.fill("#field", tag.group(1).lower())
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-screen=row]")
    page.click("[data-kind=shoot_bagged]")
    page.click("button.digit >> nth=6")
    page.wait_for_selector(".saved:has-text('Saved:')")
    assert _counts(page) == [1, 0, 0]
    phone.set_offline(False)
    page.reload()
    page.wait_for_selector("[data-screen=home]")
    page.click("#send")
    page.wait_for_selector("#said:has-text('All is at the station')")
    page.wait_for_selector("#counts .busy", state="detached")
    assert _counts(page) == [1, 1, 1]
    page.click("#send")
    page.wait_for_selector("#counts .busy", state="detached")
    phone.close()

    desk.goto(f"{address}{href}")
    after = desk.locator("main").inner_text()
    assert after.count("shoot bagged of") == before.count("shoot bagged of") + 1
    desk.goto(f"{address}/flowering/phones/")
    assert "journey phone" in desk.locator("main").inner_text()


def _counts(page) -> list[int]:
    """On this phone, sent, confirmed."""
    return [int(text) for text in page.locator("#counts b").all_inner_texts()]
