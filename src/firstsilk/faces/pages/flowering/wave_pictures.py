"""What does flowering look like, day by day and in all? Each picture wide for a desk and narrow for a phone."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from django.utils.safestring import SafeString

from firstsilk.faces.pages.charts import BLUE, INK, SKY
from firstsilk.faces.pages.climate.pictures import DARK_ORANGE, DAY_AXIS, TITLE_ABOVE, WIDE, Spec, render_both
from firstsilk.faces.pages.flowering.pictures import DAYS
from firstsilk.work.flowering.wave import Wave, WaveDay

PADDING = {"left": 5, "top": 42, "right": 14, "bottom": 5}
SIZE = (900, 300)
ABOVE = {**TITLE_ABOVE, "titleY": -26}
"""The axis title stands a line higher than elsewhere, so that the word over today's line does not meet it."""
MOST_TICKS = {True: 5, False: 12}
NAMES = {"silk": "silk", "shed": "males shed"}
COLOURS = {"silk": BLUE, "shed": DARK_ORANGE}
DASHES = {"silk": [1, 0], "shed": [6, 4]}


def draw_wave(wave: Wave, today: date) -> SafeString:
    """Rows in silk by day: noted as full bars, expected as light ones on top, the spread as an upright line."""
    return render_both(lambda width, height: _wave_spec(wave, today, width, height), say_wave(wave), SIZE)


def say_wave(wave: Wave) -> str:
    """The picture in words."""
    peak = wave.peak
    if peak is None:
        return "No row is expected to silk."
    first, last = wave.days[0].date, wave.days[-1].date
    most = f"most of them on {_say(peak.date)}, {peak.noted + peak.expected:.0f} ({peak.low:.0f} to {peak.high:.0f})"
    span = f"from {_say(first)} to {_say(last)}"
    return f"{wave.n_noted} of {wave.n_rows} rows are noted in silk. Rows silk {span}, {most}."


def _wave_spec(wave: Wave, today: date, width: int, height: int) -> Spec:
    bars = [
        {
            "day": one.date.isoformat(),
            "noted": one.noted,
            "top": one.noted + one.expected,
            "low": one.low,
            "high": one.high,
        }
        for one in wave.days
    ]
    open_days = [bar for bar, one in zip(bars, wave.days, strict=True) if one.high > one.noted or one.expected]
    y: Spec = {"type": "quantitative", "title": "Rows that silk on the day", "axis": {**ABOVE, "tickMinStep": 1}}
    layers = [
        _layer(bars, {"type": "bar", "color": SKY}, {"x": DAYS, "y": {**y, "field": "top"}}),
        _layer(bars, {"type": "bar", "color": BLUE}, {"x": DAYS, "y": {**y, "field": "noted"}}),
        _layer(
            open_days,
            {"type": "rule", "color": INK, "strokeWidth": 1.5},
            {"x": DAYS, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
        ),
        *_mark_today(today, [str(bar["day"]) for bar in bars], DAYS),
    ]
    return {"width": width - 80, "height": height - 70, "padding": PADDING, "layer": layers}


def _mark_today(today: date, days: list[str], x: Spec) -> list[Spec]:
    """Today as an upright line, where it lies among the days."""
    if not days or not min(days) <= today.isoformat() <= max(days):
        return []
    row: Spec = {"day": today.isoformat(), "text": "today"}
    rule = {"type": "rule", "color": DARK_ORANGE, "strokeWidth": 1.5, "strokeDash": [3, 3]}
    words = {"type": "text", "fontSize": 13, "color": DARK_ORANGE, "dy": -8, "fontWeight": 600}
    return [
        _layer([row], rule, {"x": x}),
        _layer([row], words, {"x": x, "y": {"value": 0}, "text": {"field": "text"}}),
    ]


def draw_running(waves: list[Wave], today: date) -> SafeString:
    """Share of the rows that have come, by day: a line with its band for silk, another for the males' shed."""
    shown = [wave for wave in waves if wave.days]
    return render_both(lambda width, height: _running_spec(shown, today, width, height), say_running(shown), SIZE)


def say_running(waves: list[Wave]) -> str:
    """The picture in words."""
    parts = []
    for wave in waves:
        if wave.half_on is not None:
            low, middle, high = wave.half_on
            parts.append(f"half of the rows {_name(wave)} by {_say(middle)}, {_say(low)} to {_say(high)}")
    return f"{'; '.join(parts).capitalize()}." if parts else "No share of the rows can be told."


def _name(wave: Wave) -> str:
    return "silk" if wave.what == "silk" else "of the males shed"


def _running_spec(waves: list[Wave], today: date, width: int, height: int) -> Spec:
    rows = [_share(wave, one) for wave in waves for one in wave.days]
    ticks = {"tickCount": MOST_TICKS[width < WIDE[0]], "labelOverlap": "greedy", "labelSeparation": 8}
    x: Spec = {**DAY_AXIS, "axis": {"format": "%-d %b", "grid": False, **ticks}}
    y: Spec = {
        "type": "quantitative",
        "scale": {"domain": [0, 1]},
        "title": "Share of rows that have come",
        "axis": {**ABOVE, "format": "%"},
    }
    color = _by_what(waves, COLOURS)
    band = {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}, "color": color}
    line = {"x": x, "y": {**y, "field": "middle"}, "color": color, "strokeDash": _by_what(waves, DASHES)}
    layers = [
        _layer(rows, {"type": "area", "opacity": 0.2}, band),
        _layer(rows, {"type": "line", "strokeWidth": 2.5, "interpolate": "monotone"}, line),
        *_name_lines(waves, x, y, color),
        *_mark_today(today, [str(row["day"]) for row in rows], x),
    ]
    return {"width": width - 90, "height": height - 70, "padding": PADDING, "layer": layers}


def _share(wave: Wave, one: WaveDay) -> Spec:
    low, middle, high = (part / wave.n_rows for part in one.so_far)
    return {"day": one.date.isoformat(), "what": wave.what, "low": low, "middle": middle, "high": high}


def _by_what(waves: list[Wave], named: Mapping[str, object]) -> Spec:
    domain = [wave.what for wave in waves]
    scale = {"domain": domain, "range": [named[one] for one in domain]}
    return {"field": "what", "type": "nominal", "legend": None, "scale": scale}


def _name_lines(waves: list[Wave], x: Spec, y: Spec, color: Spec) -> list[Spec]:
    """Each line's name where it is half way, silk left of it and the males right, so that they do not meet."""
    layers = []
    for wave in waves:
        half = next((one for one in wave.days if one.so_far[1] >= 0.6 * wave.n_rows), wave.days[-1])
        row: Spec = {"day": half.date.isoformat(), "what": wave.what, "share": half.so_far[1] / wave.n_rows}
        side = {"align": "right", "dx": -9} if wave.what == "silk" else {"align": "left", "dx": 9, "dy": 15}
        mark = {"type": "text", "fontSize": 13, "fontWeight": 600, **side}
        text = {"value": NAMES[wave.what]}
        layers.append(_layer([row], mark, {"x": x, "y": {**y, "field": "share"}, "text": text, "color": color}))
    return layers


def _layer(rows: list[Spec], mark: Spec, encoding: Spec) -> Spec:
    return {"data": {"values": rows}, "mark": mark, "encoding": encoding}


def _say(day: date) -> str:
    return f"{day.day} {day:%B}"
