"""Which lines or hybrids go on, wait or stop, going by the figures, and how sure is that?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from firstsilk.answers import refuse
from firstsilk.records.models import Line, Station, Verdict
from firstsilk.work.analysis.facts import EstimateFacts, TrialAnalysis
from firstsilk.work.analysis.reading import find_analysis, find_analysis_with_year
from firstsilk.work.choice.facts import Candidate, ChoicePage, ChoiceSettings
from firstsilk.work.choice.reasons import write_reason
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_station

MOST_MOISTURE_PRICE_KG_HA = 10_000.0
"""A point of moisture worth more than a whole crop is a slip of the keyboard (a choice of ours)."""
NOT_CONSIDERED = (
    "diseases and ear rots",
    "seed set and pollen of the line itself",
    "how alike the candidates are: two sisters may take two places",
    "how good the testers were that each line met",
    "the chance that one out of many looks good by luck beyond what the prediction already takes off",
)


def propose_verdicts(on: Occasion, year: int, settings: ChoiceSettings) -> ChoicePage:
    """What the figures propose for each candidate of a year.

    Parameters
    ----------
    on
        The occasion.
    year
        The last trial year that counts.
    settings
        How many go on and wait, and the bars.

    Returns
    -------
    ChoicePage
        Candidates in order of merit, each with a verdict and a reason that names its figures.

    Raises
    ------
    InputRefused
        If the yields of that year are not analysed yet, or a setting is out of bounds.

    Notes
    -----
    merit = (yield - yield of the checks) - price x (moisture - moisture of the checks). The cut lies half-way between
    the last that goes on and the next. Tie zone: within one standard error of the difference to the checks from the
    cut.
    """
    _check_settings(settings)
    station = get_station(on.station)
    analysis = find_analysis_with_year(on, "yield_kg_ha_15_5", year)
    if analysis is None:
        raise refuse("no_analysis", f"The yields up to {year} are not analysed yet.", "Run the analysis first.")
    moisture = find_analysis(on, "moisture_pct", analysis.years)
    standing = find_analysis(on, "erect_frac", analysis.years)
    of, estimates = _pick(analysis, settings.of)
    books = {line.name: line for line in Line.objects.filter(station=station, name__in=[e.line for e in estimates])}
    decided = _read_decided(on, station, year)
    stopped = _read_stopped(on, station, year)
    up = [one for one in estimates if one.line not in stopped]
    water, erect = _by_line(moisture, estimates), _by_line(standing, estimates)
    found = [_candidate(one, books[one.line], analysis, water, erect, settings) for one in up]
    ranked = sorted(found, key=lambda one: (-one.merit_kg_ha, one.line))
    judged, cut = _judge(ranked, settings)
    told = tuple(_finish(one, settings, cut, decided.get(one.line, ("", ""))) for one in judged)
    missing = _missing(analysis, moisture, standing, told, len(estimates) - len(up))
    used = (*analysis.basis.used, ("candidates", len(told)))
    return ChoicePage(
        year,
        of,
        settings,
        analysis.result,
        analysis.years,
        analysis.checks,
        told,
        cut,
        (*NOT_CONSIDERED, *analysis.not_considered),
        Basis(used, missing),
    )


def _check_settings(settings: ChoiceSettings) -> None:
    if settings.of not in ("", "line", "hybrid"):
        raise refuse("of_unknown", f"There are no verdicts on {settings.of!r}.", "Use line or hybrid.")
    if min(settings.go_on, settings.wait, settings.least_sites) < 0:
        raise refuse("setting_negative", "How many go on or wait, and the sites wanted, are 0 or more.", "Send again.")
    if not (0 <= settings.least_erect_frac <= 1 and 0 <= settings.least_probability <= 1):
        raise refuse("setting_no_share", "Shares and chances lie between 0 and 1.", "Send again.")
    if not abs(settings.moisture_price_kg_ha) <= MOST_MOISTURE_PRICE_KG_HA:
        told = f"A moisture price of {settings.moisture_price_kg_ha:g} kg/ha cannot be."
        raise refuse("moisture_price", told, f"Use up to {MOST_MOISTURE_PRICE_KG_HA:,.0f}.")


def _pick(analysis: TrialAnalysis, of: str) -> tuple[str, list[EstimateFacts]]:
    lines = [
        one
        for one in analysis.estimates
        if one.kind == "gca" and one.of == "line" and not (one.is_tester or one.is_check)
    ]
    if of == "line" or (not of and lines):
        return "line", lines
    return "hybrid", [one for one in analysis.of_kind("blup") if not one.is_check and one.of == "hybrid"]


def _finish(one: Candidate, settings: ChoiceSettings, cut: float | None, decided: tuple[str, str]) -> Candidate:
    verdict, reason = decided
    return replace(one, reason=write_reason(one, settings, cut), decided=verdict, decided_reason=reason)


def _read_decided(on: Occasion, station: Station, year: int) -> dict[str, tuple[str, str]]:
    """The latest verdict of the year on each line, with its reason."""
    verdicts = Verdict.objects.filter(station=station, year=year, decided_on__lte=on.today).order_by("id")
    return {
        line: (verdict, reason) for line, verdict, reason in verdicts.values_list("line__name", "verdict", "reason")
    }


def _read_stopped(on: Occasion, station: Station, year: int) -> set[str]:
    """Lines whose latest verdict of an earlier year is stop: that is final."""
    verdicts = Verdict.objects.filter(station=station, year__lt=year, decided_on__lte=on.today).order_by("year", "id")
    latest = dict(verdicts.values_list("line__name", "verdict"))
    return {line for line, verdict in latest.items() if verdict == "stop"}


def _by_line(analysis: TrialAnalysis | None, like: Sequence[EstimateFacts]) -> dict[str, EstimateFacts]:
    kind = like[0].kind if like else ""
    return {one.line: one for one in analysis.of_kind(kind)} if analysis else {}


def _candidate(
    one: EstimateFacts,
    line: Line,
    analysis: TrialAnalysis,
    water: Mapping[str, EstimateFacts],
    erect: Mapping[str, EstimateFacts],
    settings: ChoiceSettings,
) -> Candidate:
    difference = one.value - analysis.mean if one.versus_checks is None else one.versus_checks
    wet = water[one.line].versus_checks if one.line in water else None
    return Candidate(
        line=one.line,
        of=one.of,
        group=one.group,
        generation=line.generation,
        yield_kg_ha_15_5=one.value,
        se_kg_ha=one.se,
        reliability=one.reliability,
        difference_kg_ha=difference,
        difference_se_kg_ha=one.se if one.versus_checks is None else one.versus_se,
        better_probability=one.better_probability,
        moisture_difference_pct=wet,
        erect_frac=erect[one.line].value if one.line in erect else None,
        n_plots=one.n_plots,
        n_sites=one.n_sites,
        n_years=one.n_years,
        merit_kg_ha=difference - settings.moisture_price_kg_ha * (wet or 0.0),
        rank=0,
        in_tie=False,
        verdict="",
        reason="",
    )


def _judge(ranked: Sequence[Candidate], settings: ChoiceSettings) -> tuple[list[Candidate], float | None]:
    """Give ranks and verdicts in order of merit; the cut lies between the last that goes on and the next."""
    places = {"go_on": settings.go_on, "wait": settings.wait}
    verdicts = []
    for one in ranked:
        verdict = _bar(one, settings)
        if verdict == "go_on" and places["go_on"] == 0:
            verdict = "wait"
        if verdict == "wait" and places["wait"] == 0:
            verdict = "stop"
        if verdict in places:
            places[verdict] -= 1
        verdicts.append(verdict)
    going = [one.merit_kg_ha for one, verdict in zip(ranked, verdicts, strict=True) if verdict == "go_on"]
    rest = [
        one.merit_kg_ha
        for one, verdict in zip(ranked, verdicts, strict=True)
        if verdict != "go_on" and _bar(one, settings) == "go_on"
    ]
    cut = (going[-1] + rest[0]) / 2.0 if going and rest else None
    judged = [
        replace(one, rank=at, verdict=verdict, in_tie=_in_tie(one, cut, settings))
        for at, (one, verdict) in enumerate(zip(ranked, verdicts, strict=True), 1)
    ]
    return judged, cut


def _bar(one: Candidate, settings: ChoiceSettings) -> str:
    """The best verdict that the bars leave open."""
    if one.erect_frac is not None and one.erect_frac < settings.least_erect_frac:
        return "stop"
    if one.n_sites < settings.least_sites:
        return "wait"
    if one.better_probability is not None and one.better_probability < settings.least_probability:
        return "wait"
    return "go_on"


def _in_tie(one: Candidate, cut: float | None, settings: ChoiceSettings) -> bool:
    near = cut is not None and abs(one.merit_kg_ha - cut) <= (one.difference_se_kg_ha or 0.0)
    return near and _bar(one, settings) == "go_on"


def _missing(
    analysis: TrialAnalysis,
    moisture: TrialAnalysis | None,
    standing: TrialAnalysis | None,
    found: Sequence[Candidate],
    n_stopped: int,
) -> tuple[str, ...]:
    missing = list(analysis.basis.missing)
    if not analysis.checks:
        missing.append("no check grew in these trials, so differences are to the mean of all entries")
    if moisture is None:
        missing.append("moisture is not analysed for these years, so it counts for nothing")
    if standing is None:
        missing.append("standing is not analysed for these years, so its bar stops nobody")
    elif any(one.erect_frac is None for one in found):
        count = sum(one.erect_frac is None for one in found)
        missing.append(f"lodging was not counted for {count} candidates")
    if n_stopped:
        missing.append(f"{n_stopped} with the verdict stop from earlier years are not shown")
    return tuple(missing)
