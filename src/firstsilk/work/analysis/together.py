"""Do two traits go together in the trials: by their genes, from trial to trial, and from plot to plot?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from firstsilk.answers import InputRefused, refuse
from firstsilk.science.analysis.two_traits import TwoTraits, fit_two_traits
from firstsilk.work.analysis.fits import Part, plan_model, plan_part, simplify_part
from firstsilk.work.analysis.plots import TRAITS, PlotValue, read_plot_values
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_station

WORDS = {
    "entry": "entries (genetic)",
    "entry:trial": "entries from trial to trial",
    "replicate": "replicates within trials",
    "residual": "plots",
}
NOT_CONSIDERED = (
    "relationship between entries",
    "that sites may differ in how the traits go together",
    "trends inside a field",
)
SHORT = {"yield_kg_ha_15_5": "yield", "moisture_pct": "moisture", "erect_frac": "standing"}
"""How a person calls each trait in a sentence."""
# A correlation further from 0 than so many of its errors is told as one.
SURE = 1.96


@dataclass(frozen=True, slots=True)
class Together:
    """How two traits go together in one part of the model; None where a variance is 0."""

    part: str
    variance_a: float
    variance_b: float
    covariance: float
    correlation: float | None
    se: float | None


@dataclass(frozen=True, slots=True)
class TraitsTogether:
    """Two traits of the trials' plots side by side; `says` is the answer in one sentence."""

    trait_a: str
    trait_b: str
    years: tuple[int, ...]
    n_plots: int
    n_both: int
    n_entries: int
    parts: tuple[Together, ...]
    says: str
    said: tuple[str, ...]
    model: str
    not_considered: tuple[str, ...]
    basis: Basis


def read_traits_together(
    on: Occasion, years: Sequence[int] = (), trait_a: str = TRAITS[0], trait_b: str = TRAITS[1]
) -> TraitsTogether:
    """Tell how two traits go together over all plots of the years' trials.

    Parameters
    ----------
    on
        The occasion.
    years
        Years of the trials; all if empty.
    trait_a, trait_b
        Two of ``yield_kg_ha_15_5``, ``moisture_pct``, ``erect_frac``.

    Raises
    ------
    InputRefused
        If a trait is unknown or named twice, no plot tells it, or the plots carry no model of both.

    Notes
    -----
    `science.analysis.two_traits.fit_two_traits` with trial fixed, entries, entries within trial and replicates random,
    as far as the plots carry them. Plots with one of the two traits count as well. Nothing is written down.
    """
    if trait_a == trait_b:
        raise refuse("trait_twice", f"Two different traits are needed, not {trait_a!r} twice")
    station = get_station(on.station)
    values = [read_plot_values(station, years, trait, on.today) for trait in (trait_a, trait_b)]
    told = [{(one.environment, one.number): one for one in found.plots} for found in values]
    plots = [told[0].get(key) or told[1][key] for key in sorted({**told[0], **told[1]})]
    found, part, said = _fit(plots, told, (trait_a, trait_b))
    parts = tuple(
        Together(WORDS[one.term], one.variance_a, one.variance_b, one.covariance, one.correlation, one.correlation_se)
        for one in found.lines
    )
    entries = len({one.entry for one in plots})
    used = (("plots", found.n_plots), ("plots with both traits", found.n_both), ("entries", entries))
    alike = set(values[0].missing) & set(values[1].missing)
    missing = tuple(text for text in values[0].missing if text in alike) + tuple(
        f"{SHORT[own.trait]}: {text}" for own in values for text in own.missing if text not in alike
    )
    return TraitsTogether(
        trait_a,
        trait_b,
        tuple(sorted({one.year for one in plots})),
        found.n_plots,
        found.n_both,
        entries,
        parts,
        _say(parts[0], trait_a, trait_b),
        tuple(said),
        part.as_text(),
        NOT_CONSIDERED,
        Basis(used, missing),
    )


def _fit(
    plots: Sequence[PlotValue], told: Sequence[dict[tuple[str, int], PlotValue]], traits: tuple[str, str]
) -> tuple[TwoTraits, Part, list[str]]:
    """The fullest model that the plots carry for both traits; what is left out is said."""
    data: dict[str, list[object]] = {
        "entry": [one.entry for one in plots],
        "trial": [one.environment for one in plots],
        "replicate": [one.rep for one in plots],
    }
    for trait, own in zip(traits, told, strict=True):
        values = [own.get((one.environment, one.number)) for one in plots]
        data[trait] = [None if one is None else one.value for one in values]
    part, said = plan_part(plots)
    part = replace(part, residual_by_environment=False)
    said = [text for text in said if "residual of its own" not in text]
    while True:
        try:
            return fit_two_traits(data, plan_model(part, entries_fixed=False), traits), part, said
        except InputRefused as no:
            simpler = simplify_part(part)
            if simpler is None:
                raise refuse("no_model", f"These plots carry no model of both traits: {no}", "Add replicates.") from no
            part = simpler[0]
            said.append(f"{simpler[1]}: {no}")


def _say(genetic: Together, trait_a: str, trait_b: str) -> str:
    """The genetic correlation in a sentence."""
    one, two = SHORT[trait_a], SHORT[trait_b]
    if genetic.correlation is None:
        return f"Entries do not differ in {one} or in {two}, so that nothing can be told of their genes."
    r, se = genetic.correlation, genetic.se
    figure = f"genetic correlation {r:+.2f}".replace("-", "\u2212") + (f" \u00b1 {se:.2f}" if se is not None else "")
    if se is None:
        return f"As far as these plots tell, {one} and {two} have the same genes ({figure}, at its bound)."
    if abs(r) < SURE * se:
        return f"Whether {one} and {two} share genes cannot be told from these plots ({figure})."
    way = "more" if r > 0 else "less"
    return f"Entries with more {one} have {way} {two} by their genes ({figure})."
