"""What do the season and the frosts look like? Two pictures, each wide for a desk and narrow for a phone."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from django.utils.html import format_html
from django.utils.safestring import SafeString

from firstsilk.faces.pages.charts import BLUE, INK, ORANGE, SKY, render_chart
from firstsilk.work.climate.frosts import FrostChance, FrostChances
from firstsilk.work.climate.season import SeasonHeat

Spec = dict[str, object]
DARK_ORANGE = "#b54700"
"""The charts' orange, darker so that small words can be read in it."""
WORDS = {"last_spring": "last in spring", "first_autumn": "first in autumn"}

WIDE, NARROW = (900, 400), (330, 300)
LOW_FRAC = 0.12
"""A total under this share of the axis has its number above it."""
PADDING = {"left": 5, "top": 8, "right": 34, "bottom": 5}
"""Room at the right for the words there: their width is only guessed when the picture is laid out."""
TITLE_ABOVE = {"titleAngle": 0, "titleAlign": "left", "titleAnchor": "end", "titleX": -38, "titleY": -12}
DAY_AXIS = {"field": "day", "type": "temporal", "scale": {"type": "utc"}, "title": None}


def render_both(draw: Callable[[int, int], Spec], says: str, wide: tuple[int, int] = WIDE) -> SafeString:
    """A picture drawn twice, so that its letters stay readable on a phone; only one is ever shown."""
    return format_html(
        '<div class="for-desk">{}</div><div class="for-phone">{}</div>',
        render_chart(draw(*wide), says),
        render_chart(draw(*NARROW), says),
    )


def draw_season(heat: SeasonHeat) -> SafeString:
    """Heat units by date: past years as a band with its middle, this season as a line up to now."""
    return render_both(lambda width, height: _season_spec(heat, width, height), " ".join(heat.sentences))


def _season_spec(heat: SeasonHeat, width: int, height: int) -> Spec:
    scale = heat.units_name
    points = [
        {"day": point.day.isoformat(), "low": point.low, "middle": point.middle, "high": point.high}
        for point in heat.course.points
        if point.middle is not None
    ]
    ours = [{"day": one.day.isoformat(), "total": one.total} for one in heat.course.points if one.total is not None]
    x = {**DAY_AXIS, "axis": {"format": "%-d %b", "tickCount": "month", "grid": False}}
    title = f"{scale} since {heat.course.starts.day} {heat.course.starts:%B}"
    y: Spec = {"type": "quantitative", "title": title, "axis": TITLE_ABOVE}
    layers: list[Spec] = []
    if points:
        layers += [
            {
                "data": {"values": points},
                "mark": {"type": "area", "color": SKY, "opacity": 0.3},
                "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
            },
            {
                "data": {"values": points},
                "mark": {"type": "line", "color": "#4a4a48", "strokeDash": [6, 4], "strokeWidth": 1.5},
                "encoding": {"x": x, "y": {**y, "field": "middle"}},
            },
        ]
        layers += _label_ends(points[-1], x, y, narrow=width < WIDE[0])
    layers += [
        {
            "data": {"values": ours},
            "mark": {"type": "line", "color": BLUE, "strokeWidth": 3.5},
            "encoding": {"x": x, "y": {**y, "field": "total"}},
        },
        *_draw_ahead(heat, x, y),
        *_mark_now(heat, x, y),
    ]
    return {"width": width - (150 if width >= WIDE[0] else 112), "height": height, "padding": PADDING, "layer": layers}


def _draw_ahead(heat: SeasonHeat, x: Spec, y: Spec) -> list[Spec]:
    """The days that are forecast go on from the last one counted, dashed and said."""
    now = heat.course.now
    if not heat.ahead or now is None:
        return []
    rows = [{"day": day.isoformat(), "total": total} for day, total in ((now.day, now.total), *heat.ahead)]
    return [
        {
            "data": {"values": rows},
            "mark": {"type": "line", "color": BLUE, "strokeWidth": 2.5, "strokeDash": [3, 3]},
            "encoding": {"x": x, "y": {**y, "field": "total"}},
        },
        _label(dict(rows[-1]), "forecast", x, y, "total", color=BLUE, dy=-4),
    ]


def _label(row: Spec, text: str, x: Spec, y: Spec, field: str, **mark: object) -> Spec:
    look = {"type": "text", "align": "left", "dx": 6, "fontSize": 13, "color": INK, **mark}
    return {
        "data": {"values": [{**row, "text": text}]},
        "mark": look,
        "encoding": {"x": x, "y": {**y, "field": field}, "text": {"field": "text"}},
    }


def _label_ends(last: Spec, x: Spec, y: Spec, narrow: bool) -> list[Spec]:
    words = ("90 %", "middle", "10 %") if narrow else ("90 % of years", "middle year", "10 % of years")
    fields = ("high", "middle", "low")
    if last["high"] == last["low"]:
        return [_label(last, "one year" if narrow else "the one past year", x, y, "middle", color="#3a5d70")]
    return [_label(last, word, x, y, field, color="#3a5d70") for word, field in zip(words, fields, strict=True)]


def _mark_now(heat: SeasonHeat, x: Spec, y: Spec) -> list[Spec]:
    now = heat.course.now
    if now is None:
        return []
    ended = {"frost": "killing frost", "mean": "too cool on average", "calendar": "last day counted"}
    word = ended.get(heat.course.ended_by) or ("today" if now.day == heat.today else "last day")
    row: Spec = {"day": now.day.isoformat(), "total": now.total}
    line_day = heat.course.frost_on or now.day
    line: Spec = {"day": line_day.isoformat(), "total": 0}
    year = str(heat.course.starts.year)
    # Early in a season the total lies on the axis, where the word for the day stands.
    high = max((point.high or 0.0 for point in heat.course.points), default=0.0)
    dy = -16 if now.total is not None and now.total < LOW_FRAC * high else 14
    return [
        {
            "data": {"values": [line]},
            "mark": {"type": "rule", "color": ORANGE, "strokeWidth": 1.5},
            "encoding": {"x": x},
        },
        {
            "data": {"values": [row]},
            "mark": {"type": "point", "filled": True, "color": BLUE, "size": 90, "opacity": 1},
            "encoding": {"x": x, "y": {**y, "field": "total"}},
        },
        _label(row, f"{year}: {now.total:,.0f}", x, y, "total", color=BLUE, fontWeight=600, dx=9, dy=dy),
        _label(line, f"{word}, {line_day.day} {line_day:%b}", x, y, "total", color=DARK_ORANGE, dy=-8),
    ]


def draw_frosts(frosts: FrostChances) -> SafeString:
    """Each past year's frost as a mark on its date, with the dates by chance above, and this year's."""
    says = " ".join(_say_event(one) for one in frosts.events)
    return render_both(lambda width, _: _frost_spec(frosts, width), says)


def _say_event(one: FrostChance) -> str:
    told = ", ".join(f"{100 * date_.chance:.0f} % {_name(date_.day)}" for date_ in one.dates)
    name = "First autumn frost on or before" if one.event == "first_autumn" else "Last spring frost on or after"
    return f"{name}: {told}; {len(one.years_with_event)} of {len(one.years)} years had one."


def _name(day: date | None) -> str:
    return f"{day.day} {day:%B}" if day else "no date"


def _frost_spec(frosts: FrostChances, width: int) -> Spec:
    seen = _mark_frosts(frosts)
    chances = _mark_chances(frosts, narrow=width < WIDE[0])
    names = [
        {"day": _iso(one.dates[1].day), "what": WORDS[one.event], "text": WORDS[one.event]}
        for one in frosts.events
        if one.dates[1].day
    ]
    x = {**DAY_AXIS, "axis": {"format": "%-d %b", "tickCount": "month"}}
    what: Spec = {"field": "what", "type": "nominal", "legend": None}
    domain = list(WORDS.values())
    color = {**what, "scale": {"domain": domain, "range": [BLUE, DARK_ORANGE]}}
    shape = {**what, "scale": {"domain": domain, "range": ["circle", "triangle-up"]}}
    y = {"field": "year", "type": "nominal", "title": None, "sort": "descending"}
    rule = {"type": "rule", "strokeDash": [4, 3], "strokeWidth": 1.5}
    dot = {"type": "point", "filled": True, "size": 60, "opacity": 1}
    bands = [row for row in chances if row["low"] and row["high"]]
    band = {"type": "rect", "opacity": 0.13}
    layers: list[Spec] = [
        {
            "data": {"values": bands},
            "mark": band,
            "encoding": {"x": {**x, "field": "low"}, "x2": {"field": "high"}, "color": color},
        },
        {"data": {"values": chances}, "mark": rule, "encoding": {"x": x, "color": color}},
        *(_write_above([row for row in chances if row["up"] == up], x, color, -7 - 14 * up) for up in (0, 1)),
        _write_above(names, x, color, -36, fontSize=13, fontWeight=600),
        {"data": {"values": seen}, "mark": dot, "encoding": {"x": x, "y": y, "color": color, "shape": shape}},
    ]
    height = 15 * len({row["year"] for row in seen})
    return {"height": height, "width": width - 90, "padding": PADDING, "layer": layers}


def _write_above(rows: list[Spec], x: Spec, color: Spec, dy: int, **look: object) -> Spec:
    """Words above the picture, each over its date."""
    return {
        "data": {"values": rows},
        "mark": {"type": "text", "dy": dy, "fontSize": 12, **look},
        "encoding": {"x": x, "y": {"value": 0}, "text": {"field": "text"}, "color": color},
    }


def _mark_frosts(frosts: FrostChances) -> list[Spec]:
    """One mark for each year and event, this year's among them once it can no longer change."""
    seen: list[Spec] = [
        {"day": day.isoformat(), "year": str(year), "what": WORDS[one.event]}
        for one in frosts.events
        for year, day in one.seen
    ]
    known = [one for one in frosts.events if one.this_date and one.decided]
    this_year = str(frosts.today.year)
    return seen + [{"day": _iso(one.this_date), "year": this_year, "what": WORDS[one.event]} for one in known]


def _mark_chances(frosts: FrostChances, narrow: bool) -> list[Spec]:
    """The dates by chance; on a narrow picture the middle one stands a line higher, so that words do not meet."""
    return [
        {
            "day": _iso(told.day),
            "low": _iso(told.low),
            "high": _iso(told.high),
            "what": WORDS[one.event],
            "text": f"{100 * told.chance:.0f} %",
            "up": int(narrow and told.chance == 0.5),
        }
        for one in frosts.events
        for told in one.dates
        if told.day
    ]


def _iso(day: date | None) -> str:
    return day.isoformat() if day else ""
