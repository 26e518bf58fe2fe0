"""When do silk and shed of each cross fall, side by side? One picture, wide for a desk and narrow for a phone."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from django.utils.safestring import SafeString

from firstsilk.faces.pages.charts import BLUE, ORANGE
from firstsilk.faces.pages.climate.pictures import NARROW, Spec, render_both
from firstsilk.science.nursery.meeting import SHED_DAYS, SILK_DAYS
from firstsilk.work.nursery.joint_sowing import CrossMeeting

MOST_DRAWN = 40
"""Crosses that are drawn; the table below the picture has them all."""
BAND = 30


def draw_meetings(meetings: Sequence[CrossMeeting], says: str) -> SafeString:
    """Each cross as two bars: the days on which its silks take pollen, and on which its male sheds, in a usual year."""
    drawn = meetings[:MOST_DRAWN]
    height = 26 + BAND * len(drawn)
    return render_both(lambda width, _: _spec(drawn, width, height), says, wide=(900, height))


def _spec(meetings: Sequence[CrossMeeting], width: int, height: int) -> Spec:
    narrow = width == NARROW[0]
    bars = [bar for one in meetings for bar in _bars(one)]
    return {
        "data": {"values": bars},
        "width": width - (200 if narrow else 290),
        "height": height - 26,
        # The width of the names is only guessed when the picture is laid out.
        "padding": {"left": 34, "top": 4, "right": 20, "bottom": 4},
        "mark": {"type": "bar", "height": {"band": 0.8}},
        "encoding": {
            "y": {
                "field": "cross",
                "type": "nominal",
                "sort": None,
                "title": None,
                "axis": {"labelLimit": 150 if narrow else 240, "ticks": False, "domain": False},
            },
            "yOffset": {"field": "who", "sort": ["silk", "shed"]},
            "x": {
                "field": "from",
                "type": "temporal",
                "scale": {"type": "utc"},
                "title": None,
                "axis": {"format": "%-d %b", "tickCount": 4 if narrow else 8},
            },
            "x2": {"field": "to"},
            "color": {
                "field": "who",
                "title": None,
                "scale": {"domain": ["silk", "shed"], "range": [ORANGE, BLUE]},
                "legend": {"symbolType": "square"},
            },
        },
    }


def _bars(one: CrossMeeting) -> list[Spec]:
    name = f"{one.female} × {one.male} ({one.target})"
    days = [("silk", day, SILK_DAYS) for day in one.silk_about]
    days += [("shed", day, SHED_DAYS) for day in one.shed_about]
    return [
        {"cross": name, "who": who, "from": day.isoformat(), "to": (day + timedelta(days=last)).isoformat()}
        for who, day, last in days
        if day is not None
    ]
