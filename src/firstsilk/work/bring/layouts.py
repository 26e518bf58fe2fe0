"""Which tables may a station bring, and what stands in each column?

The one place of the column definitions: the reader, the checks, the blank tables and the page in the docs use it.
Limits: outside `low`..`high` a value cannot be and stops; outside `odd_low`..`odd_high` it is doubted and warns.
Where no source is named a limit is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from firstsilk.science.climate.weather import COLDEST_C, HOTTEST_C
from firstsilk.science.lineage.members import METHODS

Kind = Literal["text", "code", "choice", "truth", "number", "whole", "date", "season"]

COLDEST_F = COLDEST_C * 1.8 + 32.0
HOTTEST_F = HOTTEST_C * 1.8 + 32.0

MOST_WHOLE = 2_000_000_000
"""No count is larger: what a 32-bit column of the books can hold."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name, what kind of value, whether a cell may be empty, what it says, an invented example."""

    name: str
    kind: Kind
    wanted: bool
    says: str
    example: str = ""
    choices: tuple[str, ...] = ()
    longest: int = 0
    low: float | None = None
    high: float | None = None
    odd_low: float | None = None
    odd_high: float | None = None
    empty_means: str = ""


@dataclass(frozen=True, slots=True)
class Layout:
    """One table: its name (the file is called so), what it holds, what makes a row its own, its columns."""

    name: str
    says: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    wanted: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        """Column names in order."""
        return tuple(column.name for column in self.columns)

    def column(self, name: str) -> Column:
        """The column of this name."""
        return next(column for column in self.columns if column.name == name)


def _latitude(wanted: bool = True) -> Column:
    return Column("latitude", "number", wanted, "degrees north, south negative", "50.4", low=-90, high=90)


STATION = Layout(
    "station",
    "Whose books these are. Exactly one row.",
    ("station",),
    (
        Column("station", "code", True, "short code: letters, digits, - and _", "eskerholm-example", longest=40),
        Column("name", "text", True, "full name", "Eskerholm Growers' Cooperative", longest=120),
        _latitude(),
        Column("time_zone", "text", False, "IANA time zone", "Etc/UTC", longest=60, empty_means="UTC"),
        Column(
            "scale",
            "choice",
            False,
            "heat-unit scale of the station",
            "chu",
            ("chu", "gdd_c", "gdd_f"),
            empty_means="chu",
        ),
    ),
    wanted=True,
)

SITES = Layout(
    "sites",
    "Places with fields and weather.",
    ("site",),
    (
        Column("site", "code", True, "short code: letters, digits, - and _", "home", longest=20),
        Column("name", "text", True, "full name", "Eskerholm home fields (example)", longest=120),
        _latitude(),
        Column("longitude", "number", True, "degrees east, west negative", "-1.2", low=-180, high=180),
        Column("elevation_m", "number", False, "height above the sea [m]", "240", low=-450, high=9000, odd_high=4500),
        Column("home", "truth", False, "1 for the home site; exactly one", "1", empty_means="0"),
    ),
    wanted=True,
)

WEATHER = Layout(
    "weather",
    "Daily weather. Give both temperatures in Celsius (tmin_c, tmax_c) or both in Fahrenheit (tmin_f, tmax_f).",
    ("site", "date"),
    (
        Column("site", "code", True, "code of the site", "home", longest=20),
        Column("date", "date", True, "the day", "2031-05-18"),
        Column("tmin_c", "number", False, "lowest temperature of the day [°C]", "6.4", low=COLDEST_C, high=HOTTEST_C),
        Column("tmax_c", "number", False, "highest temperature of the day [°C]", "17.9", low=COLDEST_C, high=HOTTEST_C),
        # Wettest day on record 1,825 mm (World Meteorological Organization; from memory).
        Column("rain_mm", "number", False, "rain and melted snow [mm]", "2.5", low=0, high=1825, odd_high=300),
        Column("tmin_f", "number", False, "lowest temperature [°F], instead of tmin_c", low=COLDEST_F, high=HOTTEST_F),
        Column("tmax_f", "number", False, "highest temperature [°F], instead of tmax_c", low=COLDEST_F, high=HOTTEST_F),
    ),
)

LINES = Layout(
    "lines",
    "Lines and hybrids with their parents. The order of the rows is free.",
    ("line",),
    (
        Column("line", "text", True, "name, its own within the station", "ESK101", longest=120),
        Column("kind", "choice", False, "line or hybrid", "line", ("line", "hybrid"), empty_means="line"),
        Column(
            "stands_for",
            "choice",
            False,
            "what one record is: a plant, a family, a bulk",
            "family",
            ("plant", "family", "bulk"),
            empty_means="family",
        ),
        Column("method", "choice", False, "how it was made", "founder_inbred", METHODS, empty_means="founder"),
        Column("mother", "text", False, "name of the mother line", longest=120),
        Column("father", "text", False, "name of the father line; empty for self and dh", longest=120),
        Column("selfings", "whole", False, "generations of selfing, for the method self", low=0, high=60),
        Column("generation", "text", False, "generation as written on labels, such as S4 or F1", "S7", longest=12),
        Column(
            "derived_from", "text", False, "line in whose row the plant stood that a family comes from", longest=120
        ),
        Column("derived_plant", "text", False, "number of that plant, such as 3", longest=24),
        Column("derived_generation", "text", False, "generation of that plant; that of its line if empty", longest=12),
        Column("pedigree", "text", False, "pedigree as written", longest=400),
        Column("group", "text", False, "heterotic group", "North", longest=40),
        Column("tester", "truth", False, "1 if it serves as a tester", "0", empty_means="0"),
        Column("check", "truth", False, "1 if it serves as a check", "0", empty_means="0"),
        Column(
            "units_to_silk",
            "number",
            False,
            "heat units from sowing to half the plants silking, in the station's scale",
            "1295",
            low=1,
            high=10000,
            odd_low=200,
            odd_high=4000,
        ),
        Column(
            "units_to_shed",
            "number",
            False,
            "heat units from sowing to half the plants shedding, in the station's scale",
            "1270",
            low=1,
            high=10000,
            odd_low=200,
            odd_high=4000,
        ),
        Column(
            "units_to_black_layer",
            "number",
            False,
            "heat units from sowing to black layer, in the station's scale; chiefly of hybrids",
            "",
            low=1,
            high=10000,
            odd_low=500,
            odd_high=6000,
        ),
        Column("remark", "text", False, "anything worth keeping", "example row", longest=400),
    ),
)

LOTS = Layout(
    "lots",
    "Seed in store. The kernels here become the lot's opening stock.",
    ("lot",),
    (
        Column("lot", "text", True, "name on the label, its own within the station", "ESK101-example", longest=60),
        Column("line", "text", True, "name of the line", "ESK101", longest=120),
        Column(
            "kind",
            "choice",
            False,
            "what the seed is",
            "bulk",
            ("ear", "ears", "bulk", "blend", "remnant"),
            empty_means="bulk",
        ),
        Column(
            "origin",
            "choice",
            True,
            "from where the seed comes",
            "rows",
            ("ears", "rows", "pollinations", "lots", "open_pollinated", "male_set", "received"),
        ),
        Column(
            "origin_text",
            "text",
            False,
            "which rows, ears or lots; or received from whom",
            "rows of 2030 (example)",
            longest=200,
        ),
        Column("year", "whole", True, "year of harvest", "2030", low=1850, high=2200),
        Column("kernels", "whole", True, "kernels in store", "1200", low=0, high=MOST_WHOLE, odd_high=50_000_000),
        Column("germination", "number", False, "share that germinates, 0 to 1", "0.94", low=0, high=1, odd_low=0.3),
        Column("germination_tested_on", "date", False, "day of the germination test", "2031-02-10"),
        Column("germination_seeds", "whole", False, "seeds in the test", "400", low=1, high=MOST_WHOLE),
        # 20-600 mg spans popcorn to large flints and dents.
        Column(
            "kernel_weight_mg",
            "number",
            False,
            "weight of one kernel [mg]",
            "265",
            low=1,
            high=2000,
            odd_low=50,
            odd_high=600,
        ),
        Column("shelf", "text", False, "where it stands", "B", longest=20),
        Column("box", "text", False, "where it stands", "12", longest=20),
        Column("slot", "text", False, "where it stands", "3", longest=20),
    ),
)

ROWS = Layout(
    "rows",
    "Nursery rows, past or of this season, and what was seen in them. What was seen is stored as notes.",
    ("season", "row"),
    (
        Column("season", "season", True, "a year, with W for the winter nursery that follows it", "2031", longest=12),
        Column("row", "whole", True, "row number, its own within the season", "1", low=1, high=MOST_WHOLE),
        Column("field_row", "whole", True, "place across the field", "1", low=-100_000, high=100_000),
        Column("field_col", "whole", True, "place along the field", "1", low=-100_000, high=100_000),
        Column("line", "text", True, "name of the line", "ESK101", longest=120),
        Column("lot", "text", False, "name of the lot sown", "ESK101-example", longest=60),
        Column(
            "purpose",
            "choice",
            False,
            "what the row serves as",
            "self",
            ("self", "female", "male", "filler"),
            empty_means="self",
        ),
        Column("kernels", "whole", False, "kernels for the row", "25", low=0, high=1_000_000, odd_high=2000),
        Column("sown", "date", False, "day it was sown", "2031-05-12"),
        Column("stand", "whole", False, "plants alive in the row", "21", low=0, high=1_000_000, odd_high=2000),
        Column("silk", "date", False, "day half the plants showed silk", "2031-07-26"),
        Column("shed", "date", False, "day half the plants shed pollen", "2031-07-24"),
        Column("ears", "whole", False, "good ears picked", "14", low=0, high=1_000_000, odd_high=4000),
        Column("kernels_shelled", "whole", False, "kernels shelled", "2900", low=0, high=MOST_WHOLE),
    ),
)

PLOTS = Layout(
    "plots",
    "Trial plots of past years, one row a plot. Give weight, moisture and area, or a yield at 15.5 % moisture.",
    ("trial", "plot"),
    (
        Column("trial", "text", True, "name of the trial: one site in one season", "EXAMPLE-2030-home", longest=60),
        Column("series", "text", False, "name that trials with one aim share", "FIRST-2030", longest=60),
        Column("site", "code", True, "code of the site", "home", longest=20),
        Column("year", "whole", True, "year of the season", "2030", low=1850, high=2200),
        Column("plot", "whole", True, "plot number, its own within the trial", "101", low=0, high=MOST_WHOLE),
        Column("rep", "text", False, "replicate", "1", longest=12, empty_means="1"),
        Column("block", "text", False, "block within the replicate", "1", longest=12, empty_means="1"),
        Column("field_row", "whole", False, "place across the field", "1", low=-100_000, high=100_000),
        Column("field_col", "whole", False, "place along the field", "1", low=-100_000, high=100_000),
        Column("entry", "text", True, "name of the line or hybrid", "ESK101", longest=120),
        Column("check", "truth", False, "1 if it is a check in this trial", "0", empty_means="0"),
        Column(
            "plot_area_m2",
            "number",
            False,
            "harvested area [m²]",
            "7.6",
            low=0.01,
            high=100_000,
            odd_low=0.5,
            odd_high=2000,
        ),
        Column("weight_kg", "number", False, "grain weight as harvested [kg]", "5.12", low=0, high=100_000),
        # 8-45 % is the range a good programme lets pass; outside it the meter is doubted.
        Column(
            "moisture_pct",
            "number",
            False,
            "grain moisture, % of wet weight",
            "24.1",
            low=0,
            high=99.99,
            odd_low=8,
            odd_high=45,
        ),
        Column(
            "yield_kg_ha_15_5",
            "number",
            False,
            "grain yield at 15.5 % moisture [kg/ha]",
            low=0,
            high=100_000,
            odd_low=100,
            odd_high=20_000,
        ),
        Column(
            "test_weight_kg_hl",
            "number",
            False,
            "test weight [kg/hl]",
            "70.5",
            low=1,
            high=150,
            odd_low=45,
            odd_high=90,
        ),
        Column("stand", "whole", False, "plants on the plot at harvest", "62", low=0, high=1_000_000),
        Column("root_lodged", "whole", False, "plants leaning from the root", "1", low=0, high=1_000_000),
        Column("stalk_lodged", "whole", False, "plants broken below the ear", "2", low=0, high=1_000_000),
        Column("rejected", "text", False, "why the plot does not count; empty if it counts", longest=200),
    ),
)

LAYOUTS: tuple[Layout, ...] = (STATION, SITES, WEATHER, LINES, LOTS, ROWS, PLOTS)
"""In the order in which they are stored: each names only what comes before it."""


def layout_of(name: str) -> Layout:
    """The layout of this name."""
    return next(layout for layout in LAYOUTS if layout.name == name)
