"""Laws of the harvest: counts and crates depend on the set of notes alone, and ears of bags are ears of their row."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from firstsilk.science.flowering.crates import read_crates
from firstsilk.science.flowering.harvest import check_harvest, count_ears
from firstsilk.science.flowering.notes import Note
from firstsilk.science.seed.tags import tag_for_serial
from tests.work.station_books import make_note

ROWS = ("0000002Y", "0000003W")
CRATES = (tag_for_serial(901), tag_for_serial(902))


@st.composite
def harvest_notes(draw: st.DrawFn) -> list[Note]:
    kinds = ["pollinated", "spoiled", "ears_picked", "ears_left", "crated", "dried", "shelled"]
    notes = []
    for number in range(1, draw(st.integers(1, 10)) + 1):
        kind = draw(st.sampled_from(kinds))
        about = st.sampled_from(CRATES if kind == "dried" else ROWS)
        value = st.sampled_from(CRATES if kind == "crated" else ("", "0", "1", "4", "12.5"))
        notes.append(
            make_note(
                number,
                kind=kind,
                detail=draw(st.sampled_from(["no_bag", "rotten"])) if kind == "ears_left" else "",
                tag=draw(about),
                bag=draw(st.sampled_from(["", "A", "B"])),
                value=draw(value),
                taken_local=draw(st.sampled_from(["2031-07-10", "2031-09-25", "2031-09-26"])) + "T10:00:00",
                replaces="",
            )
        )
    return notes


@given(harvest_notes(), st.randoms(use_true_random=False))
def test_no_order_of_arrival_changes_counts_crates_or_findings(notes: list[Note], dice) -> None:
    shuffled = list(notes)
    dice.shuffle(shuffled)
    names = {tag: tag for tag in ROWS}
    assert count_ears(shuffled) == count_ears(notes)
    assert read_crates(shuffled) == read_crates(notes)
    assert sorted(map(repr, check_harvest(shuffled, names))) == sorted(map(repr, check_harvest(notes, names)))


@given(harvest_notes())
def test_ears_of_the_bags_and_loose_ears_are_the_ears_of_the_row(notes: list[Note]) -> None:
    for ears in count_ears(notes).values():
        total = ears.total
        assert sum(one.picked for one in ears.bags) <= total.picked
        assert sum(one.kernels for one in ears.bags) <= total.kernels
        assert total.missing == max(0, total.standing - total.picked - total.ears_left)
        assert not (total.missing and total.extra)


@given(harvest_notes())
def test_an_ear_lies_in_one_crate_at_most(notes: list[Note]) -> None:
    loads = [(load.tag, load.bag) for crate in read_crates(notes) for load in crate.loads]
    assert len(loads) == len(set(loads))
    assert {crate.code for crate in read_crates(notes)} <= set(CRATES)
