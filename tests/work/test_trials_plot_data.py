"""Does plot data go in whole or not at all, once, with every doubt told?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.files.plots import read_plot_readings
from firstsilk.faces.files.tables import table_from_bytes
from firstsilk.records.models import PlotRecord, Trial
from firstsilk.work.occasion import stay_silent
from firstsilk.work.trials.lay_out import design_trial
from firstsilk.work.trials.plot_data import PlotReading, record_plot_data
from firstsilk.work.trials.reading import list_trials, read_trial
from tests.trial_cast import add_hybrids, add_lines, make_station

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    made = make_station()
    add_hybrids(made, add_lines(made, 2), kernels=600)
    entries = ["N-T/S01", "S-T/N00"]
    spring = replace(made.on, today=date(2031, 4, 10))
    design_trial(spring, "T", "", "tarn", 2031, entries, ["CHECK-1"], 2, 8.0, 75, 1, stay_silent)
    return made


def full(n=6):
    return [
        PlotReading(plot, 7.0 + plot / 10, 22.0, stand=60, root_lodged=1, stalk_lodged=2) for plot in range(1, n + 1)
    ]


def test_yield_is_restated_at_fifteen_and_a_half_percent(cast):
    got = record_plot_data(cast.on, "T", [PlotReading(1, 7.0, 22.0)], "file")
    assert (got.n_stored, got.n_yields) == (1, 1)
    # 7.0 kg of which 78 % is dry matter, stated with 84.5 % dry matter, on 8 m2.
    assert read_trial(cast.on, "T").plots[0].yield_kg_ha_15_5 == pytest.approx(7.0 * 78 / 84.5 / 8 * 10_000)
    assert got.plots_without_record == (2, 3, 4, 5, 6)


def test_the_same_file_twice_changes_nothing(cast):
    assert record_plot_data(cast.on, "T", full(), "file").n_stored == 6
    again = record_plot_data(cast.on, "T", full(), "file")
    assert (again.n_stored, again.n_same, again.n_yields) == (0, 6, 6)
    assert PlotRecord.objects.count() == 6


def test_a_corrected_reading_is_added_and_the_newest_counts(cast):
    record_plot_data(cast.on, "T", full(), "file")
    later = replace(cast.on, now=cast.on.now + timedelta(hours=1))
    got = record_plot_data(later, "T", [replace(full()[0], weight_kg=9.0)], "correction")
    assert (got.n_stored, got.plots_without_record) == (1, ())
    assert PlotRecord.objects.count() == 7
    assert read_trial(cast.on, "T").plots[0].weight_kg == 9.0


def test_a_rejected_plot_keeps_its_weight_and_has_no_yield(cast):
    got = record_plot_data(cast.on, "T", [PlotReading(1, 7.0, 22.0, rejected="run over")], "file")
    assert (got.n_yields, got.n_rejected) == (0, 1)
    plot = read_trial(cast.on, "T").plots[0]
    assert (plot.weight_kg, plot.yield_kg_ha_15_5, plot.rejected) == (7.0, None, "run over")


@pytest.mark.parametrize(
    ("bad", "code"),
    [
        (PlotReading(99, 7.0, 22.0), "plot_unknown"),
        (PlotReading(1, 7.0, 22.0), "plot_twice"),
        (PlotReading(3, -1.0, 22.0), "negative"),
        (PlotReading(3, 7.0, 100.0), "not_a_moisture"),
        (PlotReading(3, 7.0, -1.0), "not_a_moisture"),
        (PlotReading(3, 7.0, 22.0, stand=10, root_lodged=8, stalk_lodged=3), "more_lie_than_stand"),
        (PlotReading(3, 7.0, 22.0, stand=-1), "negative"),
        (PlotReading(3, 7.0, 22.0, entry="nobody"), "entry_differs"),
    ],
)
def test_what_cannot_be_true_stops_the_whole_file(cast, bad, code):
    with pytest.raises(InputRefused) as no:
        record_plot_data(cast.on, "T", [PlotReading(1, 7.0, 22.0), PlotReading(2, 7.0, 22.0), bad], "file")
    assert code in {finding.code for finding in no.value.findings if finding.stops}
    assert not PlotRecord.objects.exists()


@pytest.mark.parametrize(
    ("odd", "code", "yields"),
    [
        (PlotReading(3, 7.0, 7.9), "moisture_odd", 1),
        (PlotReading(3, 7.0, 45.1), "moisture_odd", 1),
        (PlotReading(3, 7.0), "half_told", 0),
        (PlotReading(3, None, 22.0), "half_told", 0),
        (PlotReading(3, 70.0, 22.0), "yield_odd", 1),
    ],
)
def test_what_is_odd_is_stored_and_told(cast, odd, code, yields):
    got = record_plot_data(cast.on, "T", [odd], "file")
    assert (got.n_stored, got.n_yields) == (1, yields)
    assert [finding.code for finding in got.findings] == [code]


def test_bounds_of_moisture_are_not_odd(cast):
    got = record_plot_data(cast.on, "T", [PlotReading(1, 7.0, 8.0), PlotReading(2, 7.0, 45.0)], "file")
    assert got.findings == ()


def test_plots_out_of_field_order_are_told(cast):
    got = record_plot_data(cast.on, "T", [PlotReading(2, 7.0, 22.0), PlotReading(1, 7.0, 22.0)], "file")
    assert [finding.code for finding in got.findings] == ["out_of_order"]


def test_a_thin_stand_is_told_where_the_intended_stand_is_known(cast):
    Trial.objects.update(plants_per_plot=60)
    got = record_plot_data(cast.on, "T", [PlotReading(1, 7.0, 22.0, stand=41)], "file")
    assert [finding.code for finding in got.findings] == ["stand_thin"]


def test_a_trial_without_plot_area_stores_weights_and_says_that_yields_are_missing(cast):
    Trial.objects.update(plot_area_m2=None)
    got = record_plot_data(cast.on, "T", full(), "file")
    assert (got.n_stored, got.n_yields) == (6, 0)
    assert "plot area" in got.basis.as_text()


def read(text, trial="T"):
    return read_plot_readings(table_from_bytes(text.encode(), "data.csv"), trial)


def test_a_table_of_plot_data_is_read_with_its_lines():
    readings, findings = read("plot,weight_kg,moisture_pct,stand,rejected\n3,7.1,22.5,61,\n4,,,,run over\n")
    assert readings[0] == PlotReading(3, 7.1, 22.5, stand=61)
    assert readings[0].place.line == 2
    assert readings[1].rejected == "run over"
    assert findings == ()


@pytest.mark.parametrize(
    ("column", "meant"),
    [("Weight_kg", "weight_kg"), ("weight", "weight_kg"), ("grain_weight", "weight_kg"), ("moist", "moisture_pct"),
     ("Plot", "plot"), ("stalk lodged", "stalk_lodged")],
)  # fmt: skip
def test_a_renamed_column_stops_the_file_with_the_nearest_name(column, meant):
    header = [name for name in ("plot", "weight_kg", "moisture_pct") if name != meant]
    with pytest.raises(InputRefused) as no:
        read(",".join([*header, column]) + "\n1,2,3\n")
    assert no.value.findings[0].code == "column_renamed"
    assert f"'{meant}'" in no.value.findings[0].repair
    assert no.value.findings[0].place.line == 1


def test_a_foreign_column_is_told_and_the_file_is_read():
    readings, findings = read("plot,weight_kg,operator\n1,7,Q\n")
    assert len(readings) == 1
    assert [(finding.code, finding.stops) for finding in findings] == [("column_not_read", False)]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("plot,weight_kg\nx,7\n", "not_a_number"),
        ("plot,weight_kg\n,7\n", "plot_missing"),
        ("plot,weight_kg\n1,seven\n", "not_a_number"),
        ("plot,stand\n1,7.5\n", "not_whole"),
        ("plot,trial,stand\n1,OTHER,7\n", "other_trial"),
        ("plot,entry\n1,E\n", "nothing_told"),
        ("weight_kg\n7\n", "column_missing"),
        ("plot,weight_kg\n", "no_rows"),
    ],
)
def test_a_bad_table_is_refused_with_file_and_line(text, code):
    with pytest.raises(InputRefused) as no:
        read(text)
    assert code in {finding.code for finding in no.value.findings}
    assert all(finding.place.file == "data.csv" and finding.place.line for finding in no.value.findings)


def test_the_books_can_be_looked_at_as_they_stood_before_the_data_came(cast):
    record_plot_data(cast.on, "T", full(), "file")
    before = replace(cast.on, today=cast.on.today - timedelta(days=1))
    assert read_trial(before, "T").n_with_record == 0
    assert list_trials(before).trials[0].n_with_record == 0
    winter = replace(cast.on, today=date(2031, 4, 9))
    assert list_trials(winter).trials == ()
    with pytest.raises(InputRefused, match="was laid out on 2031-04-10"):
        read_trial(winter, "T")
    assert list_trials(cast.on).trials[0].n_with_record == 6


def test_a_correction_counts_even_from_a_clock_that_runs_behind(cast):
    record_plot_data(cast.on, "T", full(), "file")
    behind = replace(cast.on, now=cast.on.now - timedelta(days=900))
    record_plot_data(behind, "T", [replace(full()[0], weight_kg=9.0)], "correction")
    assert read_trial(cast.on, "T").plots[0].weight_kg == 9.0
