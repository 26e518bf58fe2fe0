"""Are notes that cannot all be true found, and are possible ones left in peace?"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from firstsilk.science.flowering.checks import check_row_notes
from firstsilk.science.flowering.notes import Note, make_note_id
from firstsilk.science.flowering.rows import read_row_states

DAY = date(2031, 7, 20)
FEMALE, MALE, OTHER = "FEMALE01", "MALE0001", "OTHER001"
NAMES = {FEMALE: "row 1", MALE: "row 2", OTHER: "row 3"}


def note(kind, tag=FEMALE, value="", on=DAY, at=0, **more):
    given = {"detail": "", "male": "", "bag": "", "replaces": "", **more}
    return Note(
        id=make_note_id(at + 1, bytes([at % 256] * 10)),
        device="00000000-0000-7000-8000-000000000000",
        number=at + 1,
        worker="W1",
        kind=kind,
        tag=tag,
        plant=None,
        value=str(value),
        unit="",
        taken_local=f"{on.isoformat()}T10:00:00",
        offset_min=0,
        source="phone",
        app="test",
        format=1,
        practice=False,
        doubt="",
        doubt_reason="",
        **given,
    )


def codes_of(*notes, planned=(MALE,)):
    mine = [one for one in notes if one.tag == FEMALE]
    states = read_row_states(notes)
    return [one.code for one in check_row_notes(FEMALE, mine, states, NAMES, planned)]


def silk(on):
    return note("silk", value=on.isoformat(), on=on, at=50)


def shed(tag, on):
    return note("shed", tag, on.isoformat(), on, at=60 + len(tag) + ord(tag[0]))


def crossed(ears=4, on=DAY, male=MALE, at=80, detail="cross", **more):
    return note("pollinated", FEMALE, ears, on, at, detail=detail, male=male, **more)


def test_a_cross_with_its_planned_male_in_shed_is_left_in_peace():
    assert codes_of(silk(DAY), shed(MALE, DAY - timedelta(days=2)), crossed()) == []


@pytest.mark.parametrize(("days", "odd"), [(-3, True), (-2, False), (0, False), (7, False), (8, True)])
def test_a_male_that_does_not_shed_on_the_day_is_odd(days, odd):
    found = codes_of(silk(DAY), shed(MALE, DAY - timedelta(days=days)), crossed())
    assert ("male_not_shedding" in found) is odd


def test_a_male_whose_shed_nobody_noted_is_odd():
    assert codes_of(silk(DAY), crossed()) == ["male_not_shedding"]


def test_a_male_that_is_not_the_planned_one_is_odd():
    assert codes_of(silk(DAY), shed(OTHER, DAY), crossed(male=OTHER)) == ["male_not_planned"]
    assert codes_of(silk(DAY), shed(OTHER, DAY), crossed(male=OTHER), planned=()) == []


def test_a_male_that_is_no_row_or_is_not_named_is_odd():
    assert codes_of(silk(DAY), crossed(male="NOWHERE1")) == ["male_unknown"]
    assert codes_of(silk(DAY), crossed(male="")) == ["male_missing"]


def test_a_self_needs_its_own_shed():
    assert codes_of(silk(DAY), shed(FEMALE, DAY), crossed(male="", detail="self"), planned=()) == []
    assert codes_of(silk(DAY), crossed(male="", detail="self"), planned=()) == ["male_not_shedding"]


@pytest.mark.parametrize(("age", "odd"), [(6, False), (7, True)])
def test_a_pollination_after_the_silk_is_over_is_odd(age, odd):
    found = codes_of(silk(DAY - timedelta(days=age)), shed(MALE, DAY), crossed())
    assert ("silk_was_over" in found) is odd


def test_more_ears_than_pollinated_standing_or_plants_are_odd():
    base = (silk(DAY), shed(MALE, DAY), crossed(ears=6), note("stand", value=5, at=1), note("spoiled", value=2, at=2))
    assert codes_of(*base) == ["more_ears_than_plants"]
    assert codes_of(*base, note("ears_picked", value=5, at=3)) == ["more_ears_than_pollinated", "more_ears_than_plants"]
    assert "more_lost_than_made" in codes_of(*base, note("spoiled", value=5, at=4))


def test_silk_within_weeks_of_sowing_is_odd():
    sown = note("sown", value=(DAY - timedelta(days=10)).isoformat(), at=1)
    assert codes_of(sown, silk(DAY)) == ["flower_too_soon"]


def test_two_corrections_of_one_note_are_odd_until_one_is_taken_back():
    wrong = note("stand", value=5, at=1)
    first, second = note("stand", value=6, at=2, replaces=wrong.id), note("stand", value=7, at=3, replaces=wrong.id)
    assert codes_of(wrong, first, second) == ["corrected_twice"]
    assert codes_of(wrong, first, second, note("withdrawn", at=4, replaces=second.id)) == []


def test_a_kind_of_note_from_a_later_version_is_shown():
    assert codes_of(note("measured", value=3)) == ["kind_unknown"]
