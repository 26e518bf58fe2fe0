"""Can these tables become the books of a station, and what in them is odd?"""

from __future__ import annotations

from datetime import date

from firstsilk.answers import Finding
from firstsilk.work.bring.check_lines import check_lines
from firstsilk.work.bring.check_places import check_sites, check_station_row, check_weather
from firstsilk.work.bring.check_seed import check_lots, check_rows
from firstsilk.work.bring.check_trials import check_plots
from firstsilk.work.bring.known import NOTHING_KNOWN, Known
from firstsilk.work.bring.layouts import LAYOUTS
from firstsilk.work.bring.ranges import check_ranges
from firstsilk.work.bring.tables import StationTables


def check_station(tables: StationTables, known: Known = NOTHING_KNOWN, today: date = date.max) -> tuple[Finding, ...]:
    """Find everything odd in a station's tables, each by itself and against one another.

    Parameters
    ----------
    tables
        What was read; its own findings come first.
    known
        What is in the books already.
    today
        The station's day: what was seen later than it is doubted.

    Returns
    -------
    tuple of Finding
        In the order of the tables and lines. Those that stop keep everything out of the books.

    Notes
    -----
    Checked by tests/faces/test_bring_bad.py.
    """
    found = [
        *tables.findings,
        *check_ranges(tables),
        *check_station_row(tables, known),
        *check_sites(tables, known),
        *check_weather(tables, known),
        *check_lines(tables, known),
        *check_lots(tables, known, today),
        *check_rows(tables, known, today),
        *check_plots(tables, known, today),
    ]
    return sort_findings(found)


def sort_findings(findings: list[Finding]) -> tuple[Finding, ...]:
    """Findings in the order of the tables, then of the lines; files that are no table come first."""
    order = {layout.name: at for at, layout in enumerate(LAYOUTS)}

    def rank(finding: Finding) -> tuple[int, str, int]:
        stem = finding.place.file.rpartition(".")[0].casefold()
        return order.get(stem, -1), finding.place.file, finding.place.line or 0

    return tuple(sorted(dict.fromkeys(findings), key=rank))
