"""Does a season with its rows, notes and heat become a forecast as it should, by known units and by records?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from firstsilk.science.flowering.line_records import LinesKnown, find_mixed_frac
from firstsilk.science.flowering.season_forecast import (
    UNTOLD_ROW_SCALE,
    UNTOLD_SEASON_SCALE,
    NotedRows,
    forecast_known,
    forecast_lines,
)
from firstsilk.science.flowering.season_heat import SeasonHeat, build_season_heat
from firstsilk.science.flowering.spreads import SPREADS

FIRST = date(2031, 5, 12)
DAYS = [date(2015, 1, 1) + timedelta(days=at) for at in range((date(2031, 12, 31) - date(2015, 1, 1)).days + 1)]
UNITS = np.array([[1300.0, 1250.0], [1300.0, 1250.0], [1350.0, 1300.0]])
SURE = np.full(3, 20.0)


def lay(today=date(2031, 7, 15), scale="chu", rain=None) -> SeasonHeat:
    turn = np.array([day.toordinal() * 7 % 23 / 5.0 + day.year * 3 % 7 * 0.3 for day in DAYS])
    season = np.array([-6.0 * np.cos((day.timetuple().tm_yday - 20) / 365.25 * 2 * np.pi) for day in DAYS])
    return build_season_heat(DAYS, 6.0 + season + turn, 16.0 + season + turn, FIRST, today, scale, rain)


HEAT = lay()


def rows(line_of=(0, 1, 2), sown=(0, 0, 0), not_yet=None, seen=None, crowding=(0.0, 0.0, 0.0)) -> NotedRows:
    none = np.full((len(line_of), 2), -1)
    return NotedRows(
        np.array(line_of, dtype=np.intp),
        np.array(sown, dtype=np.intp),
        np.array(crowding, dtype=np.float64),
        np.array(none if not_yet is None else not_yet, dtype=np.intp),
        np.array(none if seen is None else seen, dtype=np.intp),
    )


def plain_day(units: float, sown: int = 0) -> int:
    """By hand: the day on which the middle of the members reaches the units."""
    members = HEAT.members()[0]
    return int(np.median([sown + 1 + np.searchsorted(np.cumsum(each[sown + 1 :]), units) for each in members]))


def test_known_units_are_reached_where_a_hand_count_reaches_them():
    told = forecast_known(HEAT, rows(sown=(0, 7, 0)), UNITS, SURE, draws=1000)
    for at, sown in enumerate((0, 7, 0)):
        for organ, draws in enumerate((told.forecast.silk, told.forecast.shed)):
            assert np.median(draws[at]) == pytest.approx(plain_day(UNITS[at, organ], sown), abs=1.0)


def test_what_is_not_known_of_a_line_widens_its_rows_and_untold_is_a_day():
    spread = [
        forecast_known(HEAT, rows(), UNITS, np.full(3, sd), draws=1000).forecast.silk.std(axis=1).mean()
        for sd in (0.0, 20.0, 90.0)
    ]
    assert spread == sorted(spread)
    assert spread[2] > 2.0 * spread[0]
    untold = forecast_known(HEAT, rows(), UNITS, np.full(3, np.nan))
    day = forecast_known(HEAT, rows(), UNITS, np.full(3, untold.pace))
    assert untold.forecast.silk.tobytes() == day.forecast.silk.tobytes()


def test_rows_of_one_line_share_what_is_not_known_of_it():
    alone = forecast_known(HEAT, rows((0, 1, 2)), UNITS, np.full(3, 60.0), draws=1000).forecast.silk
    shared = forecast_known(HEAT, rows((0, 0, 1)), UNITS, np.full(3, 60.0), draws=1000).forecast.silk
    assert np.corrcoef(shared[0], shared[1])[0, 1] > np.corrcoef(alone[0], alone[1])[0, 1] + 0.3


def test_a_late_sister_makes_her_sister_later_and_a_stranger_a_little():
    day = HEAT.so_far.shape[1] - 1
    due = np.full((3, 2), float(HEAT.so_far[0][1:].sum()) - 30.0)
    looked = rows((0, 0, 1), not_yet=[(day, -1), (-1, -1), (-1, -1)])
    told = forecast_known(HEAT, looked, due, np.full(3, 40.0), draws=1000)
    plain = forecast_known(HEAT, rows((0, 0, 1)), due, np.full(3, 40.0), draws=1000)
    by = told.forecast.silk.mean(axis=1) - plain.forecast.silk.mean(axis=1)
    assert by[0] > by[1] > by[2] > 0.0
    assert told.forecast.silk[0].min() > day


def test_scales_without_earlier_seasons_are_those_said():
    told = forecast_known(HEAT, rows(), UNITS, SURE)
    assert (told.season_scale, told.row_scale) == (UNTOLD_SEASON_SCALE, UNTOLD_ROW_SCALE)
    assert told.dryness_frac == 0.0
    assert told.pace == pytest.approx(HEAT.find_pace(0, 1300.0))


def test_drought_before_flowering_holds_back_silk_and_not_shed_and_widens_the_interval():
    rain = np.array([0.0 if date(2031, 6, 10) <= day else 2.5 for day in DAYS])
    wet, dry = lay(rain=np.full(len(DAYS), 2.5)), lay(rain=rain)
    usual, held = (forecast_known(each, rows(), UNITS, SURE, draws=1000) for each in (wet, dry))
    assert usual.dryness_frac == 0.0
    assert held.dryness_frac > 0.9
    silk = held.forecast.silk.mean() - usual.forecast.silk.mean()
    shed = held.forecast.shed.mean() - usual.forecast.shed.mean()
    assert silk == pytest.approx(SPREADS.drought_days * held.dryness_frac, abs=1.0)
    assert abs(shed) < 0.4
    apart = [float((each.forecast.silk - each.forecast.shed).mean()) for each in (usual, held)]
    assert apart[1] > apart[0] + 2.0


def test_crowded_rows_silk_later_and_shed_at_the_same_time():
    told = forecast_known(HEAT, rows((0, 1, 2), crowding=(-2.0, 2.0, 0.0)), UNITS, SURE, draws=2000)
    assert told.forecast.silk[1].mean() - told.forecast.silk[0].mean() == pytest.approx(
        4.0 * SPREADS.crowding_days, abs=0.5
    )
    assert abs(told.forecast.shed[1].mean() - told.forecast.shed[0].mean()) < 0.4


@pytest.mark.parametrize("scale", ["gdd_c", "gdd_f"])
def test_another_scale_gives_nearly_the_same_dates(scale):
    heat = lay(scale=scale)
    day = plain_day(1300.0)
    units = np.array([[float(heat.normal[0][1 : day + 1].sum())] * 2])
    chu = np.array([[float(HEAT.normal[0][1 : day + 1].sum())] * 2])
    one = forecast_known(HEAT, rows((0,), (0,), crowding=(0.0,)), chu, np.array([np.nan]), draws=1000)
    other = forecast_known(heat, rows((0,), (0,), crowding=(0.0,)), units, np.array([np.nan]), draws=1000)
    assert np.median(one.forecast.silk) == pytest.approx(np.median(other.forecast.silk), abs=1.5)
    assert other.pace < one.pace or scale == "gdd_f"


@pytest.mark.parametrize("today", [FIRST, date(2031, 7, 15), date(2031, 10, 1), date(2031, 12, 31)])
def test_a_season_in_every_state_has_a_forecast(today):
    told = forecast_known(lay(today), rows(), UNITS, SURE)
    assert np.isfinite(told.forecast.silk).all()
    assert told.forecast.steady


def known_lines(n_records=6) -> LinesKnown:
    mother = np.array([-1, -1, 0, 2])
    method = ["founder_inbred", "founder_inbred", "cross", "self"]
    selfings = np.array([0, 0, 0, 2])
    told = [(line, at) for line in (0, 1) for at in range(n_records)]
    return LinesKnown(
        mother,
        np.array([-1, -1, 1, -1]),
        method,
        selfings,
        find_mixed_frac(mother, method, selfings),
        np.array([one[0] for one in told], dtype=np.intp),
        np.array([one[1] for one in told], dtype=np.intp),
        np.array([(1300.0 + 60.0 * line + 9.0 * (at % 3 - 1), 1250.0 + 60.0 * line) for line, at in told]),
        np.ones(len(told)),
        n_records,
        np.zeros(0),
    )


YEARS = tuple(range(2025, 2031))
MEAN = np.array([1330.0, 1280.0])


def test_lines_by_records_and_pedigree_come_in_their_order():
    told = forecast_lines(HEAT, rows((0, 1, 2, 3), (0,) * 4, crowding=(0.0,) * 4), known_lines(), YEARS, MEAN)
    founder, late, cross, selfed = told.forecast.silk.mean(axis=1)
    assert founder < late
    assert cross < founder
    assert cross < selfed < late
    assert founder == pytest.approx(plain_day(1300.0), abs=1.5)


def test_fewer_records_make_wider_dates():
    few, many = (
        forecast_lines(HEAT, rows((0,), (0,), crowding=(0.0,)), known_lines(n), YEARS[:n], MEAN, draws=1000)
        for n in (1, 6)
    )
    assert few.forecast.silk.std() > many.forecast.silk.std()


def test_years_whose_weather_is_not_whole_hint_at_nothing():
    one = forecast_lines(HEAT, rows(), known_lines(), YEARS, MEAN)
    other = forecast_lines(HEAT, rows(), known_lines(), tuple(range(1925, 1931)), MEAN)
    assert np.isfinite(other.forecast.silk).all()
    assert abs(float(one.forecast.silk.mean() - other.forecast.silk.mean())) < 3.0


def test_same_seed_same_bytes():
    one, two = (forecast_lines(HEAT, rows(), known_lines(), YEARS, MEAN, seed=4) for _ in range(2))
    assert one.forecast.silk.tobytes() == two.forecast.silk.tobytes()


def test_a_row_sown_after_the_days_told_is_refused():
    with pytest.raises(ValueError, match="sown on day 300"):
        forecast_known(HEAT, rows(sown=(0, 0, 300)), UNITS, SURE)
    with pytest.raises(ValueError, match="sown on day 300"):
        forecast_lines(HEAT, rows(sown=(0, 0, 300)), known_lines(), YEARS, MEAN)


def test_spreads_handed_in_are_used():
    wide = replace(SPREADS, season_days=5.0)
    one = forecast_known(HEAT, rows(), UNITS, SURE, draws=1000).forecast.silk.std()
    assert forecast_known(HEAT, rows(), UNITS, SURE, wide, draws=1000).forecast.silk.std() > 2.0 * one
