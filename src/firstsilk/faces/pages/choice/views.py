"""Who goes on, who waits, who stops, why, and what is made of it next season?"""

from __future__ import annotations

from dataclasses import replace
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render

from firstsilk.answers import refuse
from firstsilk.faces.pages.choice.bars import draw_bar
from firstsilk.work.analysis.reading import find_analysis
from firstsilk.work.choice.decide import decide, read_choices
from firstsilk.work.choice.facts import VERDICTS, ChoicePage, ChoiceSettings, Decision
from firstsilk.work.choice.next_season import plan_next_season, read_next_plan
from firstsilk.work.choice.propose import propose_verdicts
from firstsilk.work.occasion import Occasion

ON_A_PAGE = 100


def show_choice(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The candidates with proposed verdicts; sent, the decisions are written down."""
    asked = request.POST if request.method == "POST" else request.GET
    settings = _read_settings(asked)
    year = _read_year(asked, on)
    if year is None:
        return render(request, "choice/none.html", {"room": "choice"})
    if request.method == "POST":
        done = decide(on, year, _read_decisions(request.POST), settings)
        messages.success(request, f"{done.n_written} verdicts are written down for {year}.")
        return redirect(f"{request.path}?{_as_query(year, settings)}")
    page = propose_verdicts(on, year, settings)
    return render(request, "choice/choice.html", _describe(request, on, page))


def _describe(request: HttpRequest, on: Occasion, page: ChoicePage) -> dict[str, object]:
    number = max(1, _whole(request.GET, "page", 1))
    pages = -(-len(page.candidates) // ON_A_PAGE) or 1
    number = min(number, pages)
    shown = page.candidates[(number - 1) * ON_A_PAGE : number * ON_A_PAGE]
    below = [one.line for one in shown if page.cut_kg_ha is not None and one.merit_kg_ha < page.cut_kg_ha]
    settings = replace(page.settings, of=page.of)
    span = max((abs(one.difference_kg_ha) for one in page.candidates), default=1.0) * 1.3 or 1.0
    choices = read_choices(on, page.year)
    return {
        "room": "choice",
        "choice": page,
        "settings": settings,
        "shown": [(one, draw_bar(one.difference_kg_ha, one.difference_se_kg_ha, span)) for one in shown],
        "erect_pct": f"{100 * settings.least_erect_frac:g}",
        "first_below": below[0] if below and len(below) < len(shown) else "",
        "counts": [(verdict, page.count(verdict)) for verdict in VERDICTS],
        "choices": choices,
        "written": [(verdict, choices.count(verdict)) for verdict in VERDICTS],
        "verdicts": VERDICTS,
        "number": number,
        "pages": pages,
        "query": _as_query(page.year, settings),
    }


def show_next_plan(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Next season's draft targets; sent, they are drawn up from the verdicts."""
    asked = request.POST if request.method == "POST" else request.GET
    year = _read_year(asked, on)
    if year is None:
        return render(request, "choice/none.html", {"room": "choice"})
    plan = plan_next_season(on, year) if request.method == "POST" else read_next_plan(on, year)
    told = {"room": "choice", "plan": plan, "year": year, "made": request.method == "POST"}
    return render(request, "choice/next.html", told)


def _read_year(asked: QueryDict, on: Occasion) -> int | None:
    """The year asked for, else the last year of the latest analysis of yield."""
    year = _whole(asked, "year", 0)
    if year:
        return year
    analysis = find_analysis(on, "yield_kg_ha_15_5")
    return max(analysis.years) if analysis else None


def _read_settings(asked: QueryDict) -> ChoiceSettings:
    usual = ChoiceSettings()
    of = asked.get("of", "")
    return ChoiceSettings(
        of if of in ("line", "hybrid") else "",
        _whole(asked, "go_on", usual.go_on),
        _whole(asked, "wait", usual.wait),
        _number(asked, "least_erect_pct", 100 * usual.least_erect_frac) / 100,
        _number(asked, "moisture_price_kg_ha", usual.moisture_price_kg_ha),
        _number(asked, "least_probability", usual.least_probability),
        _whole(asked, "least_sites", usual.least_sites),
    )


def _as_query(year: int, settings: ChoiceSettings) -> str:
    return urlencode(
        {
            "year": year,
            "of": settings.of,
            "go_on": settings.go_on,
            "wait": settings.wait,
            "least_erect_pct": f"{100 * settings.least_erect_frac:g}",
            "moisture_price_kg_ha": f"{settings.moisture_price_kg_ha:g}",
            "least_probability": f"{settings.least_probability:g}",
            "least_sites": settings.least_sites,
        }
    )


def _whole(asked: QueryDict, name: str, otherwise: int) -> int:
    value = _number(asked, name, otherwise)
    if value != int(value):
        told = f"{name.replace('_', ' ')}: a whole number is wanted, not {value:g}."
        raise refuse("not_whole", told, "Send it again.")
    return int(value)


def _number(asked: QueryDict, name: str, otherwise: float) -> float:
    text = asked.get(name, "").strip().replace(",", ".")
    if not text:
        return otherwise
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not -1e6 < value < 1e6:
        raise refuse("not_a_number", f"{name.replace('_', ' ')}: {text!r} is not a number.", "Send it again.")
    return value


def _read_decisions(sent: QueryDict) -> list[Decision]:
    lines = [name.removeprefix("verdict:") for name in sent if name.startswith("verdict:")]
    found = [Decision(line, sent[f"verdict:{line}"], sent.get(f"reason:{line}", "")) for line in lines]
    if not found:
        raise refuse("nothing_decided", "No verdict was sent.", "Choose verdicts and send again.")
    return found
