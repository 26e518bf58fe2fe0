"""The screens of the phone page: the walk, bags in any order, doubts said at once, words, sizes, nothing axe finds."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.journeys.chromium import CHROMIUM, FLAGS
from tests.journeys.phone import go_home
from tests.journeys.stage import BAGS, make_demo_walk, make_walk, play_station, tag_of

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(shutil.which(CHROMIUM) is None, reason=f"there is no chromium at {CHROMIUM}"),
]

PRESS_PX, FIRST_PX, GAP_PX, TEXT_PX, CONTRAST = 76, 126, 19, 18, 15
"""12 mm, 20 mm and 3 mm at 160 dots an inch; 18 px; 15:1."""

MEASURE = """() => {
  const light = (colour) => {
    const [r, g, b] = colour.match(/[\\d.]+/g).slice(0, 3).map((one) => one / 255)
      .map((one) => (one <= 0.03928 ? one / 12.92 : ((one + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = (one) => {
    for (let at = one; at; at = at.parentElement) {
      const colour = getComputedStyle(at).backgroundColor;
      if (!/^rgba.*, 0\\)$/.test(colour)) return colour;
    }
    return "rgb(255, 255, 255)";
  };
  const texts = [...document.querySelectorAll("body *")].filter((one) => one.innerText?.trim()
    && !one.closest(".spoken") && [...one.childNodes].some((node) => node.nodeType === 3 && node.data.trim()));
  const contrast = (one) => {
    const [a, b] = [light(getComputedStyle(one).color), light(ground(one))].sort((x, y) => y - x);
    return (a + 0.05) / (b + 0.05);
  };
  const buttons = [...document.querySelectorAll("button")].map(
    (one) => ({ box: one.getBoundingClientRect(), first: one.matches(".first") }));
  const gaps = [];
  for (const { box: a } of buttons) for (const { box: b } of buttons) {
    const besides = Math.min(a.bottom, b.bottom) > Math.max(a.top, b.top);
    const below = Math.min(a.right, b.right) > Math.max(a.left, b.left);
    if (besides && b.left >= a.right) gaps.push(b.left - a.right);
    if (below && b.top >= a.bottom) gaps.push(b.top - a.bottom);
  }
  const wide = document.documentElement.clientWidth;
  return {
    press: Math.min(...buttons.map(({ box }) => box.height)),
    first: Math.min(9999, ...buttons.filter(({ first }) => first).map(({ box }) => box.height)),
    narrow: Math.max(0, ...buttons.filter(({ first }) => first).map(({ box }) => wide - box.width)),
    gap: Math.min(9999, ...gaps),
    text: Math.min(...texts.map((one) => parseFloat(getComputedStyle(one).fontSize))),
    contrast: Math.min(...texts.map(contrast)),
    over: document.documentElement.scrollWidth - wide,
    cut: [...document.querySelectorAll("button, .slot, .told, .range")].filter(
      (one) => one.scrollWidth > one.clientWidth + 1).map((one) => one.innerText),
    loose: texts.filter((one) => !one.lang && !one.closest("[lang]:not(html)")).map((one) => one.innerText.trim()),
  };
}"""


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@contextmanager
def phone_at(
    browser, address: str, language: str = "en-GB", size: tuple[int, int] = (390, 844), ready: str = "[data-task]"
) -> Iterator[object]:
    """A phone of its own that has joined and stands on its first screen, with the field list on it."""
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, locale=language, service_workers="block"
    )
    context.set_default_timeout(30_000)
    page = context.new_page()
    page.faults = []
    page.on("pageerror", lambda fault: page.faults.append(str(fault)))
    page.goto(address)
    page.wait_for_selector("[data-screen=join]")
    page.fill("#field", "0000-0000")
    page.keyboard.press("Enter")
    go_home(page)
    page.wait_for_selector(ready)
    yield page
    assert page.faults == []
    context.close()


@pytest.fixture(scope="module")
def station() -> Iterator[tuple[str, list[dict[str, object]]]]:
    with play_station(make_demo_walk()) as played:
        yield played


@pytest.fixture
def phone(browser, station) -> Iterator[object]:
    with phone_at(browser, station[0]) as page:
        yield page


def _type(page, tag: str) -> None:
    page.fill("#field", tag.lower())
    page.keyboard.press("Enter")


def _wait_for(page, screen: str) -> None:
    page.wait_for_selector(f"[data-screen={screen}]")


def _back_home(page) -> None:
    page.reload()
    go_home(page)
    page.wait_for_selector("[data-task]")


def _read_notes(page) -> list[dict[str, object]]:
    """The notes as they stand in the phone's own database."""
    return page.evaluate("""() => new Promise((done) => {
      const open = indexedDB.open("firstsilk-pocket");
      open.onsuccess = () => {
        const all = open.result.transaction("notes").objectStore("notes").getAll();
        all.onsuccess = () => { open.result.close(); done(all.result.sort((a, b) => a.number - b.number)); };
      };
    })""")


def _tell(note: dict[str, object], *names: str) -> tuple[object, ...]:
    return tuple(note[name] for name in names)


def test_walk_goes_from_stop_to_stop_in_serpentine_order_and_tells_what_lies_ahead(phone) -> None:
    assert "15 of 15" in phone.inner_text("[data-task=pollinate]")
    phone.click("[data-task=pollinate]")
    _wait_for(phone, "row")
    seen = []
    for _ in range(7):
        seen.append(phone.inner_text("h1"))
        phone.click("[data-go=next]")
        phone.wait_for_function(f"document.querySelector('h1').innerText !== '{seen[-1]}'")
    # The second range is walked back: its numbers go on, its places fall.
    assert seen == [f"Row {number}" for number in (1, 5, 9, 13, 17, 21, 25)]
    assert "Range 2, place 12" in phone.inner_text(".told")
    phone.click("[data-go=previous]")
    phone.wait_for_selector("h1:has-text('Row 25')")
    assert "3 × with pollen of row 26" in phone.inner_text(".do")
    assert "days left: 2" in phone.inner_text(".told")
    ahead = phone.evaluate("[...document.querySelectorAll('.range li')].map((one) => one.innerText.trim()).reverse()")
    assert ahead[0].startswith("25")
    assert ahead[1].startswith("26")
    assert "male" in ahead[1]
    assert ahead[2:4] == ["⋮ 2", "29"]


def test_row_end_tally_is_saved_with_two_presses_and_taken_back_with_one(phone) -> None:
    phone.click("[data-task=pollinate]")
    phone.click("[data-kind=pollinated]")
    phone.click("button.digit >> nth=2")
    phone.wait_for_selector(".saved:has-text('Saved: Pollinated 3')")
    assert phone.get_attribute("body", "data-signal") == "right"
    assert "Ears: 5 of 6" in phone.inner_text(".told")
    assert "Row 5" in phone.inner_text("[data-go=next]")
    phone.click(".undo")
    phone.wait_for_selector(".saved:has-text('Taken back')")
    tally, undone = _read_notes(phone)
    assert _tell(tally, "kind", "tag", "male", "bag", "detail", "value", "doubt") == (
        "pollinated", tag_of(1), tag_of(6), "", "cross", "3", "",
    )  # fmt: skip
    assert undone["replaces"] == tally["id"]
    assert "Ears: 2 of 6" in phone.inner_text(".told")


def test_look_asks_yes_or_not_yet_and_goes_on(phone) -> None:
    phone.click("[data-task=look]")
    phone.click("[data-kind=silk_not_yet]")
    phone.wait_for_selector("button.first:has-text('Next')")
    phone.click("[data-go=next]")
    phone.wait_for_selector("h1:has-text('Row 14')")
    assert [one["kind"] for one in _read_notes(phone)] == ["silk_not_yet"]


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_evening_takes_bag_and_male_row_in_any_order(phone, order) -> None:
    phone.click("[data-go=evening]")
    for which in order:
        _wait_for(phone, "bags")
        _type(phone, (BAGS[1], tag_of(26))[which])
        phone.wait_for_selector(".slot.full" if which == order[0] else ".saved")
    (note,) = _read_notes(phone)
    assert _tell(note, "kind", "tag", "bag", "detail", "value", "doubt") == (
        "tassel_bagged", tag_of(26), BAGS[1], "cross", "1", "",
    )  # fmt: skip


def test_morning_takes_male_and_type_from_the_bag_that_others_hung(phone) -> None:
    phone.click("[data-go=morning]")
    _type(phone, tag_of(2))
    phone.wait_for_selector(".slot.full")
    _type(phone, BAGS[0])
    phone.wait_for_selector(".saved:has-text('Row 6')")
    (note,) = _read_notes(phone)
    assert _tell(note, "kind", "tag", "male", "bag", "detail", "value", "doubt") == (
        "pollinated", tag_of(2), tag_of(6), BAGS[0], "cross", "1", "",
    )  # fmt: skip


def test_bag_that_nobody_knows_yet_is_no_doubt_and_its_male_stays_open(phone) -> None:
    phone.click("[data-go=morning]")
    _type(phone, BAGS[5])
    phone.wait_for_selector("text=Not known on this phone yet")
    phone.click("button:has-text('Ears: 1')")
    phone.click("button.digit >> nth=1")
    _type(phone, tag_of(3))
    phone.wait_for_selector(".saved")
    (note,) = _read_notes(phone)
    assert _tell(note, "male", "bag", "detail", "value", "doubt") == ("", BAGS[5], "cross", "2", "")


def test_bag_scanned_on_the_first_screen_opens_the_half_of_the_day_that_it_is_in(phone) -> None:
    _type(phone, BAGS[0])
    phone.wait_for_selector("h1:has-text('Morning')")
    assert "pollen of Row 6" in phone.inner_text(".told")
    _back_home(phone)
    phone.click("[data-go=evening]")
    _type(phone, BAGS[8])
    phone.wait_for_selector(".slot.full")
    _type(phone, tag_of(26))
    phone.wait_for_selector(".saved")
    phone.click("button:has-text('Back')")
    _type(phone, BAGS[8])
    phone.wait_for_selector("h1:has-text('Evening')")


def test_one_bag_over_several_males_is_a_bulk_and_leaves_the_male_open(phone) -> None:
    phone.click("[data-go=evening]")
    for male in (26, 46):
        _type(phone, BAGS[2])
        phone.wait_for_selector(".slot.full")
        _type(phone, tag_of(male))
        phone.wait_for_selector(f".saved:has-text('Row {male}')")
    phone.click("button:has-text('Back')")
    phone.click("[data-go=morning]")
    _type(phone, BAGS[2])
    phone.wait_for_selector("text=Row 26 + Row 46")
    _type(phone, tag_of(27))
    phone.wait_for_selector(".doubts")
    last = _read_notes(phone)[-1]
    assert (last["male"], last["bag"], last["doubt"]) == ("", BAGS[2], "male_not_planned")


def test_doubt_is_said_at_once_and_what_is_done_is_saved_with_it_for_the_leader(browser, station) -> None:
    with phone_at(browser, station[0], "fr-FR") as page:
        page.click("[data-go=morning]")
        _type(page, BAGS[0])
        page.wait_for_selector(".slot.full")
        _type(page, tag_of(25))
        page.wait_for_selector(".doubts[role=alert]")
        assert "Mauvais mâle\u00a0? Pollen du rang 6, prévu\u00a0: rang 26." in page.inner_text(".doubts")
        assert page.get_attribute("body", "data-signal") == "doubt"
        (note,) = _read_notes(page)
        assert note["doubt"] == "male_not_planned"
        # The leader reads English.
        assert note["doubt_reason"] == "Wrong male? Pollen of row 6, planned: row 26."


def test_bag_without_a_row_is_asked_for_and_can_be_saved_for_the_leader_to_find(phone) -> None:
    phone.click("[data-go=evening]")
    _type(phone, BAGS[3])
    phone.wait_for_selector(".slot.full")
    _type(phone, BAGS[4])
    _wait_for(phone, "loose-bag")
    phone.click("button:has-text('Save it without a row')")
    _wait_for(phone, "bags")
    _type(phone, tag_of(26))
    phone.wait_for_selector(".saved")
    phone.click("button:has-text('Back')")
    phone.wait_for_selector("text=Bags without a row: 1")
    loose, whole = _read_notes(phone)
    assert _tell(loose, "tag", "bag", "doubt") == ("", BAGS[3], "bag_without_row")
    assert _tell(whole, "tag", "bag", "doubt") == (tag_of(26), BAGS[4], "")


def test_another_row_than_the_walk_says_is_told_before_anything_is_noted(phone) -> None:
    phone.click("[data-task=pollinate]")
    phone.click("[data-go=tag]")
    _type(phone, tag_of(2))
    _wait_for(phone, "other-row")
    assert "This is row 2, the walk says 1." in phone.inner_text(".told")
    phone.click("button.first")
    phone.wait_for_selector("h1:has-text('Row 1')")
    assert _read_notes(phone) == []


def test_row_under_a_spray_interval_sends_one_away(phone) -> None:
    _type(phone, tag_of(33))
    _wait_for(phone, "keep-out")
    assert "Nobody goes in before 25 July, 18:00" in phone.inner_text(".told")
    phone.click("button:has-text('I only note what was done before')")
    phone.click("[data-kind=pollinated]")
    phone.click("button.digit >> nth=0")
    phone.wait_for_selector("[data-doubt=under_spray]")
    assert _read_notes(phone)[0]["doubt"] == "under_spray"


def test_what_is_said_on_a_small_phone_is_in_sight(browser, station) -> None:
    with phone_at(browser, station[0], "es-MX", size=(320, 568)) as page:
        seen = """id => { const at = document.getElementById(id).getBoundingClientRect();
          return at.height > 0 && at.top >= 0 && at.bottom <= window.innerHeight; }"""
        _type(page, "ABCD-1234")
        page.wait_for_selector("#problem:not(:empty)")
        assert page.evaluate(seen, "problem")
        page.click("#send")
        page.wait_for_selector("#said:has-text('Todo está en la estación')")
        assert page.evaluate(seen, "said")


def test_language_is_chosen_on_the_first_screen_and_under_more_and_is_kept(browser, station) -> None:
    with phone_at(browser, station[0], "de-DE") as page:
        assert page.get_attribute("html", "lang") == "en"
        page.click("button:has-text('More')")
        page.click("button[lang=es]")
        page.wait_for_selector("h1:has-text('Más')")
        _back_home(page)
        assert page.get_attribute("html", "lang") == "es"
        assert "25 de julio" in page.inner_text("h1")


def test_cautions_stand_before_the_first_screen_once_a_day(phone) -> None:
    phone.reload()
    _wait_for(phone, "home")
    phone.click("button:has-text('More')")
    phone.click("button:has-text('Cautions')")
    _wait_for(phone, "safety")
    assert phone.locator(".cautions li").count() == 5


def test_phone_that_goes_with_a_team_walks_that_teams_stretch_only(browser) -> None:
    walk = make_demo_walk()
    walk["teams"] = [
        {"team": "A", "kinds": ["pollinate"], "rows": [1, 5, 9]},
        {"team": "B", "kinds": ["pollinate", "look"], "rows": [13, 14, 17]},
    ]
    with play_station(walk) as (address, _), phone_at(browser, address) as page:
        assert "15 of 15" in page.inner_text("[data-task=pollinate]")
        page.click("button:has-text('Team')")
        page.click("button:has-text('B')")
        page.wait_for_selector("[data-task=pollinate]:has-text('2 of 2')")
        assert page.locator("[data-task=tassel_bag]").count() == 0
        page.click("[data-task=pollinate]")
        page.wait_for_selector("h1:has-text('Row 13')")


def test_sound_can_be_turned_off_and_stays_off(phone) -> None:
    phone.click("button:has-text('More')")
    phone.click("button:has-text('Sound')")
    phone.wait_for_selector("button[aria-pressed=false]:has-text('Sound')")
    _back_home(phone)
    phone.evaluate("() => { window.tones = 0; window.AudioContext = function () { window.tones += 1; }; }")
    phone.click("[data-task=look]")
    phone.click("[data-kind=silk]")
    phone.wait_for_selector(".saved")
    assert phone.evaluate("window.tones") == 0


def test_note_that_is_not_saved_sounds_and_looks_like_no_other(phone) -> None:
    phone.click("[data-task=look]")
    phone.evaluate(
        "() => { IDBObjectStore.prototype.put = () => { throw new DOMException('full', 'QuotaExceededError'); }; }"
    )
    phone.click("[data-kind=silk]")
    _wait_for(phone, "red")
    assert phone.get_attribute("body", "data-signal") == "fail"
    assert phone.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(160, 0, 0)"


def _visit(page, look: Callable[[str], None]) -> None:
    """Every screen of a working day, one after the other."""
    look("home")
    page.click("[data-task=pollinate]")
    look("walk")
    page.click("[data-kind=pollinated]")
    look("ears")
    page.click(".pressed .grid.of-2 button >> nth=0")
    look("male")
    page.click("button.quiet >> nth=-1")
    page.click("button.digit >> nth=8")
    page.wait_for_selector(".doubts")
    look("doubt on a tally")
    page.click("[data-go=other]")
    look("other deeds")
    for kind in ("spoiled", "rated"):
        page.click(f"[data-kind={kind}]")
        _wait_for(page, "choice")
        look(kind)
        page.click("button.quiet >> nth=-1")
    _back_home(page)
    page.click("[data-task=look]")
    look("look")
    page.click("[data-go=tag]")
    look("another tag")
    _type(page, tag_of(2))
    _wait_for(page, "other-row")
    look("other row")
    _back_home(page)
    page.click("[data-go=morning]")
    _type(page, BAGS[0])
    page.wait_for_selector(".slot.full")
    look("bag")
    _type(page, tag_of(25))
    page.wait_for_selector(".doubts")
    look("doubt on a bag")
    _type(page, BAGS[7])
    page.wait_for_selector(".slot.full")
    page.click("button.quiet >> nth=-1")
    _wait_for(page, "loose-bag")
    look("loose bag")
    _back_home(page)
    _type(page, tag_of(33))
    _wait_for(page, "keep-out")
    look("spray")
    _back_home(page)
    _type(page, BAGS[9])
    _wait_for(page, "row")
    look("tag that is not on the list")
    _back_home(page)
    page.click("#send ~ button")
    _wait_for(page, "more")
    look("more")
    for at, name in ((6, "notes"), (5, "who")):
        page.click(f".pressed .grid.of-2 button >> nth={at - 3}")
        look(name)
        page.click("button.quiet >> nth=-1")
        _wait_for(page, "more")
    page.click("button:has(svg) >> nth=5")
    look("cautions")


def _check_sizes(found: dict[str, object], where: str) -> None:
    assert found["press"] >= PRESS_PX, where
    assert found["first"] >= FIRST_PX, where
    assert found["narrow"] <= 2 * 34, where
    assert found["gap"] >= GAP_PX - 0.5, where
    assert found["text"] >= TEXT_PX, where
    assert found["contrast"] >= CONTRAST, where
    assert found["over"] <= 0, where
    assert found["cut"] == [], where


def test_every_screen_has_large_buttons_and_text_and_nothing_that_axe_finds(browser, station) -> None:
    axe = (Path(__file__).parent / "assets" / "axe.min.js").read_text("utf-8")
    with phone_at(browser, station[0]) as page:

        def look(where: str) -> None:
            _check_sizes(page.evaluate(MEASURE), where)
            page.evaluate(f"() => {{ if (!window.axe) {{ {axe}; }} }}")
            found = page.evaluate("axe.run()")
            assert [(one["id"], one["nodes"][0]["html"]) for one in found["violations"]] == [], where

        _visit(page, look)


def test_language_two_fifths_longer_fits_at_320_px_and_no_word_is_outside_the_catalogues(browser) -> None:
    with (
        play_station(make_demo_walk(), pseudo=True) as (address, _),
        phone_at(browser, address, "fr-FR", (320, 568)) as page,
    ):
        _visit(page, lambda where: check_words(page, where))


def check_words(page, where: str) -> None:
    """Nothing is wider than the screen or cut off, and every word comes from the catalogues."""
    found = page.evaluate(MEASURE)
    assert found["over"] <= 0, where
    assert found["cut"] == [], where
    assert [text for text in found["loose"] if not _is_worded(text)] == [], where


def _is_worded(text: str) -> bool:
    """True if every word stands in a sentence of a catalogue; signs, numbers, tags, days and names of lines may not."""
    depth, left = 0, ""
    for sign in text:
        depth += {"⟦": 1, "⟧": -1}.get(sign, 0)
        left += sign if depth == 0 and sign not in "⟦⟧" else ""
    words = left.replace("juillet", "").replace("septembre", "").replace("novembre", "").replace("OK", "").split()
    return not [word for word in words if sum(sign.isalpha() for sign in word) > 1 and not any(map(str.isdigit, word))]


def test_on_the_smallest_phone_what_is_to_be_done_stands_without_scrolling(browser, station) -> None:
    for language in ("en-GB", "fr-FR", "es-ES"):
        with phone_at(browser, station[0], language, (320, 568)) as page:
            page.click("[data-task=pollinate]")
            page.wait_for_selector("[data-kind=pollinated]")
            assert page.evaluate("document.querySelector('button.first').getBoundingClientRect().bottom") <= 568


def test_text_twice_as_large_fits_without_scrolling_sideways(browser, station) -> None:
    with phone_at(browser, station[0], "fr-FR") as page:

        def look(where: str) -> None:
            page.evaluate("document.documentElement.style.fontSize = '40px'")
            assert page.evaluate(MEASURE)["over"] <= 0, where

        _visit(page, look)


def test_without_a_list_tags_are_typed_and_the_bag_comes_before_its_row(browser) -> None:
    with play_station(make_walk([])) as (address, _), phone_at(browser, address, ready="[data-go=evening]") as page:
        assert page.inner_text("h1") == "Today"
        page.click("[data-go=evening]")
        page.wait_for_selector("text=There is no list here")
        _type(page, BAGS[0])
        page.wait_for_selector(".slot.full")
        _type(page, tag_of(6))
        page.wait_for_selector(".saved")
        page.click("button:has-text('Back')")
        _type(page, tag_of(2))
        _wait_for(page, "row")
        page.click("[data-kind=pollinated]")
        page.click("button.digit >> nth=1")
        page.wait_for_selector(".saved:has-text('Pollinated 2')")
        hung, tally = _read_notes(page)
    assert _tell(hung, "kind", "tag", "bag", "doubt") == ("tassel_bagged", tag_of(6), BAGS[0], "")
    assert _tell(tally, "kind", "tag", "bag", "value", "doubt") == ("pollinated", tag_of(2), "", "2", "")


def test_list_of_an_older_station_without_codes_still_opens(browser) -> None:
    walk = make_demo_walk()
    for row in walk["rows"]:
        for name in ("step", "tasks", "silk", "shed"):
            del row[name]
        for name in ("ears_pollinated", "last_tassel_bag_on"):
            row["state"].pop(name, None)
    del walk["bags"], walk["cutoff_on"]
    with play_station(json.loads(json.dumps(walk))) as (address, _):
        context = browser.new_context(viewport={"width": 390, "height": 844}, service_workers="block")
        page = context.new_page()
        page.goto(address)
        page.wait_for_selector("[data-screen=join]")
        page.fill("#field", "x")
        page.keyboard.press("Enter")
        go_home(page)
        page.wait_for_selector("#said:has-text('All is')")
        _type(page, tag_of(2))
        page.wait_for_selector(".do:has-text('Pollinate 4 ears.')")
        page.click("[data-kind=pollinated]")
        page.click("button.digit >> nth=3")
        page.wait_for_selector(".saved:has-text('Pollinated 4')")
        context.close()
