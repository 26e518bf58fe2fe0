"""The phone's two stores: notes let go, a dropped database, numbers never twice, notes carried for another phone."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.journeys.chromium import CHROMIUM, FLAGS
from tests.journeys.phone_kills import kill_browser
from tests.journeys.pocket_files import serve_pocket_files

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(shutil.which(CHROMIUM) is None, reason=f"there is no chromium at {CHROMIUM}"),
]

BEGIN = """async () => {
  const { openStore } = await import("/pocket/own/store.js");
  window.sync = await import("/pocket/own/sync.js");
  window.store = await openStore("/pocket/");
  window.write = async (count, tag = "00000001") => {
    for (let at = 0; at < count; at += 1) await window.store.write({ kind: "silk", tag });
  };
  window.confirmTo = (number) => {
    const notes = window.store.own().filter((note) => note.number <= number);
    return window.store.mark(notes.map((note) => note.id), "confirmed");
  };
  window.old = (number) => window.store.own().filter((note) => note.number <= number);
  return window.tell();
}"""
TELL = """
window.tell = () => ({
  numbers: window.store.own().map((note) => note.number).sort((one, other) => one - other),
  highest: window.store.highest, ...window.store.repaired, carried: window.store.count().carried,
  device: window.store.settings.get("device"), worker: window.store.settings.get("worker"),
});
window.files = async () => {
  const found = {};
  for await (const [name, one] of (await navigator.storage.getDirectory()).entries()) {
    if (name.startsWith("notes-")) found[name] = (await one.getFile()).size;
  }
  return found;
};
"""


class Page:
    """A page with nothing on it but the phone's store; `again` leaves it and opens it anew."""

    def __init__(self, context: object, address: str) -> None:
        self.context, self.address = context, address
        self.page = context.pages[0]  # type: ignore[attr-defined]
        self.page.add_init_script(TELL)

    def again(self) -> dict[str, object]:
        self.page.goto("about:blank")
        self.page.goto(f"{self.address}/pocket/")
        return self.page.evaluate(BEGIN)

    def run(self, script: str) -> object:
        return self.page.evaluate(f"async () => {{ {script} }}")


@pytest.fixture(scope="module")
def driver() -> Iterator[object]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        yield driver


@pytest.fixture(scope="module")
def browser(driver) -> Iterator[object]:
    browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
    yield browser
    browser.close()


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    with serve_pocket_files() as address:
        yield address


@pytest.fixture
def phone(browser, address: str) -> Iterator[Page]:
    context = browser.new_context()
    context.new_page()
    yield Page(context, address)
    context.close()


def test_notes_let_go_are_gone_from_both_stores_and_their_numbers_stay_taken(phone: Page) -> None:
    phone.again()
    phone.run("await write(30); await store.keep('worker', 'W7'); await confirmTo(20);")
    (before,) = phone.run("return Object.values(await files());")
    phone.run("await store.letGo(old(20));")
    held = phone.again()
    assert held["numbers"] == list(range(21, 31))
    assert (held["highest"], held["missing"], held["worker"]) == (30, [], "W7")
    assert (held["toFile"], held["toDatabase"], held["damaged"]) == (0, 0, 0)
    (after,) = phone.run("return Object.values(await files());")
    assert after < before * 0.6
    phone.run("await confirmTo(30); await store.letGo(old(30)); await write(1);")
    assert phone.again()["numbers"] == [31]


BEFORE_FILE = """
const call = store.log.call.bind(store.log);
store.log.call = (name, given) => (name === "rewrite" ? Promise.reject(new Error("killed")) : call(name, given));
"""
BEFORE_DATABASE = """
const change = store.database.change.bind(store.database);
store.database.change = (tables, write) =>
  tables.length === 3 ? Promise.reject(new Error("killed")) : change(tables, write);
"""
BEFORE_LAST_WORD = """
const change = store.database.change.bind(store.database);
let left = 3;
store.database.change = (tables, write) =>
  (left -= 1) < 0 ? Promise.reject(new Error("killed")) : change(tables, write);
"""


@pytest.mark.parametrize(
    "stop", [BEFORE_FILE, BEFORE_DATABASE, BEFORE_LAST_WORD], ids=["file", "database", "last word"]
)
def test_letting_go_that_stops_half_way_loses_nothing_and_cries_no_alarm(phone: Page, stop: str) -> None:
    phone.again()
    phone.run(f"await write(12); await confirmTo(8); {stop} await store.letGo(old(8)).catch(() => null);")
    held = phone.again()
    assert set(held["numbers"]) >= {9, 10, 11, 12}
    assert (held["toFile"], held["toDatabase"], held["missing"], held["highest"]) == (0, 0, [], 12)
    phone.run("await store.letGo(old(8)); await write(1);")
    assert phone.again()["numbers"] == [9, 10, 11, 12, 13]


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_two_files_left_by_a_kill_are_joined(phone: Page, share: float) -> None:
    phone.again()
    phone.run("await write(10);")
    phone.page.goto("about:blank")
    phone.page.goto(f"{phone.address}/pocket/")
    phone.run(
        "const folder = await navigator.storage.getDirectory();"
        "const text = await (await (await folder.getFileHandle('notes-1.ndjson')).getFile()).text();"
        "const next = await (await folder.getFileHandle('notes-2.ndjson', { create: true })).createWritable();"
        f"await next.write(text.slice(0, Math.round(text.length * {share}))); await next.close();"
        "await new Promise((done) => { indexedDB.deleteDatabase('firstsilk-pocket').onsuccess = done; });"
    )
    held = phone.again()
    assert held["numbers"] == list(range(1, 11))
    assert held["toDatabase"] == 10
    assert list(phone.run("return files();")) == ["notes-3.ndjson"]


def test_browser_killed_while_it_lets_notes_go_keeps_all_that_wait(driver, address: str, tmp_path: Path) -> None:
    numbers: set[int] = set()
    for turn in range(4):
        context = driver.chromium.launch_persistent_context(tmp_path / "phone", executable_path=CHROMIUM, args=FLAGS)
        phone = Page(context, address)
        held = phone.again()
        assert numbers <= set(held["numbers"])
        assert held["missing"] == []
        if turn == 0:
            phone.run("await write(300);")
        phone.run("await write(5);")
        numbers = {one for one in phone.run("return tell().numbers;") if one > 60 * (turn + 1)}
        phone.page.evaluate(
            f"void (async () => {{ await confirmTo({60 * (turn + 1)});"
            f" console.log('now'); await store.letGo(old({60 * (turn + 1)})); }})()"
        )
        phone.page.wait_for_timeout(7 * turn)
        kill_browser(tmp_path / "phone")
        try:
            context.close()
        except Exception as fault:  # The browser is gone; how the driver says so is its own affair.
            print(fault)
        for lock in (tmp_path / "phone").glob("Singleton*"):
            lock.unlink()


def test_database_that_was_dropped_is_opened_again_and_the_note_kept(phone: Page) -> None:
    phone.again()
    phone.run("await write(2); (await store.database.opened).close(); await write(1);")
    held = phone.again()
    assert held["numbers"] == [1, 2, 3]
    assert (held["toFile"], held["toDatabase"]) == (0, 0)


def test_numbers_restart_above_the_highest_seen_anywhere(phone: Page) -> None:
    phone.again()
    phone.run("await write(2); await store.restartAbove(40); await store.restartAbove(7); await write(1);")
    held = phone.again()
    assert held["numbers"] == [1, 2, 41]
    assert held["missing"] == []


def test_note_in_neither_store_is_told_by_its_number(phone: Page) -> None:
    phone.again()
    phone.run("await write(6);")
    phone.page.goto("about:blank")
    phone.page.goto(f"{phone.address}/pocket/")
    phone.run(
        "const folder = await navigator.storage.getDirectory();"
        "const one = await folder.getFileHandle('notes-1.ndjson');"
        "const lines = (await (await one.getFile()).text()).split('\\n');"
        "const left = lines.filter((line) => !/\"number\":[35],/.test(line)).join('\\n');"
        "const writer = await one.createWritable(); await writer.write(left); await writer.close();"
        "await new Promise((done) => { indexedDB.deleteDatabase('firstsilk-pocket').onsuccess = done; });"
    )
    held = phone.again()
    assert held["numbers"] == [1, 2, 4, 6]
    assert held["missing"] == [[3, 3], [5, 5]]


def test_notes_of_another_phone_are_carried_and_number_nothing_here(phone: Page, browser, address: str) -> None:
    context = browser.new_context()
    context.new_page()
    other = Page(context, address)
    other.again()
    other.run("await write(9);")
    theirs = other.run("return store.own();")
    context.close()
    phone.again()
    phone.run("await write(2);")
    carry = "async (notes) => [await store.carry(notes), await store.carry(notes)]"
    spoiled = [*theirs, {**theirs[0], "value": "7"}]
    assert phone.page.evaluate(carry, spoiled) == [9, 0]
    held = phone.again()
    assert (held["numbers"], held["highest"], held["carried"]) == ([1, 2], 2, 9)


def test_only_confirmed_notes_of_closed_or_old_days_are_let_go(phone: Page) -> None:
    phone.again()
    told = phone.run(
        "await write(5); const notes = store.own(); const days = ['07-18', '07-19', '07-20', '07-05', '07-05'];"
        "notes.forEach((note, at) => { note.taken_local = `2031-${days[at]}T09:00:00`; });"
        "await store.mark([0, 1, 3].map((at) => notes[at].id), 'confirmed'); await store.mark([notes[2].id], 'aside');"
        "await store.mark([notes[4].id], 'sent');"
        "const find = (answer) => sync.findOld(store, answer).map((note) => note.number);"
        "return [find({}), find({ closed_days: ['2031-07-18'], server_time: '2031-07-20T10:00:00+00:00' }),"
        " find({ closed_days: [], server_time: '2031-07-19T10:00:00+00:00' }),"
        " find({ closed_days: ['2031-07-20', '2031-07-05'], server_time: 'no time' })];"
    )
    assert told == [[], [1, 4], [], [3, 4]]
