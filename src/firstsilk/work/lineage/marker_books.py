"""Which markers are in the books? Panels, samples and their calls, as they stood on a day."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date

import numpy as np
from django.db.models import Q, QuerySet

from firstsilk.answers import refuse, shorten_value
from firstsilk.records.models import MarkerPanel, MarkerSample, Station
from firstsilk.science.lineage.markers import MISSING, Doses, MarkerTable


def panels_on(station: Station, day: date) -> QuerySet[MarkerPanel]:
    """The panels brought by a day, the newest first."""
    return MarkerPanel.objects.filter(station=station, brought_on__lte=day).order_by("-brought_on", "-pk")


def find_panel(station: Station, day: date, name: str = "") -> MarkerPanel | None:
    """The panel of this name; without a name the newest, None if there is none.

    Raises
    ------
    InputRefused
        If there is no panel of this name.
    """
    panels = panels_on(station, day)
    if not name:
        return panels.first()
    panel = panels.filter(name=name).first()
    if panel is None:
        known = ", ".join(panels.values_list("name", flat=True)[:6]) or "none yet"
        raise refuse("panel_unknown", f"There is no panel {shorten_value(name)!r} in the books.", f"Panels: {known}.")
    return panel


def samples_on(panel: MarkerPanel, day: date) -> QuerySet[MarkerSample]:
    """The samples of a panel that counted on a day: recorded by then and not set aside."""
    aside = Q(set_aside_on__isnull=True) | Q(set_aside_on__gt=day)
    return MarkerSample.objects.filter(aside, panel=panel, recorded_on__lte=day)


def stack_calls(panel: MarkerPanel, samples: Sequence[MarkerSample]) -> MarkerTable:
    """The calls of samples as a table of samples by markers."""
    joined = b"".join(bytes(one.calls) for one in samples)
    doses = np.frombuffer(joined, dtype=np.int8).reshape(len(samples), len(panel.markers))
    return MarkerTable(tuple(one.name for one in samples), tuple(panel.markers), doses)


def agree_on_calls(doses: Doses) -> Doses:
    """What all samples of one line say that were read: shape (p,) from (k, p); MISSING where they differ."""
    if len(doses) == 1:
        one: Doses = doses[0]
        return one
    highest = doses.max(axis=0)
    lowest = np.where(doses < 0, np.int8(9), doses).min(axis=0)
    return np.where(lowest == highest, highest, np.int8(MISSING)).astype(np.int8)


def gather_by_line(lines: Sequence[int]) -> dict[int, list[int]]:
    """The places of the samples of each line, by the line's number in the books."""
    places: dict[int, list[int]] = defaultdict(list)
    for at, line in enumerate(lines):
        places[line].append(at)
    return dict(places)
