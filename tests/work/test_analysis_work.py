"""Does the analysis of trials find the truth behind simulated plots, say what it did, and keep what it found?"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import Estimate, Line, PlotRecord, Result, Site
from firstsilk.work.analysis.analyse import analyse_trials
from firstsilk.work.analysis.fits import fit_plots
from firstsilk.work.analysis.plots import PlotValue, read_plot_values
from firstsilk.work.analysis.reading import find_analysis, find_analysis_with_year, read_analysis
from firstsilk.work.occasion import StopAsked, stay_silent
from tests.trial_cast import add_hybrids, add_lines, grow_trials, make_grown_cast, make_station

pytestmark = pytest.mark.django_db

YIELD = "yield_kg_ha_15_5"


def analyse(cast, trait=YIELD, years=()):
    return analyse_trials(cast.on, years, trait, 1, stay_silent)


def test_predictions_follow_the_truth_and_their_errors_hold():
    cast = make_grown_cast(30)
    found = analyse(cast)
    lines = [one for one in found.of_kind("gca") if not one.is_tester]
    value = np.array([one.value for one in lines])
    truth = np.array([cast.truth[one.line] for one in lines])
    # Entry variance 450^2, entry within trial 250^2 at 4 sites, error 450^2 in 8 plots: accuracy about 0.92.
    assert np.corrcoef(value, truth)[0, 1] > 0.8
    off = (value - value.mean()) - (truth - truth.mean())
    within = np.abs(off) <= 2.0 * np.array([one.se for one in lines])
    assert within.mean() > 0.8
    assert found.variances[0].term == "entry"
    assert 0.3 * 450**2 < found.variances[0].value < 2.5 * 450**2


def test_a_line_is_worth_the_mean_of_its_hybrids():
    cast = make_station()
    lines = add_lines(cast, 8)
    hybrids = add_hybrids(cast, lines)
    other = Line.objects.create(station=cast.station, name="S-T2", group="S", is_tester=True)
    for line in lines[:2]:
        second = Line.objects.create(
            station=cast.station, name=f"S-T2/{line.name}", kind="hybrid", method="cross", mother=other, father=line
        )
        cast.truth[second.name], cast.moisture_truth[second.name] = cast.truth[line.name], 0.0
        hybrids.append(second)
    grow_trials(cast, hybrids, 2031)
    found = analyse(cast)
    value = {one.line: one.value for one in found.of_kind("blup")}
    gca = {one.line: one for one in found.of_kind("gca")}
    tester = "S-T" if lines[0].group == "N" else "N-T"
    expected = (value[f"{tester}/{lines[0].name}"] + value[f"S-T2/{lines[0].name}"]) / 2
    assert gca[lines[0].name].value == pytest.approx(expected)
    assert gca[lines[0].name].n_plots == 16
    single = next(one for one in gca.values() if one.line == lines[3].name)
    assert gca[lines[0].name].se < single.se


def test_the_chance_to_beat_the_checks_agrees_with_difference_and_error():
    cast = make_grown_cast(12)
    for one in analyse(cast).of_kind("blup"):
        assert (one.better_probability > 0.5) == (one.versus_checks > 0)
    for one in analyse(cast, "moisture_pct").of_kind("blup"):
        assert (one.better_probability > 0.5) == (one.versus_checks < 0)


def test_the_difference_to_the_checks_is_that_of_the_estimates():
    found = analyse(make_grown_cast(6))
    checks = [one.value for one in found.of_kind("blup") if one.is_check]
    assert len(checks) == 2
    for one in found.of_kind("blup"):
        assert one.versus_checks == pytest.approx(one.value - sum(checks) / 2, abs=1e-6)


def test_what_is_stored_is_what_was_given_and_says_what_made_it():
    cast = make_grown_cast(6)
    given = analyse(cast)
    assert read_analysis(cast.on) == given
    result = Result.objects.get()
    assert (result.seed, result.n_records, result.settings["trait"]) == (1, 64, YIELD)
    assert len(result.inputs_hash) == 64
    assert Estimate.objects.filter(kind="blue").count() == 8
    assert "64 plots, 4 trials, 8 entries" in given.basis.as_text()


def test_the_inputs_hash_changes_with_one_plot_and_not_with_time():
    cast = make_grown_cast(4)
    before = read_plot_values(cast.station, (), YIELD).hash()
    assert read_plot_values(cast.station, (), YIELD).hash() == before
    PlotRecord.objects.filter(pk=PlotRecord.objects.first().pk).update(yield_kg_ha_15_5=1.0)
    assert read_plot_values(cast.station, (), YIELD).hash() != before


def test_only_the_years_asked_for_take_part():
    cast = make_station()
    hybrids = add_hybrids(cast, add_lines(cast, 6))
    for year in (2029, 2030, 2031):
        grow_trials(cast, hybrids, year)
    assert analyse(cast, years=(2030,)).years == (2030,)
    both = analyse(cast, years=(2030, 2031))
    assert both.of_kind("blup")[0].n_years == 2
    assert find_analysis(cast.on, YIELD, (2030,)).years == (2030,)
    assert find_analysis_with_year(cast.on, YIELD, 2030).years == (2030,)
    assert find_analysis_with_year(cast.on, YIELD, 2031).years == (2030, 2031)
    assert find_analysis(cast.on, YIELD, (2029,)) is None
    with pytest.raises(InputRefused, match="no analysis"):
        read_analysis(cast.on, YIELD, (2029,))


def test_an_analysis_of_a_later_day_is_not_seen_before():
    cast = make_grown_cast(4)
    analyse(cast)
    assert find_analysis(replace(cast.on, today=cast.on.today - timedelta(days=1))) is None


def test_rejected_plots_and_silent_ones_are_left_out_and_counted():
    cast = make_grown_cast(6)
    records = list(PlotRecord.objects.order_by("id"))
    PlotRecord.objects.filter(pk=records[0].pk).update(rejected="run over")
    records[1].delete()
    found = analyse(cast)
    assert "62 plots" in found.basis.as_text()
    assert set(found.basis.missing) == {"1 plot rejected", "1 plot without a record"}


def test_standing_is_the_share_of_plants_that_neither_lean_nor_broke():
    cast = make_grown_cast(3)
    record = PlotRecord.objects.order_by("id").first()
    PlotRecord.objects.filter(pk=record.pk).update(stand=50, root_lodged=5, stalk_lodged=10)
    values = read_plot_values(cast.station, (), "erect_frac").plots
    assert min(one.value for one in values) == pytest.approx(0.7)


def test_one_trial_alone_is_fitted_and_said_to_be_one():
    cast = make_station()
    Site.objects.exclude(code="home").delete()
    grow_trials(cast, add_hybrids(cast, add_lines(cast, 10)), 2031)
    found = analyse(cast)
    assert "One trial only" in found.said[0]
    assert "trial (fixed)" not in found.model


def test_one_replicate_at_each_site_leaves_the_interaction_in_the_residual_and_says_so():
    cast = make_station()
    grow_trials(cast, add_hybrids(cast, add_lines(cast, 12)), 2031, reps=1)
    found = analyse(cast)
    assert any("part of the residual" in one for one in found.said)
    assert "within trial" not in found.model
    assert {one.words for one in found.quality} == {"cannot be told: no replicates"}
    lines = [one for one in found.of_kind("gca") if not one.is_tester]
    value, truth = [one.value for one in lines], [cast.truth[one.line] for one in lines]
    assert np.corrcoef(value, truth)[0, 1] > 0.5


def test_a_single_unreplicated_trial_carries_no_model():
    plots = [PlotValue("T", "home", 2031, "T 1", f"E{k}", k, False, 8000.0 + 10 * k) for k in range(6)]
    with pytest.raises(InputRefused, match="carry no model"):
        fit_plots(plots)


def test_more_entries_than_can_be_set_beside_each_other_are_refused():
    plots = [PlotValue("T", "home", 2031, "T 1", f"E{k}", k, False, 8000.0 + k % 7) for k in range(3_001)]
    with pytest.raises(InputRefused, match="3001 entries are too many at once"):
        fit_plots(plots)


def test_entries_that_meet_in_no_trial_are_refused_or_said():
    rng = np.random.default_rng(1)
    plots = [
        PlotValue(trial, trial, 2031, f"{trial} {rep}", f"{trial}{k}", 10 * at + k, False, float(rng.normal(8000, 300)))
        for at, trial in enumerate("AB")
        for rep in (1, 2, 3)
        for k in range(6)
    ]
    fitted = fit_plots(plots)
    assert fitted.fixed is None
    assert any("entries fixed" in one for one in fitted.said)


def test_a_trial_without_differences_is_called_weak():
    cast = make_station()
    lines = add_lines(cast, 16)
    hybrids = add_hybrids(cast, lines)
    for name in cast.truth:
        cast.truth[name] = 0.0
    grow_trials(cast, hybrids, 2031, error=2500.0)
    assert any(one.words.startswith("weak") for one in analyse(cast).quality)
    assert all(one.error_cv_pct > 20 for one in analyse(cast).quality)


def test_no_plots_and_unknown_traits_are_refused():
    cast = make_station()
    with pytest.raises(InputRefused, match="No plot of all years"):
        analyse(cast)
    with pytest.raises(InputRefused, match="no trait 'height'"):
        analyse(cast, "height")


def test_an_analysis_that_is_stopped_leaves_nothing():
    cast = make_grown_cast(4)

    def stop(share_frac, message):
        if share_frac > 0.5:
            raise StopAsked

    with pytest.raises(StopAsked):
        analyse_trials(cast.on, (), YIELD, 1, stop)
    assert not Result.objects.exists()
