"""What did the plots give, as told by one file or form? All of it goes into the books, or none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from django.db import transaction

from firstsilk.answers import Finding, Place, stop_if_any
from firstsilk.records.models import Plot, PlotRecord, Station, Trial
from firstsilk.science.trials.yields import yield_kg_ha
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_station, get_trial
from firstsilk.work.trials.newest import read_newest_records

MOISTURE_ODD_BELOW_PCT = 8.0
MOISTURE_ODD_ABOVE_PCT = 45.0
"""Grain moisture outside these is doubted at harvest: common practice, no source. Meters read about 5 to 45 %."""
YIELD_ODD_ABOVE_KG_HA = 25_000.0
"""A yield above this is more likely a wrong unit or area than maize: common practice, no source."""
STAND_ODD_BELOW_FRAC = 0.7
"""A plot under this share of its intended stand is doubted: trial practice, no source; set before yields are seen."""


MOST_WEIGHT_KG, MOST_PLANTS = 100_000.0, 1_000_000
"""More than a plot of the largest area (1 ha) can give or hold: a slip of the keyboard (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class PlotReading:
    """What one line of a file or form says about one plot; None where it says nothing.

    `entry`, where it is given, must be what grows on the plot: a file that has slipped by a line is found so.
    """

    plot: int
    weight_kg: float | None = None
    moisture_pct: float | None = None
    test_weight_kg_hl: float | None = None
    stand: int | None = None
    root_lodged: int | None = None
    stalk_lodged: int | None = None
    rejected: str = ""
    entry: str = ""
    place: Place = field(default_factory=Place, compare=False)

    def is_silent(self) -> bool:
        """Whether the line names a plot and says nothing about it."""
        told = (self.weight_kg, self.moisture_pct, self.test_weight_kg_hl, self.stand)
        return not self.rejected and all(v is None for v in (*told, self.root_lodged, self.stalk_lodged))


@dataclass(frozen=True, slots=True)
class Received:
    """What came of plot data: stored, known before, yields computed, what is odd, and what is still missing."""

    trial: str
    n_given: int
    n_stored: int
    n_same: int
    n_yields: int
    n_rejected: int
    findings: tuple[Finding, ...]
    plots_without_record: tuple[int, ...]
    basis: Basis


def record_plot_data(on: Occasion, trial: str, records: Sequence[PlotReading], source: str) -> Received:
    """Store what plots gave; the newest record of a plot counts and none is overwritten.

    Parameters
    ----------
    on
        The occasion.
    trial
        Name of the trial.
    records
        One reading for each plot told of.
    source
        The file or form it came from.

    Returns
    -------
    Received
        Counts, doubts (findings that do not stop) and the plots still without a record.

    Raises
    ------
    InputRefused
        If any reading cannot be true: unknown plot, plot twice, negative weight, moisture not a percentage, more
        plants lying than standing. Nothing is stored then.

    Notes
    -----
    Yield [kg/ha at 15.5 %] = weight (100 - moisture) / 84.5 x 10,000 / area, only where weight, moisture and area are
    known and the plot is not rejected. A reading equal to the newest record of its plot is not stored again.
    """
    station = get_station(on.station)
    found = get_trial(station, trial)
    with transaction.atomic():
        Station.objects.select_for_update().get(pk=station.pk)
        plots = {plot.number: plot for plot in _read_plots(station, found)}
        findings = _check_readings(found, plots, records)
        stop_if_any(findings)
        kept = [one for one in records if not one.is_silent()]
        before = read_newest_records(station, [found.pk])
        made = [_make_record(on, station, found, plots[one.plot], one, source) for one in kept]
        fresh = [record for record in made if not _same(before.get(record.plot_id), record)]
        findings += _check_yields(made, kept)
        PlotRecord.objects.bulk_create(fresh, batch_size=500)
    told = set(before) | {record.plot_id for record in made}
    silent = tuple(sorted(number for number, plot in plots.items() if plot.pk not in told))
    return _tell(found, records, made, len(fresh), findings, silent)


def _read_plots(station: Station, trial: Trial) -> list[Plot]:
    return list(Plot.objects.filter(station=station, trial=trial).select_related("entry"))


def _tell(
    trial: Trial,
    given: Sequence[PlotReading],
    made: Sequence[PlotRecord],
    n_stored: int,
    findings: Sequence[Finding],
    silent: tuple[int, ...],
) -> Received:
    missing = []
    if silent:
        missing.append(f"{len(silent)} plots of the trial have no record")
    if trial.plot_area_m2 is None:
        missing.append("the plot area of the trial, so no yields")
    half = sum((one.weight_kg is None) != (one.moisture_pct is None) for one in made)
    if half:
        missing.append(f"weight or moisture of {half} plots, so no yield there")
    return Received(
        trial.name,
        len(given),
        n_stored,
        len(made) - n_stored,
        sum(one.yield_kg_ha_15_5 is not None for one in made),
        sum(bool(one.rejected) for one in made),
        tuple(findings),
        silent,
        Basis((("plot readings", len(made)),), tuple(missing)),
    )


def _check_readings(trial: Trial, plots: dict[int, Plot], records: Sequence[PlotReading]) -> list[Finding]:
    findings: list[Finding] = []
    seen: set[int] = set()
    before = 0
    for one in records:
        if one.plot not in plots:
            known = f"Plots of {trial.name} are {min(plots)} to {max(plots)}" if plots else "The trial has no plots"
            findings.append(_finding(one, "plot_unknown", "the trial has no such plot", "plot", one.plot, known))
            continue
        if one.plot in seen:
            findings.append(
                _finding(one, "plot_twice", "this plot stands twice in the file", "plot", one.plot, "Keep one line")
            )
        elif one.plot < before:
            repair = "Check that the weights belong to these plots: the order is not that of the field"
            findings.append(
                _finding(one, "out_of_order", f"plot {one.plot} comes after {before}", "plot", one.plot, repair, False)
            )
        seen.add(one.plot)
        before = one.plot
        grown = plots[one.plot].entry.name
        if one.entry and one.entry != grown:
            repair = f"On plot {one.plot} grows {grown}: check that the lines have not slipped"
            findings.append(_finding(one, "entry_differs", "another entry grows there", "entry", one.entry, repair))
        findings += _check_grain(one)
        findings += _check_plants(one, trial)
    return findings


def _check_grain(one: PlotReading) -> list[Finding]:
    findings = []
    for column, value in (("weight_kg", one.weight_kg), ("test_weight_kg_hl", one.test_weight_kg_hl)):
        if value is not None and value < 0:
            findings.append(_finding(one, "negative", "a weight is not below 0", column, value, "Weigh again"))
        elif value is not None and value > MOST_WEIGHT_KG:
            findings.append(_finding(one, "too_much", "no plot gives this weight", column, value, "Check the digits"))
    water = one.moisture_pct
    if water is not None and not 0 <= water < 100:
        repair = "Moisture is in percent of wet weight, 0 to below 100"
        findings.append(_finding(one, "not_a_moisture", "this is no moisture", "moisture_pct", water, repair))
    elif water is not None and not MOISTURE_ODD_BELOW_PCT <= water <= MOISTURE_ODD_ABOVE_PCT:
        repair = "Check the meter; a share of 1 must be given in percent"
        findings.append(
            _finding(
                one,
                "moisture_odd",
                f"moisture outside {MOISTURE_ODD_BELOW_PCT:g} to {MOISTURE_ODD_ABOVE_PCT:g} %",
                "moisture_pct",
                water,
                repair,
                False,
            )
        )
    if (one.weight_kg is None) != (water is None) and not one.rejected:
        column, lacks = ("moisture_pct", "moisture") if water is None else ("weight_kg", "weight")
        repair = "A yield needs weight and moisture; the rest is stored"
        findings.append(_finding(one, "half_told", f"plot {one.plot} has no {lacks}", column, "", repair, False))
    return findings


def _check_plants(one: PlotReading, trial: Trial) -> list[Finding]:
    findings = []
    for column, count in (
        ("stand", one.stand),
        ("root_lodged", one.root_lodged),
        ("stalk_lodged", one.stalk_lodged),
    ):
        if count is not None and count < 0:
            findings.append(_finding(one, "negative", "a count is not below 0", column, count, "Count again"))
        elif count is not None and count > MOST_PLANTS:
            findings.append(_finding(one, "too_many", "no plot holds so many", column, count, "Check the digits"))
    lying = (one.root_lodged or 0) + (one.stalk_lodged or 0)
    if one.stand is not None and lying > one.stand:
        repair = "A plant counts in one class only: root or stalk"
        findings.append(
            _finding(one, "more_lie_than_stand", f"{lying} plants lie of a stand of {one.stand}", "stand", "", repair)
        )
    wanted = trial.plants_per_plot
    if wanted and one.stand is not None and one.stand < STAND_ODD_BELOW_FRAC * wanted and not one.rejected:
        repair = "Reject the plot if that is your rule, before looking at yields"
        told = f"stand under {100 * STAND_ODD_BELOW_FRAC:g} % of the {wanted} plants intended"
        findings.append(_finding(one, "stand_thin", told, "stand", one.stand, repair, False))
    return findings


def _finding(
    one: PlotReading, code: str, message: str, column: str, value: object, repair: str, stops: bool = True
) -> Finding:
    return Finding(code, message, Place(one.place.file, one.place.line, column), str(value), repair, stops)


def _make_record(on: Occasion, station: Station, trial: Trial, plot: Plot, one: PlotReading, source: str) -> PlotRecord:
    grain = None
    if one.weight_kg is not None and one.moisture_pct is not None and trial.plot_area_m2 and not one.rejected:
        grain = float(yield_kg_ha(one.weight_kg, trial.plot_area_m2, one.moisture_pct))
    return PlotRecord(
        station=station,
        plot=plot,
        weight_kg=one.weight_kg,
        moisture_pct=one.moisture_pct,
        yield_kg_ha_15_5=grain,
        test_weight_kg_hl=one.test_weight_kg_hl,
        stand=one.stand,
        root_lodged=one.root_lodged,
        stalk_lodged=one.stalk_lodged,
        rejected=one.rejected[:200],
        source=source[:120],
        recorded_at=on.now,
        recorded_by=on.who,
    )


_TOLD = ("weight_kg", "moisture_pct", "test_weight_kg_hl", "stand", "root_lodged", "stalk_lodged", "rejected")


def _same(before: PlotRecord | None, record: PlotRecord) -> bool:
    return before is not None and all(getattr(before, name) == getattr(record, name) for name in _TOLD)


def _check_yields(made: Sequence[PlotRecord], kept: Sequence[PlotReading]) -> list[Finding]:
    repair = "Check the unit of the weight (kg) and the plot area of the trial"
    return [
        _finding(
            one,
            "yield_odd",
            f"{record.yield_kg_ha_15_5:,.0f} kg/ha at 15.5 %",
            "weight_kg",
            one.weight_kg,
            repair,
            False,
        )
        for record, one in zip(made, kept, strict=True)
        if (record.yield_kg_ha_15_5 or 0.0) > YIELD_ODD_ABOVE_KG_HA
    ]
