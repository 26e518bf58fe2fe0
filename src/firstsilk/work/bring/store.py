"""How does a station's whole folder come into the books: all of it, or nothing?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from django.db import transaction

from firstsilk.answers import Finding, stop_if_any
from firstsilk.records.models import Station
from firstsilk.work.bring.books import find_station, put_own_names, read_known
from firstsilk.work.bring.check import check_station, sort_findings
from firstsilk.work.bring.compare import fill_record
from firstsilk.work.bring.layouts import LAYOUTS
from firstsilk.work.bring.store_lines import store_lines
from firstsilk.work.bring.store_places import store_sites, store_weather
from firstsilk.work.bring.store_rows import store_rows
from firstsilk.work.bring.store_seed import store_lots
from firstsilk.work.bring.store_trials import store_plots
from firstsilk.work.bring.storing import Counted, Storing
from firstsilk.work.bring.tables import StationTables
from firstsilk.work.occasion import Basis, Occasion, Progress, stay_silent

STEPS: tuple[tuple[str, Callable[[Storing], None], float], ...] = (
    ("sites", store_sites, 0.2),
    ("weather", store_weather, 0.25),
    ("lines", store_lines, 0.45),
    ("lots", store_lots, 0.55),
    ("rows", store_rows, 0.65),
    ("plots", store_plots, 0.85),
)
"""What is stored, by whom, and how much of the work is done when it begins."""


@dataclass(frozen=True, slots=True)
class Brought:
    """What came into the books of which station: counts by table, findings that warn, and what it rests on."""

    station: str
    counts: tuple[Counted, ...]
    findings: tuple[Finding, ...]
    basis: Basis

    @property
    def n_new(self) -> int:
        """All records that were not in the books before."""
        return sum(counted.new for counted in self.counts)


def check_against_books(on: Occasion, tables: StationTables) -> tuple[Finding, ...]:
    """Everything odd in the tables, by themselves and against what the books hold; nothing is written.

    Differences between a row and the same row in the books are found too.
    """
    tables = put_own_names(on, tables)
    try:
        with transaction.atomic():
            known = read_known(on, tables)
            found = check_station(tables, known, on.today)
            if not any(finding.stops for finding in found):
                found = sort_findings([*found, *_store_all(on, tables, stay_silent).findings])
            raise _OnlyLooking
    except _OnlyLooking:
        return found


class _OnlyLooking(Exception):
    """Ends the transaction of a check without a trace."""


def bring_station(on: Occasion, tables: StationTables, progress: Progress = stay_silent) -> Brought:
    """Bring a station's tables into the books, all in one transaction.

    Parameters
    ----------
    on
        The occasion; an empty station means the one that the tables name, which may be new.
    tables
        What was read.
    progress
        Told the share done; may raise `StopAsked`, which leaves the books as they were.

    Returns
    -------
    Brought
        Counts by table: new, added to, there already. Bringing the same tables again finds everything there.

    Raises
    ------
    InputRefused
        With every finding, if one of them stops; then nothing was written. A row that says something else than the
        books is such a finding; one that fills what was empty is not.

    Notes
    -----
    Checked by tests/faces/test_bring_bad.py, tests/work/test_bring.py and tests/journeys/test_bring_real.py.
    """
    progress(0.0, "checking the tables")
    with transaction.atomic():
        tables = put_own_names(on, tables)
        findings = check_station(tables, read_known(on, tables), on.today)
        stop_if_any(findings)
        storing = _store_all(on, tables, progress)
        findings = sort_findings([*findings, *storing.findings])
        stop_if_any(findings)
        progress(0.98, "closing the books")
    progress(1.0, "done")
    counts = tuple(storing.counts.values())
    return Brought(storing.station.code, counts, findings, _basis(tables, findings))


def _store_all(on: Occasion, tables: StationTables, progress: Progress) -> Storing:
    station = _store_station(on, tables)
    storing = Storing(replace(on, station=station[0].code), station[0], tables)
    storing.findings += station[1]
    storing.count("station", new=station[2], same=1 - station[2])
    for name, store, share in STEPS:
        progress(share, f"storing {name}")
        store(storing)
    return storing


def _store_station(on: Occasion, tables: StationTables) -> tuple[Station, list[Finding], int]:
    """The station, locked; findings where the table says something else; 1 if it is new."""
    found = find_station(on, tables)
    if found is None:
        given = tables.station[0]
        assert given.latitude is not None
        station = Station.objects.create(
            code=given.station,
            name=given.name,
            latitude=given.latitude,
            time_zone=given.time_zone or "UTC",
            scale=given.scale or "chu",
        )
        return station, [], 1
    station = Station.objects.select_for_update().get(pk=found.pk)
    findings: list[Finding] = []
    for given in tables.station:
        wishes = [(column, column, getattr(given, column)) for column in ("name", "latitude", "time_zone", "scale")]
        fill_record(station, given, wishes, f"station {station.code!r}", findings)
    return station, findings, 0


def _basis(tables: StationTables, findings: tuple[Finding, ...]) -> Basis:
    used = tuple(
        (f"rows in {layout.name}", len(tables.rows_of(layout.name)))
        for layout in LAYOUTS
        if tables.rows_of(layout.name)
    )
    missing = [f"no table of {name}" for name in tables.absent]
    gaps = sum(finding.code == "days_missing" for finding in findings)
    if gaps:
        missing.append(f"{gaps} gaps in the weather")
    return Basis(used, tuple(missing))
