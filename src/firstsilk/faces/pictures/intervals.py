"""Which entry stands where, how sure is that, and how far is it from the check or the best?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firstsilk.faces.pictures.look import BLUE, GREEN, GREY, INK, ORANGE, Spec

ROW_PX = 19
MOST_ROWS = 60
"""More entries than this are cut to the best and the checks; the table holds all."""
KINDS = ("higher beyond doubt", "cannot be told apart", "lower beyond doubt", "compared with")


@dataclass(frozen=True, slots=True)
class EntryInterval:
    """One entry: its estimate and its difference to what it is compared with, each with both ends of its interval.

    `difference` and its ends are None for what all are compared with, where that is an entry.
    """

    entry: str
    is_check: bool
    value: float
    low: float
    high: float
    difference: float | None
    difference_low: float | None
    difference_high: float | None

    @property
    def kind(self) -> str:
        """Whether the difference's interval lies above 0, below it, or on both sides."""
        if self.difference is None or self.difference_low is None or self.difference_high is None:
            return KINDS[3]
        return KINDS[0] if self.difference_low > 0 else KINDS[2] if self.difference_high < 0 else KINDS[1]


def pick_rows(rows: Sequence[EntryInterval], most: int = MOST_ROWS) -> tuple[EntryInterval, ...]:
    """The entries drawn: all if they are few, else the first ones and every check; order is kept."""
    checks = [one for one in rows if one.is_check]
    first = [one for one in rows if not one.is_check][: max(most - len(checks), 0)]
    wanted = {one.entry for one in (*first, *checks)}
    return tuple(one for one in rows if one.entry in wanted)


def picture_intervals(
    rows: Sequence[EntryInterval], unit: str, against: str, less_is_better: bool = False, wide_px: float = 880.0
) -> Spec:
    """Draw estimates with their intervals, in the order given, and beside them the differences.

    Parameters
    ----------
    rows
        The entries from the top down.
    unit
        In words, for the axes.
    against
        What all are compared with, in words.
    less_is_better
        Whether the lower ones have the colour of the better.
    wide_px
        Room across.

    Returns
    -------
    dict
        Vega-Lite specification without schema and look.

    Notes
    -----
    A triangle points the way of a difference that is beyond doubt, its interval lying wholly on one side of 0; a
    diamond is what all are compared with.
    """
    shown = pick_rows(rows)
    order = [_name(one) for one in shown]
    panel = (wide_px - 190) / 2
    left = _panel(order, "value", f"Estimate, {unit}", panel, True, less_is_better)
    right = _panel(order, "difference", f"Less {against}, {unit}", panel, False, less_is_better)
    return {
        "data": {"values": [_tell(one) for one in shown]},
        "hconcat": [left, right],
        "spacing": 26,
        "resolve": {"scale": {"color": "shared", "shape": "shared"}},
    }


def _name(one: EntryInterval) -> str:
    return f"{one.entry} (check)" if one.is_check else one.entry


def _tell(one: EntryInterval) -> dict[str, object]:
    return {
        "entry": _name(one),
        "kind": one.kind,
        "value": one.value,
        "value_low": one.low,
        "value_high": one.high,
        "difference": one.difference,
        "difference_low": one.difference_low,
        "difference_high": one.difference_high,
    }


def _panel(order: Sequence[str], field: str, title: str, width: float, first: bool, less_is_better: bool) -> Spec:
    y = {"field": "entry", "type": "nominal", "sort": list(order), "title": None, "axis": _rows_axis(first)}
    number = {"type": "quantitative", "scale": {"zero": False}}
    axis = {"titlePadding": 8, "tickCount": 4, "labelFlush": False, "format": ",~f"}
    x = {**number, "field": field, "title": title, "axis": axis}
    colour, shape = _mark_kinds(less_is_better)
    rule = {"type": "rule", "strokeWidth": 2, "opacity": 0.55}
    point = {"type": "point", "filled": True, "size": 70, "opacity": 1}
    layers: list[Spec] = []
    if not first:
        zero = {"type": "rule", "color": INK, "strokeWidth": 1.2}
        layers.append({"data": {"values": [{"at": 0}]}, "mark": zero, "encoding": {"x": {**number, "field": "at"}}})
    whole = {"transform": [{"filter": f"isValid(datum.{field})"}]}
    span = {"x": {**x, "field": f"{field}_low"}, "x2": {"field": f"{field}_high"}, "y": y, "color": colour}
    layers += [
        {**whole, "mark": rule, "encoding": span},
        {**whole, "mark": point, "encoding": {"x": x, "y": y, "color": colour, "shape": shape}},
    ]
    return {"width": round(width), "height": {"step": ROW_PX}, "layer": layers}


def _rows_axis(named: bool) -> Spec:
    """The entries down the side, with their names or with their lines alone."""
    axis: Spec = {"ticks": False, "domain": False, "grid": True, "gridColor": "#f0eee7"}
    names = {"labelLimit": 150, "labelFontSize": 12.5, "labelPadding": 8}
    return {**axis, **(names if named else {"labels": False})}


def _mark_kinds(less_is_better: bool) -> tuple[Spec, Spec]:
    """Colour and shape of each kind; the better side is green."""
    legend = {"title": None, "symbolSize": 110, "labelLimit": 300, "columnPadding": 24, "symbolOpacity": 1}
    by_kind = {"field": "kind", "type": "nominal", "legend": legend}
    colours = [GREY, BLUE, GREEN, ORANGE] if less_is_better else [GREEN, BLUE, GREY, ORANGE]
    shapes = ["triangle-up", "circle", "triangle-down", "diamond"]
    domain = list(KINDS)
    return (
        {**by_kind, "scale": {"domain": domain, "range": colours}},
        {**by_kind, "scale": {"domain": domain, "range": shapes}},
    )


def tell_intervals(rows: Sequence[EntryInterval], unit: str, against: str, digits: int = 0) -> tuple[str, ...]:
    """What the picture says, in sentences: who is first, and how many differ beyond doubt."""
    if not rows:
        return ()
    top = rows[0]
    first = (
        f"First is {top.entry} with {top.value:,.{digits}f} {unit}; its 95 % interval reaches from "
        f"{top.low:,.{digits}f} to {top.high:,.{digits}f}."
    )
    kinds = [one.kind for one in rows if one.kind != KINDS[3]]
    others = (
        f"Of {len(kinds)} entries {kinds.count(KINDS[0])} lie above {against} beyond doubt, "
        f"{kinds.count(KINDS[2])} below it, and {kinds.count(KINDS[1])} cannot be told apart from it."
    )
    return (first, others)
