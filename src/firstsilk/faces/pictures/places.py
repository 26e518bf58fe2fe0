"""Which entry is best at which sites? First in sentences, then as a picture of entries from site to site."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstsilk.faces.pictures.labels import GAP_PX, LETTER_PX, LINE_PX, spread_names
from firstsilk.faces.pictures.look import BLUE, GREEN, GREY, INK, ORANGE, Spec
from firstsilk.science.analysis.best_places import BestPlaces, PlaceGroup
from firstsilk.science.analysis.models import Array

WIDE_PX, HIGH_PX = 640.0, 360.0
STEPS = 90
"""Places along the picture at which each entry's line is told."""
MARGIN_DEG = 12.0
"""What is drawn beyond the outermost sites, at least."""
MOST_OTHERS = 60
"""So many entries that are neither best nor a check are drawn, those that come highest."""
KINDS = ("best somewhere", "check", "other entry")
LEAST_CHANCE = 0.5
LEVEL = 0.05
"""A second axis that random tables reach more often than this is called no stronger than noise."""


def tell_best_places(
    found: BestPlaces, unit: str, digits: int = 0, less_is_better: bool = False, p_second: float | None = None
) -> tuple[str, ...]:
    """Who is best where, by how much and how surely, one sentence a group of sites; then what it rests on.

    `less_is_better` where the table was turned over; `p_second` the chance that noise alone gives such a second axis.
    """
    said = [_tell_group(one, unit, digits, less_is_better) for one in found.groups]
    said += _tell_whole(found, p_second)
    differ = [name for name, a, b in zip(found.environments, found.best, found.plain_best, strict=True) if a != b]
    if differ:
        said.append(
            f"By the plain means alone another entry is first at {_join(differ)}: the two axes do not hold all of it."
        )
    return tuple(said)


def _tell_group(one: PlaceGroup, unit: str, digits: int, less_is_better: bool) -> str:
    lead = one.plain_lead if one.lead is None else one.lead
    size, places = f"{abs(lead):,.{digits}f} {unit}", _join(one.environments)
    better, worse = ("below", "above") if less_is_better else ("above", "below")
    if size == f"{0:,.{digits}f} {unit}":
        text = f"{places}: {one.entry}, level with {one.next_best}"
    elif lead >= 0:
        text = f"{places}: {one.entry}, {size} {better} the next, {one.next_best}"
    else:
        text = f"{places}: {one.entry} by the two axes, though it is {size} {worse} {one.next_best}"
    if one.chance is None:
        return f"{text}; how sure cannot be told without the error of a mean."
    return f"{text}; the chance that it is truly the best there is {one.chance:.2f}."


def _tell_whole(found: BestPlaces, p_second: float | None) -> list[str]:
    said = []
    if len(found.groups) == 1:
        said.append("One entry is best at all of them: nothing here asks for different entries at different sites.")
    unsure = sum(one.chance is not None and one.chance < LEAST_CHANCE for one in found.groups)
    if unsure == len(found.groups):
        said.append("None of these is more likely than not: choose by the mean over all sites.")
    elif unsure:
        said.append(
            f"{unsure} of {len(found.groups)} are less likely than not: there choose by the mean over all sites."
        )
    said.append(f"The two axes hold {sum(found.percent):.0f} % of how the entries differ at these sites.")
    if p_second is not None and p_second > LEVEL:
        said.append(
            f"The second axis is no stronger than noise alone gives ({p_second:.2f} of random tables do as well), so "
            "that the sites call for different entries is not shown."
        )
    return said


def _join(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def picture_best_places(
    found: BestPlaces,
    checks: Sequence[str] = (),
    unit: str = "",
    less_is_better: bool = False,
    wide_px: float = WIDE_PX,
) -> Spec:
    """Draw how far each entry lies above the mean from site to site, the sites in the order in which they sort entries.

    Parameters
    ----------
    found
        As `find_best_places` gives it.
    checks
        Entries that are drawn as checks.
    unit
        Of the means, in words, for the axis.
    less_is_better
        Where the table was turned over.
    wide_px
        Room across.

    Returns
    -------
    dict
        Vega-Lite specification without schema and look.

    Notes
    -----
    From left to right the direction turns in the plane of the two axes; each site stands at its own. Along the way an
    entry p changes as s (p1 cos t + p2 sin t), s the mean length of the sites: at a site of that strength its two-axis
    value above the mean of all entries. The uppermost line is that of the best; where two lines cross at the top, the
    best entry changes. The widest stretch without a site is cut out.
    """
    sites, turns, curves = _turn(found)
    best, own = set(found.best), {at for at, name in enumerate(found.entries) if name in set(checks)}
    shown = [*best, *(own - best)]
    top = float(np.max(curves))
    low = max(float(np.min(curves[shown])), -1.1 * abs(top)) if top > 0 else -1.0
    low, top = min(low, 0.0), max(top * 1.14, 1e-9)
    px = wide_px / float(turns[-1] - turns[0])
    names = _lay_names(found.environments, [float(site - turns[0]) * px for site in sites], wide_px)
    below = (max(one.row for one in names) + 1) * LINE_PX + 12
    x = {
        "field": "x",
        "type": "quantitative",
        "scale": {"domain": [float(turns[0]), float(turns[-1])], "nice": False},
        "axis": {"grid": False, "labels": False, "ticks": False, "titlePadding": below},
        "title": "Sites that stand together rank the entries alike",
    }
    way = "Below" if less_is_better else "Above"
    told = f"{way} the mean of the entries{f', {unit}' if unit else ''}"
    y = {"field": "y", "type": "quantitative", "scale": {"domain": [low, top], "nice": False}, "title": told}
    return {
        "width": round(wide_px),
        "height": round(HIGH_PX),
        "encoding": {"x": x, "y": y},
        "layer": [
            *_draw_sites(names, sites, float(turns[0]), px),
            *_draw_entries(found, turns, curves, own),
            *_name_best(found, turns, curves, px),
            *_name_checks(found, curves, own - best, low, top, wide_px),
        ],
    }


def _turn(found: BestPlaces) -> tuple[Array, Array, Array]:
    """Where each site stands (e,), the places along the way (m,) in degrees, and each entry's line there (g, m)."""
    lengths = np.linalg.norm(found.environment_points, axis=1)
    strength = float(np.mean(lengths)) or 1.0
    own = np.degrees(np.arctan2(found.environment_points[:, 1], found.environment_points[:, 0])) % 360.0
    order = np.sort(own)
    gaps = np.diff(np.append(order, order[0] + 360.0))
    begin = float(order[(int(np.argmax(gaps)) + 1) % len(order)])
    sites = (own - begin) % 360.0
    margin = max(MARGIN_DEG, 0.12 * float(np.max(sites)))
    turns = np.linspace(-margin, float(np.max(sites)) + margin, STEPS)
    at = np.radians(turns + begin)
    return sites, turns, strength * (found.entry_points @ np.vstack([np.cos(at), np.sin(at)]))


@dataclass(frozen=True, slots=True)
class _Name:
    """A name that stands centred over a place along the picture [px], in one of several rows."""

    name: str
    x: float
    row: int


def _lay_names(names: Sequence[str], places: Sequence[float], wide: float) -> list[_Name]:
    """Names inside the picture, each in the first row in which it lies on no other; in the order given."""
    taken: list[tuple[float, float, int]] = []
    laid: dict[int, _Name] = {}
    for at in sorted(range(len(names)), key=lambda k: places[k]):
        half = len(names[at]) * LETTER_PX / 2
        x = min(max(places[at], half), max(wide - half, half))
        row = 0
        while any(r == row and x - half < right and left < x + half for left, right, r in taken):
            row += 1
        taken.append((x - half, x + half, row))
        laid[at] = _Name(names[at], x, row)
    return [laid[at] for at in range(len(names))]


def _draw_sites(names: Sequence[_Name], sites: Array, begin: float, px: float) -> list[Spec]:
    """An upright at each site, its name below the picture."""
    rule = {"type": "rule", "stroke": BLUE, "strokeWidth": 1.1, "opacity": 0.55, "clip": False}
    text = {"type": "text", "align": "center", "fontSize": 12, "color": "#004f7d", "fontWeight": 600, "clip": False}
    drawn: list[Spec] = []
    for one, site in zip(names, sites, strict=True):
        foot = HIGH_PX + 6 + one.row * LINE_PX
        data = {"values": [{"x": float(site), "at": begin + one.x / px, "name": one.name}]}
        drawn.append({"data": data, "mark": rule, "encoding": {"y": {"value": 0}, "y2": {"value": foot}}})
        place = {"x": {"field": "at", "type": "quantitative"}, "y": {"value": foot + LINE_PX * 0.6}}
        drawn.append({"data": data, "mark": text, "encoding": {**place, "text": {"field": "name"}}})
    return drawn


def _draw_entries(found: BestPlaces, turns: Array, curves: Array, own: set[int]) -> list[Spec]:
    """A line for each entry: the best heavy, checks broken, the others faint."""
    best = set(found.best)
    rest = [at for at in np.argsort(-np.max(curves, axis=1)).tolist() if at not in best | own][:MOST_OTHERS]
    kind_of = {**dict.fromkeys(rest, 2), **dict.fromkeys(own, 1), **dict.fromkeys(best, 0)}
    values = [
        {"x": float(x), "y": float(y), "entry": found.entries[at], "kind": KINDS[kind], "order": 2 - kind}
        for at, kind in kind_of.items()
        for x, y in zip(turns, curves[at], strict=True)
    ]
    legend = {"title": None, "symbolType": "stroke", "symbolSize": 400, "symbolStrokeWidth": 3, "columnPadding": 24}

    def by_kind(values: Sequence[object]) -> dict[str, object]:
        scale = {"domain": list(KINDS), "range": list(values)}
        return {"field": "kind", "type": "nominal", "scale": scale, "legend": {**legend, "offset": 14}}

    return [
        {
            "data": {"values": [one for one in values if one["kind"] == kind]},
            "mark": {"type": "line", "clip": True, "opacity": 0.5 if kind == KINDS[2] else 1.0},
            "encoding": {
                "detail": {"field": "entry"},
                "color": by_kind([GREEN, ORANGE, GREY]),
                "strokeDash": by_kind([[1, 0], [7, 4], [1, 0]]),
                "strokeWidth": by_kind([3.2, 1.8, 0.9]),
            },
        }
        for kind in reversed(KINDS)
    ]


def _name_best(found: BestPlaces, turns: Array, curves: Array, px: float) -> list[Spec]:
    """The name of each best entry above all lines, about where it leads by most."""
    best = list(dict.fromkeys(found.best))
    where = []
    for at in best:
        others = np.max(np.delete(curves, at, axis=0), axis=0, initial=-np.inf)
        lead = int(np.argmax(curves[at] - others)) if len(curves) > 1 else len(turns) // 2
        where.append(float(turns[lead] - turns[0]) * px)
    laid = _lay_names([found.entries[at] for at in best], where, float(turns[-1] - turns[0]) * px)
    look = {"type": "text", "align": "center", "fontSize": 12, "color": INK, "fontWeight": 700, "clip": False}
    drawn: list[Spec] = []
    for one in laid:
        x = (turns - turns[0]) * px
        under = np.abs(x - one.x) <= len(one.name) * LETTER_PX / 2
        value = {"x": float(turns[0]) + one.x / px, "y": float(np.max(curves[:, under])), "name": one.name}
        mark = {**look, "dy": -10 - one.row * LINE_PX}
        drawn.append({"data": {"values": [value]}, "mark": mark, "encoding": {"text": {"field": "name"}}})
    return drawn


def _name_checks(found: BestPlaces, curves: Array, checks: set[int], low: float, top: float, wide: float) -> list[Spec]:
    """The name of each check beside the right end of its line."""
    ends = [(found.entries[at], float(curves[at, -1])) for at in sorted(checks) if low <= curves[at, -1] <= top]
    heights = spread_names([(top - y) / (top - low) * HIGH_PX for _, y in ends], HIGH_PX)
    look = {"type": "text", "align": "left", "fontSize": 12, "color": "#4a4a46", "clip": False}
    return [
        {
            "data": {"values": [{"name": name}]},
            "mark": look,
            "encoding": {"x": {"value": wide + GAP_PX}, "y": {"value": at}, "text": {"field": "name"}},
        }
        for (name, _), at in zip(ends, heights, strict=True)
    ]
