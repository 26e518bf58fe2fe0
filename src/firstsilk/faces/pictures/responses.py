"""How does each entry respond to environments: as lines on the environments' means, and as interaction against mean?"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from firstsilk.faces.pictures.field import write_figure
from firstsilk.faces.pictures.labels import GAP_PX, Anchor, place_labels, spread_names
from firstsilk.faces.pictures.look import BLUE, GREEN, GREY, INK, ORANGE, Spec
from firstsilk.science.analysis.axes import Axes
from firstsilk.science.analysis.stability import EntryStability, find_environment_index
from firstsilk.science.analysis.two_way import TwoWayTable, fit_additive

WIDE_PX, HIGH_PX = 820.0, 430.0
NAME_PX = 130.0
"""Room for the names right of the lines."""
MOST_NAMES = 12
KINDS = ("highest mean", "steepest", "flattest", "check", "other entry")
COLOURS = (GREEN, ORANGE, BLUE, INK, "#c9c6bb")
DASHES = ([1, 0], [7, 3], [2, 3], [9, 3, 2, 3], [1, 0])


def pick_lines(stability: Sequence[EntryStability], checks: Sequence[str] = ()) -> dict[str, str]:
    """Which entries stand out, and why: highest mean, steepest, flattest, checks."""
    sloped = [one for one in stability if one.slope is not None]
    if not sloped:
        return {}
    told = {name: "check" for name in checks if any(one.entry == name for one in sloped)}
    for kind, one in (
        ("flattest", min(sloped, key=lambda one: one.slope or 0.0)),
        ("steepest", max(sloped, key=lambda one: one.slope or 0.0)),
        ("highest mean", max(sloped, key=lambda one: one.mean)),
    ):
        told[one.entry] = kind
    return told


def tell_responses(stability: Sequence[EntryStability], unit: str, digits: int = 0) -> tuple[str, ...]:
    """What the lines say, in sentences: the steepest, the flattest, and the one that is never far from the best."""
    said = []
    sloped = [one for one in stability if one.slope is not None]
    if sloped:
        steep, flat = max(sloped, key=lambda one: one.slope or 0.0), min(sloped, key=lambda one: one.slope or 0.0)
        steepest, flattest = (write_figure(one.slope or 0.0, 2, signed=False) for one in (steep, flat))
        said.append(
            f"{steep.entry} gains most where it is good: {steepest} for each 1 that the mean of all gains; "
            f"{flat.entry} least: {flattest}."
        )
    if stability:
        near = min(stability, key=lambda one: one.superiority)
        apart = math.sqrt(2.0 * near.superiority)
        said.append(
            f"{near.entry} stays nearest to the best: {apart:,.{digits}f} {unit} from it as a root mean square."
        )
    return tuple(said)


def picture_lines(
    table: TwoWayTable, stability: Sequence[EntryStability], unit: str, checks: Sequence[str] = ()
) -> Spec:
    """Draw each entry's line on the environments' means; those that stand out are named and show their means.

    Parameters
    ----------
    table
        Means by entry and environment.
    stability
        As `describe_stability` gives it, in the order of the table.
    unit
        In words, for the axes.
    checks
        Entries that are drawn as checks.

    Returns
    -------
    dict
        Vega-Lite specification without schema and look.

    Notes
    -----
    Line: mean + slope x (environment's mean - general mean). Each kind has its own dash as well as its colour.
    """
    index = find_environment_index(table)
    level = float(fit_additive(table)[1].mean())
    told = pick_lines(stability, checks)
    ends = np.array([index.min(), index.max()])
    lines = [
        {"entry": one.entry, "kind": told.get(one.entry, "other entry"), "x": level + float(at), "y": _on_line(one, at)}
        for one in stability
        if one.slope is not None
        for at in ends
    ]
    seen = [
        {"kind": told[entry], "x": level + float(index[j]), "y": float(table.means[i, j])}
        for i, entry in enumerate(table.entries)
        if entry in told
        for j in range(len(index))
        if table.observed[i, j]
    ]
    reach = [float(one["y"]) for one in (*lines, *seen)]  # type: ignore[arg-type]
    reach = reach or [level]
    y_span = (min(reach), max(reach))
    x_span = (level + float(ends[0]), level + float(ends[1]))
    return {
        "width": WIDE_PX,
        "height": HIGH_PX,
        "encoding": _frame(x_span, y_span, unit),
        "layer": [
            *_draw_lines(lines, seen),
            *_draw_ends(lines, told, y_span, x_span),
            *_draw_environments(table, level + index, y_span, x_span),
        ],
    }


def _on_line(one: EntryStability, at: float) -> float:
    return one.mean + (one.slope or 0.0) * float(at)


def _room(span: tuple[float, float], px: float, before: float, after: float) -> list[float]:
    """A domain that leaves some pixels free at either end."""
    unit = (span[1] - span[0] or 1.0) / (px - before - after)
    return [span[0] - before * unit, span[1] + after * unit]


def _frame(x_span: tuple[float, float], y_span: tuple[float, float], unit: str) -> Spec:
    number = {"type": "quantitative"}
    x_scale = {"domain": _room(x_span, WIDE_PX, 44, NAME_PX), "nice": False, "zero": False}
    y_scale = {"domain": _room(y_span, HIGH_PX, 10, 44), "nice": False, "zero": False}
    axis = {"titlePadding": 10, "tickCount": 7, "format": ",~f"}
    return {
        "x": {
            **number,
            "field": "x",
            "title": f"Mean of all entries at the site, {unit}",
            "scale": x_scale,
            "axis": axis,
        },
        "y": {**number, "field": "y", "title": f"Entry, {unit}", "scale": y_scale, "axis": axis},
    }


def _draw_lines(lines: Sequence[dict[str, object]], seen: Sequence[dict[str, object]]) -> list[Spec]:
    kinds = [kind for kind in KINDS if any(one["kind"] == kind for one in lines)]
    colours = [COLOURS[KINDS.index(kind)] for kind in kinds]
    dashes = [DASHES[KINDS.index(kind)] for kind in kinds]
    legend = {"title": None, "symbolSize": 260, "symbolStrokeWidth": 2.4, "columnPadding": 22, "labelLimit": 300}
    by_kind = {"field": "kind", "type": "nominal", "legend": legend}
    colour = {**by_kind, "scale": {"domain": kinds, "range": colours}}
    dash = {**by_kind, "scale": {"domain": kinds, "range": dashes}}
    detail = {"field": "entry"}
    parts = (
        [one for one in lines if one["kind"] == "other entry"],
        [one for one in lines if one["kind"] != "other entry"],
    )
    layers: list[Spec] = [
        {
            "data": {"values": part},
            "mark": {"type": "line", "strokeWidth": width},
            "encoding": {"color": colour, "strokeDash": dash, "detail": detail},
        }
        for part, width in zip(parts, (1.0, 2.2), strict=True)
        if part
    ]
    point = {"type": "point", "filled": True, "size": 34, "opacity": 0.75}
    return [*layers, {"data": {"values": list(seen)}, "mark": point, "encoding": {"color": {**colour, "legend": None}}}]


def _draw_ends(
    lines: Sequence[dict[str, object]],
    told: dict[str, str],
    y_span: tuple[float, float],
    x_span: tuple[float, float],
) -> list[Spec]:
    """Names at the right end of the lines that stand out."""
    low, high = _room(y_span, HIGH_PX, 10, 44)
    px = HIGH_PX / (high - low)
    right = {str(one["entry"]): one for one in lines if one["entry"] in told and one["x"] == x_span[1]}
    left_x, right_x = _room(x_span, WIDE_PX, 44, NAME_PX)
    across = WIDE_PX / (right_x - left_x)
    x_px = (x_span[1] - left_x) * across
    order = sorted(right, key=lambda entry: KINDS.index(told[entry]))[:MOST_NAMES]
    heights = spread_names([(high - float(str(right[entry]["y"]))) * px for entry in order], HIGH_PX)
    placed = {entry: (x_px + GAP_PX, y) for entry, y in zip(order, heights, strict=True)}
    values = [{"x": left_x + x / across, "y": high - y / px, "name": name} for name, (x, y) in placed.items()]
    text = {"type": "text", "align": "left", "fontSize": 12, "color": INK, "fontWeight": 600}
    return [{"data": {"values": values}, "mark": text, "encoding": {"text": {"field": "name"}}}]


def _draw_environments(
    table: TwoWayTable, means: np.ndarray, y_span: tuple[float, float], x_span: tuple[float, float]
) -> list[Spec]:
    """A tick for each environment along the top, with its name where there is room."""
    top = _room(y_span, HIGH_PX, 10, 44)[1]
    low, high = _room(x_span, WIDE_PX, 44, NAME_PX)
    across = WIDE_PX / (high - low)
    unit = (top - _room(y_span, HIGH_PX, 10, 44)[0]) / HIGH_PX
    values: list[dict[str, object]] = []
    free = [-1e9, -1e9]
    for at in np.argsort(means):
        name, x = table.environments[int(at)], float(means[at])
        middle, half = (x - low) * across, len(name) * 3.3 + 5
        line = next((k for k, end in enumerate(free) if middle - half > end), None)
        if line is not None:
            free[line] = middle + half
        shown = name if line is not None else ""
        values.append({"x": x, "y": top - (10 + 15 * (line or 0)) * unit, "tick": top - 34 * unit, "name": shown})
    tick = {"type": "point", "shape": "triangle-down", "filled": True, "size": 34, "color": "#666", "opacity": 1}
    text = {"type": "text", "fontSize": 11.5, "color": "#444"}
    return [
        {"data": {"values": values}, "mark": tick, "encoding": {"y": {"field": "tick", "type": "quantitative"}}},
        {"data": {"values": values}, "mark": text, "encoding": {"text": {"field": "name"}}},
    ]


def picture_interaction(table: TwoWayTable, axes: Axes, unit: str, checks: Sequence[str] = ()) -> Spec:
    """Draw entries and environments by their mean and their score on the first axis of the interaction.

    Parameters
    ----------
    table
        Means by entry and environment, without empty cells.
    axes
        As `find_ammi_axes` gives them, scaled ``symmetric``.
    unit
        In words, for the axes.
    checks
        Entries that are drawn as checks.

    Returns
    -------
    dict
        Vega-Lite specification without schema and look.

    Notes
    -----
    Near the line of score 0 an entry keeps its place everywhere; an entry and an environment on one side of it fit
    each other, on opposite sides they do not: score x score is added to the sum of both means' effects. The outermost
    entries, the checks and the environments are named as far as there is room.
    """
    means = np.concatenate([table.means.mean(axis=1), table.means.mean(axis=0)])
    scores = np.concatenate([axes.entry_scores[:, 0], axes.environment_scores[:, 0]])
    own = set(checks)
    kinds = ["check" if name in own else "entry" for name in table.entries] + ["site"] * len(table.environments)
    names = [*table.entries, *table.environments]
    x_domain = _room((float(means.min()), float(means.max())), WIDE_PX, 60, 60)
    y_domain = _room((float(scores.min()), float(scores.max())), HIGH_PX, 24, 24)
    values = [{"x": float(x), "y": float(y), "kind": kind} for x, y, kind in zip(means, scores, kinds, strict=True)]
    number = {"type": "quantitative"}
    axis = {"titlePadding": 10, "tickCount": 7, "format": ",~f", "grid": False}
    percent = 0.0 if axes.percent is None else float(axes.percent[0])
    y_title = f"Score on axis 1, {percent:.0f} % of the interaction"
    x = {**number, "field": "x", "title": f"Mean, {unit}", "axis": axis}
    y = {**number, "field": "y", "title": y_title, "axis": {**axis, "labels": False, "ticks": False}}
    return {
        "width": WIDE_PX,
        "height": HIGH_PX,
        "view": {"stroke": "#d9d6cb"},
        "encoding": {
            "x": {**x, "scale": {"domain": x_domain, "nice": False, "zero": False}},
            "y": {**y, "scale": {"domain": y_domain, "nice": False, "zero": False}},
        },
        "layer": [
            *_draw_cross(x_domain, y_domain, float(table.means.mean())),
            _draw_points(values),
            _draw_point_names(names, kinds, means, scores, x_domain, y_domain),
        ],
    }


def _draw_cross(x_domain: Sequence[float], y_domain: Sequence[float], level: float) -> list[Spec]:
    """The line of score 0, and that of the general mean."""
    ends = [
        {"x": x_domain[0], "x2": x_domain[1], "y": 0.0, "y2": 0.0},
        {"x": level, "x2": level, "y": y_domain[0], "y2": y_domain[1]},
    ]
    mark = {"type": "rule", "stroke": "#9b978a", "strokeWidth": 1}
    return [{"data": {"values": ends}, "mark": mark, "encoding": {"x2": {"field": "x2"}, "y2": {"field": "y2"}}}]


def _draw_points(values: Sequence[dict[str, object]]) -> Spec:
    kinds = ["entry", "check", "site"]
    legend = {"title": None, "symbolSize": 90, "columnPadding": 24, "symbolOpacity": 1}
    by_kind = {"field": "kind", "type": "nominal", "legend": legend}
    colour = {**by_kind, "scale": {"domain": kinds, "range": [GREY, ORANGE, BLUE]}}
    shape = {**by_kind, "scale": {"domain": kinds, "range": ["circle", "diamond", "square"]}}
    mark = {"type": "point", "filled": True, "size": 64, "opacity": 0.95}
    return {"data": {"values": list(values)}, "mark": mark, "encoding": {"color": colour, "shape": shape}}


def _draw_point_names(
    names: Sequence[str],
    kinds: Sequence[str],
    means: np.ndarray,
    scores: np.ndarray,
    x_domain: Sequence[float],
    y_domain: Sequence[float],
) -> Spec:
    x_px, y_px = WIDE_PX / (x_domain[1] - x_domain[0]), HIGH_PX / (y_domain[1] - y_domain[0])
    places = np.column_stack([(means - x_domain[0]) * x_px, (y_domain[1] - scores) * y_px])
    entries = [at for at, kind in enumerate(kinds) if kind == "entry"]
    outer = sorted(entries, key=lambda at: -abs(float(scores[at])))[: MOST_NAMES // 2]
    outer += sorted(entries, key=lambda at: -float(means[at]))[: MOST_NAMES // 2]
    rest = [at for at, kind in enumerate(kinds) if kind != "entry"]
    anchors = [
        Anchor(names[at], float(places[at, 0]), float(places[at, 1]), 1.0, -float(scores[at]))
        for at in dict.fromkeys([*rest[::-1], *outer])
    ]
    placed = place_labels(anchors, WIDE_PX, HIGH_PX, [(float(x), float(y)) for x, y in places])
    values = [
        {"x": x_domain[0] + x / x_px, "y": y_domain[1] - y / y_px, "name": name} for name, (x, y) in placed.items()
    ]
    text = {"type": "text", "align": "left", "fontSize": 12, "color": INK}
    return {"data": {"values": values}, "mark": text, "encoding": {"text": {"field": "name"}}}
