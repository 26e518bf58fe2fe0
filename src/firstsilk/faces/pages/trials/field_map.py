"""How does a trial look from above?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firstsilk.work.trials.reading import PlotCell

MOST_CELLS = 3_000
SHADES = ("#f4f8f1", "#d7e8cf", "#a9cfa2", "#5f9f6d", "#1f5c3a")
NO_DATA = "#ffffff"
LETTER_PX = 8
"""A bold capital at 11 px is at most about so wide in the fonts of the common systems (measured by eye)."""


@dataclass(frozen=True, slots=True)
class MapCell:
    """One plot as drawn: place [px], fill, ink, and what stands in it. `diamond` marks a check by its shape."""

    x: int
    y: int
    number: int
    label: str
    fill: str
    ink: str
    is_check: bool
    diamond: str
    is_rejected: bool
    says: str


@dataclass(frozen=True, slots=True)
class FieldMap:
    """A trial's map: size [px], cells, and the key of its shades: (fill, from, to) in kg/ha at 15.5 %."""

    width: int
    height: int
    cell_width: int
    cell_height: int
    cells: tuple[MapCell, ...]
    key: tuple[tuple[str, float, float], ...]
    field_rows: tuple[tuple[int, int], ...]
    field_cols: tuple[tuple[int, int], ...]


def draw_map(plots: Sequence[PlotCell]) -> FieldMap | None:
    """Lay the plots out as they lie; None if a plot has no place or there are too many to draw."""
    if not plots or len(plots) > MOST_CELLS or any(p.field_row is None or p.field_col is None for p in plots):
        return None
    rows = sorted({int(p.field_row or 0) for p in plots})
    cols = sorted({int(p.field_col or 0) for p in plots})
    wide = _choose_width(max(len(plot.entry) for plot in plots))
    high, left, top = 40, 34, 22
    key = _plan_key([p.yield_kg_ha_15_5 for p in plots if p.yield_kg_ha_15_5 is not None and not p.rejected])
    at_x = {col: left + k * wide for k, col in enumerate(cols)}
    # Field row 1 lies at the bottom, where the walker starts.
    at_y = {row: top + (len(rows) - 1 - k) * high for k, row in enumerate(rows)}
    cells = tuple(_draw_cell(p, at_x[int(p.field_col or 0)], at_y[int(p.field_row or 0)], wide, key) for p in plots)
    return FieldMap(
        left + wide * len(cols) + 6,
        top + high * len(rows) + 6,
        wide - 3,
        high - 3,
        cells,
        key,
        tuple((row, y + 22) for row, y in at_y.items()),
        tuple((col, x + wide // 2) for col, x in at_x.items()),
    )


def _choose_width(longest_name: int) -> int:
    """Wide enough for the longest name, up to a width that leaves several plots on a screen [px]."""
    return min(max(longest_name * LETTER_PX + 14, 62), 120)


def _plan_key(values: list[float]) -> tuple[tuple[str, float, float], ...]:
    """Five classes with about as many plots each."""
    if len(values) < len(SHADES) or min(values) == max(values):
        return ()
    ordered = sorted(values)
    edges = [ordered[round(k * (len(ordered) - 1) / len(SHADES))] for k in range(len(SHADES) + 1)]
    return tuple(zip(SHADES, edges[:-1], edges[1:], strict=True))


def _draw_cell(plot: PlotCell, x: int, y: int, wide: int, key: tuple[tuple[str, float, float], ...]) -> MapCell:
    grain = plot.yield_kg_ha_15_5 if not plot.rejected else None
    fill = NO_DATA
    if grain is not None and key:
        fill = next((shade for shade, _, upper in key if grain <= upper), key[-1][0])
    ink = "#ffffff" if fill == SHADES[-1] else "#1b1b1b"
    longest = (wide - 12) // LETTER_PX
    label = plot.entry if len(plot.entry) <= longest else "…" + plot.entry[-(longest - 1) :]
    right, middle = x + wide - 11, y + 8
    diamond = f"{right - 5},{middle} {right},{middle - 5} {right + 5},{middle} {right},{middle + 5}"
    return MapCell(x, y, plot.number, label, fill, ink, plot.is_check, diamond, bool(plot.rejected), _say(plot, grain))


def _say(plot: PlotCell, grain: float | None) -> str:
    said = [f"Plot {plot.number}", f"replicate {plot.rep}", plot.entry + (" (check)" if plot.is_check else "")]
    if plot.rejected:
        said.append(f"rejected: {plot.rejected}")
    elif grain is not None:
        said.append(f"{grain:,.0f} kg/ha at 15.5 %")
    elif not plot.has_record:
        said.append("no record yet")
    if plot.moisture_pct is not None:
        said.append(f"{plot.moisture_pct:.1f} % moisture")
    return ", ".join(said)
