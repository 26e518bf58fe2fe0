"""How do the plots of a trial look from above, each by how far it lies from what is expected of it?

A plain SVG text, the same on a page and in a file. Sign and size stand in each cell as marks too, not as colour alone.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from html import escape

from firstsilk.faces.pictures.look import BOTH_WAYS, DARK, INK
from firstsilk.work.analysis.plot_findings import PlotLook, write_number

EDGES = (-3.0, -2.0, -1.0, 1.0, 2.0, 3.0)
"""Error deviations at which the shade changes and a mark is added (a choice of ours)."""
MARKS = ("− − −", "− −", "−", "", "+", "+ +", "+ + +")
ACROSS = 20
"""Plots in a row where their place in the field is not known."""
MOST_CELLS = 3_000
WIDE, HIGH, LEFT, TOP, FOOT = 56, 38, 30, 20, 20
SHIFTED = "#5b2a86"
AXES = "Field columns across, field rows up"


def draw_plot_map(looks: Sequence[PlotLook], linked: bool = False) -> str:
    """Draw the plots as they lie, field row 1 at the bottom.

    Parameters
    ----------
    looks
        Plots in harvest order. Without places in the field they are laid out in that order, from the bottom left.
    linked
        Whether each cell leads to ``#plot-<number>`` on the page it stands on.

    Returns
    -------
    str
        The SVG; empty if there are more than `MOST_CELLS` plots, or none.
    """
    if not looks or len(looks) > MOST_CELLS:
        return ""
    places = [_place(one, at) for at, one in enumerate(looks)]
    rows, cols = sorted({row for row, _ in places}), sorted({col for _, col in places})
    at_x = {col: LEFT + k * WIDE for k, col in enumerate(cols)}
    at_y = {row: TOP + (len(rows) - 1 - k) * HIGH for k, row in enumerate(rows)}
    wide, high = LEFT + WIDE * len(cols) + 4, TOP + HIGH * len(rows) + FOOT
    size = f'width="{wide}" height="{high}" viewBox="0 0 {wide} {high}"'
    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="system-ui, sans-serif" font-size="11">']
    if looks[0].field_row is not None:
        grey = 'fill="#55534c"'
        parts += [f'<text x="{x + WIDE // 2}" y="14" text-anchor="middle" {grey}>{c}</text>' for c, x in at_x.items()]
        parts += [f'<text x="{LEFT - 6}" y="{y + 22}" text-anchor="end" {grey}>{r}</text>' for r, y in at_y.items()]
        parts.append(f'<text x="{LEFT}" y="{high - 6}" {grey}>{AXES}</text>')
    parts += [_draw_cell(one, at_x[col], at_y[row], linked) for one, (row, col) in zip(looks, places, strict=True)]
    return "\n".join([*parts, "</svg>"]) + "\n"


def list_shades() -> tuple[tuple[str, str, str], ...]:
    """The key: fill, mark and words of each shade."""
    edges = [f"{edge:g}".replace("-", "−") for edge in EDGES]
    words = [f"below {edges[0]}", *(f"{low} to {high}" for low, high in itertools.pairwise(edges))]
    words.append(f"above {edges[-1]}")
    return tuple(zip(BOTH_WAYS, MARKS, words, strict=True))


def say_look(look: PlotLook) -> str:
    """One plot in words."""
    said = [f"Plot {look.plot}", look.entry]
    if look.rejected:
        said.append("rejected")
    if look.value is None:
        said.append("no value")
    elif look.expected is not None:
        said.append(f"{write_number(look.value)}, expected {write_number(look.expected)}")
    if look.t is not None:
        said.append(f"{look.t:+.1f} error deviations" + (" (odd)" if look.odd else ""))
    if look.shifted:
        said.append("in the stretch that looks shifted")
    return ", ".join(said)


def _place(look: PlotLook, at: int) -> tuple[int, int]:
    if look.field_row is None or look.field_col is None:
        return at // ACROSS, at % ACROSS
    return look.field_row, look.field_col


def _draw_cell(look: PlotLook, x: int, y: int, linked: bool) -> str:
    fill, mark = "#ffffff", "" if look.rejected else "·"
    if look.t is not None:
        shade = sum(look.t > edge for edge in EDGES)
        fill, mark = BOTH_WAYS[shade], MARKS[shade]
    ink = "#ffffff" if fill in DARK else INK
    edge = f'stroke="{INK}" stroke-width="3"' if look.odd else 'stroke="#8d8a80"'
    wide, high = WIDE - 4, HIGH - 4
    inside = [
        f"<title>{escape(say_look(look))}</title>",
        f'<rect x="{x}" y="{y}" width="{wide}" height="{high}" fill="{fill}" {edge}/>',
        f'<text x="{x + 4}" y="{y + 13}" fill="{ink}" opacity=".8">{escape(look.plot)}</text>',
        f'<text x="{x + wide // 2}" y="{y + 28}" text-anchor="middle" font-weight="700" fill="{ink}">{mark}</text>',
    ]
    if look.odd:
        inside.append(f'<text x="{x + wide - 9}" y="{y + 13}" font-weight="700" fill="{ink}">!</text>')
    if look.shifted:
        # Two lines along the way of the pass, where nothing else stands.
        inside.append(
            f'<path d="M{x} {y + high - 3}h{wide}" stroke="{SHIFTED}" stroke-width="3" stroke-dasharray="6 3"/>'
        )
    if look.rejected:
        # Below the number of the plot, which stays readable.
        left, top, side = x + wide // 2 - 7, y + 15, 14
        inside.append(f'<path d="M{left} {top}l{side} {side}m-{side} 0l{side} -{side}" stroke="#8f2412" fill="none"/>')
    cell = "".join(inside)
    return f'<a href="#plot-{escape(look.plot, quote=True)}">{cell}</a>' if linked else f"<g>{cell}</g>"
