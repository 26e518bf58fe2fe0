"""What the phone holds against a note: each doubt where it is due, and none where nothing is known."""

from __future__ import annotations

import shutil
from collections.abc import Iterator

import pytest

from tests.journeys.chromium import CHROMIUM, FLAGS
from tests.journeys.stage import BAGS, make_male_row, make_walk, make_walk_row, play_station, tag_of

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(shutil.which(CHROMIUM) is None, reason=f"there is no chromium at {CHROMIUM}"),
]

CLOCK = "2031-07-25"
SEEN = {"first": "2031-07-21", "half": "2031-07-23", "last": "2031-07-29", "seen": True}
CHECK = """async ([list, notes, name, asked, now]) => {
  const { Held } = await import("/pocket/own/held.js");
  const checks = await import("/pocket/own/checks.js");
  const map = new Map(notes.map((note) => [note.id, note]));
  const held = new Held({ list, notes: map, marks: new Map(), settings: new Map([["device", "d"]]) });
  return checks[name](held, { ...asked, row: held.rows.get(asked.tag) || null }, now).map(({ code }) => code);
}"""


@pytest.fixture(scope="module")
def check() -> Iterator[object]:
    """Runs one of the page's own checks over a field list of one female, its male, another male and a self."""
    from playwright.sync_api import sync_playwright

    with play_station(make_walk([])) as (address, _), sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page()
        page.goto(f"{address}own/style.css")

        def run(
            name: str = "checkPollinated", female: object = None, male: object = None, bags: object = (),
            notes: object = (), day: str = "2031-07-25", clock: str = CLOCK, **asked: object,
        ) -> list[str]:  # fmt: skip
            rows = [
                make_walk_row(1, males=[{"tag": tag_of(2), "number": 2}], **(female or {})),
                make_male_row(2, **(male or {})),
                make_male_row(3),
            ]
            given = {"tag": tag_of(1), "males": [tag_of(2)], "type": "cross", "ears": 1, "bag": "", **asked}
            walk = {**make_walk(rows, list(bags)), "today": day, "fetched_at": f"{CLOCK}T06:00:00", "after_number": 0}
            return page.evaluate(CHECK, [walk, list(notes), name, given, f"{clock}T12:00:00"])

        yield run
        browser.close()


def _note(number: int, kind: str, tag: str, **given: object) -> dict[str, object]:
    note = {"id": f"n{number}", "device": "d", "number": number, "kind": kind, "tag": tag, "value": "1", "bag": "",
            "detail": "", "male": "", "replaces": "", "practice": False}  # fmt: skip
    return {**note, "taken_local": f"{CLOCK}T12:00:00", **given}


def test_planned_pollination_on_a_good_day_has_no_doubt(check) -> None:
    assert check() == []


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ({"males": [tag_of(3)]}, "male_not_planned"),
        ({"males": ["00000000"]}, "male_unknown"),
        ({"type": "self"}, "kind_not_planned"),
        ({"ears": 8}, "more_ears_than_bags"),
        ({"day": "2031-08-11", "male": {"shed": None}, "female": {"silk": None}}, "after_cutoff"),
        ({"day": "2031-07-30", "male": {"shed": None}}, "silk_was_over"),
        ({"day": "2031-07-20", "male": {"shed": None}}, "silk_not_out"),
        ({"day": "2031-07-19", "female": {"silk": None, "state": {"shoot_bags": 9}}}, "male_not_shedding"),
        ({"male": {"shed": {**SEEN, "last": "2031-07-24"}}}, "male_not_shedding"),
        ({"female": {"state": {"shoot_bags": 0}}}, "silk_exposed"),
        ({"female": {"state": {"shoot_bags": 0}, "silk": {**SEEN, "seen": False}}}, "no_shoot_bags"),
        ({"female": {"keep_out_until": "2031-07-25T18:00:00"}}, "under_spray"),
        ({"walkRow": {"number": 9}}, "other_row"),
        ({"tag": BAGS[3]}, "not_on_list"),
    ],
)
def test_each_doubt_is_told_where_it_is_due_and_alone(check, given, code) -> None:
    assert check(**given) == [code]


@pytest.mark.parametrize(
    ("hung_on", "used_on", "expected"),
    [
        ("2031-07-24", "", []),
        ("2031-07-23", "", []),
        ("2031-07-22", "", ["bag_used_late"]),
        ("2031-07-25", "", ["bag_used_at_once"]),
        ("2031-07-24", "2031-07-24", ["bag_used_already"]),
        ("2031-07-24", "2031-07-25", []),
        ("", "", []),
    ],
)
def test_bag_is_used_the_morning_after_and_once(check, hung_on, used_on, expected) -> None:
    bag = {"bag": BAGS[0], "males": [tag_of(2)], "type": "cross", "hung_on": hung_on, "used_on": used_on,
           "used_rows": [tag_of(1)] if used_on else []}  # fmt: skip
    assert check(bag=BAGS[0], bags=[bag]) == expected


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ({"tag": tag_of(2)}, []),
        ({"tag": tag_of(1)}, ["gives_no_pollen"]),
        ({"tag": tag_of(2), "day": "2031-07-29"}, []),
        ({"tag": tag_of(2), "day": "2031-07-30"}, ["male_not_shedding"]),
        ({"tag": tag_of(2), "day": "2031-07-19"}, []),
        ({"tag": tag_of(2), "day": "2031-07-18"}, ["male_not_shedding"]),
    ],
)
def test_tassels_are_bagged_on_males_that_shed_tomorrow(check, asked, expected) -> None:
    assert check("checkTassel", **asked) == expected


def test_expected_days_are_doubted_three_days_later_than_seen_ones(check) -> None:
    expected = {"first": "2031-07-28", "half": "2031-07-30", "last": "2031-08-05", "seen": False}
    assert check(female={"silk": expected}) == []
    assert check(female={"silk": {**expected, "first": "2031-07-29"}}) == ["silk_not_out"]
    assert check(male={"shed": expected}) == []
    assert check(male={"shed": {**expected, "first": "2031-07-29"}}) == ["male_not_shedding"]


def test_nothing_known_of_silk_and_shed_is_no_doubt(check) -> None:
    assert check(female={"silk": None}, male={"shed": None}) == []


def test_what_this_phone_noted_counts_at_once_and_what_was_taken_back_does_not(check) -> None:
    nearly = {"state": {"ears_pollinated": 8}}
    assert check(female=nearly) == []
    done = [_note(1, "pollinated", tag_of(1))]
    assert check(female=nearly, notes=done) == ["more_ears_than_bags"]
    back = [*done, _note(2, "withdrawn", tag_of(1), replaces="n1")]
    assert check(female=nearly, notes=back) == []
    unseen = {"shed": {"first": "2031-08-03", "half": "2031-08-05", "last": "2031-08-12", "seen": False}}
    assert check(male=unseen) == ["male_not_shedding"]
    assert check(male=unseen, notes=[_note(1, "shed", tag_of(2))]) == []


def test_days_since_the_list_came_count_and_the_year_of_the_phones_clock_does_not(check) -> None:
    # The list of 25 July came on the phone's 25 July; five phone days later the station's silk is over.
    assert check(clock="2031-07-30", male={"shed": None}) == ["silk_was_over"]
    # The list of 30 July came while the phone's clock said 25 July.
    assert check(day="2031-07-30", male={"shed": None}) == ["silk_was_over"]
    shut = {"keep_out_until": "2031-07-30T18:00:00"}
    assert check(day="2031-07-30", female={**shut, "silk": None}, male={"shed": None}) == ["under_spray"]
    assert check(day="2031-07-31", female={**shut, "silk": None}, male={"shed": None}) == []
