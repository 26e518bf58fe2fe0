"""Are units that look like another scale's noticed, and those that may be either left in peace?"""

from __future__ import annotations

import pytest

from firstsilk.science.flowering.usual_units import doubt_units, find_fitting_scales


@pytest.mark.parametrize(
    ("units", "stage", "scales"),
    [
        # Published: silk at 1,200 gdd_f (Lauer), black layer at 2,400 (Lauer); 1.8 times less in gdd_c.
        (1200.0, "silk", ("chu", "gdd_f")),
        (1200.0 / 1.8, "silk", ("gdd_c",)),
        (1700.0, "silk", ("chu", "gdd_f")),
        (2400.0, "black layer", ("chu", "gdd_f")),
        (2400.0 / 1.8, "black layer", ("gdd_c",)),
        (3275.0, "black layer", ("chu",)),
        (60.0, "silk", ()),
    ],
)
def test_a_number_fits_the_scales_in_which_it_is_published(units, stage, scales):
    assert find_fitting_scales(units, stage) == scales


def test_a_column_of_celsius_degree_days_under_chu_is_doubted_and_said_to_look_like_them() -> None:
    odd, told = doubt_units([640.0, None, 655.0, 1300.0], "silk", "chu")
    assert odd == [0, 2]
    assert told == "this is unusual for chu, where 800 to 2,300 lead to silk; it would be usual for gdd_c"


def test_units_that_are_usual_or_unknown_are_not_doubted() -> None:
    assert doubt_units([1250.0, None], "shed", "chu")[0] == []
    assert doubt_units([], "shed", "chu")[0] == []
