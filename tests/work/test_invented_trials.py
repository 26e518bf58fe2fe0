"""Do the invented trials vary as much as they say, and no more?"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import numpy as np
import pytest

from firstsilk.invented.genes import GENETIC_VARIANCE_KG2_HA2
from firstsilk.invented.pedigrees import LineBook, build_line_book, learn_lines, list_hybrid
from firstsilk.invented.trials import (
    BLOCK_RATIO,
    BY_SITE_AND_YEAR_RATIO,
    BY_SITE_RATIO,
    BY_YEAR_RATIO,
    ERROR_RATIO,
    LOST_SHARE,
    PlotResult,
    TrialPlot,
    draw_interaction,
    draw_plot_yield,
    draw_site_year,
    lay_out_complete,
    play_trial,
)
from firstsilk.invented.weather import InventedWeather, simulate_weather
from firstsilk.science.trials.yields import yield_kg_ha

REPS = 8


pytestmark = pytest.mark.xdist_group("invented_trials")


@pytest.fixture(scope="module")
def weather() -> InventedWeather:
    return simulate_weather(1)


@pytest.fixture(scope="module")
def book() -> LineBook:
    book = build_line_book(1)
    pairs = [(one, other) for one in book.inbreds("Esker")[:20] for other in book.inbreds("Holm")[:10]]
    return learn_lines(book, [list_hybrid(*pair) for pair in pairs])


@pytest.fixture(scope="module")
def plots(book: LineBook) -> tuple[TrialPlot, ...]:
    return lay_out_complete(1, "T", "kettle", 2030, [hybrid.name for hybrid in book.hybrids()], REPS, 20)


@pytest.fixture(scope="module")
def results(book: LineBook, weather: InventedWeather, plots: tuple[TrialPlot, ...]) -> tuple[PlotResult, ...]:
    return play_trial(1, weather, book.truth.hybrids, plots)


def _yields(plots: tuple[TrialPlot, ...], results: tuple[PlotResult, ...]) -> np.ndarray:
    """Yields by rep and entry, NaN where lost."""
    names = sorted({plot.entry for plot in plots})
    table = np.full((REPS, len(names)), np.nan)
    for plot, result in zip(plots, results, strict=True):
        if result.weight_kg is not None and result.moisture_pct is not None:
            grain = yield_kg_ha(result.weight_kg, plot.plot_area_m2, result.moisture_pct)
            table[int(plot.rep) - 1, names.index(plot.entry)] = grain
    return table


def test_trial_when_played_twice_then_it_gives_the_same(
    book: LineBook, weather: InventedWeather, plots: tuple[TrialPlot, ...], results: tuple[PlotResult, ...]
) -> None:
    assert play_trial(1, weather, book.truth.hybrids, plots[:50]) == results[:50]
    assert play_trial(2, weather, book.truth.hybrids, plots[:50]) != results[:50]


def test_layout_when_complete_then_each_rep_holds_each_entry_once_at_a_place_of_its_own(
    plots: tuple[TrialPlot, ...],
) -> None:
    assert len({(plot.field_row, plot.field_col) for plot in plots}) == len(plots)
    assert [plot.plot for plot in plots] == list(range(1, len(plots) + 1))
    assert set(Counter((plot.rep, plot.entry) for plot in plots).values()) == {1}
    for one, following in pairwise(plots):
        if one.rep == following.rep:
            assert abs(one.field_col - following.field_col) + abs(one.field_row - following.field_row) == 1


def test_error_when_estimated_from_the_reps_then_it_is_as_stated(
    plots: tuple[TrialPlot, ...], results: tuple[PlotResult, ...]
) -> None:
    table = _yields(plots, results)
    rest = table - np.nanmean(table, axis=0) - np.nanmean(table, axis=1)[:, None] + np.nanmean(table)
    known = np.isfinite(rest)
    degrees = known.sum() - table.shape[1] - REPS + 1
    estimate = np.nansum(rest**2) / degrees
    # About 1,400 degrees of freedom: the estimate has a relative standard error near 4 %.
    assert estimate == pytest.approx(ERROR_RATIO * GENETIC_VARIANCE_KG2_HA2, rel=0.12)


def test_interactions_when_drawn_for_many_then_their_variances_are_as_stated() -> None:
    sites, years, entries = ("a", "b", "c", "d"), (1, 2, 3, 4), [str(at) for at in range(400)]
    drawn = np.array([[[draw_interaction(3, e, s, y) for y in years] for s in sites] for e in entries])
    unit = GENETIC_VARIANCE_KG2_HA2
    within = drawn - drawn.mean(axis=1, keepdims=True) - drawn.mean(axis=2, keepdims=True)
    within += drawn.mean(axis=(1, 2), keepdims=True)
    both = (within**2).sum() / (len(entries) * 9) / unit
    by_site = drawn.mean(axis=2).var(axis=1, ddof=1).mean() / unit - both / 4
    by_year = drawn.mean(axis=1).var(axis=1, ddof=1).mean() / unit - both / 4
    assert both == pytest.approx(BY_SITE_AND_YEAR_RATIO, rel=0.1)
    assert by_site == pytest.approx(BY_SITE_RATIO, rel=0.2)
    assert by_year == pytest.approx(BY_YEAR_RATIO, rel=0.2)


def test_blocks_when_drawn_for_many_then_their_variance_is_as_stated(book: LineBook, weather: InventedWeather) -> None:
    name, hybrid = next(iter(book.truth.hybrids.items()))
    site_year = draw_site_year(1, weather, "kettle", 2030)
    plots = [TrialPlot("B", "kettle", 2030, 1, "1", str(at), 1, 1, name) for at in range(2000)]
    drawn = [draw_plot_yield(1, plot, hybrid, site_year, 0.0) for plot in plots]
    assert np.var(drawn) == pytest.approx(BLOCK_RATIO * GENETIC_VARIANCE_KG2_HA2, rel=0.12)


def test_means_when_compared_with_the_truth_then_they_follow_it(
    book: LineBook, plots: tuple[TrialPlot, ...], results: tuple[PlotResult, ...]
) -> None:
    means = np.nanmean(_yields(plots, results), axis=0)
    true = np.array([book.truth.hybrids[name].yield_kg_ha for name in sorted({plot.entry for plot in plots})])
    seen = np.array([draw_interaction(1, name, "kettle", 2030) for name in sorted({plot.entry for plot in plots})])
    assert np.corrcoef(means, true + seen)[0, 1] > 0.9
    assert 0.4 < np.corrcoef(means, true)[0, 1] < 0.9


def test_plots_when_counted_then_some_are_lost_and_none_is_impossible(results: tuple[PlotResult, ...]) -> None:
    lost = [result for result in results if result.weight_kg is None]
    assert len(lost) / len(results) == pytest.approx(LOST_SHARE, abs=0.012)
    for result in results:
        assert bool(result.rejected) == (result.weight_kg is None)
        assert result.stand is not None
        assert result.root_lodged is not None
        assert result.stalk_lodged is not None
        assert result.root_lodged + result.stalk_lodged <= result.stand <= 64
        if result.moisture_pct is not None:
            assert 8 <= result.moisture_pct <= 45


def test_trial_when_an_entry_is_no_known_hybrid_then_it_is_not_played(book: LineBook, weather: InventedWeather) -> None:
    with pytest.raises(KeyError, match="EK101"):
        play_trial(1, weather, book.truth.hybrids, lay_out_complete(1, "T", "kettle", 2030, ["EK101"], 1, 1))
