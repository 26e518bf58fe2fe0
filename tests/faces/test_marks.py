"""Are numbers and days on pages written as people write them?"""

from __future__ import annotations

from datetime import UTC, date, datetime
from types import SimpleNamespace

from firstsilk.faces.pages import marks
from firstsilk.faces.pages.marks import days, signed
from firstsilk.science.seed.tags import tag_for_serial

FIRST, LAST = date(2031, 7, 21), date(2031, 7, 23)


def test_a_difference_has_its_sign_and_a_nought_has_none() -> None:
    assert [signed(value, 1) for value in (0.26, -0.26, 0.04, -0.04, 0.0)] == ["+0.3", "−0.3", "0.0", "0.0", "0.0"]
    assert [signed(-1250.4), signed(-0.4), signed(None)] == ["−1,250", "0", "–"]


def test_days_of_a_forecast_when_they_are_one_day_are_written_once() -> None:
    assert days((FIRST, FIRST, LAST)) == "21 Jul to 23 Jul"
    assert days((FIRST, FIRST, FIRST)) == "21 Jul"
    assert days(None) == days((None, None, None)) == days((FIRST, FIRST, None)) == "–"


def test_rows_next_to_each_other_with_one_end_are_one_stretch():
    one, other = datetime(2031, 7, 22, 5, 30, tzinfo=UTC), datetime(2031, 7, 22, 9, 30, tzinfo=UTC)
    rows = [
        SimpleNamespace(number=number, no_entry_until=until)
        for number, until in ((3, one), (4, one), (5, other), (7, other), (8, other))
    ]
    assert [(first.number, last.number) for first, last in marks.spans(rows)] == [(3, 4), (5, 5), (7, 8)]
    assert marks.spans([]) == []


def test_a_printed_code_has_its_hyphen_and_a_number_written_by_hand_stays():
    code = tag_for_serial(901)
    assert marks.tag(code) == f"{code[:4]}-{code[4:]}"
    for number in ("B7", "22/07/12", "7KQ4RN2M", ""):
        assert marks.tag(number) == number
