"""Do our sines and triangles give the degree days of the UC IPM calculator, for every curve and cutoff?

The values in ``degree_day_curves.csv`` are those of the University of California's IPM web site for a year of daily
temperatures at the station Esparto-A (°F, lower threshold 50, upper 70), published as the reference answers of the
Degree Days Validation Challenge (UCANR-IGIS, MIT licence, 2022); typed here are 30 days of the 366, all six ways in
which a day can lie about the two thresholds among them. They are printed to two decimals, so half of the last one is
the tolerance, and a little more where the double methods round each half.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from firstsilk.science.climate.degree_days import DegreeDayLimits
from firstsilk.science.climate.heat_forms import FORMS, count_by_form

PRINTED = 0.0051
HALVES_PRINTED = 0.0101
LIMITS = DegreeDayLimits(50.0, 70.0)
with Path(__file__).with_name("degree_day_curves.csv").open(encoding="utf-8", newline="") as file:
    DAYS = list(csv.DictReader(file))
CURVED = sorted(set(DAYS[0]) - {"date", "tmin", "tmax", "next_tmin"})


def column(name: str) -> np.ndarray:
    return np.array([float(row[name]) if row[name] else np.nan for row in DAYS])


@pytest.mark.parametrize("form", CURVED)
def test_a_curve_with_its_cutoff_gives_the_published_degree_days(form):
    ours = count_by_form(column("tmin"), column("tmax"), "gdd_f", form, "f", column("next_tmin"), LIMITS)
    assert ours == pytest.approx(column(form), abs=HALVES_PRINTED if form.startswith("double") else PRINTED)


def test_every_curve_with_an_upper_cutoff_has_its_published_values() -> None:
    ours = {form.name for form in FORMS if form.name.rpartition("-")[2] in ("horizontal", "vertical", "intermediate")}
    assert ours == set(CURVED)


def test_the_days_lie_about_the_thresholds_in_all_six_ways() -> None:
    low, high = column("tmin"), column("tmax")
    where = np.stack([np.digitize(low, [50.0, 70.01]), np.digitize(high, [50.01, 70.01])])
    assert len(set(map(tuple, where.T.tolist()))) == 6
