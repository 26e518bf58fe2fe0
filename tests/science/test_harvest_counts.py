"""Do ears at harvest add up, by row and by bag, and is every ear that does not fit told, and no other?"""

from __future__ import annotations

from firstsilk.science.flowering.harvest import check_harvest, count_ears
from tests.science.test_note_checks import DAY, FEMALE, NAMES, OTHER, note


def pollinated(bag="", ears=1, at=1, tag=FEMALE):
    return note("pollinated", tag, ears, DAY, at, bag=bag, detail="cross")


def picked(bag="", ears=1, at=20, tag=FEMALE):
    return note("ears_picked", tag, ears, DAY, at, bag=bag)


def left(why, bag="", ears=1, at=40, tag=FEMALE):
    return note("ears_left", tag, ears, DAY, at, bag=bag, detail=why)


def codes_of(*notes):
    return sorted(one.code for _, one in check_harvest(notes, NAMES))


def test_missing_is_what_was_pollinated_and_not_lost_picked_or_left():
    notes = [pollinated(ears=9), note("spoiled", FEMALE, 2, DAY, 2, detail="bag_lost"), picked(ears=3), left("rotten")]
    total = count_ears(notes)[FEMALE].total
    assert (total.standing, total.picked, total.left, total.missing, total.extra) == (7, 3, (("rotten", 1),), 3, 0)


def test_notes_on_one_bag_are_the_same_ears_and_loose_ones_add_up():
    ears = count_ears([pollinated("B1"), picked("B1"), picked("B1", at=21), picked(ears=2, at=22), picked(at=23)])
    assert (ears[FEMALE].total.picked, [(one.bag, one.picked) for one in ears[FEMALE].bags]) == (4, [("B1", 1)])


def test_an_ear_left_without_its_bag_is_no_ear_too_many():
    notes = [pollinated(ears=2), picked(ears=2), left("no_bag", ears=3), left("rotten", at=41)]
    total = count_ears(notes)[FEMALE].total
    assert (total.extra, total.missing, total.ears_left) == (1, 0, 4)


def test_a_bag_that_nobody_saw_is_told_only_where_ears_were_picked_bag_by_bag():
    two = [pollinated("B1"), pollinated("B2", at=2)]
    assert codes_of(*two) == []
    assert codes_of(*two, picked("B1")) == ["bag_not_seen"]
    assert codes_of(*two, picked("B1"), picked(at=21)) == []
    assert codes_of(*two, picked("B1"), left("rotten", "B2")) == []
    lost = note("spoiled", FEMALE, 1, DAY, 3, bag="B2", detail="bag_lost")
    assert codes_of(*two, picked("B1"), lost) == []


def test_an_ear_on_a_row_that_its_bag_never_saw_and_one_of_no_row_are_told():
    assert codes_of(pollinated("B1"), picked("B1", tag=OTHER)) == ["ear_of_other_row"]
    assert codes_of(pollinated("B1"), pollinated("B1", at=2, tag=OTHER), picked("B1", tag=OTHER)) == []
    assert codes_of(pollinated("B1"), picked("B1", tag="")) == ["ears_of_no_row"]
    told = dict(check_harvest([pollinated("B1"), picked("B1", tag="")], NAMES))
    assert "It was pollinated on" in told[""].repair


def test_more_ears_of_a_bag_than_took_its_pollen_are_told():
    assert codes_of(pollinated("B1", 2), picked("B1", 2)) == []
    assert codes_of(pollinated("B1", 2), picked("B1", 3)) == ["more_ears_of_bag"]
