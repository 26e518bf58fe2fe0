"""Do the analyses of one field and one series rest on their plots, with intervals that hold what they say?"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import Plot, PlotRecord, Trial
from firstsilk.work.analysis.series import list_series, read_series
from firstsilk.work.analysis.trial_map import read_trial_map
from tests.trial_cast import make_grown_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    return make_grown_cast(16)


def test_series_are_listed_with_their_trials_and_those_without_a_name_by_year(cast) -> None:
    assert [(one.name, one.years, len(one.trials)) for one in list_series(cast.on)] == [("TC1", (2031,), 4)]
    Trial.objects.filter(name="fell-2031").update(series="")
    assert [one.name for one in list_series(cast.on)] == ["TC1", "trials of 2031"]


def test_entries_stand_from_the_best_down_with_intervals_about_their_value(cast) -> None:
    found = read_series(cast.on, "TC1")
    values = [one.value for one in found.entries]
    assert values == sorted(values, reverse=True)
    assert len(found.entries) == 18
    for one in found.entries:
        assert one.low < one.value < one.high
        assert one.difference_low < one.difference < one.difference_high
        assert one.n_plots == 8
    checks = [one.value for one in found.entries if one.is_check]
    assert found.compared == ("CHECK-1", "CHECK-2")
    for one in found.entries:
        assert one.difference == pytest.approx(one.value - np.mean(checks))


def test_against_the_best_the_best_has_no_difference_and_none_is_above_it(cast) -> None:
    found = read_series(cast.on, "TC1", against="best")
    assert found.against == found.entries[0].entry
    assert found.entries[0].difference is None
    assert all(one.difference <= 0 for one in found.entries[1:])


def test_intervals_of_differences_hold_the_truth_about_as_often_as_said(cast) -> None:
    """18 entries in 4 trials: the truth of a line less that of the checks, as planted (two-sided, binomial room)."""
    found = read_series(cast.on, "TC1")
    truth = {one.entry: cast.truth[one.entry] for one in found.entries}
    checks = np.mean([truth[name] for name in found.checks])
    held = [one.difference_low <= truth[one.entry] - checks <= one.difference_high for one in found.entries]
    assert sum(held) >= 15


def test_moisture_is_best_where_it_is_lowest(cast) -> None:
    found = read_series(cast.on, "TC1", "moisture_pct")
    values = [one.value for one in found.entries]
    assert values == sorted(values)
    own = found.responses
    for group in own.places.groups:
        at = [own.table.environments.index(name) for name in group.environments]
        means = dict(zip(own.table.entries, own.table.means[:, at].mean(axis=1), strict=True))
        assert means[group.entry] <= np.median(list(means.values()))
    nearest = min(own.stability, key=lambda one: one.superiority)
    assert nearest.mean < np.mean([one.mean for one in own.stability])


def test_responses_are_of_the_entries_that_stood_everywhere(cast) -> None:
    gone = Plot.objects.filter(trial__name="fell-2031", entry__name="S-T/N00")
    PlotRecord.objects.filter(plot__in=gone).delete()
    gone.delete()
    own = read_series(cast.on, "TC1").responses
    assert own.left_out == ("S-T/N00",)
    assert own.table.means.shape == (17, 4)
    assert set(own.table.environments) == {"Beck", "Fell", "Home", "Tarn"}
    assert all(variance > 0 for variance in own.error_variance)
    assert sum(len(one.environments) for one in own.places.groups) == 4


def test_the_same_seed_gives_the_same_answer(cast) -> None:
    one, other = (read_series(cast.on, "TC1", seed=3).responses.places.groups for _ in range(2))
    assert one == other


def test_one_trial_alone_tells_no_response(cast) -> None:
    Trial.objects.exclude(name="home-2031").update(series="other")
    found = read_series(cast.on, "TC1")
    assert found.responses is None
    assert "One trial only" in found.no_responses


def test_what_is_not_there_is_refused_by_name(cast) -> None:
    with pytest.raises(InputRefused, match="no series 'nothing'"):
        read_series(cast.on, "nothing")
    with pytest.raises(InputRefused, match="no trait 'height'"):
        read_series(cast.on, "TC1", "height")
    with pytest.raises(InputRefused, match="no trait 'height'"):
        read_trial_map(cast.on, "home-2031", "height")
    with pytest.raises(InputRefused, match="no trial 'nothing'"):
        read_trial_map(cast.on, "nothing")


def test_a_field_holds_every_plot_and_says_why_one_has_no_value(cast) -> None:
    first = PlotRecord.objects.filter(plot__trial__name="home-2031").order_by("plot__number").first()
    first.rejected = "deer"
    first.save()
    found = read_trial_map(cast.on, "home-2031")
    assert len(found.plots) == 36
    assert found.plots[0].why == "rejected: deer"
    assert found.plots[0].left is None
    told = [one for one in found.plots if one.measured is not None]
    assert found.mean == pytest.approx(np.mean([one.measured for one in told]))
    assert found.left_sd == pytest.approx(np.std([one.left for one in told]))
    assert found.lags.n == 35
    assert found.is_placed
    assert "1 plot: rejected" in found.basis.as_text()


def test_a_field_without_places_has_no_lags_and_says_so(cast) -> None:
    Plot.objects.filter(trial__name="home-2031", number=2).update(field_row=None)
    found = read_trial_map(cast.on, "home-2031")
    assert not found.is_placed
    assert found.lags is None
    assert "no place in the field" in found.no_lags


def test_before_the_records_came_there_is_nothing(cast) -> None:
    early = replace(cast.on, today=cast.on.today.replace(month=1))
    assert list_series(early) == ()
    with pytest.raises(InputRefused):
        read_trial_map(early, "home-2031")


def test_no_figure_is_nan(cast) -> None:
    found = read_series(cast.on, "TC1", "erect_frac")
    assert all(math.isfinite(one.value) for one in found.entries)
