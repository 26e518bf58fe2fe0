"""What is said of doubtful plots: findings with place, value and likely repair, and each plot as a map shows it?

Needs no station: the file door says the same as the pages.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from firstsilk.answers import Finding, Place
from firstsilk.science.analysis.oddities import OddPlot
from firstsilk.science.analysis.plot_doubts import TraitDoubts, TrialDoubts
from firstsilk.science.analysis.shifted_pass import ShiftedPass

_CAUSES = {
    "empty": "Was it harvested and weighed? If not, leave the value empty",
    "double": "It is about twice what is expected: look for two plots in one record",
    "half": "It is about half of what is expected: look for a plot that was cut or weighed in part",
    "decimal": "Check the decimal point",
    "": "Look into the field notes; reject the plot, with a reason, only if one is found there",
}


@dataclass(frozen=True, slots=True)
class PlotLabel:
    """How a plot is called: its number, where it stands in a file, and whether it was rejected."""

    plot: str
    place: Place = field(default_factory=Place)
    rejected: bool = False


@dataclass(frozen=True, slots=True)
class PlotLook:
    """One plot and one trait as a map shows them; None where a number cannot be told.

    `t` is how far the value lies from what is expected, in error deviations; `odd` whether that is beyond the bound;
    `shifted` whether the plot lies in a stretch that is taken for shifted.
    """

    plot: str
    entry: str
    rep: str
    field_row: int | None
    field_col: int | None
    value: float | None
    expected: float | None
    t: float | None
    odd: bool
    shifted: bool
    rejected: bool


def list_looks(doubts: TrialDoubts, trait: TraitDoubts, labels: Sequence[PlotLabel]) -> tuple[PlotLook, ...]:
    """Every plot of a trial in harvest order, as one trait has it; `labels` are in the order given to the trial."""
    trial, odd = doubts.trial, {one.at for one in trait.odd}
    shifted = range(doubts.shifted.first, doubts.shifted.last + 1) if doubts.shifted else range(0)
    looks = []
    for at in range(trial.n):
        label = labels[int(trial.place[at])]
        row = None if trial.field_row is None else int(trial.field_row[at])
        col = None if trial.field_col is None else int(trial.field_col[at])
        numbers = (trial.values[trait.trait][at], trait.fit.expected[at], trait.t[at])
        value, expected, t = (None if math.isnan(one) else float(one) for one in numbers)
        told = (label.plot, trial.entry[at], trial.rep[at], row, col, value, expected, t)
        looks.append(PlotLook(*told, at in odd, at in shifted, label.rejected))
    return tuple(looks)


def tell_doubts(doubts: TrialDoubts, labels: Sequence[PlotLabel], words: Mapping[str, str]) -> tuple[Finding, ...]:
    """Everything doubtful as findings that do not stop: a shifted pass first, then trait by trait.

    Parameters
    ----------
    doubts
        What was found.
    labels
        How the plots are called, in the order in which they were given to the trial.
    words
        How a person calls each trait.

    Notes
    -----
    Checked by ``tests/work/test_plot_quality.py``.
    """
    ordered = [labels[int(at)] for at in doubts.trial.place]
    found = []
    if doubts.shifted:
        found.append(_tell_shift(doubts, doubts.shifted, ordered))
    for trait in doubts.traits:
        says = words.get(trait.trait, trait.trait)
        found += [_tell_odd(doubts, trait, one, ordered, says) for one in trait.odd]
        found += _tell_drift(trait, len(set(doubts.trial.rep)) > 1, ordered, says)
        found += _tell_alike(trait, ordered, says)
    return tuple(found)


def _tell_shift(doubts: TrialDoubts, shift: ShiftedPass, labels: Sequence[PlotLabel]) -> Finding:
    first, last = labels[shift.first], labels[shift.last]
    before = "before" if shift.direction == "late" else "after"
    back = "back" if shift.direction == "late" else "on"
    ends = []
    for name, (low, high) in (("first", shift.first_range), ("last", shift.last_range)):
        span = f"{labels[low].plot} to {labels[high].plot}" if low != high else f"{labels[low].plot}"
        ends.append(f"{name} {span}")
    odds = f"{shift.odds:,.0f}" if shift.odds < 1e6 else "over a million"
    message = (
        f"plots {first.plot} to {last.plot} look as if recorded one plot {shift.direction}: each record fits what grew "
        f"one plot {before} it in harvest order. The values are {odds} times as likely so; 95 % limits of the "
        f"stretch: {', '.join(ends)}"
    )
    value = f"correlation with the plan {shift.as_planned:.2f} as recorded, {shift.moved:.2f} moved by one plot"
    repair = (
        f"Compare harvest notes and packets as sown. If the records slipped, send them again one plot {back}; if the "
        "seed slipped, correct the plan"
    )
    place = Place(first.place.file, first.place.line, "" if len(doubts.traits) > 1 else doubts.traits[0].trait)
    return Finding("shifted_pass", message, place, value, repair, stops=False)


def _tell_odd(doubts: TrialDoubts, trait: TraitDoubts, odd: OddPlot, labels: Sequence[PlotLabel], says: str) -> Finding:
    label, trial = labels[odd.at], doubts.trial
    where = ""
    if trial.field_row is not None and trial.field_col is not None:
        where = f", field row {trial.field_row[odd.at]}, column {trial.field_col[odd.at]}"
    message = (
        f"plot {label.plot} ({trial.entry[odd.at]}{where}) lies {abs(odd.t):.1f} error deviations "
        f"{'above' if odd.t > 0 else 'below'} what its entry and its ground make one expect of {says}: "
        f"{write_number(odd.expected)}; odd is beyond {odd.bound:.1f}"
    )
    repair = _CAUSES.get(odd.likely, "")
    if odd.likely == "swapped" and odd.other is not None:
        other = labels[odd.other].plot
        repair = f"It and plot {other} have what is expected of each other: look whether they were swapped"
    place = Place(label.place.file, label.place.line, trait.trait)
    return Finding("plot_far_out", message, place, write_number(odd.value), repair, stops=False)


def _tell_drift(trait: TraitDoubts, has_reps: bool, labels: Sequence[PlotLabel], says: str) -> list[Finding]:
    drift = trait.drift
    if drift is None:
        return []
    of = " of a replicate" if has_reps else ""
    message = (
        f"{says} drifts along harvest order, beyond entries and replicates: by {write_number(drift.change)} from "
        f"the first to the last plot{of}, by {write_number(drift.span)} from the lowest to the highest"
    )
    repair = (
        "Check the scale and the meter from plot to plot, and the weather of the harvest day; a trend of the ground "
        "along the same way looks alike"
    )
    place = Place(labels[0].place.file, None, trait.trait)
    return [Finding("drift", message, place, f"chance {drift.chance:.2g}", repair, stops=False)]


def _tell_alike(trait: TraitDoubts, labels: Sequence[PlotLabel], says: str) -> list[Finding]:
    if trait.differs:
        return []
    message = f"entries do not differ beyond error in {says}: chance {trait.chance_alike:.2g} if they were all alike"
    repair = "Do not choose by this trial alone; look for a shifted pass, mixed plots or a poor site"
    value = f"repeatability of an entry's mean {trait.repeatability:.2f}"
    place = Place(labels[0].place.file, None, trait.trait)
    return [Finding("no_repeatability", message, place, value, repair, stops=False)]


def write_number(value: float) -> str:
    """A number with about four figures, as a sentence can hold it."""
    if value == 0:
        return "0"
    decimals = max(0, 3 - math.floor(math.log10(abs(value))))
    return f"{value:,.0f}" if decimals == 0 else f"{value:.{min(decimals, 6)}f}"
