"""Why this verdict? In words that name the figures."""

from __future__ import annotations

from firstsilk.work.choice.facts import Candidate, ChoiceSettings


def write_reason(one: Candidate, settings: ChoiceSettings, cut_kg_ha: float | None) -> str:
    """The reason for a proposed verdict, at most 400 signs."""
    parts = [_yield_words(one), _moisture_words(one), _standing_words(one), _evidence_words(one)]
    text = "; ".join(part for part in parts if part) + ". " + _verdict_words(one, settings, cut_kg_ha)
    return text if len(text) <= 400 else text[:397] + "..."


def _yield_words(one: Candidate) -> str:
    if one.reliability is None and one.difference_se_kg_ha == 0:
        return "The trials tell no difference in yield"
    error = f" ± {one.difference_se_kg_ha:.0f}" if one.difference_se_kg_ha is not None else ""
    side = "above" if one.difference_kg_ha >= 0 else "below"
    what = "checks" if one.better_probability is not None else "mean of all entries"
    text = f"Yields {abs(one.difference_kg_ha):.0f}{error} kg/ha {side} the {what}"
    if one.better_probability is not None:
        text += f", better with probability {one.better_probability:.2f}"
    return text


def _moisture_words(one: Candidate) -> str:
    water = one.moisture_difference_pct
    if water is None:
        return ""
    if abs(water) < 0.05:
        return "as dry as the checks"
    return f"{abs(water):.1f} points {'wetter' if water > 0 else 'drier'}"


def _standing_words(one: Candidate) -> str:
    return "" if one.erect_frac is None else f"{100 * one.erect_frac:.0f} % erect"


def _evidence_words(one: Candidate) -> str:
    sites = f"{one.n_sites} site{'s' if one.n_sites != 1 else ''}"
    years = f"{one.n_years} year{'s' if one.n_years != 1 else ''}"
    return f"{one.n_plots} plots, {sites}, {years}"


def _verdict_words(one: Candidate, settings: ChoiceSettings, cut_kg_ha: float | None) -> str:
    if one.erect_frac is not None and one.erect_frac < settings.least_erect_frac:
        return f"Under the bar of {100 * settings.least_erect_frac:.0f} % erect."
    if one.n_sites < settings.least_sites:
        return f"Fewer than {settings.least_sites} sites: too little to go on with."
    chance = one.better_probability
    if chance is not None and chance < settings.least_probability:
        full = "; the places to wait are taken" if one.verdict == "stop" else ""
        return f"Chance of out-yielding the checks under the bar of {settings.least_probability:g}{full}."
    place = f"Rank {one.rank} by merit"
    if cut_kg_ha is None:
        return f"{place}."
    gap = one.merit_kg_ha - cut_kg_ha
    near = ", within its error" if one.in_tie else ""
    return f"{place}, {abs(gap):.0f} kg/ha {'above' if gap >= 0 else 'below'} the cut{near}."
