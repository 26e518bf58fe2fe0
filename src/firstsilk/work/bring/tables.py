"""What did the station's tables say, cell by cell, and where did each row stand?

Values only: a cell that was empty or could not be read is None (text: empty), and what could not be read is a finding.
Every field but the place is named as its column.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from firstsilk.answers import Finding, Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """A row of a table: its file and line (the header is line 1)."""

    at_file: str
    at_line: int

    def tell(
        self, column: str, code: str, message: str, repair: str = "", *, stops: bool = True, value: str | None = None
    ) -> Finding:
        """A finding about one cell of this row, quoting its value."""
        found = as_text(getattr(self, column, "")) if value is None else value
        return Finding(code, message, Place(self.at_file, self.at_line, column), found, repair, stops)


def as_text(value: object) -> str:
    """A cell's value as it would be written in a table."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "1" if value else "0"
    return f"{value:.10g}" if isinstance(value, float) else str(value)


@dataclass(frozen=True, slots=True, kw_only=True)
class StationGiven(Given):
    """The row of station.csv."""

    station: str
    name: str
    latitude: float | None = None
    time_zone: str = ""
    scale: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteGiven(Given):
    """A row of sites.csv."""

    site: str
    name: str
    latitude: float | None = None
    longitude: float | None = None
    elevation_m: float | None = None
    home: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DayGiven(Given):
    """A row of weather.csv, in Celsius; `in_fahrenheit` says that it was written in Fahrenheit."""

    site: str
    date: date | None = None
    tmin_c: float | None = None
    tmax_c: float | None = None
    rain_mm: float | None = None
    in_fahrenheit: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LineGiven(Given):
    """A row of lines.csv."""

    line: str
    kind: str = ""
    stands_for: str = ""
    method: str = ""
    mother: str = ""
    father: str = ""
    selfings: int | None = None
    generation: str = ""
    derived_from: str = ""
    derived_plant: str = ""
    derived_generation: str = ""
    pedigree: str = ""
    group: str = ""
    tester: bool | None = None
    check: bool | None = None
    units_to_silk: float | None = None
    units_to_shed: float | None = None
    units_to_black_layer: float | None = None
    remark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LotGiven(Given):
    """A row of lots.csv."""

    lot: str
    line: str
    kind: str = ""
    origin: str = ""
    origin_text: str = ""
    year: int | None = None
    kernels: int | None = None
    germination: float | None = None
    germination_tested_on: date | None = None
    germination_seeds: int | None = None
    kernel_weight_mg: float | None = None
    shelf: str = ""
    box: str = ""
    slot: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RowGiven(Given):
    """A row of rows.csv: a nursery row and what was seen in it."""

    season: str
    row: int | None = None
    field_row: int | None = None
    field_col: int | None = None
    line: str = ""
    lot: str = ""
    purpose: str = ""
    kernels: int | None = None
    sown: date | None = None
    stand: int | None = None
    silk: date | None = None
    shed: date | None = None
    ears: int | None = None
    kernels_shelled: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlotGiven(Given):
    """A row of plots.csv."""

    trial: str
    series: str = ""
    site: str = ""
    year: int | None = None
    plot: int | None = None
    rep: str = ""
    block: str = ""
    field_row: int | None = None
    field_col: int | None = None
    entry: str = ""
    check: bool | None = None
    plot_area_m2: float | None = None
    weight_kg: float | None = None
    moisture_pct: float | None = None
    yield_kg_ha_15_5: float | None = None
    test_weight_kg_hl: float | None = None
    stand: int | None = None
    root_lodged: int | None = None
    stalk_lodged: int | None = None
    rejected: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StationTables:
    """All tables that were brought, and every finding made while reading them.

    `absent` names tables that were not brought; `unread` those that were, and whose columns could not be understood:
    nothing is looked up in them.
    """

    source: str = ""
    station: tuple[StationGiven, ...] = ()
    sites: tuple[SiteGiven, ...] = ()
    weather: tuple[DayGiven, ...] = ()
    lines: tuple[LineGiven, ...] = ()
    lots: tuple[LotGiven, ...] = ()
    rows: tuple[RowGiven, ...] = ()
    plots: tuple[PlotGiven, ...] = ()
    absent: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()

    def rows_of(self, table: str) -> tuple[Given, ...]:
        """The rows of the table of this name."""
        rows: tuple[Given, ...] = getattr(self, table)
        return rows
