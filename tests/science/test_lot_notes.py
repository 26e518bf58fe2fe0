"""Does each note of the seed room move what it says, beside what is booked at the desk?"""

from __future__ import annotations

from datetime import date

from firstsilk.science.seed.lot_notes import Booked, LotEvent, find_differences, settle_lot

FIRST, SECOND = date(2031, 11, 1), date(2031, 11, 2)
OPENING = Booked(1, date(2030, 12, 1), "", 500)


def _event(note, kind, hour, kernels=0, day=FIRST):
    return LotEvent(note, kind, f"{day}T{hour}:00:00", kernels)


def test_taken_weighed_and_thrown_away_follow_one_another_by_the_clock():
    events = [_event("c", "discarded", "12"), _event("b", "weighed", "11", 450), _event("a", "taken", "10", 40)]
    found = settle_lot([OPENING], events)
    assert found.by_note == {"a": -40, "b": -10, "c": -450}
    assert found.kernels == 0


def test_a_lot_may_be_overdrawn_and_throwing_it_away_does_not_hide_that():
    found = settle_lot([OPENING], [_event("a", "taken", "10", 600), _event("b", "discarded", "11")])
    assert found.by_note == {"a": -600, "b": 0}
    assert found.kernels == -100


def test_what_is_booked_at_the_desk_stands_at_its_hour_and_else_before_the_notes_of_its_day():
    weighed = _event("a", "weighed", "10", 450)
    assert settle_lot([OPENING, Booked(2, FIRST, "", -30)], [weighed]).kernels == 450
    assert settle_lot([OPENING, Booked(2, FIRST, "09:59:00", -30)], [weighed]).kernels == 450
    assert settle_lot([OPENING, Booked(2, FIRST, "10:30:00", -30)], [weighed]).kernels == 420


def test_a_note_that_comes_after_a_later_count_at_the_desk_does_not_take_its_kernels_twice():
    # The desk counted 455 on the second day, 45 fewer than the books held; the note of the first day explains 40.
    count = Booked(2, SECOND, "09:00:00", -45, noted_before=0)
    found = settle_lot([OPENING, count], [_event("a", "taken", "10", 40)])
    assert (found.by_note, found.by_count, found.kernels) == ({"a": -40}, {2: 40}, 455)
    # Had the note been booked before the count, the desk would have written 5 fewer.
    found = settle_lot([OPENING, Booked(2, SECOND, "09:00:00", -5, noted_before=-40)], [_event("a", "taken", "10", 40)])
    assert (found.by_count, found.kernels) == ({2: 0}, 455)


def test_only_what_is_not_moved_yet_is_moved_and_what_no_longer_stands_comes_back():
    assert find_differences({"a": -40, "b": 0}, [("a", -30), ("c", -7), ("c", 2)]) == {"a": -10, "c": 5}
    assert find_differences({"a": -40}, [("a", -30), ("a", -10)]) == {}
