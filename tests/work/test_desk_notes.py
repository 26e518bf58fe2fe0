"""Is a note written at the desk the same as one from a phone?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.records.models import Note
from firstsilk.science.flowering.bags import read_bags
from firstsilk.science.seed.tags import print_tag
from firstsilk.work.flowering.chain import as_note
from firstsilk.work.flowering.desk_notes import write_row_note
from firstsilk.work.flowering.sheets_out import take_bag_tags
from tests.factories import make_line, make_row, make_season, make_station, occasion, take_note

pytestmark = pytest.mark.django_db

ON = occasion(date(2031, 7, 21))


@pytest.mark.parametrize("written", ["{}", "{} ", "lower"])
def test_a_printed_code_is_one_bag_however_it_is_typed(written):
    station = make_station()
    row = make_row(make_season(station), 7, make_line(station, "E1"))
    (code,) = take_bag_tags(ON, 1)
    take_note(ON, row, "tassel_bagged", 1, date(2031, 7, 20), bag=code)
    typed = print_tag(code).lower() if written == "lower" else written.format(print_tag(code))
    write_row_note(ON, "2031", "pollinated", "7", "1", detail="self", bag=typed)
    (bag,) = read_bags(as_note(one) for one in Note.objects.all())
    assert (bag.code, bag.males, bag.ears) == (code, (row.tag,), 1)


@pytest.mark.parametrize("number", ["B7", "12", "7KQ4-RN2", "0000-0000-0"])
def test_a_number_written_by_hand_stays_as_it_was_written(number):
    station = make_station()
    make_row(make_season(station), 7, make_line(station, "E1"))
    write_row_note(ON, "2031", "pollinated", "7", "1", detail="self", bag=f" {number} ")
    assert Note.objects.get().bag == number
