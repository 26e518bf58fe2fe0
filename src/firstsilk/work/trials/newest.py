"""Which record of a plot counts? The last that was received; older ones stay in the books."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import NamedTuple

from django.db.models import QuerySet

from firstsilk.records.models import Plot, PlotRecord, Station
from firstsilk.work.standing import end_of_day


def read_newest_records(station: Station, trials: Iterable[int], up_to: date | None = None) -> dict[int, PlotRecord]:
    """The newest record of each plot of these trials, by the books' number of the plot.

    Records taken after the day `up_to` do not count, so that the books can be looked at as they stood.
    """
    records = PlotRecord.objects.filter(station=station, plot__trial__in=list(trials)).order_by("id")
    if up_to is not None:
        records = records.filter(recorded_at__lt=end_of_day(station, up_to))
    return {record.plot_id: record for record in records}


class PlotGave(NamedTuple):
    """What the newest record of a plot says: yield at 15.5 % [kg/ha], moisture [%], why it is rejected if it is."""

    yield_kg_ha_15_5: float | None
    moisture_pct: float | None
    rejected: str


def read_newest_of_plots(station: Station, plots: QuerySet[Plot]) -> dict[int, PlotGave]:
    """The newest record of each of these plots, by the books' number of the plot: for few plots of many trials.

    Asked within the question for the plots, since a list of thousands takes longer to write than to answer.
    """
    records = PlotRecord.objects.filter(station=station, plot__in=plots.order_by().values("pk")).order_by("id")
    told = records.values_list("plot", "yield_kg_ha_15_5", "moisture_pct", "rejected")
    return {plot: PlotGave(dry, moisture, rejected) for plot, dry, moisture, rejected in told}
