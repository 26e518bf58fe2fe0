"""Which entry is best at which sites? First in sentences, then as a picture of two axes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from firstsilk.faces.pictures.labels import GAP_PX, LETTER_PX, Anchor, place_labels
from firstsilk.faces.pictures.look import BLUE, GREEN, GREY, INK, ORANGE, Spec
from firstsilk.science.analysis.best_places import BestPlaces, PlaceGroup
from firstsilk.science.analysis.models import Array

LONG_PX = 760.0
MOST_SIDE_PX, END_PX = 150.0, 26.0
"""Room for names beside and above the outermost points."""
ALONG_PX = 8.0
"""Names keep off the sites' lines, looked at so far apart."""
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


def picture_best_places(found: BestPlaces, checks: Sequence[str] = (), long_px: float = LONG_PX) -> Spec:
    """Draw entries as points, sites as directions, the outer hull, and the sectors in which one entry is best.

    Parameters
    ----------
    found
        As `find_best_places` gives it.
    checks
        Entries that are drawn as checks.
    long_px
        The longer side.

    Returns
    -------
    dict
        Vega-Lite specification without schema and look.

    Notes
    -----
    Both axes have one scale. An entry is the farther above the mean at a site the farther it lies in the direction of
    the site's line; lines are drawn in a length of their own, in proportion to each other. Names: the corners of the
    hull, the checks, and the sites, as far as there is room.
    """
    points, tips = _scale_together(found)
    low = np.minimum(points.min(axis=0), tips.min(axis=0))
    high = np.maximum(points.max(axis=0), tips.max(axis=0))
    named = [*found.environments, *(found.entries[at] for at in found.hull)]
    side = min(max(len(name) for name in named) * LETTER_PX + 2 * GAP_PX, MOST_SIDE_PX)
    px = (long_px - 2 * side) / float(max(np.max(high - low), 1e-12))
    room = np.array([side, END_PX]) / px
    # A picture that is all but flat still has room for its names.
    room[1] = max(room[1], (120 / px - (high - low)[1]) / 2)
    low, high = low - room, high + room
    size = (high - low) * px
    axis = {"grid": False, "labels": False, "ticks": False, "domain": False, "titlePadding": 8}
    number = {"type": "quantitative"}
    x = {**number, "scale": {"domain": [low[0], high[0]], "nice": False}, "axis": axis}
    y = {**number, "scale": {"domain": [low[1], high[1]], "nice": False}, "axis": axis}
    share = [f"Axis {k + 1}, {value:.0f} % of the differences" for k, value in enumerate(found.percent)]
    x |= {"field": "x", "title": share[0]}
    y |= {"field": "y", "title": share[1]}
    names = _place_names(found, points, tips, set(checks), low, high, px)
    return {
        "width": round(float(size[0])),
        "height": round(float(size[1])),
        "view": {"stroke": "#d9d6cb"},
        "encoding": {"x": x, "y": y},
        "layer": [
            *_draw_sectors(found, float(np.max(high - low)) * 2),
            *_draw_hull(found, points),
            *_draw_sites(tips),
            *_draw_entries(found, points, set(checks)),
            *_draw_names(names),
        ],
    }


def _scale_together(found: BestPlaces) -> tuple[Array, Array]:
    """Entries, and the sites' directions stretched so that the longest reaches as far as the farthest entry."""
    points, directions = found.entry_points, found.environment_points
    far, long = (float(np.max(np.linalg.norm(one, axis=1))) for one in (points, directions))
    return points, directions * (0.92 * far / long if long > 0 else 1.0)


def _rows(places: Array, **more: Sequence[object]) -> dict[str, object]:
    told = [
        {"x": float(x), "y": float(y), **{key: values[at] for key, values in more.items()}}
        for at, (x, y) in enumerate(places)
    ]
    return {"values": told}


def _draw_sectors(found: BestPlaces, far: float) -> list[Spec]:
    if not len(found.rays):
        return []
    values = [{"x": 0.0, "y": 0.0, "x2": float(ray[0]) * far, "y2": float(ray[1]) * far} for ray in found.rays]
    mark = {"type": "rule", "strokeDash": [2, 4], "stroke": GREY, "strokeWidth": 1.1, "clip": True}
    return [{"data": {"values": values}, "mark": mark, "encoding": {"x2": {"field": "x2"}, "y2": {"field": "y2"}}}]


def _draw_hull(found: BestPlaces, points: Array) -> list[Spec]:
    ring = [*found.hull, found.hull[0]]
    order = {"field": "order", "type": "quantitative"}
    mark = {"type": "line", "stroke": "#b9b5a8", "strokeWidth": 1.2}
    data = _rows(points[ring], order=list(range(len(ring))))
    return [{"data": data, "mark": mark, "encoding": {"order": order}}]


def _draw_sites(tips: Array) -> list[Spec]:
    values = [{"x": 0.0, "y": 0.0, "x2": float(x), "y2": float(y)} for x, y in tips]
    rule = {"type": "rule", "stroke": BLUE, "strokeWidth": 1.6, "opacity": 0.8}
    square = {"type": "point", "shape": "square", "filled": True, "size": 42, "color": BLUE, "opacity": 1}
    ends = {"x2": {"field": "x2"}, "y2": {"field": "y2"}}
    return [{"data": {"values": values}, "mark": rule, "encoding": ends}, {"data": _rows(tips), "mark": square}]


def _kinds(found: BestPlaces, checks: set[str]) -> list[str]:
    best = set(found.best)
    return [
        "best somewhere" if at in best else "check" if name in checks else "other entry"
        for at, name in enumerate(found.entries)
    ]


def _draw_entries(found: BestPlaces, points: Array, checks: set[str]) -> list[Spec]:
    kinds = ["best somewhere", "check", "other entry", "site"]
    legend = {"title": None, "symbolSize": 90, "columnPadding": 24, "symbolOpacity": 1, "offset": 10}
    by_kind = {"field": "kind", "type": "nominal", "legend": legend}
    colour = {**by_kind, "scale": {"domain": kinds, "range": [GREEN, ORANGE, GREY, BLUE]}}
    shape = {**by_kind, "scale": {"domain": kinds, "range": ["triangle-up", "diamond", "circle", "square"]}}
    size = {
        "condition": {"test": "datum.kind == 'best somewhere'", "value": 130},
        "value": 60,
    }
    mark = {"type": "point", "filled": True, "opacity": 0.95}
    data = _rows(points, kind=_kinds(found, checks))
    return [{"data": data, "mark": mark, "encoding": {"color": colour, "shape": shape, "size": size}}]


def _place_names(
    found: BestPlaces, points: Array, tips: Array, checks: set[str], low: Array, high: Array, px: float
) -> list[dict[str, object]]:
    """Names where they have room: the best first, then sites, then checks and the other corners."""
    best = list(dict.fromkeys(found.best))
    rest = [at for at in found.hull if at not in best]
    own = [at for at, name in enumerate(found.entries) if name in checks and at not in best]
    wanted = [(found.entries[at], points[at], "best") for at in best]
    wanted += [(name, tip, "site") for name, tip in zip(found.environments, tips, strict=True)]
    wanted += [(found.entries[at], points[at], "entry") for at in dict.fromkeys([*own, *rest])]
    anchors = [
        Anchor(name, float((x - low[0]) * px), float((high[1] - y) * px), float(x), -float(y))
        for name, (x, y), _ in wanted
    ]
    width, height = (high - low) * px
    taken, lines = (
        [(float((x - low[0]) * px), float((high[1] - y) * px)) for x, y in places]
        for places in (np.vstack([points, tips]), _along_lines(tips, ALONG_PX / px))
    )
    placed = place_labels(anchors, float(width), float(height), [*taken, *lines])
    if not set(found.environments) <= set(placed):
        # A name across a line is better than a site without a name.
        placed = place_labels(anchors, float(width), float(height), taken)
    kinds = {name: kind for name, _, kind in wanted}
    return [
        {"x": float(low[0] + x / px), "y": float(high[1] - y / px), "name": name, "kind": kinds[name]}
        for name, (x, y) in placed.items()
    ]


def _along_lines(tips: Array, step: float) -> Array:
    """Places along the sites' lines, `step` apart, (places, 2)."""
    counts = [max(int(np.linalg.norm(tip) / step), 1) for tip in tips]
    return np.vstack([np.linspace(0, 1, n, endpoint=False)[:, None] * tip for n, tip in zip(counts, tips, strict=True)])


def _draw_names(names: Sequence[dict[str, object]]) -> list[Spec]:
    looks = (("best", INK, 700), ("site", "#004f7d", 600), ("entry", "#4a4a46", 400))
    return [
        {
            "data": {"values": [one for one in names if one["kind"] == kind]},
            "mark": {"type": "text", "align": "left", "fontSize": 12, "color": colour, "fontWeight": weight},
            "encoding": {"text": {"field": "name"}},
        }
        for kind, colour, weight in looks
    ]
