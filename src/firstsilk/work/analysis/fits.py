"""Which model do these plots carry? The fullest first; what cannot be estimated is left out, and said."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from firstsilk.answers import InputRefused, refuse
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Fit, Model, RandomTerm, Residual
from firstsilk.work.analysis.plots import PlotValue

MOST_ENTRIES = 3_000
"""Entries that are set beside each other, each with each, at once: as many as a large fit keeps covariances of."""
LEAST_FREEDOM = 10
"""Degrees of freedom a variance should rest on before it is given one of its own (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class Part:
    """Which parts the model has."""

    environments: bool
    interaction: bool
    replicates: bool
    residual_by_environment: bool

    def as_text(self) -> str:
        """The model in words."""
        said = ["entry (random)"]
        if self.environments:
            said.insert(0, "trial (fixed)")
        if self.interaction:
            said.append("entry within trial (random)")
        if self.replicates:
            said.append("replicate within trial (random)")
        said.append("a residual for each trial" if self.residual_by_environment else "one residual")
        return " + ".join(said)


@dataclass(frozen=True, slots=True)
class Fitted:
    """The fit with entries random, that with entries fixed (None where it cannot be had), and what was said."""

    part: Part
    random: Fit
    fixed: Fit | None
    said: tuple[str, ...]


def fit_plots(plots: Sequence[PlotValue]) -> Fitted:
    """Fit the fullest model that the plots carry.

    Raises
    ------
    InputRefused
        If no model can be fitted: one trial without replicates, too few plots, no variation; or entries are too many
        to set each beside each.
    """
    entries = len({one.entry for one in plots})
    if entries > MOST_ENTRIES:
        raise refuse("too_many_entries", f"{entries} entries are too many at once here (up to {MOST_ENTRIES})")
    data = tell_columns(plots)
    part, said = plan_part(plots)
    while True:
        try:
            fit = fit_mixed_model(data, plan_model(part, entries_fixed=False))
            break
        except InputRefused as no:
            simpler = simplify_part(part)
            if simpler is None:
                why = str(no)
                raise refuse("no_model", f"These plots carry no model: {why}", "Add a trial or replicates.") from no
            part = simpler[0]
            said.append(f"{simpler[1]}: {no}")
    if not fit.converged:
        said.append("The search for the variances stopped before the top: read the figures with care.")
    said += [f"The variance of {_word(name)} came out as 0." for name in fit.at_bound]
    fixed = None
    try:
        fixed = fit_mixed_model(data, plan_model(part, entries_fixed=True))
    except InputRefused as no:
        said.append(f"No adjusted means with entries fixed: {no}")
    return Fitted(part, fit, fixed, tuple(said))


def tell_columns(plots: Sequence[PlotValue]) -> dict[str, list[object]]:
    """The plots as the columns that the model names."""
    return {
        "value": [one.value for one in plots],
        "entry": [one.entry for one in plots],
        "trial": [one.environment for one in plots],
        "replicate": [one.rep for one in plots],
    }


def plan_part(plots: Sequence[PlotValue]) -> tuple[Part, list[str]]:
    """What these plots may carry, by counting; each part left out is said."""
    trials = {one.environment for one in plots}
    cells = Counter((one.environment, one.entry) for one in plots)
    reps = {one.environment: {two.rep for two in plots if two.environment == one.environment} for one in plots}
    spare = {
        trial: sum(n - 1 for (where, _), n in cells.items() if where == trial) - (len(reps[trial]) - 1)
        for trial in trials
    }
    said = []
    several = len(trials) > 1
    interaction = several and sum(spare.values()) >= LEAST_FREEDOM
    if not several:
        said.append("One trial only: how entries differ from place to place cannot be told, so errors are too small.")
    elif not interaction:
        said.append("Too few entries are replicated within a trial: entry within trial is part of the residual.")
    own = several and min(spare.values()) >= LEAST_FREEDOM
    if several and not own:
        said.append("Some trial has too little replication for a residual of its own: one residual for all.")
    replicates = any(len(inside) > 1 for inside in reps.values())
    return Part(several, interaction, replicates, own), said


def simplify_part(part: Part) -> tuple[Part, str] | None:
    """The next simpler model, and what was left out; None if there is none."""
    if part.residual_by_environment:
        simpler = Part(part.environments, part.interaction, part.replicates, False)
        return simpler, "Fell back to one residual for all trials"
    if part.replicates:
        return Part(part.environments, part.interaction, False, False), "Left out replicate within trial"
    if part.interaction:
        return Part(part.environments, False, False, False), "Left out entry within trial"
    return None


def plan_model(part: Part, entries_fixed: bool) -> Model:
    """The model of these parts, with the entries fixed or random."""
    fixed: list[tuple[str, ...]] = [("trial",)] if part.environments else []
    random = []
    if entries_fixed:
        fixed.append(("entry",))
    else:
        random.append(RandomTerm(("entry",)))
    if part.interaction:
        random.append(RandomTerm(("entry", "trial")))
    if part.replicates:
        random.append(RandomTerm(("replicate",)))
    residual = Residual(variance_by="trial") if part.residual_by_environment else Residual()
    genotype = None if entries_fixed else "entry"
    return Model("value", tuple(fixed), tuple(random), residual, genotype=genotype)


_WORDS = {"entry:trial": "entry within trial", "replicate": "replicate within trial"}


def _word(name: str) -> str:
    term, _, level = name.partition("residual:")
    return f"the residual of {level}" if level else _WORDS.get(term, term)


def name_term(term: str) -> str:
    """A variance's term in the words of a trial."""
    return _WORDS.get(term, term)
