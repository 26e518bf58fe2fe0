"""How do people read which tables they may bring? The page docs/tables.md, written from the column definitions.

``python -m firstsilk.faces.files.layout_page > docs/tables.md`` writes it anew; a test holds the page to the code.
"""

from __future__ import annotations

import sys

from firstsilk.work.bring.layouts import LAYOUTS, Column, Layout
from firstsilk.work.bring.tables import as_text

KINDS = {
    "text": "text",
    "code": "code",
    "choice": "one of",
    "truth": "1 or 0",
    "number": "number",
    "whole": "whole number",
    "date": "date",
    "season": "season",
}

BEFORE = """# The tables a station brings

<!-- Written by `python -m firstsilk.faces.files.layout_page`; do not edit by hand. -->

`firstsilk blank-tables DIR` writes all of them empty, each with an example row of the invented station to be removed
(`--xlsx` for spreadsheets). `firstsilk bring DIR` reads them, says everything that is odd, and stores the folder whole
or not at all; `--check-only` writes nothing.

- One file a table, named as below, `.csv` (UTF-8, commas, a header line) or `.xlsx` (the first sheet). Every file may
  be absent; a new station needs `station` and `sites`. Further rows can be brought later, alone.
- Dates are written 2031-05-18, decimals with a point, yes and no as 1 and 0. An empty cell means: not known.
- Column order is free. A column or a file that is not known here is named and not read.
- A finding that **stops** keeps the whole folder out; one that **warns** is told, and the value is kept as it stands.
- Bringing the same folder again changes nothing. A row that fills what was empty in the books adds it. A row that says
  something else than the books stops, and names what the books hold.
- Names are compared letter by letter. An unknown one stops and the nearest known one is offered; two that differ only
  by capitals stop.
"""

AFTER = """
## What becomes of them

- The kernels of a lot become its opening movement, dated on the day they were brought; rows sown before that day take
  nothing from it.
- `sown`, `silk`, `shed`, `stand`, `ears` and `kernels_shelled` of a row become notes with the source `file`. Dated
  ones are taken on their date; counts have no date of their own and are dated on the day they were brought.
- All seasons are stored at the home site.
- A plot's yield is reckoned from weight, moisture and area where all three are known; otherwise the given one counts.
  A past trial has the design `as_brought`, and as many replicates as there are names of replicates.
- A lot with the origin `lots` whose `origin_text` names nothing but lots, parted by semicolons, is linked to them.
- A day without both temperatures is left out and named. Missing days are named and not filled.
- `firstsilk daily HOURS --out weather.csv` makes daily weather from hourly readings (`time`, `temp_c` or `temp_f`, and
  `site`, `rain_mm` if there); days with fewer than 20 hours are left out and named.
"""


def render_layout_page() -> str:
    """The whole page as Markdown."""
    return BEFORE + "".join(_render_layout(layout) for layout in LAYOUTS) + AFTER


def _render_layout(layout: Layout) -> str:
    wanted = " Wanted for a new station." if layout.wanted else ""
    key = " and ".join(f"`{name}`" for name in layout.key)
    lines = [
        f"\n## {layout.name}\n",
        f"{layout.says}{wanted} A row is known by its {key}.\n",
        "| column | wanted | what | says | may be | example |",
        "|---|---|---|---|---|---|",
    ]
    lines += [_render_column(column) for column in layout.columns]
    return "\n".join(lines) + "\n"


def _render_column(column: Column) -> str:
    what = KINDS[column.kind]
    if column.choices:
        what += " " + ", ".join(f"`{choice}`" for choice in column.choices)
    if column.longest:
        what += f", at most {column.longest} signs"
    says = column.says + (f"; empty means {column.empty_means}" if column.empty_means else "")
    wanted = "yes" if column.wanted else ""
    return f"| `{column.name}` | {wanted} | {what} | {says} | {_limits(column)} | {column.example} |"


def _limits(column: Column) -> str:
    parts = []
    if column.low is not None or column.high is not None:
        parts.append(_span(column.low, column.high))
    if column.odd_low is not None:
        parts.append(f"doubted below {as_text(column.odd_low)}")
    if column.odd_high is not None:
        parts.append(f"doubted above {as_text(column.odd_high)}")
    return "; ".join(parts)


def _span(low: float | None, high: float | None) -> str:
    if low is None:
        return f"up to {as_text(high)}"
    return f"from {as_text(low)}" if high is None else f"{as_text(low)} to {as_text(high)}"


if __name__ == "__main__":
    sys.stdout.write(render_layout_page())
