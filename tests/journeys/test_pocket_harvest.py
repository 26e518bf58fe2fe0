"""Ears picked with a phone: a count a row or bag by bag, ears left and why, crates, doubts, sizes; as at the desk."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.journeys.chromium import CHROMIUM, FLAGS
from tests.journeys.code_films import camera_flags, film_tag, write_film
from tests.journeys.harvest_stage import CRATES, EARS, make_harvest_walk, make_pick
from tests.journeys.stage import BAGS, make_male_row, make_task, make_walk, make_walk_row, play_station, tag_of
from tests.journeys.test_pocket_screens import (
    MEASURE,
    _back_home,
    _check_sizes,
    _read_notes,
    _tell,
    _type,
    _wait_for,
    browser,  # noqa: F401
    check_words,
    phone_at,
)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(shutil.which(CHROMIUM) is None, reason=f"there is no chromium at {CHROMIUM}"),
]

FACTS = ("kind", "tag", "bag", "detail", "value", "doubt")


@pytest.fixture(scope="module")
def station() -> Iterator[tuple[str, list[dict[str, object]]]]:
    with play_station(make_harvest_walk()) as played:
        yield played


@pytest.fixture
def phone(browser, station) -> Iterator[object]:  # noqa: F811
    with phone_at(browser, station[0]) as page:
        yield page


def _facts(page) -> list[tuple[object, ...]]:
    return [_tell(note, *FACTS) for note in _read_notes(page)]


def _go_back(page) -> None:
    """From a row or the bags to the first screen, without opening the page anew: that sends, and lets notes go."""
    page.click("[data-go=previous], button.quiet:has-text('Back')")
    _wait_for(page, "home")


def _choose_crate(page, crate: str = CRATES[0]) -> None:
    page.click("[data-go=crate]")
    _wait_for(page, "crate")
    _type(page, crate)
    page.wait_for_selector("[data-screen=crate]", state="detached")


def _scan_ears(page, *codes: str) -> None:
    """Type codes into the screen of bags, each until it is saved or shown."""
    for code in codes:
        page.evaluate("document.querySelector('main').dataset.old = 'yes'; document.querySelector('h1').id = 'old'")
        _type(page, code)
        page.wait_for_selector("#old", state="detached")


def test_row_is_counted_with_its_crate_and_both_are_taken_back_with_one_press(phone) -> None:
    assert "7 of 7" in phone.inner_text("[data-task=pick]")
    _choose_crate(phone)
    phone.click("[data-task=pick]")
    assert "6 × ear" in phone.inner_text(".do")
    phone.click("[data-kind=ears_picked]")
    phone.click("button.digit >> nth=3")
    phone.wait_for_selector(".saved:has-text('Ears picked 4')")
    assert "Picked: 4, left: 0, of 6" in phone.inner_text(".told")
    assert "Row 4" in phone.inner_text("button.first")
    phone.click(".undo")
    phone.wait_for_selector(".saved:has-text('Taken back')")
    assert "Picked: 0, left: 0, of 6" in phone.inner_text(".told")
    notes = _read_notes(phone)
    assert [_tell(note, *FACTS) for note in notes[:2]] == [
        ("ears_picked", tag_of(1), "", "", "4", ""),
        ("crated", tag_of(1), "", "", CRATES[0], ""),
    ]
    assert [note["replaces"] for note in notes[2:]] == [notes[1]["id"], notes[0]["id"]]


def test_ears_left_are_noted_with_their_reason_and_the_row_is_done_with_all_of_them(phone) -> None:
    phone.click("[data-task=pick]")
    for why, nth in (("Rotten", 3), ("No bag", 1)):
        phone.click("[data-kind=ears_left]")
        phone.click(f"button:has-text('{why}')")
        phone.click(f"button.digit >> nth={nth}")
        phone.wait_for_selector(".saved:has-text('Left')")
    assert "Next" in phone.inner_text("button.first")
    assert _facts(phone) == [
        ("ears_left", tag_of(1), "", "rotten", "4", ""),
        ("ears_left", tag_of(1), "", "no_bag", "2", ""),
    ]
    _go_back(phone)
    assert "6 of 7" in phone.inner_text("[data-task=pick]")


def test_bags_rows_and_crates_are_scanned_in_any_order(phone) -> None:
    phone.click("[data-go=bags]")
    _scan_ears(phone, EARS[1][0], CRATES[1], EARS[1][1], tag_of(4), EARS[4][0], CRATES[0], EARS[4][1])
    assert "Picked: 2, left: 0, of 6" in phone.inner_text(".told")
    assert [fact[:3] + fact[4:] for fact in _facts(phone)] == [
        ("ears_picked", tag_of(1), EARS[1][0], "1", ""),
        ("ears_picked", tag_of(1), EARS[1][1], "1", ""),
        ("crated", tag_of(1), EARS[1][1], CRATES[1], ""),
        ("ears_picked", tag_of(4), EARS[4][0], "1", ""),
        ("crated", tag_of(4), EARS[4][0], CRATES[1], ""),
        ("ears_picked", tag_of(4), EARS[4][1], "1", ""),
        ("crated", tag_of(4), EARS[4][1], CRATES[0], ""),
    ]
    _go_back(phone)
    assert "7 of 7" in phone.inner_text("[data-task=pick]")  # Four ears of each are still there.


def test_bag_of_several_ears_counts_them_all_and_one_of_several_rows_asks_for_its_row(phone) -> None:
    _type(phone, EARS[16][0])
    phone.wait_for_selector(".saved:has-text('Ears picked 3')")
    _go_back(phone)
    phone.click("[data-go=bags]")
    _scan_ears(phone, EARS[3][0])
    assert f"Bag {EARS[3][0][:4]}-{EARS[3][0][4:]}: scan its row" in phone.inner_text(".told")
    _scan_ears(phone, tag_of(9))
    assert [fact[:3] for fact in _facts(phone)][1:] == [("ears_picked", tag_of(9), EARS[3][0])]


def test_ear_left_by_its_bag_and_without_it(phone) -> None:
    phone.click("[data-go=bags]")
    phone.click("[data-go=left]")
    phone.click("button:has-text('Few kernels')")
    _scan_ears(phone, EARS[1][0])
    phone.click("[data-go=left]")
    phone.click("button:has-text('Off-type')")
    phone.click("button:has-text('Without its bag')")
    phone.click("button.digit >> nth=1")
    phone.wait_for_selector(".saved:has-text('Left')")
    phone.click(".undo")
    phone.wait_for_selector(".saved:has-text('Taken back')")
    facts = _facts(phone)
    assert facts[:2] == [
        ("ears_left", tag_of(1), EARS[1][0], "few_kernels", "1", ""),
        ("ears_left", tag_of(1), "", "off_type", "2", ""),
    ]
    assert facts[2][0] == "withdrawn"


def test_camera_stays_open_for_the_next_ear_and_takes_the_same_bag_once(browser, tmp_path: Path, station) -> None:  # noqa: F811
    film = write_film(tmp_path / "bag.y4m", film_tag(EARS[1][0], "plain", np.random.default_rng(20310925)))
    filming = browser.browser_type.launch(executable_path=CHROMIUM, args=[*FLAGS, *camera_flags(film)])
    with phone_at(filming, station[0]) as page:
        page.click("[data-go=bags]")
        page.click("button.first")
        page.wait_for_selector("[data-screen=scan] .saved:has-text('Ears picked 1')")
        page.wait_for_timeout(1500)  # The same bag still lies before the camera: many looks see it.
        assert page.evaluate("document.body.dataset.screen") == "scan"
        page.click("button:has-text('Type it instead')")
        page.click(".undo")
        page.wait_for_selector(".saved:has-text('Taken back')")
        assert [fact[0] for fact in _facts(page)] == ["ears_picked", "withdrawn"]
    filming.close()


def test_bag_that_finds_no_row_is_saved_for_the_leader(phone) -> None:
    phone.click("[data-go=bags]")
    _scan_ears(phone, BAGS[3])
    phone.click("button:has-text('Back')")
    _wait_for(phone, "loose-bag")
    phone.click("button:has-text('Save it without a row')")
    phone.wait_for_selector("text=Bags without a row: 1")
    assert _facts(phone) == [("ears_picked", "", BAGS[3], "", "1", "bag_without_row")]


def test_practice_counts_nothing(phone) -> None:
    phone.click("button:has-text('More')")
    phone.click("button:has-text('Practice')")
    phone.wait_for_selector(".practice")
    phone.click("button.quiet >> nth=-1")
    phone.click("[data-task=pick]")
    phone.click("[data-kind=ears_picked]")
    phone.click("button.digit >> nth=5")
    phone.wait_for_selector(".saved:has-text('Ears picked 6')")
    _go_back(phone)
    assert "6 of 7" in phone.inner_text("[data-task=pick]")
    phone.click("button:has-text('More')")
    phone.click("button:has-text('Practice')")
    phone.wait_for_selector(".practice", state="detached")
    phone.click("button.quiet >> nth=-1")
    assert "7 of 7" in phone.inner_text("[data-task=pick]")
    assert _read_notes(phone)[0]["practice"] is True


def test_tag_of_a_row_or_a_bag_is_no_crate_and_an_unknown_one_is_doubted(phone) -> None:
    phone.click("[data-go=crate]")
    for tag, said in ((tag_of(1), "This is the tag of row 1."), (EARS[1][0], "This is the code of a bag.")):
        _type(phone, tag)
        phone.wait_for_selector(f"#problem:has-text('{said}')")
    _type(phone, CRATES[2])
    _wait_for(phone, "home")
    _type(phone, EARS[1][0])
    phone.wait_for_selector("[data-doubt=crate_unknown]")
    assert [fact[0::5] for fact in _facts(phone)] == [("ears_picked", ""), ("crated", "crate_unknown")]
    _go_back(phone)
    _type(phone, CRATES[0])  # Scanned on the first screen it is chosen too.
    _wait_for(phone, "pick")
    assert f"In crate {CRATES[0][:4]}" in phone.inner_text(".told")


def test_cautions_at_harvest_speak_of_leaves_and_knives(phone) -> None:
    phone.click("button:has-text('More')")
    phone.click("button:has-text('Cautions')")
    _wait_for(phone, "safety")
    assert phone.locator(".cautions li").count() == 5
    assert "Knives stay in the sheath." in phone.inner_text(".cautions")


def test_list_of_an_older_station_without_ears_still_counts_a_row(browser) -> None:  # noqa: F811
    rows = [make_walk_row(1, tasks=[make_task("pick", count=2)], state={"ears": 2}), make_male_row(2)]
    walk = json.loads(json.dumps(make_walk(rows)))
    with play_station(walk) as (address, _), phone_at(browser, address) as page:
        page.click("[data-task=pick]")
        page.click("[data-kind=ears_picked]")
        page.click("button.digit >> nth=2")
        page.wait_for_selector("[data-doubt=more_ears_than_pollinated]")
        assert _facts(page) == [("ears_picked", tag_of(1), "", "", "3", "more_ears_than_pollinated")]


CHECK = """async ([list, notes, asked, now]) => {
  const { Held } = await import("/pocket/own/held.js");
  const { checkPicked } = await import("/pocket/own/checks.js");
  const map = new Map(notes.map((note) => [note.id, note]));
  const held = new Held({ list, notes: map, marks: new Map(), settings: new Map([["device", "d"]]) });
  const rows = { row: held.rows.get(asked.tag) || null, here: held.rows.get(asked.here) || null };
  return checkPicked(held, { ...asked, ...rows }, now).map(({ code }) => code);
}"""


def _note(number: int, kind: str, tag: str, **given: object) -> dict[str, object]:
    note = {"id": f"n{number}", "device": "d", "number": number, "kind": kind, "tag": tag, "value": "1", "bag": "",
            "detail": "", "male": "", "replaces": "", "practice": False}  # fmt: skip
    return {**note, "taken_local": "2031-09-25T12:00:00", **given}


@pytest.fixture(scope="module")
def check(browser, station) -> Iterator[object]:  # noqa: F811
    """Runs the page's own check of picked ears over the list at harvest."""
    page = browser.new_page()
    page.goto(f"{station[0]}own/style.css")

    def run(notes: object = (), row: object = None, day: str = "2031-09-25", **asked: object) -> list[str]:
        walk = {**make_harvest_walk(), "fetched_at": "2031-09-25T06:00:00", "after_number": 0}
        if row:
            walk["rows"][0]["pick"] = make_pick(1, **row)  # type: ignore[index]
        given = {"tag": tag_of(1), "ears": "1", **asked}
        return page.evaluate(CHECK, [walk, list(notes), given, f"{day}T12:00:00"])

    yield run
    page.close()


def test_ears_that_fit_the_pollinations_are_not_doubted(check) -> None:
    assert check(ears="6") == []
    assert check(bag=EARS[1][0]) == []
    assert check(bag=EARS[1][0], crate=CRATES[0]) == []
    assert check(ears="2", why="rotten", row={"picked": 4}) == []


def test_more_ears_than_were_pollinated_are_doubted_but_not_those_left_without_a_bag(check) -> None:
    more = ["more_ears_than_pollinated"]
    assert check(ears="7") == more
    assert check(ears="3", row={"picked": 4}) == more
    assert check(ears="3", row={"left": 4}) == more
    assert check(ears="3", row={"left": 4, "left_unknown": 3}) == []
    assert check(ears="9", why="no_bag") == []
    assert check(ears="1", notes=[_note(1, "ears_picked", tag_of(1), value="6")]) == more
    assert check(ears="6", notes=[_note(1, "spoiled", tag_of(1), value="1")]) == more


def test_bag_that_is_noted_already_of_another_row_or_unknown_is_doubted(check) -> None:
    bag = EARS[1][0]
    gone = {"bags": [{"bag": bag, "ears": 1, "picked": 1, "left": 0}], "picked": 1}
    assert check(bag=bag, row=gone) == ["ear_gone_already"]
    assert check(bag=bag, notes=[_note(1, "ears_left", tag_of(1), bag=bag)]) == ["ear_gone_already"]
    undone = [_note(1, "ears_picked", tag_of(1), bag=bag), _note(2, "withdrawn", tag_of(1), replaces="n1")]
    assert check(bag=bag, notes=undone) == []
    assert check(bag=bag, notes=[_note(1, "ears_picked", tag_of(1), bag=bag, practice=True)]) == []
    assert check(bag=bag, here=tag_of(4)) == ["ear_of_other_row"]
    assert check(bag=bag, tag=tag_of(4)) == ["ear_of_other_row"]
    assert check(bag=BAGS[0]) == ["bag_unknown"]


def test_row_that_is_not_ripe_not_to_be_entered_a_male_or_unknown_is_doubted(check) -> None:
    assert check(tag=tag_of(2)) == ["not_ripe"]
    assert check(tag=tag_of(2), why="rotten") == []
    assert check(tag=tag_of(2), day="2031-10-10") == []
    assert check(tag=tag_of(13)) == ["under_spray"]
    assert check(tag=tag_of(6)) == ["bears_no_ears"]
    assert check(tag=BAGS[1]) == ["not_on_list"]
    assert check(crate=CRATES[2]) == ["crate_unknown"]


def _visit(page, look) -> None:
    """Every screen of a day of picking."""
    look("home at harvest")
    page.click("[data-go=crate]")
    look("crate")
    _type(page, tag_of(1))
    page.wait_for_selector("#problem:not(:empty)")
    look("no crate")
    _type(page, CRATES[0])
    _wait_for(page, "home")
    page.click("[data-task=pick]")
    look("row to pick")
    page.click("[data-kind=ears_picked]")
    look("ears")
    page.click("button.digit >> nth=8")
    page.wait_for_selector(".doubts")
    look("doubt on a count")
    page.click("[data-kind=ears_left]")
    look("why left")
    page.click(".grid button >> nth=1")
    look("how many left")
    page.click("button.quiet >> nth=-1")
    page.click("[data-go=next]")
    page.click("[data-go=bags]")
    look("bag by bag")
    page.click("[data-go=left]")
    page.click(".grid button >> nth=3")
    look("ear left by its bag")
    _scan_ears(page, EARS[7][0])
    page.wait_for_selector(".doubts")
    look("doubt on an ear")
    _back_home(page)
    page.click("[data-go=bags]")
    _scan_ears(page, BAGS[5])
    look("bag waits for its row")
    page.click("button.quiet >> nth=-1")
    _wait_for(page, "loose-bag")
    look("loose bag")
    page.click("button.quiet >> nth=-1")
    _type(page, tag_of(2))
    _wait_for(page, "row")
    look("row by its tag")


def test_every_screen_of_picking_has_large_buttons_and_text_and_nothing_that_axe_finds(browser, station) -> None:  # noqa: F811
    axe = (Path(__file__).parent / "assets" / "axe.min.js").read_text("utf-8")
    with phone_at(browser, station[0], "fr-FR") as page:

        def look(where: str) -> None:
            page.evaluate("document.documentElement.style.fontSize = '40px'")
            assert page.evaluate(MEASURE)["over"] <= 0, where
            page.evaluate("document.documentElement.style.fontSize = ''")
            _check_sizes(page.evaluate(MEASURE), where)
            page.evaluate(f"() => {{ if (!window.axe) {{ {axe}; }} }}")
            found = page.evaluate("axe.run()")
            assert [(one["id"], one["nodes"][0]["html"]) for one in found["violations"]] == [], where

        _visit(page, look)


def test_picking_in_a_language_two_fifths_longer_fits_at_320_px(browser) -> None:  # noqa: F811
    with (
        play_station(make_harvest_walk(), pseudo=True) as (address, _),
        phone_at(browser, address, "fr-FR", (320, 568)) as page,
    ):

        def look(where: str) -> None:
            check_words(page, where)
            first = page.evaluate("document.querySelector('button.first')?.getBoundingClientRect().bottom ?? 0")
            assert first <= 568 or "doubt" in where, (where, first)

        _visit(page, look)
