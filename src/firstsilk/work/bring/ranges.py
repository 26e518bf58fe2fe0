"""Can each value be, and is it likely?"""

from __future__ import annotations

import math
from collections.abc import Iterator

from firstsilk.answers import Finding
from firstsilk.work.bring.layouts import LAYOUTS, Column
from firstsilk.work.bring.tables import Given, StationTables, as_text

TEMPERATURES = ("tmin_c", "tmax_c", "tmin_f", "tmax_f")
"""Judged by `check_weather`, which knows the scale they were written in."""


def check_ranges(tables: StationTables) -> Iterator[Finding]:
    """Every number against the limits of its column: what cannot be stops, what is unlikely warns."""
    for layout in LAYOUTS:
        limited = [
            column
            for column in layout.columns
            if column.name not in TEMPERATURES
            and any(limit is not None for limit in (column.low, column.high, column.odd_low, column.odd_high))
        ]
        for row in tables.rows_of(layout.name):
            for column in limited:
                value = getattr(row, column.name)
                if value is not None:
                    yield from _judge(row, column, float(value))


def _judge(row: Given, column: Column, value: float) -> Iterator[Finding]:
    low = -math.inf if column.low is None else column.low
    high = math.inf if column.high is None else column.high
    if not low <= value <= high:
        message = f"it must lie in {_span(column.low, column.high)}"
        yield row.tell(column.name, "out_of_range", message, repair_value(column, value))
        return
    odd_low = -math.inf if column.odd_low is None else column.odd_low
    odd_high = math.inf if column.odd_high is None else column.odd_high
    if not odd_low <= value <= odd_high:
        message = f"this is unlikely; usual is {_span(column.odd_low, column.odd_high)}"
        repair = repair_value(column, value) or "Check it; it is kept as it stands"
        yield row.tell(column.name, "unlikely", message, repair, stops=False)


def _span(low: float | None, high: float | None) -> str:
    if low is None:
        return f"at most {as_text(high)}"
    return f"{as_text(low)} or more" if high is None else f"{as_text(low)} to {as_text(high)}"


def repair_value(column: Column, value: float) -> str:
    """What was probably meant by a value outside its column's limits."""
    if value < 0 and set(as_text(abs(value)).replace(".", "")) == {"9"}:
        return "Leave the cell empty where nothing was measured"
    if column.name == "germination" and 1 < value <= 100:
        return f"Write {as_text(value / 100)} if it is a percentage"
    if column.name == "moisture_pct" and 0 < value < 1:
        return f"Write {as_text(value * 100)} if it is a share"
    if column.name == "yield_kg_ha_15_5" and 0 < value < 100:
        return f"Write {as_text(value * 1000)} if it is in tonnes a hectare"
    if column.name == "kernel_weight_mg" and 0 < value < 1:
        return f"Write {as_text(value * 1000)} if it is in grams"
    if column.name == "year" and 0 <= value < 100:
        return f"Write {2000 + int(value)} or {1900 + int(value)}"
    if column.name == "latitude":
        return "Latitude goes from -90 to 90; perhaps it is exchanged with the longitude"
    if column.low == 0 and value < 0:
        return "It cannot be below 0; check the sign, or leave the cell empty"
    return "" if column.odd_low is not None or column.odd_high is not None else "Check it"
