"""How is the nursery drawn: as SVG with a link for each row, or as data for a canvas where there are too many?

Colour is never the only sign: each state has a letter, each purpose a shape, and the table below says the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from firstsilk.work.nursery.field_map import STATES, Cell, FieldMap

MOST_SVG_CELLS = 3000
WIDTH, HEIGHT, LEFT, TOP = 46, 34, 62, 8
"""Size of a cell and room for the names of the ranges [px]."""
MARKS = {"male": "M38 3l6 0l0 6z", "female": "M39 3h5v5h-5z", "filler": "M38 5h6"}
"""Shapes in the upper right corner of a cell: a corner for males, a square for females, a dash for fillers."""
PURPOSES = (("self", "self: no mark"), ("female", "female of a cross"), ("male", "male"), ("filler", "filler"))


@dataclass(frozen=True, slots=True)
class Drawing:
    """What a page needs to show a map: the SVG, or the cells for a canvas with the size of the field."""

    svg: SafeString | None
    canvas: dict[str, object] | None


def draw_map(field: FieldMap, limit: int = MOST_SVG_CELLS) -> Drawing:
    """Draw a field map as SVG up to `limit` cells, beyond as data for a canvas."""
    if len(field.cells) > limit:
        return Drawing(None, _canvas_data(field))
    width, height = LEFT + field.field_cols * WIDTH + 8, TOP + field.field_rows * HEIGHT + 8
    says = f"Field map of nursery {field.season}: {field.field_rows} ranges of up to {field.field_cols} rows."
    ranges = format_html_join("", '<text x="2" y="{}" class="range">{} {}</text>', _ranges(field))
    cells = format_html_join("", "{}", ((_draw_cell(cell),) for cell in field.cells))
    svg = format_html(
        '<svg class="nursery" width="{}" height="{}" viewBox="0 0 {} {}" role="group" aria-label="{}">{}{}</svg>',
        width,
        height,
        width,
        height,
        says,
        ranges,
        cells,
    )
    return Drawing(svg, None)


def _ranges(field: FieldMap) -> Sequence[tuple[int, int, str]]:
    """Where the name of each range stands, and the way it is walked."""
    return [
        (TOP + (number - 1) * HEIGHT + 21, number, "→" if number % 2 else "←")
        for number in range(1, field.field_rows + 1)
    ]


def _draw_cell(cell: Cell) -> SafeString:
    mark = MARKS.get(cell.purpose, "")
    return format_html(
        '<a href="{}" transform="translate({} {})"><title>{}</title>'
        '<rect width="{}" height="{}" class="st {}{}"/><text x="4" y="13">{}</text>'
        '<text x="4" y="28" class="sign">{}</text>{}</a>',
        reverse("row", args=[cell.tag]),
        LEFT + (cell.field_col - 1) * WIDTH,
        TOP + (cell.field_row - 1) * HEIGHT,
        tell_cell(cell),
        WIDTH - 3,
        HEIGHT - 3,
        cell.state,
        " shut" if cell.no_entry else "",
        cell.number,
        cell.sign,
        format_html('<path d="{}" class="mark-{}"/>', mark, cell.purpose) if mark else "",
    )


def tell_cell(cell: Cell) -> str:
    """A cell in words."""
    what = f"{cell.kind or cell.purpose}" + (f" by {cell.male}" if cell.male else "")
    text = f"row {cell.number}, {cell.line}, {what}: {cell.says}"
    return f"{text}; no entry now" if cell.no_entry else text


def _canvas_data(field: FieldMap) -> dict[str, object]:
    """The cells in short form; their page is the row address with the tag in place of the eight zeros."""
    return {
        "cols": field.field_cols,
        "rows": field.field_rows,
        "address": reverse("row", args=["00000000"]),
        "cells": [
            [
                cell.field_row,
                cell.field_col,
                cell.number,
                cell.tag,
                cell.state,
                cell.sign,
                tell_cell(cell),
                cell.purpose,
                cell.no_entry,
            ]
            for cell in field.cells
        ],
    }


def list_key(field: FieldMap) -> list[tuple[str, str, str, int]]:
    """The legend: state, sign, meaning and how many rows are in it; states without a row are left out."""
    counts = dict(field.counts)
    return [(name, sign, meaning, counts[name]) for name, sign, meaning in STATES if counts[name]]
