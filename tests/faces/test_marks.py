"""Are numbers and days on pages written as people write them?"""

from __future__ import annotations

from datetime import date

from firstsilk.faces.pages.marks import days, signed

FIRST, LAST = date(2031, 7, 21), date(2031, 7, 23)


def test_a_difference_has_its_sign_and_a_nought_has_none() -> None:
    assert [signed(value, 1) for value in (0.26, -0.26, 0.04, -0.04, 0.0)] == ["+0.3", "−0.3", "0.0", "0.0", "0.0"]
    assert [signed(-1250.4), signed(-0.4), signed(None)] == ["−1,250", "0", "–"]


def test_days_of_a_forecast_when_they_are_one_day_are_written_once() -> None:
    assert days((FIRST, FIRST, LAST)) == "21 Jul to 23 Jul"
    assert days((FIRST, FIRST, FIRST)) == "21 Jul"
    assert days(None) == days((None, None, None)) == days((FIRST, FIRST, None)) == "–"
