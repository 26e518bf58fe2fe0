"""The stage at harvest: a field list of rows that are ripe, with the bags on their ears, and the tags of the crates."""

from __future__ import annotations

from firstsilk.science.seed.tags import tag_for_serial
from tests.journeys.stage import make_male_row, make_task, make_walk, make_walk_row, tag_of

CRATES = [tag_for_serial(700_000 + step) for step in range(3)]
"""Two crates that the station gave out, and a tag that it did not."""
EARS = {number: [tag_for_serial(800_000 + 10 * number + step) for step in range(6)] for number in range(1, 21)}
"""Codes of the bags on the ears of each row."""
DAY = "2031-09-25"


def make_pick(number: int, **given: object) -> dict[str, object]:
    """Six ears of a row, each with its bag, nothing picked."""
    bags = [{"bag": bag, "ears": 1, "picked": 0, "left": 0} for bag in EARS[number]]
    pick = {"ears": 6, "standing": 6, "picked": 0, "left": 0, "left_unknown": 0, "ripe_on": "2031-09-20",
            "is_ripe": True, "bags": bags}  # fmt: skip
    return {**pick, **given}


def make_harvest_walk() -> dict[str, object]:
    """One range: row 6 is a male, every third row is ripe, row 9 has two bags of row 3 too, row 13 was sprayed."""
    rows = []
    for number in range(1, 21):
        if number == 6:
            rows.append(make_male_row(number))
            continue
        ripe = number % 3 == 1
        pick = make_pick(number) if ripe else make_pick(number, ripe_on="2031-10-09", is_ripe=False)
        tasks = [make_task("pick", count=6, rank=number // 3 + 1)] if ripe else []
        shut = "2099-09-25T18:00:00" if number == 13 else None
        state = {"ears": 6, "ears_pollinated": 6, "ears_wanted": 4}
        done = {"code": "enough", "ears": 0, "males": []}
        rows.append(
            make_walk_row(number, pick=pick, tasks=tasks, keep_out_until=shut, state=state, step=done, next="",
                          males=[{"tag": tag_of(6), "number": 6}])
        )  # fmt: skip
    rows[8]["pick"]["bags"] = [*rows[8]["pick"]["bags"][:5], {"bag": EARS[3][0], "ears": 1, "picked": 0, "left": 0}]  # type: ignore[index]
    rows[15]["pick"]["bags"][0] = {"bag": EARS[16][0], "ears": 3, "picked": 0, "left": 0}  # type: ignore[index]
    return {**make_walk(rows), "today": DAY, "crates": CRATES[:2]}
