"""Laws of the bags: what a bag is, and whose pollen an ear took, depends on the set of notes and on nothing else."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from firstsilk.science.flowering.bags import check_bags, name_givers, read_bags
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import keep_standing_notes, read_row_states
from tests.work.station_books import make_note

ROWS = ("0000002Y", "0000003W", "0000004T")
DAYS = ("2031-07-10", "2031-07-11", "2031-07-13", "2031-09-30")


@st.composite
def bag_notes(draw: st.DrawFn) -> list[Note]:
    count = draw(st.integers(1, 9))
    ids = [make_note(number).id for number in range(1, count + 1)]
    return [
        make_note(
            number,
            kind=draw(st.sampled_from(["tassel_bagged", "tassel_bagged", "pollinated", "tassel_unbagged"])),
            detail=draw(st.sampled_from(["", "self", "cross"])),
            tag=draw(st.sampled_from(ROWS)),
            male=draw(st.sampled_from(["", "", *ROWS])),
            bag=draw(st.sampled_from(["", "A", "A", "B"])),
            value=draw(st.sampled_from(["", "0", "1", "3"])),
            taken_local=draw(st.sampled_from(DAYS)) + "T10:00:00",
            replaces=draw(st.sampled_from(["", "", "", *(one for one in ids if one != ids[number - 1])])),
        )
        for number in range(1, count + 1)
    ]


@given(bag_notes(), st.randoms(use_true_random=False))
def test_bags_and_fathers_do_not_depend_on_order_or_repetition(notes: list[Note], dice) -> None:
    shuffled = [*notes, *notes[::2]]
    dice.shuffle(shuffled)
    first, again = keep_standing_notes(notes)[0], keep_standing_notes(shuffled)[0]
    dice.shuffle(again)
    assert read_bags(again) == read_bags(first)
    assert name_givers(again) == name_givers(first)
    assert read_row_states(shuffled) == read_row_states(notes)
    names = {tag: tag for tag in ROWS}
    assert check_bags(again, names) == check_bags(first, names)


@given(bag_notes())
def test_shares_add_up_to_one_and_every_ear_is_counted_as_without_bags(notes: list[Note]) -> None:
    standing, _ = keep_standing_notes(notes)
    for bag in read_bags(standing):
        assert not bag.shares or math.isclose(sum(share for _, share in bag.shares), 1.0)
    for note_id, (shares, _) in name_givers(standing).items():
        on_bag = next(note for note in standing if note.id == note_id)
        near = [one for one in standing if one.kind == "tassel_bagged" and one.bag == on_bag.bag]
        assert {tag for tag, _ in shares} <= {one.tag for one in near}


@given(bag_notes())
def test_a_male_in_the_note_is_never_overruled_by_the_bag(notes: list[Note]) -> None:
    standing, _ = keep_standing_notes(notes)
    for state in read_row_states(notes).values():
        told = {one.male for one in standing if one.kind == "pollinated" and one.tag == state.tag and one.male}
        assert told <= {male for tally in state.pollinations for male in tally.males}
