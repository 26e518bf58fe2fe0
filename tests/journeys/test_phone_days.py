"""A phone in days without a network: a full store, wrong clocks, notes that are lost, and a page of two editions."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from firstsilk import __version__
from firstsilk.faces.pocket.views import JOINED
from tests.journeys.chromium import CHROMIUM
from tests.journeys.phone_days import (
    EDITIONS,
    drop_notes,
    live_days_offline,
    make_phone,
    open_row,
    read_phone,
    reopen,
    send_all,
    shift_clock,
    write_notes,
)
from tests.journeys.phone_kills import Phone
from tests.journeys.serving import StationServer

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(shutil.which(CHROMIUM) is None, reason=f"there is no chromium at {CHROMIUM}"),
]

SECOND = "2.0.0"
CLOSE = (
    "from datetime import UTC, date, datetime\n"
    "from firstsilk.records.models import Station\n"
    "from firstsilk.work.flowering.day_close import close_day\n"
    "from firstsilk.work.occasion import Occasion\n"
    "Station.objects.update(held_date=date(2031, 7, {day}))\n"
    "close_day(Occasion('eskerholm', date(2031, 7, {day}), datetime.now(UTC), 'leader'), 'the test closes it')\n"
    "print('closed')\n"
)
FILL = """async () => {
  // Random bytes, which no store packs, until no more fit.
  const database = await new Promise((done) => {
    const asked = indexedDB.open("other");
    asked.onupgradeneeded = () => asked.result.createObjectStore("bytes", { autoIncrement: true });
    asked.onsuccess = () => done(asked.result);
  });
  const put = (size) => new Promise((done) => {
    const work = database.transaction("bytes", "readwrite", { durability: "strict" });
    work.objectStore("bytes").put(crypto.getRandomValues(new Uint8Array(size)));
    work.oncomplete = () => done("");
    work.onabort = () => done(String(work.error?.name));
  });
  let fault = "";
  for (let at = 0; at < 1000 && !fault; at += 1) fault = await put(65536);
  return fault;
}"""


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
def station(tmp_path: Path, prepared, driver) -> Iterator[tuple[Phone, StationServer, dict[str, object]]]:
    home, made = prepared
    shutil.copytree(home, tmp_path / "books")
    server = StationServer(tmp_path / "books")
    server.start()
    phone = make_phone(driver, tmp_path, server)
    try:
        yield phone, server, made
    finally:
        server.kill()
        if phone.context is not None:
            phone.kill()


def test_days_offline_wrong_clock_and_lost_notes_are_all_told(station) -> None:
    phone, server, made = station
    held = live_days_offline(phone, server, made, notes=40, openings=3)
    assert held["numbers"] == list(range(1, 41))
    assert len(held["days"]) >= 3
    assert (held["gaps"], held["ok"], held["waiting"], held["highest"]) == ([], True, 0, 40)
    assert held["app"] == f"pocket {__version__}"
    assert held["ahead_s"] == pytest.approx(2 * 86_400, abs=600)
    for number, days in ((41, -1), (42, 1)):
        # A clock that is a day out changes what is told of it, and nothing else.
        shift_clock(phone, timedelta(days=days))
        reopen(phone)
        write_notes(phone, str(made["tags"][0]), 1)
        reopen(phone)
        send_all(phone)
        held = read_phone(server)
        assert held["numbers"] == list(range(1, number + 1))
        assert held["ahead_s"] == pytest.approx(days * 86_400, abs=600)

    server.kill()
    reopen(phone)
    write_notes(phone, str(made["tags"][0]), 8)
    server.start()
    drop_notes(phone, [44, 47, 48])
    reopen(phone)
    said = phone.page.inner_text("#screen")
    assert "44, 47–48" in said
    assert "44, 47–48" in send_all(phone)
    held = read_phone(server)
    assert held["gaps"] == [[44, 44], [47, 48]]
    assert held["numbers"] == [*range(1, 44), 45, 46, 49, 50]


def test_notes_stay_on_the_phone_until_their_day_is_closed(station) -> None:
    phone, server, made = station
    phone.join(str(made["code"]))
    for day, notes, held in ((20, 3, 3), (21, 2, 2)):
        phone.page.clock.set_system_time(datetime(2031, 7, day, 10, tzinfo=UTC))
        reopen(phone)
        write_notes(phone, str(made["tags"][0]), notes)
        reopen(phone)
        phone.page.click("#send")
        phone.page.wait_for_selector("#counts .busy", state="detached")
        assert phone.count_here() == held
        assert server.run(CLOSE.format(day=day)).strip() == "closed"
    assert read_phone(server)["numbers"] == [1, 2, 3, 4, 5]
    reopen(phone)
    phone.page.click("#send")
    phone.page.wait_for_selector("[data-count=here]:has-text('0 on')")
    write_notes(phone, str(made["tags"][0]), 1)
    reopen(phone)
    phone.page.click("#send")
    # A note of a day that is closed already goes as soon as the station has said that it holds it.
    phone.page.wait_for_selector("[data-count=here]:has-text('0 on')")
    assert read_phone(server)["numbers"] == [1, 2, 3, 4, 5, 6]


def test_full_phone_turns_red_gives_its_notes_by_hand_and_goes_on_once_there_is_room(station) -> None:
    phone, server, made = station
    phone.join(str(made["code"]))
    server.kill()
    write_notes(phone, str(made["tags"][0]), 3)
    used = phone.page.evaluate("navigator.storage.estimate().then((told) => told.usage)")
    phone.kill()
    phone.room_bytes = used + 1_000_000
    phone.open()
    open_row(phone, str(made["tags"][0]))
    assert phone.page.evaluate(FILL) == "QuotaExceededError"
    for _ in range(200):
        phone.page.click("[data-kind=silk]")
        phone.page.wait_for_timeout(20)
        if phone.page.evaluate("document.body.dataset.screen") == "red":
            break
    assert phone.page.evaluate("document.body.dataset.screen") == "red"
    with phone.page.expect_download() as download:
        phone.page.click("button.first")
    given = [json.loads(line) for line in Path(download.value.path()).read_text("utf-8").splitlines()]
    assert [note["number"] for note in given] == list(range(1, len(given) + 1))
    assert len(given) >= 4
    phone.page.click("button:has-text('film')")
    phone.page.wait_for_selector("canvas")
    phone.page.click("button.quiet")
    phone.page.wait_for_selector("[data-screen=red]")
    phone.limit(300_000_000)
    phone.page.click("button:has-text('Try again')")
    phone.page.wait_for_selector("[data-screen=home]")
    server.start()
    send_all(phone)
    assert read_phone(server)["numbers"] == [note["number"] for note in given]


def test_phone_killed_while_it_goes_over_to_a_new_edition_is_of_one_edition_and_loses_nothing(station) -> None:
    phone, server, made = station
    phone.join(str(made["code"]))
    server.kill()
    write_notes(phone, str(made["tags"][0]), 5)
    phone.kill()
    second = StationServer(server.home, "edition_two:application", port=server.port)
    seen = set()
    try:
        for wait_ms in (0, 400, 7_000):
            second.start()
            phone.open()
            # The new edition comes in beside the old one, and takes over while nobody writes: the kill falls into that.
            phone.page.wait_for_timeout(wait_ms)
            phone.kill()
            second.kill()
            phone.open()
            told = phone.page.evaluate(EDITIONS)
            assert told["scripts"] == len(JOINED)
            new = told["app"] == f"pocket {SECOND}"
            assert told["second"] == (told["scripts"] if new else 0), told
            seen.add(told["app"])
            open_row(phone, str(made["tags"][0]))
            phone.kill()
        second.start()
        phone.open()
        phone.page.wait_for_function("(app) => document.documentElement.dataset.app === app", arg=f"pocket {SECOND}")
        phone.pass_safety()
        write_notes(phone, str(made["tags"][0]), 2)
        reopen(phone)
        send_all(phone)
        held = read_phone(second)
    finally:
        second.kill()
    print(f"editions seen after kills: {sorted(seen)}")
    assert held["numbers"] == list(range(1, 8))
    assert held["apps"] == sorted([f"pocket {__version__}", f"pocket {SECOND}"])
    assert (held["gaps"], held["ok"]) == ([], True)
