"""What always holds of the demand by day, whatever the rows?"""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from firstsilk.science.flowering.demand import spread_demand

DAYS = st.floats(-10.0, 40.0)
ROWS = st.lists(st.tuples(DAYS, DAYS, st.integers(0, 30), st.integers(0, 30)), min_size=1, max_size=12)
WHOLE = {"first_day": -40, "n_days": 120}
"""Days that hold all of every row."""


def columns(rows):
    table = np.array(rows, dtype=np.float64)
    return table[:, :2], table[:, 2], table[:, 3]


@settings(max_examples=25)
@given(ROWS)
def test_totals_are_what_is_wanted_less_what_is_done(rows):
    silk, wanted, done = columns(rows)
    total = spread_demand(silk, wanted, done=done, **WHOLE).sum(axis=1)
    assert np.allclose(total, np.maximum(0.0, wanted - done).sum(), atol=1e-6)


@settings(max_examples=25)
@given(ROWS, st.randoms())
def test_the_order_of_rows_does_not_matter(rows, random):
    silk, wanted, done = columns(rows)
    other = list(range(len(rows)))
    random.shuffle(other)
    one = spread_demand(silk, wanted, 0, 30, done=done)
    assert np.allclose(spread_demand(silk[other], wanted[other], 0, 30, done=done[other]), one, atol=1e-9)


@settings(max_examples=25)
@given(ROWS)
def test_twice_the_pollinations_are_twice_the_demand(rows):
    silk, wanted, done = columns(rows)
    one = spread_demand(silk, wanted, 0, 30, done=done)
    assert np.allclose(spread_demand(silk, 2 * wanted, 0, 30, done=2 * done), 2 * one, atol=1e-9)


@settings(max_examples=25)
@given(ROWS, ROWS)
def test_two_nurseries_ask_for_the_sum_of_both(some, others):
    silk, wanted, done = columns(some + others)
    parts = [spread_demand(s, w, 0, 30, done=d) for s, w, d in (columns(some), columns(others))]
    assert np.allclose(spread_demand(silk, wanted, 0, 30, done=done), parts[0] + parts[1], atol=1e-9)


@settings(max_examples=25)
@given(ROWS, st.integers(-3, 35))
def test_a_cutoff_takes_days_away_and_changes_no_day_before_it(rows, cutoff):
    silk, wanted, done = columns(rows)
    free = spread_demand(silk, wanted, 0, 30, done=done)
    cut = spread_demand(silk, wanted, 0, 30, done=done, cutoff=cutoff)
    kept = max(0, cutoff + 1)
    assert np.all(cut >= 0)
    assert np.allclose(cut[:, :kept], free[:, :kept], atol=1e-9)
    assert np.allclose(cut[:, kept:], 0.0)


@settings(max_examples=25)
@given(ROWS, st.integers(1, 10))
def test_a_later_season_asks_for_the_same_later(rows, later):
    silk, wanted, done = columns(rows)
    one = spread_demand(silk, wanted, 0, 30, done=done)
    assert np.allclose(spread_demand(silk + later, wanted, later, 30, done=done), one, atol=1e-9)
