"""Are a trial's doubtful plots told as findings with place, value and repair, and is nothing changed by it?"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.answers import InputRefused, Place
from firstsilk.records.models import Line, Plot, PlotRecord, Site, Trial
from firstsilk.science.analysis.plot_doubts import check_trial
from firstsilk.work.analysis.plot_findings import PlotLabel, list_looks, tell_doubts, write_number
from firstsilk.work.analysis.plot_quality import judge_plots
from tests.planted_trials import Grown, Shape, arrange, grow_trial, plant_shift
from tests.trial_cast import make_station

SHAPE = Shape(24, 3, 12, repeatability=0.8, ground=0.1)


def spoilt() -> Grown:
    """A pass recorded late, and a plot weighed twice."""
    dice = np.random.default_rng(11)
    grown = plant_shift(grow_trial(SHAPE, dice), 24, 35, True, dice)
    grown.values[5] *= 2
    return grown


def put_in(cast, name, grown):
    """The grown trial in the books, yields a hundred times as large, moisture as if all the same."""
    site = Site.objects.get(station=cast.station, code="tarn")
    trial = Trial.objects.create(station=cast.station, name=name, site=site, year=2031, reps=3, plot_area_m2=8.0)
    lines = [
        Line.objects.create(station=cast.station, name=f"Q-{k}", kind="hybrid") for k in range(grown.shape.entries)
    ]
    for at in range(len(grown.entry)):
        told = {"rep": str(grown.rep[at] + 1), "field_row": grown.row[at] + 1, "field_col": grown.col[at] + 1}
        plot = Plot.objects.create(
            station=cast.station, trial=trial, number=at + 101, entry=lines[grown.entry[at]], **told
        )
        PlotRecord.objects.create(
            station=cast.station, plot=plot, yield_kg_ha_15_5=400 * grown.values[at, 0], recorded_at=cast.on.now
        )
    return trial


def test_findings_when_a_pass_is_shifted_and_a_plot_spoilt_then_each_says_where_and_what_to_do():
    grown = spoilt()
    doubts = check_trial(arrange(grown))
    labels = [PlotLabel(str(at + 101), Place("plots.csv", at + 2)) for at in range(len(grown.entry))]
    found = {one.code: one for one in tell_doubts(doubts, labels, {"t0": "yield, t"})}
    shift, odd = found["shifted_pass"], found["plot_far_out"]
    assert "recorded one plot late" in shift.message
    assert shift.place.file == "plots.csv"
    assert abs(int(shift.message.split()[1]) - 125) <= 2
    assert "correlation with the plan" in shift.value
    assert "one plot back" in shift.repair
    assert (odd.place.line, odd.place.column) == (7, "t0")
    assert odd.message.startswith("plot 106 (E")
    assert "two plots in one record" in odd.repair
    assert not any(one.stops for one in found.values())
    looks = list_looks(doubts, doubts.traits[0], labels)
    assert [one.plot for one in looks if one.odd] == ["106"]
    assert sum(one.shifted for one in looks) >= 8


@pytest.mark.django_db
def test_plots_of_a_trial_when_judged_then_findings_and_nothing_in_the_books_is_changed():
    cast = make_station()
    put_in(cast, "Q-31", spoilt())
    before = list(PlotRecord.objects.values())
    found = judge_plots(cast.on, "Q-31")
    assert [one.code for one in found.findings][:2] == ["shifted_pass", "plot_far_out"]
    assert found.shift_odds > 20
    assert [one.trait for one in found.traits] == ["yield_kg_ha_15_5"]
    assert found.traits[0].repeatability > 0.5
    assert list(PlotRecord.objects.values()) == before
    assert "harvest" in found.basis.as_text()


@pytest.mark.django_db
def test_plots_when_the_odd_one_is_rejected_then_it_is_told_no_more():
    cast = make_station()
    trial = put_in(cast, "Q-31", spoilt())
    PlotRecord.objects.create(
        station=cast.station,
        plot=Plot.objects.get(trial=trial, number=106),
        rejected="two plots in one bag",
        recorded_at=cast.on.now,
    )
    found = judge_plots(cast.on, "Q-31")
    assert "plot_far_out" not in [one.code for one in found.findings]
    look = next(one for one in found.traits[0].plots if one.plot == "106")
    assert (look.value, look.rejected, look.expected is None) == (None, True, False)


@pytest.mark.django_db
def test_plots_when_none_has_data_then_refused():
    cast = make_station()
    grown = grow_trial(Shape(12, 2, 12), np.random.default_rng(1))
    trial = put_in(cast, "Q-31", grown)
    PlotRecord.objects.filter(plot__trial=trial).delete()
    with pytest.raises(InputRefused, match="No plot of Q-31 tells"):
        judge_plots(cast.on, "Q-31")


@pytest.mark.parametrize(("value", "told"), [(0.0, "0"), (12345.6, "12,346"), (7.0912, "7.091"), (0.01234, "0.01234")])
def test_numbers_have_about_four_figures(value, told):
    assert write_number(value) == told
