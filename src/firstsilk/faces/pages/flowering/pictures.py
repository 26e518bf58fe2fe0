"""What do the crew, the pollen's hours and the cutoff look like? Each wide for a desk and narrow for a phone."""

from __future__ import annotations

from datetime import timedelta

from django.utils.safestring import SafeString

from firstsilk.faces.pages.charts import BLUE, GREEN, GREY, INK, ORANGE, SKY
from firstsilk.faces.pages.climate.pictures import DARK_ORANGE, WIDE, Spec, render_both
from firstsilk.work.flowering.crew import CrewDay, CrewNeed
from firstsilk.work.flowering.cutoff import SeasonCutoff
from firstsilk.work.flowering.pollen_window import DayWindow, PollenWindows

PADDING = {"left": 5, "top": 18, "right": 12, "bottom": 5}
DAYS: Spec = {
    "field": "day",
    "type": "ordinal",
    "timeUnit": "utcyearmonthdate",
    "title": None,
    "axis": {"format": "%-d %b", "labelAngle": 0, "labelOverlap": "greedy", "labelSeparation": 9, "grid": False},
}
ABOVE = {"titleAngle": 0, "titleAlign": "left", "titleAnchor": "end", "titleX": -38, "titleY": -10}


def draw_crew(need: CrewNeed) -> SafeString:
    """Workers asked for by day as bars with their spread, what was made in grey, the crew as a stepped line."""
    return render_both(lambda width, height: _crew_spec(need, width, height), " ".join(need.sentences), (900, 330))


def _crew_spec(need: CrewNeed, width: int, height: int) -> Spec:
    one = need.per_hour * (need.plan.hours_a_day if need.plan else 7.0) * need.efficiency_frac
    bars = [_bar(day, one) for day in need.days]
    made = _made(need, one)
    most = max((float(str(bar["high"])) for bar in bars), default=0.0)
    # An axis that ends below one worker would have no number but 0.
    scale = {"domainMax": 1} if max(most, *(float(str(one["workers"])) for one in made), 0.0) < 1.0 else {}
    y: Spec = {
        "type": "quantitative",
        "title": "Workers, full days",
        "axis": {**ABOVE, "tickMinStep": 1},
        "scale": scale,
    }
    layers: list[Spec] = [
        _layer(made, {"type": "bar", "color": "#c4c2ba"}, {"x": DAYS, "y": {**y, "field": "workers"}}),
        _layer(
            bars,
            {"type": "bar"},
            {"x": DAYS, "y": {**y, "field": "middle"}, "color": {"field": "color", "type": "nominal", "scale": None}},
        ),
        _layer(
            bars,
            {"type": "rule", "color": INK, "strokeWidth": 1.5},
            {"x": DAYS, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
        ),
        _layer(
            [bar for bar in bars if bar["short"]],
            {"type": "text", "dy": -7, "fontSize": 12, "color": DARK_ORANGE, "fontWeight": 600},
            {"x": DAYS, "y": {**y, "field": "high"}, "text": {"value": "▲"}},
        ),
    ]
    if bars and bars[0]["hands"] is not None:
        line = {"type": "line", "color": GREEN, "strokeWidth": 3, "interpolate": "step"}
        layers.append(_layer(bars, line, {"x": DAYS, "y": {**y, "field": "hands"}}))
        label = {"type": "text", "align": "right", "dy": -9, "fontSize": 13, "color": "#17613f", "fontWeight": 600}
        layers.append(_layer(bars[-1:], label, {"x": DAYS, "y": {**y, "field": "hands"}, "text": {"value": "crew"}}))
    return {"width": width - 80, "height": height - 80, "padding": PADDING, "layer": layers}


def _made(need: CrewNeed, one_worker: float) -> list[Spec]:
    """Pollinations made on each day before the first one ahead, days without any among them."""
    counts = dict(need.made)
    if not counts:
        return []
    first = min(counts)
    end = need.days[0].date if need.days else max(counts) + timedelta(days=1)
    days = [first + timedelta(days=at) for at in range(max(0, (end - first).days))]
    return [{"day": day.isoformat(), "workers": counts.get(day, 0) / one_worker} for day in days]


def _bar(day: CrewDay, one_worker: float) -> Spec:
    short = day.short_frac is not None and day.short_frac >= 0.5
    return {
        "day": day.date.isoformat(),
        "low": day.p10 / one_worker,
        "middle": day.p50 / one_worker,
        "high": day.p90 / one_worker,
        "hands": day.hands,
        "short": short,
        "color": ORANGE if short else SKY,
    }


def _layer(rows: list[Spec], mark: Spec, encoding: Spec) -> Spec:
    return {"data": {"values": rows}, "mark": mark, "encoding": encoding}


def draw_windows(windows: PollenWindows) -> SafeString:
    """Each day a bar over the hours: light where pollen may be dry, full where it is sure to be."""
    return render_both(lambda width, _: _window_spec(windows, width), " ".join(windows.sentences))


def _window_spec(windows: PollenWindows, width: int) -> Spec:
    shown = [day for day in windows.days if day.start_early is not None]
    narrow = width < WIDE[0]
    order = [_name(day, windows) for day in windows.days]
    x: Spec = {
        "type": "quantitative",
        "scale": {"domain": [6, 20], "clamp": True},
        "title": "o'clock",
        "axis": {"values": list(range(6, 21, 3 if narrow else 1)), "orient": "top"},
    }
    y: Spec = {"field": "name", "type": "ordinal", "sort": order, "title": None, "scale": {"domain": order}}
    may, sure, guessed = [], [], []
    for day in shown:
        row: Spec = {"name": _name(day, windows)}
        may.append({**row, "from": day.start_early, "to": day.end_late})
        if day.start_late is not None and day.end_early is not None and day.end_early > day.start_late:
            piece = {**row, "from": day.start_late, "to": day.end_early}
            (guessed if day.source == "past years" else sure).append(piece)
    none = [{"name": name} for name in order if name not in {_name(day, windows) for day in shown}]
    bar = {"type": "bar", "height": {"band": 0.62}, "cornerRadius": 2}
    span: Spec = {"x": {**x, "field": "from"}, "x2": {"field": "to"}, "y": y}
    words = {"type": "text", "align": "left", "fontSize": 12, "color": "#55534c"}
    layers = [
        _layer(may, {**bar, "color": SKY, "opacity": 0.35}, span),
        _layer(guessed, {**bar, "color": SKY}, span),
        _layer(sure, {**bar, "color": BLUE}, span),
        _layer(none, words, {"x": {**x, "datum": 6.3}, "y": y, "text": {"value": "no shed expected"}}),
    ]
    return {
        "width": width - (150 if not narrow else 100),
        "height": 34 * len(order),
        "padding": PADDING,
        "layer": layers,
    }


def _name(day: DayWindow, windows: PollenWindows) -> str:
    return "today" if day.date == windows.today else f"{day.date:%a} {day.date.day} {day.date:%b}"


def draw_cutoff(cutoff: SeasonCutoff) -> SafeString:
    """Share possible by last day, as a band; chance of ripening as a dashed line; the days set and found."""
    return render_both(
        lambda width, height: _cutoff_spec(cutoff, width, height), " ".join(cutoff.sentences), (900, 340)
    )


def _cutoff_spec(cutoff: SeasonCutoff, width: int, height: int) -> Spec:
    rows = _shares(cutoff)
    x: Spec = {
        "field": "day",
        "type": "temporal",
        "scale": {"type": "utc"},
        "title": None,
        "axis": {"format": "%-d %b", "tickCount": 5 if width < WIDE[0] else 12, "grid": False},
    }
    y: Spec = {
        "type": "quantitative",
        "scale": {"domain": [0, 1]},
        "title": "Share of the season's pollinations" if width >= WIDE[0] else "Share possible",
        "axis": {**ABOVE, "format": "%"},
    }
    layers: list[Spec] = [
        _layer(
            rows,
            {"type": "area", "color": SKY, "opacity": 0.35},
            {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
        ),
        _layer(rows, {"type": "line", "color": BLUE, "strokeWidth": 3}, {"x": x, "y": {**y, "field": "middle"}}),
        _layer(
            [{"share": cutoff.wanted_frac}],
            {"type": "rule", "color": GREY, "strokeDash": [2, 3]},
            {"y": {**y, "field": "share"}},
        ),
    ]
    layers += _ripe_line(rows, x, y) + _mark_days(cutoff, x)
    return {
        "width": width - 80,
        "height": height - 110,
        "padding": {**PADDING, "top": 66, "right": 40},
        "layer": layers,
    }


def _shares(cutoff: SeasonCutoff) -> list[Spec]:
    return [
        {
            "day": one.date.isoformat(),
            "low": one.share_p10,
            "middle": one.share_p50,
            "high": one.share_p90,
            "ripe": one.ripe_frac,
        }
        for one in cutoff.days
    ]


def _ripe_line(rows: list[Spec], x: Spec, y: Spec) -> list[Spec]:
    """The chance of ripening as a dashed line with its name."""
    ripe = [row for row in rows if row["ripe"] is not None]
    if not ripe:
        return []
    dashed: Spec = {"type": "line", "color": DARK_ORANGE, "strokeDash": [6, 4], "strokeWidth": 2}
    words: Spec = {"type": "text", "align": "left", "dx": 4, "dy": -10, "fontSize": 13, "color": DARK_ORANGE}
    place: Spec = {"x": x, "y": {**y, "field": "ripe"}}
    return [
        _layer(ripe, dashed, place),
        _layer(ripe[:1], words, {**place, "text": {"value": "ripe before frost"}}),
    ]


def _mark_days(cutoff: SeasonCutoff, x: Spec) -> list[Spec]:
    """Upright lines at the day set and the days found, their names above the picture, each on a line of its own."""
    layers = []
    marks = [("set", cutoff.cutoff_on, INK), ("middle", cutoff.middle, BLUE), ("sure", cutoff.sure, "#17613f")]
    for step, (word, day, color) in enumerate(marks):
        if day is None or not cutoff.days[0].date <= day <= cutoff.days[-1].date:
            continue
        row: Spec = {"day": day.isoformat(), "text": f"{word} {day.day} {day:%b}"}
        words: Spec = {"type": "text", "fontSize": 12, "color": color, "fontWeight": 600}
        place: Spec = {"x": x, "y": {"value": -26 - 15 * step}, "text": {"field": "text"}}
        layers += [
            _layer([row], {"type": "rule", "color": color, "strokeWidth": 1.5}, {"x": x}),
            _layer([row], words, place),
        ]
    return layers
