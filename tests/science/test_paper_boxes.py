"""Do the boxes of a paper sheet say what was written in them, and are two keyings compared cell by cell?"""

from firstsilk.science.flowering.notes import KINDS
from firstsilk.science.flowering.paper_boxes import (
    BOXES,
    Difference,
    Fact,
    Line,
    compare_keyings,
    find_limits,
    find_unusual,
    list_facts,
    replace_cell,
)


def test_every_box_makes_a_note_of_a_known_kind() -> None:
    for boxes in BOXES.values():
        assert len({box.key for box in boxes}) == len(boxes)
        for box in boxes:
            assert box.kind in KINDS
            assert box.detail in ("", *KINDS[box.kind].details)


def test_line_says_its_boxes_and_nothing_for_empty_ones() -> None:
    line = Line("0000002Y", "", (("shoot_bagged", 4), ("tassel_bagged", 0), ("wet_pollen", 2)))
    assert list_facts("tally", line) == (Fact("shoot_bagged", "", "4"), Fact("spoiled", "wet_pollen", "2"))


def test_what_was_looked_for_is_seen_or_not_yet() -> None:
    assert list_facts("walk", Line("0000002Y", "", (("silk", 1), ("shed", 0)))) == (
        Fact("silk", "", ""),
        Fact("shed_not_yet", "", ""),
    )


def test_more_than_the_plants_is_unusual() -> None:
    assert find_limits("tally", 18)["shoot_bagged"] == 36
    assert find_unusual("tally", Line("x", "", (("pollinated", 18), ("shoot_bagged", 36))), 18) == ()
    assert find_unusual("tally", Line("x", "", (("pollinated", 19),)), 18) == (("pollinated", 19, 18),)
    assert find_unusual("tally", Line("x", "", (("pollinated", 31),)), 0) == (("pollinated", 31, 30),)


def test_two_keyings_differ_where_a_cell_does_and_a_zero_is_an_empty_count() -> None:
    first = {0: Line("A", "", (("pollinated", 4),)), 2: Line("C", "", ())}
    second = {0: Line("A", "", (("pollinated", 5), ("tassel_bagged", 0))), 1: Line("B", "M", ())}
    assert compare_keyings("tally", first, second, ["A", "B"]) == (
        Difference(0, "pollinated", "4", "5"),
        Difference(1, "male", "", "M"),
        Difference(2, "tag", "C", ""),
    )
    assert compare_keyings("walk", {0: Line("A", "", (("silk", 0),))}, {}, ["A"]) == (Difference(0, "silk", "0", ""),)


def test_settled_cell_takes_the_place_of_the_keyed_one() -> None:
    line = Line("A", "", (("pollinated", 4),))
    assert replace_cell(line, "pollinated", "5").get("pollinated") == 5
    assert replace_cell(line, "pollinated", "").values == ()
    assert replace_cell(line, "male", "M").male == "M"
    assert replace_cell(line, "tag", "B").tag == "B"
