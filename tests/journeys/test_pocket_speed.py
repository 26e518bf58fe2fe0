"""Is the phone page quick on a slow phone: six times slower than this machine, ten thousand tags, three thousand notes?

Times are gated at three times their target, since the machine may be busy; the true figures are in docs/figures.md.
"""

from __future__ import annotations

import shutil
import statistics
from pathlib import Path

import pytest

from tests.journeys.chromium import CHROMIUM, FLAGS
from tests.journeys.phone import go_home
from tests.journeys.stage import BAGS, make_male_row, make_task, make_walk, make_walk_row, play_station, tag_of

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(shutil.which(CHROMIUM) is None, reason=f"there is no chromium at {CHROMIUM}"),
]

ROWS, NOTES, SLOWER = 10_000, 3_000, 6
OPEN_MS, SAVE_MS = 2000, 100
TALLY_MS, BAG_MS = 8000, 3000
BUSY = 3

TAP_MS = 800
"""One press of a thumb in the field, the eye's way to the button included: a constant of ours."""
DECIDE_MS, POINT_MS = 1350, 1100
"""The stricter model, keystroke-level: to make up one's mind, and to point at a target (Card, Moran & Newell 1980)."""

WATCH = """
window.seen = {};
new MutationObserver(() => {
  const name = document.body?.dataset.screen;
  if (name === "home" && document.querySelector("[data-task]")) window.seen.home ||= performance.now();
  if (window.pressed && document.querySelector(".saved")?.textContent) {
    window.seen.saved = performance.now() - window.pressed;
    window.pressed = 0;
  }
  if (window.pressed && window.waited && document.querySelector(window.waited)) {
    window.seen.shown = performance.now() - window.pressed;
    window.waited = "";
  }
}).observe(document, { subtree: true, childList: true, attributes: true });
"""

FILL = """async ([count, tags]) => {
  const { sealNote, newId } = await import("/pocket/own/note.js");
  const open = (name) => new Promise((done) => { const r = indexedDB.open(name); r.onsuccess = () => done(r.result); });
  const database = await open("firstsilk-pocket");
  const work = database.transaction(["notes", "settings"], "readwrite");
  const device = await new Promise((done) => {
    const asked = work.objectStore("settings").get("device");
    asked.onsuccess = () => done(asked.result);
  });
  for (let number = 1; number <= count; number += 1) {
    work.objectStore("notes").put(sealNote({
      id: newId(), device, number, worker: "W1", kind: "pollinated", detail: "cross",
      tag: tags[number % tags.length], male: "", bag: "", plant: null, value: "1", unit: "",
      taken_local: "2031-07-24T10:00:00", offset_min: 0, source: "phone",
      app: "t", format: 1, practice: false, doubt: "", doubt_reason: "", replaces: "",
    }));
  }
  await new Promise((done) => { work.oncomplete = done; });
  database.close();
}"""


def _make_large_walk() -> dict[str, object]:
    rows = []
    for number in range(1, ROWS + 1):
        male = (number - 1) // 20 * 20 + 6
        if number == male:
            rows.append(make_male_row(number, tasks=[make_task("tassel_bag")]))
            continue
        tasks = [make_task("pollinate", males=[male], count=3, days_left=2, rank=number)] if number % 4 == 1 else []
        rows.append(make_walk_row(number, tasks=tasks, males=[{"tag": tag_of(male), "number": male}]))
    return make_walk(rows)


@pytest.fixture(scope="module")
def slow_phone(tmp_path_factory: pytest.TempPathFactory):
    """A phone that has joined, holds its files, the list and all the notes, and is six times slower from then on."""
    from playwright.sync_api import sync_playwright

    folder = tmp_path_factory.mktemp("phone")
    with play_station(_make_large_walk()) as (address, _), sync_playwright() as driver:
        context = driver.chromium.launch_persistent_context(
            folder, executable_path=CHROMIUM, args=FLAGS, viewport={"width": 390, "height": 844}
        )
        context.set_default_timeout(120_000)
        context.add_init_script(WATCH)
        page = context.pages[0]
        page.goto(address)
        page.wait_for_selector("[data-screen=join]")
        page.fill("#field", "x")
        page.keyboard.press("Enter")
        go_home(page)
        page.wait_for_selector("[data-task]")
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        page.evaluate(FILL, [NOTES, [tag_of(number) for number in range(2, 2000, 4)]])
        page.reload()  # Puts the notes that only the database has into the file; after that both are whole.
        page.wait_for_selector("[data-task]")
        page.wait_for_selector("#counts .busy", state="detached")
        context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
        context.played = address
        yield page
        context.close()


def _press(page, selector: str, waited: str = "") -> None:
    """Press at once, and let the page itself take the time until a note is saved or something is shown."""
    page.wait_for_selector(selector)
    page.evaluate(
        """([selector, waited]) => {
          const target = document.querySelector(selector);
          document.querySelectorAll(".saved").forEach((one) => one.remove());
          Object.assign(window, { pressed: performance.now(), waited });
          target.click();
        }""",
        [selector, waited],
    )


def _time_saving(page) -> float:
    page.wait_for_function("window.seen.saved")
    return page.evaluate("() => { const took = window.seen.saved; window.seen.saved = 0; return took; }")


def _time_showing(page) -> float:
    page.wait_for_function("window.seen.shown")
    return page.evaluate("() => { const took = window.seen.shown; window.seen.shown = 0; return took; }")


def test_page_with_ten_thousand_tags_and_three_thousand_notes_opens_soon(slow_phone) -> None:
    page, times = slow_phone, []
    for _ in range(3):
        page.reload()
        page.wait_for_function("window.seen.home")
        times.append(page.evaluate("window.seen.home"))
    assert page.inner_text("[data-count=here] b") == str(NOTES)
    print(f"opened in {min(times):.0f} to {max(times):.0f} ms (bar {OPEN_MS})")
    assert min(times) < BUSY * OPEN_MS


def test_note_is_saved_twice_on_the_phone_soon(slow_phone) -> None:
    page, times = slow_phone, []
    go_home(page)
    page.fill("#field", tag_of(3).lower())
    page.keyboard.press("Enter")
    for _ in range(10):
        _press(page, "[data-kind=silk]")
        times.append(_time_saving(page))
    print(f"saved in {min(times):.0f} to {max(times):.0f} ms, middle {statistics.median(times):.0f} (bar {SAVE_MS})")
    assert statistics.median(times) < BUSY * SAVE_MS


def test_row_end_tally_and_bag_are_quick_for_a_hand(slow_phone) -> None:
    page = slow_phone
    page.reload()
    go_home(page)
    _press(page, "[data-task=pollinate]", "[data-kind=pollinated]")
    _time_showing(page)
    _press(page, "[data-kind=pollinated]", "button.digit")
    machine = _time_showing(page)
    _press(page, "button.digit")
    machine += _time_saving(page)
    # Two presses from the row's screen to its tick, and one on to the next row, which is shown meanwhile.
    tally, strict = machine + 3 * TAP_MS, machine + 3 * (DECIDE_MS + POINT_MS)
    print(
        f"row tally: machine {machine:.0f} ms, with 3 presses {tally:.0f} ms, strictly {strict:.0f} ms (bar {TALLY_MS})"
    )
    assert tally < TALLY_MS
    page.reload()
    go_home(page)
    page.click("[data-go=evening]")
    page.fill("#field", BAGS[1])
    _press(page, "form.beside button", ".slot.full")
    machine = _time_showing(page)
    page.fill("#field", tag_of(6))
    _press(page, "form.beside button")
    machine += _time_saving(page)
    # From the camera's first sight of the bag: it stays open for the row, so that one aims once and presses nothing.
    bag, strict = machine + TAP_MS, machine + DECIDE_MS + POINT_MS
    print(
        f"single bag: machine {machine:.0f} ms, with aiming once {bag:.0f} ms, strictly {strict:.0f} ms (bar {BAG_MS})"
    )
    assert bag < BAG_MS


HOLD = """
// The reader of both stores answers, and the page hears it when it is told to.
window.release = [];
const listen = Worker.prototype.addEventListener;
Worker.prototype.addEventListener = function (name, heard) {
  return listen.call(this, name, name !== "message" ? heard : (event) => window.release.push(() => heard(event)));
};
"""


def test_no_number_stands_and_nothing_can_be_noted_before_both_stores_are_read(slow_phone) -> None:
    context = slow_phone.context
    page = context.new_page()
    slow_phone.goto("about:blank")  # Two pages at once would not both get the notes.
    page.add_init_script(HOLD)
    page.goto(context.played)
    page.wait_for_function("window.release?.length")
    assert page.locator("#counts b").count() == 0
    assert page.locator("button").count() == 0
    page.evaluate("() => { window.release.splice(0).forEach((tell) => tell()); }")
    page.wait_for_selector("[data-task]")
    assert page.inner_text("[data-count=here] b") != "0"
    page.close()


def test_files_of_the_page_are_few_and_small() -> None:
    from firstsilk.faces.pocket.views import FOLDER

    own = [path for path in Path(FOLDER).glob("*.js") if path.name != "zxing_reader.js"]
    assert max(len(path.read_text("utf-8").splitlines()) for path in own) < 400
