"""Do generated years resemble four real years of Seattle, 2012 to 2015 (vega-datasets, from NOAA's daily summaries)?"""

from __future__ import annotations

import numpy as np
import pytest
from vega_datasets import data

from firstsilk.science.climate.generated import generate_years
from firstsilk.science.climate.generator import fit_generator
from firstsilk.science.climate.heat import count_gdd_capped


@pytest.fixture(scope="module")
def seattle():
    frame = data.seattle_weather()
    days = [one.date() for one in frame["date"]]
    return days, frame["temp_min"].to_numpy(), frame["temp_max"].to_numpy(), frame["precipitation"].to_numpy()


def test_generated_years_resemble_the_real_ones(seattle):
    days, low, high, rain = seattle
    made = generate_years(fit_generator(days, low, high, rain), 400, seed=9)
    summer = np.array([5 <= day.month <= 9 for day in days])
    ours = slice(120, 273)
    for real, drawn in ((low, made.tmin_c), (high, made.tmax_c)):
        # Standard error of a summer's mean over four years with 0.8 °C between years: 0.4.
        assert drawn[:, ours].mean() == pytest.approx(real[summer].mean(), abs=0.4)
        ratios = []
        for month in range(1, 13):
            here = np.array([day.month == month for day in days])
            span = slice(30 * (month - 1) + 3, 30 * (month - 1) + 30)
            assert abs(drawn[:, span].mean() - real[here].mean()) < 1.6
            ratios.append(drawn[:, span].std() / real[here].std())
        # Four Januaries that last from day to day (0.7) hold about 21 independent days: 15 % error of a spread.
        assert max(abs(ratio - 1.0) for ratio in ratios) < 0.45
        assert np.mean(ratios) == pytest.approx(1.0, abs=0.09)
    assert (made.rain_mm > 0.2).mean() == pytest.approx((rain > 0.2).mean(), abs=0.03)
    assert made.rain_mm.sum(axis=1).mean() == pytest.approx(rain.sum() / 4, rel=0.06)
    units = count_gdd_capped(low, high)[summer].sum() / 4
    assert count_gdd_capped(made.tmin_c, made.tmax_c)[:, ours].sum(axis=1).mean() == pytest.approx(units, rel=0.03)
