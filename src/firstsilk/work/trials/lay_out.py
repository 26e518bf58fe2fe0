"""How is a trial laid out, and which seed does it hold?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from django.db import transaction

from firstsilk.answers import Finding, Place, refuse, stop_if_any
from firstsilk.records.models import Line, Plot, Reservation, Site, Station, Trial
from firstsilk.science.trials.designs import DesignEntry, DesignPlot, design_complete
from firstsilk.work.nursery.plan import FIRST_YEAR, LAST_YEAR
from firstsilk.work.occasion import Occasion, Progress
from firstsilk.work.seed.stock import LotStock
from firstsilk.work.shelf import find_lines, get_site, get_station, take_tags
from firstsilk.work.standing import find_merged_away
from firstsilk.work.trials.reading import TrialPage, read_trial
from firstsilk.work.trials.seed_for_plots import pick_lots


@dataclass(frozen=True, slots=True)
class _Wanted:
    name: str
    series: str
    year: int
    reps: int
    plot_area_m2: float
    kernels_per_plot: int
    seed: int


def design_trial(
    on: Occasion,
    name: str,
    series: str,
    site: str,
    year: int,
    entries: Sequence[str],
    checks: Sequence[str],
    reps: int,
    plot_area_m2: float,
    kernels_per_plot: int,
    seed: int,
    progress: Progress,
    columns: int | None = None,
    places: Mapping[str, Place] | None = None,
) -> TrialPage:
    """Lay out a trial in complete blocks, number its plots in serpentine order and reserve its seed.

    Parameters
    ----------
    on
        The occasion.
    name, series, site, year
        Of the new trial; the site by its code.
    entries, checks
        Names of lines or hybrids; every one stands once in each replicate.
    reps
        Replicates.
    plot_area_m2
        Harvested area of a plot [m²].
    kernels_per_plot
        Kernels in a packet.
    seed
        Of the dice; the same seed gives the same lay-out.
    progress
        Told how far the work is.
    columns
        Plots in a field row; one replicate in each field row if not said.
    places
        Where each name stands in its table, for complaints.

    Returns
    -------
    TrialPage
        The trial as it now stands in the books.

    Raises
    ------
    InputRefused
        If the name is taken, an entry is unknown or stands twice, a number is out of bounds, or seed is short.
    """
    station = get_station(on.station)
    wanted = _Wanted(name.strip(), series.strip(), year, reps, plot_area_m2, kernels_per_plot, seed)
    _check_wanted(station, wanted)
    place = get_site(station, site)
    lines = _find_entries(station, on.today, entries, checks, places or {})
    progress(0.1, "laying out")
    told = [DesignEntry(line.name, at >= len(entries)) for at, line in enumerate(lines)]
    layout = design_complete(told, reps, np.random.default_rng(seed), columns=columns)
    progress(0.5, "picking seed lots")
    with transaction.atomic():
        # The station's row is locked first: two trials laid out at once must not promise the same kernels.
        Station.objects.select_for_update().get(pk=station.pk)
        _check_name_free(station, wanted.name)
        lots = pick_lots(station, lines, reps, kernels_per_plot)
        _write_trial(on, station, place, wanted, lines, layout, lots, set(checks))
    progress(1.0, "done")
    return read_trial(on, wanted.name)


def _check_wanted(station: Station, wanted: _Wanted) -> None:
    if not wanted.name or len(wanted.name) > 60:
        raise refuse("trial_nameless", "A trial needs a name of at most 60 signs.", "Name it.")
    if len(wanted.series) > 60:
        raise refuse("series_long", "The name of a series has at most 60 signs.", "Shorten it.")
    _check_name_free(station, wanted.name)
    if len(wanted.series) > 60:
        raise refuse("series_too_long", "The name of a series has at most 60 signs.", "Shorten it.")
    if not FIRST_YEAR <= wanted.year <= LAST_YEAR:
        raise refuse("year_far_off", f"A trial of the year {wanted.year} cannot be.", "Check the year.")
    if not 0 <= wanted.seed < 2**63:
        raise refuse("seed_out_of_bounds", f"{wanted.seed} cannot seed the dice.", "Use a smaller whole number.")
    if not 1 <= wanted.reps <= 20:
        raise refuse("reps_out_of_bounds", f"{wanted.reps} replicates cannot be laid out.", "Give 1 to 20.")
    if not 0 < wanted.plot_area_m2 <= 10_000:
        raise refuse("area_out_of_bounds", f"A plot of {wanted.plot_area_m2:g} m² is none.", "Give its area in m².")
    if not 1 <= wanted.kernels_per_plot <= 100_000:
        raise refuse("kernels_out_of_bounds", f"{wanted.kernels_per_plot} kernels a plot.", "Give 1 or more.")


def _check_name_free(station: Station, name: str) -> None:
    if Trial.objects.filter(station=station, name=name).exists():
        raise refuse("trial_exists", f"There is a trial {name!r} already.", "Choose another name.")


def _find_entries(
    station: Station, today: date, entries: Sequence[str], checks: Sequence[str], places: Mapping[str, Place]
) -> list[Line]:
    names = [*entries, *checks]
    entry = Place(column="entry")
    found = find_lines(station, names)
    counts = Counter(found[name].pk if name in found else name for name in names)
    twice = {name for name in names if counts[found[name].pk if name in found else name] > 1}
    findings = [
        Finding("entry_twice", "this entry stands twice", places.get(name, entry), name, "Name it once")
        for name in dict.fromkeys(names)
        if name in twice
    ]
    findings += [
        Finding("line_unknown", "there is no such line in the books", places.get(name, entry), name, "Check the name")
        for name in dict.fromkeys(names)
        if name not in found
    ]
    gone = find_merged_away(station, today, found.values())
    findings += [
        Finding("line_merged_away", gone[line.pk].told, places.get(name, entry), name, gone[line.pk].repair)
        for name, line in found.items()
        if line.pk in gone
    ]
    stop_if_any(findings)
    return [found[name] for name in names]


def _write_trial(
    on: Occasion,
    station: Station,
    site: Site,
    wanted: _Wanted,
    lines: Sequence[Line],
    layout: Sequence[DesignPlot],
    lots: dict[int, tuple[LotStock, ...]],
    checks: set[str],
) -> None:
    trial = Trial.objects.create(
        station=station,
        name=wanted.name,
        series=wanted.series,
        site=site,
        year=wanted.year,
        design="complete",
        reps=wanted.reps,
        plot_area_m2=wanted.plot_area_m2,
        kernels_per_plot=wanted.kernels_per_plot,
        seed=wanted.seed,
    )
    by_name = {line.name: line for line in lines}
    tags = take_tags(station, "plot", len(layout))
    left = {line: list(picked) for line, picked in lots.items()}
    plots = []
    held: Counter[int] = Counter()
    for tag, plot in zip(tags, layout, strict=True):
        line = by_name[plot.entry]
        lot = left[line.pk].pop(0)
        held[lot.id] += wanted.kernels_per_plot
        plots.append(
            Plot(
                station=station,
                trial=trial,
                tag=tag,
                number=plot.plot,
                rep=str(plot.rep),
                block=str(plot.block),
                field_row=plot.field_row,
                field_col=plot.field_col,
                entry=line,
                lot_id=lot.id,
                is_check=line.name in checks,
            )
        )
    Plot.objects.bulk_create(plots, batch_size=500)
    _reserve(on, station, trial, held)


def _reserve(on: Occasion, station: Station, trial: Trial, held: Counter[int]) -> None:
    reservations = [
        Reservation(station=station, lot_id=lot, trial=trial, kernels=kernels, reserved_on=on.today)
        for lot, kernels in held.items()
    ]
    Reservation.objects.bulk_create(reservations, batch_size=500)
