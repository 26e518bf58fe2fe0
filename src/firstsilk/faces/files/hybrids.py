"""How does a table of hybrids and the heat units that they need get in?

Columns ``hybrid, units_to_black_layer`` and, if known, ``units_to_silk``: heat units in one scale, from one start.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from firstsilk.answers import Finding, stop_if_any
from firstsilk.faces.files.tables import TableRow, read_table
from firstsilk.faces.files.unit_scales import settle_unit_scale
from firstsilk.science.climate.heat import Scale
from firstsilk.science.flowering.ripe_chance import HybridNeed
from firstsilk.science.flowering.usual_units import Stage

COLUMNS = ("hybrid", "units_to_black_layer")
STAGES: dict[str, Stage] = {"units_to_black_layer": "black layer", "units_to_silk": "silk"}


@dataclass(frozen=True, slots=True)
class Hybrids:
    """The hybrids of a file in its order, and what is odd about them without stopping anything."""

    file: str
    needs: tuple[HybridNeed, ...]
    warnings: tuple[Finding, ...]


def read_hybrids(path: str | Path, scale: Scale) -> Hybrids:
    """Read hybrids with their units to black layer.

    Parameters
    ----------
    path
        CSV, XLSX or Parquet; ``-`` is standard input.
    scale
        Scale of the units, to notice numbers that look like those of another.

    Raises
    ------
    InputRefused
        Naming all of these at once: a missing column, no line at all, a hybrid without name or twice, units that are
        missing, no number or not above 0, silk not before black layer, a column ``scale`` that says another scale.
    """
    table = read_table(path)
    table.need(*COLUMNS)
    table.need_rows()
    findings: list[Finding] = []
    needs: list[HybridNeed] = []
    first_line: dict[str, int] = {}
    for row in table.rows:
        need = _read_need(row, findings)
        findings += _check_name(row, first_line)
        if need is not None:
            needs.append(need)
    stop_if_any(findings)
    return Hybrids(table.file, tuple(needs), settle_unit_scale(table.rows, scale, STAGES))


def _check_name(row: TableRow, first_line: dict[str, int]) -> Iterator[Finding]:
    name = row.text("hybrid")
    if not name:
        yield row.finding("no_hybrid", "the hybrid has no name", "hybrid", "Name it, or remove the line")
    else:
        repair = "Remove one of the two lines"
        yield from row.find_twice(first_line, name, "this hybrid", "hybrid_twice", "hybrid", repair)


def _read_need(row: TableRow, findings: list[Finding]) -> HybridNeed | None:
    before = len(findings)
    black, silk = row.number("units_to_black_layer", findings), row.number("units_to_silk", findings)
    if black is None and len(findings) == before:
        told = "the units to black layer are missing"
        repair = "Write the heat units from sowing to black layer, or remove the line"
        findings.append(row.finding("no_units", told, "units_to_black_layer", repair))
    for column, units in (("units_to_black_layer", black), ("units_to_silk", silk)):
        if units is not None and units <= 0:
            findings.append(row.finding("units_not_above_0", "heat units are above 0", column, "Check the number"))
    if black is not None and silk is not None and black > 0 and silk >= black:
        message = "silk is not before black layer"
        findings.append(row.finding("silk_after_black_layer", message, "units_to_silk", "Check both, perhaps swapped"))
    if black is None or len(findings) > before:
        return None
    return HybridNeed(row.text("hybrid"), black, silk)
