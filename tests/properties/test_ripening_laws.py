"""Which laws hold for ripening and frost bands, whatever the weather?"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from firstsilk.science.climate.frost import METHODS, FrostYears
from firstsilk.science.climate.frost_spread import spread_frost_day
from firstsilk.science.flowering.grain import dry_on_stalk_pct, frost_loss_by_share_pct, grain_moisture_pct
from firstsilk.science.flowering.ripe_chance import HybridNeed, estimate_ripe_chances, tabulate_ripening
from firstsilk.science.flowering.ripe_years import lay_out_seasons

FIRST, LAST = date(2001, 1, 1), date(2004, 12, 31)
DAYS = tuple(FIRST + timedelta(days=step) for step in range((LAST - FIRST).days + 1))


@st.composite
def weathers(draw):
    """Four years: units and minima drawn by seed, some days unknown."""
    dice = np.random.default_rng(draw(st.integers(0, 10_000)))
    wave = np.sin((np.array([day.timetuple().tm_yday for day in DAYS]) - 107) / 365 * 2 * np.pi)
    units = np.maximum(14 + 14 * wave + dice.normal(0, 4, len(DAYS)), 0.0)
    low = 2 + 10 * wave + dice.normal(0, 4, len(DAYS))
    units[dice.random(len(DAYS)) < draw(st.sampled_from([0.0, 0.0005]))] = np.nan
    return units, low


@settings(max_examples=40)
@given(weathers(), st.integers(1, 12), st.integers(1, 28), st.booleans())
def test_chance_never_rises_with_need_and_moisture_and_loss_never_fall(weather, month, day, south):
    units, low = weather
    laid = lay_out_seasons(DAYS, units, low, (month, day), -2.0, south)
    needs = [HybridNeed(str(need), need) for need in (800.0, 1500.0, 2000.0, 2400.0, 3000.0)]
    told = estimate_ripe_chances(tabulate_ripening(laid.seasons, needs, "chu"), needs)
    assert {one.years for one in told} == {len(laid.seasons)}
    if laid.seasons:
        chances = [one.chance for one in told]
        assert chances == sorted(chances, reverse=True)
        losses = [one.losses[0].plant_pct for one in told]
        assert losses == sorted(losses)
        assert all(loss == 0.0 for loss, chance in zip(losses, chances, strict=True) if chance == 1.0)
        dates = [one.black_layer_day for one in told if one.black_layer_day is not None]
        assert dates == sorted(dates)


@settings(max_examples=40)
@given(weathers(), st.floats(-6.0, 3.0), st.floats(-6.0, 3.0))
def test_chance_is_no_smaller_where_it_takes_a_harder_frost_to_kill(weather, one, other):
    units, low = np.nan_to_num(weather[0], nan=5.0), weather[1]
    needs = [HybridNeed("A", 2000.0), HybridNeed("B", 2300.0)]
    hard, soft = (
        estimate_ripe_chances(
            tabulate_ripening(lay_out_seasons(DAYS, units, low, (5, 12), killing).seasons, needs, "chu"), needs
        )
        for killing in sorted((one, other))
    )
    assert all(left.chance >= right.chance for left, right in zip(hard, soft, strict=True))


@given(
    st.floats(300.0, 2000.0),
    st.floats(200.0, 2000.0),
    st.lists(st.floats(0.0, 6000.0), min_size=2, max_size=20),
    st.sampled_from(["chu", "gdd_f", "gdd_c"]),
)
def test_grain_moisture_never_rises_and_stays_between_its_ends(silk, filling, units, scale):
    wet = grain_moisture_pct(np.sort(units), silk, silk + filling, scale)
    assert (np.diff(wet[np.isfinite(wet)]) <= 1e-9).all()
    known = wet[np.isfinite(wet)]
    assert ((known >= 15.0) & (known <= 85.0)).all()


@given(st.floats(15.0, 85.0), st.floats(0.0, 3000.0), st.floats(0.0, 3000.0))
def test_drying_in_two_steps_is_drying_in_one(wet, first, then):
    once = dry_on_stalk_pct(wet, first + then, "chu")
    twice = dry_on_stalk_pct(dry_on_stalk_pct(wet, first, "chu"), then, "chu")
    assert abs(float(once) - float(twice)) < 1e-9


@given(st.lists(st.floats(-1.0, 3.0), min_size=1, max_size=20))
def test_loss_is_between_nothing_and_the_first_of_the_table_and_leaves_cost_less(shares):
    plant, leaves = (frost_loss_by_share_pct(np.sort(shares), killed) for killed in ("plant", "leaves"))
    assert (np.diff(plant) <= 1e-12).all()
    assert ((plant >= leaves) & (leaves >= 0.0) & (plant <= 40.0)).all()


@settings(max_examples=60)
@given(
    st.lists(st.integers(200, 330), min_size=1, max_size=15),
    st.integers(0, 8),
    st.floats(0.02, 0.98),
    st.sampled_from(METHODS),
    st.sampled_from(["first_autumn", "last_spring"]),
)
def test_frost_band_is_ordered_and_a_wider_level_holds_it(days, without, chance, method, event):
    years = tuple(range(2001, 2001 + len(days) + without))
    frosts = FrostYears(event, years, years[: len(days)], tuple(days), ())
    if len(years) < 2:
        assert spread_frost_day(frosts, chance, method) is None
        return
    narrow, wide = (
        spread_frost_day(frosts, chance, method, resamples=60, dice=np.random.default_rng(1), level=level)
        for level in (0.5, 0.9)
    )
    # A frost that does not come is later than all in autumn, and earlier than all in spring.
    never = np.inf if event == "first_autumn" else -np.inf
    (low, high), (lowest, highest) = (
        [never if end is None else end for end in (one.low, one.high)] for one in (narrow, wide)
    )
    assert lowest <= low <= high <= highest
    if method == "percentile" and wide.low is not None:
        assert min(days) <= wide.low <= max(days)
    assert narrow.without_date == wide.without_date
