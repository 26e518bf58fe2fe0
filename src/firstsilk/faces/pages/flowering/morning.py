"""How does the season stand this morning? The page that is looked at first."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from firstsilk.faces.pages.climate.pictures import draw_season
from firstsilk.faces.pages.flowering.pictures import draw_crew
from firstsilk.faces.pages.flowering.wave_pictures import draw_running, draw_wave
from firstsilk.faces.pages.nursery.views import start_room
from firstsilk.work.cautions import CAUTIONS_SHORT
from firstsilk.work.flowering.morning import Morning, read_morning
from firstsilk.work.occasion import Occasion

PARTS = (
    ("moved", "What moved", "flowering"),
    ("heat", "Heat", "heat"),
    ("flowering", "Flowering", "flowering"),
    ("crew", "Hands", "crew"),
    ("crosses", "Who meets", "crosses"),
    ("frost", "Frost", "frost"),
)
"""Parts of the morning: their name, as they are called, and the part of the page that shows more."""
TABLE_STEP_DAYS = 7
MOST_ROWS = 400
"""Rows whose days stand in the table here; the command has them all."""
SHOWN_CREW_DAYS = 21
"""Days of the crew that stand in the table here; the crew's page has them all."""


def show_morning(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The season in sentences, pictures and tables."""
    told = start_room(request, on, "season")
    if told["season"]:
        told |= _show(read_morning(on, str(told["season"])))
    return render(request, "flowering/morning.html", told)


def _show(morning: Morning) -> dict[str, object]:
    heat, wave, need = morning.heat, morning.wave, morning.need
    waves = [one for one in (wave, morning.males) if one is not None and one.days]
    return {
        "morning": morning,
        "parts": _group(morning),
        "cautions": CAUTIONS_SHORT if morning.stage in ("sown", "flowering") else (),
        "heat_picture": draw_season(heat) if heat.course.counted_to or heat.years else "",
        "heat_rows": [
            point
            for at, point in enumerate(heat.course.points)
            if (at % TABLE_STEP_DAYS == 0 or point.day == heat.course.counted_to)
            and (point.total is not None or point.middle is not None)
        ],
        "wave_picture": draw_wave(wave, morning.today) if wave is not None and wave.days else "",
        "running_picture": draw_running(waves, morning.today) if waves else "",
        "waves": waves,
        "crew_picture": draw_crew(need) if need.days else "",
        "rows": morning.rows[:MOST_ROWS],
        "crew_days": need.days[:SHOWN_CREW_DAYS],
        "groups": morning.ripening,
    }


def _group(morning: Morning) -> list[tuple[str, str, tuple[str, ...]]]:
    """The sentences under the name of their part, and where more of it is shown."""
    groups = []
    for part, name, place in PARTS:
        texts = tuple(one.text for one in morning.told if one.part == part)
        if texts:
            groups.append((name, place, texts))
    return groups
