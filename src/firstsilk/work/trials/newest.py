"""Which record of a plot counts? The newest one; older ones stay in the books."""

from __future__ import annotations

from collections.abc import Iterable

from firstsilk.records.models import PlotRecord, Station


def read_newest_records(station: Station, trials: Iterable[int]) -> dict[int, PlotRecord]:
    """The newest record of each plot of these trials, by the books' number of the plot."""
    records = PlotRecord.objects.filter(station=station, plot__trial__in=list(trials)).order_by("recorded_at", "id")
    return {record.plot_id: record for record in records}
