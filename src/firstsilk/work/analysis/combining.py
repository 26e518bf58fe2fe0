"""What do testcrosses in the trials say of the lines: which gives good hybrids in general, which with one tester?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firstsilk.answers import InputRefused, refuse
from firstsilk.records.models import Line, Station
from firstsilk.science.analysis.intervals import Contrast, estimate_contrasts
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Fit, Model, RandomLine, RandomTerm
from firstsilk.work.analysis.facts import VarianceFacts
from firstsilk.work.analysis.plots import TRAITS, PlotValue, read_plot_values
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_station
from firstsilk.work.standing import read_standing

LEAST_LINES = 3
WORDS = {
    "line": "general combining ability of lines",
    "line:tester": "specific combining ability with a tester",
    "line:trial": "general combining ability from trial to trial",
    "line:tester:trial": "specific combining ability from trial to trial",
    "replicate": "replicate within trial",
    "residual": "plot",
}
NOT_CONSIDERED = (
    "how good a line is by itself, as seed parent or as pollinator",
    "relationship between lines (each is predicted from its own crosses)",
    "trends inside a field",
    "testers other than these",
)


@dataclass(frozen=True, slots=True)
class LineAbility:
    """The general combining ability of one line: predicted, less the mean of lines, with its 95 % interval."""

    line: str
    group: str
    value: float
    low: float
    high: float
    se: float
    reliability: float | None
    testers: tuple[str, ...]
    n_plots: int
    n_trials: int


@dataclass(frozen=True, slots=True)
class CrossAbility:
    """The specific combining ability of one line with one tester, predicted, with its 95 % interval."""

    line: str
    tester: str
    hybrid: str
    value: float
    low: float
    high: float
    n_plots: int


@dataclass(frozen=True, slots=True)
class TesterMean:
    """The mean of a tester's crosses with average lines; None where testers cannot be set beside each other."""

    tester: str
    mean: float | None
    se: float | None
    n_lines: int
    n_plots: int


@dataclass(frozen=True, slots=True)
class CombiningAbility:
    """Combining ability of lines with testers for one trait, what it was fitted by, and what it rests on.

    `crosses` is empty where no line met two testers. Values are in the trait's own unit.
    """

    trait: str
    years: tuple[int, ...]
    trials: tuple[str, ...]
    mean: float
    lines: tuple[LineAbility, ...]
    testers: tuple[TesterMean, ...]
    crosses: tuple[CrossAbility, ...]
    variances: tuple[VarianceFacts, ...]
    model: str
    said: tuple[str, ...]
    not_considered: tuple[str, ...]
    basis: Basis


@dataclass(frozen=True, slots=True)
class _Testcross:
    """One plot of a line's cross with a tester."""

    line: str
    group: str
    tester: str
    plot: PlotValue


def read_combining_ability(on: Occasion, years: Sequence[int] = (), trait: str = TRAITS[0]) -> CombiningAbility:
    """Work out the combining ability of all lines whose crosses with testers stood in the years' trials.

    Parameters
    ----------
    on
        The occasion.
    years
        Years of the trials; all if empty.
    trait
        ``yield_kg_ha_15_5``, ``moisture_pct`` or ``erect_frac``.

    Returns
    -------
    CombiningAbility
        Lines with the highest value first.

    Raises
    ------
    InputRefused
        If no plot tells the trait, fewer than three lines met a tester, or the plots carry no model.

    Notes
    -----
    Trial and tester fixed; line, line x tester, both within trial, and replicate within trial random, as far as the
    plots tell them. A line is thus corrected for how good its testers are, and its value is that beside lines that met
    the same testers. Nothing is written down.
    """
    station = get_station(on.station)
    values = read_plot_values(station, years, trait, on.today)
    crosses = _find_testcrosses(on, station, values.plots)
    lines = {one.line for one in crosses}
    if len(lines) < LEAST_LINES:
        raise refuse(
            "too_few_testcrosses",
            f"Combining ability needs the crosses of {LEAST_LINES} lines with testers; there are {len(lines)}",
            "Mark the testers among the lines, and bring in plot data of their crosses.",
        )
    data = _tell_columns(crosses)
    model, fit, said = _fit(data, crosses)
    left_out = len(values.plots) - len(crosses)
    missing = [*values.missing, *([f"{left_out} plots of checks and other entries are left out"] if left_out else [])]
    level = [line.value for line in fit.means if line.term == "trial"] or [fit.fixed[0].estimate]
    used = (("plots", len(crosses)), ("lines", len(lines)), ("testers", len({one.tester for one in crosses})))
    return CombiningAbility(
        trait,
        values.years,
        tuple(sorted({one.plot.environment for one in crosses})),
        sum(level) / len(level),
        _tell_lines(data, model, fit, crosses),
        _tell_testers(fit, crosses),
        _tell_crosses(data, model, fit, crosses),
        tuple(VarianceFacts(WORDS[one.term], one.level, one.value, one.se) for one in fit.variances),
        " + ".join([*(f"{term[0]} (fixed)" for term in model.fixed), *(WORDS[t.name] for t in model.random)]),
        tuple(said),
        NOT_CONSIDERED,
        Basis(used, tuple(missing)),
    )


def _find_testcrosses(on: Occasion, station: Station, plots: Sequence[PlotValue]) -> list[_Testcross]:
    """The plots of hybrids of which just one parent is a tester; parents that were merged away are the lines kept."""
    standing = read_standing(station, on.today)
    hybrids = Line.objects.filter(station=station, kind="hybrid", pk__in={one.line for one in plots})
    parents: dict[int, tuple[str, str, str]] = {}
    for hybrid in hybrids.select_related("mother", "father"):
        if hybrid.mother is None or hybrid.father is None:
            continue
        tester, line = (standing.get(one.pk, one) for one in (hybrid.mother, hybrid.father))
        if line.is_tester == tester.is_tester:
            continue
        if line.is_tester:
            tester, line = line, tester
        parents[hybrid.pk] = (line.name, line.group, tester.name)
    return [_Testcross(*parents[one.line], one) for one in plots if one.line in parents and not one.is_check]


def _tell_columns(crosses: Sequence[_Testcross]) -> dict[str, list[object]]:
    return {
        "value": [one.plot.value for one in crosses],
        "line": [one.line for one in crosses],
        "tester": [one.tester for one in crosses],
        "trial": [one.plot.environment for one in crosses],
        "replicate": [one.plot.rep for one in crosses],
    }


def _fit(data: dict[str, list[object]], crosses: Sequence[_Testcross]) -> tuple[Model, Fit, list[str]]:
    """The fullest model that these plots carry; what is left out is said."""
    trials, testers = {one.plot.environment for one in crosses}, {one.tester for one in crosses}
    met = {(one.line, one.tester) for one in crosses}
    several = len(met) > len({line for line, _ in met})
    fixed: list[tuple[str, ...]] = [
        (name,) for name, found in (("trial", trials), ("tester", testers)) if len(found) > 1
    ]
    random: list[tuple[str, ...]] = [("line",)]
    random += [("line", "tester")] if several else []
    random += [("line", "trial")] if len(trials) > 1 else []
    random += [("line", "tester", "trial")] if several and len(trials) > 1 else []
    random += [("replicate",)] if len({one.plot.rep for one in crosses}) > len(trials) else []
    said = [] if several else ["No line met two testers, so what a line does with one tester alone cannot be told."]
    while True:
        model = Model("value", tuple(fixed), tuple(RandomTerm(term) for term in random), genotype=None)
        try:
            fit = fit_mixed_model(data, model)
            break
        except InputRefused as no:
            if not _simplify(fixed, random, no):
                raise refuse(
                    "no_model", f"These plots carry no model of combining ability: {no}", "Add a trial or replicates."
                ) from no
            said.append(f"Left out a part of the model: {no}")
    said += [f"The variance of {WORDS[name]} came out as 0." for name in fit.at_bound]
    if not fit.converged:
        said.append("The search for the variances stopped before the top: read the figures with care.")
    return model, fit, said


def _simplify(fixed: list[tuple[str, ...]], random: list[tuple[str, ...]], no: InputRefused) -> bool:
    """Take the next part out; testers that no trial joins first of all. False if there is nothing left to take."""
    if no.refusal is not None and no.refusal.code in ("not_connected", "not_estimable") and ("tester",) in fixed:
        fixed.remove(("tester",))
        return True
    for term in (("line", "tester", "trial"), ("line", "trial"), ("replicate",), ("line", "tester")):
        if term in random:
            random.remove(term)
            return True
    return False


def _estimate(data: dict[str, list[object]], model: Model, fit: Fit, term: str) -> list[tuple[RandomLine, Contrast]]:
    """Each level of a random term with its interval; by its plain error where the fit is too large for better."""
    own = [one for one in fit.random if one.term == term]
    try:
        found = estimate_contrasts(data, model, fit, term, [{one.level: 1.0} for one in own])
    except InputRefused as no:
        if no.refusal is None or no.refusal.code != "beyond_tests":
            raise
        wide = 1.959964
        found = tuple(
            Contrast(one.value, one.se, None, one.value - wide * one.se, one.value + wide * one.se, one.se)
            for one in own
        )
    return list(zip(own, found, strict=True))


def _tell_lines(
    data: dict[str, list[object]], model: Model, fit: Fit, crosses: Sequence[_Testcross]
) -> tuple[LineAbility, ...]:
    of_line: dict[str, list[_Testcross]] = {}
    for one in crosses:
        of_line.setdefault(one.line, []).append(one)
    told = []
    for line, found in _estimate(data, model, fit, "line"):
        own = of_line[line.level]
        told.append(
            LineAbility(
                line.level,
                own[0].group,
                found.value,
                found.low,
                found.high,
                found.se,
                line.reliability,
                tuple(sorted({one.tester for one in own})),
                len(own),
                len({one.plot.environment for one in own}),
            )
        )
    return tuple(sorted(told, key=lambda one: (-one.value, one.line)))


def _tell_crosses(
    data: dict[str, list[object]], model: Model, fit: Fit, crosses: Sequence[_Testcross]
) -> tuple[CrossAbility, ...]:
    if ("line", "tester") not in [term.columns for term in model.random]:
        return ()
    of_cross: dict[str, list[_Testcross]] = {}
    for one in crosses:
        of_cross.setdefault(f"{one.line}:{one.tester}", []).append(one)
    told = []
    for line, found in _estimate(data, model, fit, "line:tester"):
        own = of_cross[line.level]
        first = own[0]
        told.append(
            CrossAbility(first.line, first.tester, first.plot.entry, found.value, found.low, found.high, len(own))
        )
    return tuple(sorted(told, key=lambda one: (-one.value, one.hybrid)))


def _tell_testers(fit: Fit, crosses: Sequence[_Testcross]) -> tuple[TesterMean, ...]:
    means = {line.level: line for line in fit.means if line.term == "tester"}
    told = []
    for tester in sorted({one.tester for one in crosses}):
        own = [one for one in crosses if one.tester == tester]
        mean = means.get(tester)
        told.append(
            TesterMean(
                tester,
                mean.value if mean else None,
                mean.se if mean else None,
                len({one.line for one in own}),
                len(own),
            )
        )
    return tuple(told)
