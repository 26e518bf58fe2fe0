"""Does every reference value that the engine and the stability figures cover come out, and which are not covered?

2,121 values of general programs (lme4 1.1.31, nlme 3.1.162, mgcv 1.8.41, glmmTMB 1.1.5, emmeans 1.8.4.1, base R 4.2.2,
scipy) and of another hand's dense code, on open data sets; both lie outside the project. To 1e-5 relative, variances
1e-4, mgcv 1e-4 (its own climb ends there), log-likelihoods to 2e-5 (they are printed to 8 figures).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import pytest
import reference_ground as ground
import reference_mixed as mixed
import reference_tables as tables
from reference_fits import Answers, fixed, random
from trial_tables import Columns, all_references, needs_checks, outside, reference

from firstsilk.science.analysis import mixed_models
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, Residual
from tests.dense_reml import Values, evaluate, values_of

OATS, SLEEP, IMMER, BARLEY = "nlme::Oats", "lme4::sleepstudy", "MASS::immer", "lattice::barley"
JOHN, BURGUENO, PINE, LATTICE = "john.alpha", "burgueno.alpha", "hanover.whitepine", "cochran.lattice"
WHEAT, DAMESA, KLING = "nlme::Wheat2", "damesa.maize", "kling.augmented"
LU, LU_SERIES, YAN, KANG = (
    "lu.stability (Lu & Tien 1993; Lu",
    "lu.stability (Lu & Tien 1993; m",
    "yan.winter",
    "kang.maize",
)


# Data set and model, as their texts begin: what the engine says.
FITTED: dict[tuple[str, str], Callable[[], Answers]] = {
    (OATS, "yield = N(factor)*Variety"): mixed.oats_crossed,
    (OATS, "yield = nitro(linear)"): mixed.oats_by_number,
    (OATS, "yield = N(factor)+Variety fixed"): mixed.oats_added,
    (OATS, "yield = N(factor)+Variety, split plot"): mixed.oats_means,
    (OATS, "split plot, Variety differences"): mixed.oats_differences,
    (OATS, "split-plot ANOVA"): mixed.oats_squares,
    (SLEEP, "Reaction = Days fixed, correlated"): mixed.sleep_together,
    (SLEEP, "Reaction = Days fixed, uncorrelated"): mixed.sleep_apart,
    ("lme4::Penicillin", ""): mixed.penicillin,
    ("lme4::Dyestuff", "Yield = 1, Batch random, REML (boundary"): mixed.dye_simulated,
    ("lme4::Dyestuff", "Yield = 1, Batch random, REML"): mixed.dye,
    ("lme4::cake", ""): mixed.cake,
    (IMMER, "Y1 = Loc + Var"): mixed.immer_squares,
    (IMMER, "Y1 = Var fixed"): mixed.immer_fixed,
    (IMMER, "Y1 = 1"): mixed.immer_random,
    ("MASS::npk", ""): mixed.potatoes,
    (BARLEY, "yield = 1"): mixed.barley_random,
    (BARLEY, "yield = env(site x year)"): mixed.barley_fixed,
    (BARLEY, "yield = env(site-year)"): mixed.barley_by_site,
    ("nlme::Orthodont", ""): mixed.teeth,
    (JOHN, "yield = gen+rep fixed"): mixed.alpha_fixed,
    (JOHN, "BLUE, blocks random"): mixed.alpha_differences,
    (JOHN, "yield = rep fixed"): mixed.alpha_random,
    (JOHN, "gen random model"): mixed.alpha_predictions,
    (JOHN, "heritability"): mixed.alpha_heritability,
    (JOHN, "sequential ANOVA"): mixed.alpha_squares,
    (JOHN, "RCBD rep+gen"): mixed.alpha_without_blocks,
    (JOHN, "intra-block"): mixed.alpha_within_blocks,
    (BURGUENO, "yield = gen fixed, rep and block"): mixed.wheat_alpha,
    (PINE, "length = 1"): mixed.pine,
    (PINE, "rep + male*female ANOVA"): mixed.pine_squares,
    (LATTICE, "y = trt fixed"): mixed.lattice,
    (LATTICE, "rep+rep:row"): mixed.lattice_squares,
    (WHEAT, "yield = variety fixed, independent"): mixed.nursery_plain,
    (WHEAT, "yield = variety fixed, Block random"): mixed.nursery_blocks,
    (DAMESA, "ONE STAGE"): mixed.damesa_one_stage,
    (DAMESA, "STAGE 1 per site"): mixed.damesa_stage_one,
    (DAMESA, "STAGE 2 (full"): mixed.damesa_full,
    (DAMESA, "STAGE 2 (Smith"): mixed.damesa_diagonal,
    (DAMESA, "STAGE 2 (Mohring"): mixed.damesa_one_variance,
    (DAMESA, "STAGE 2 unweighted"): mixed.damesa_unweighted,
    (DAMESA, "yield = gen+site fixed"): mixed.damesa_common,
    ("DAAG::ant111b", ""): mixed.ant111b,
    ("DAAG::antigua", ""): mixed.antigua,
    (KLING, "tsw = block+gen fixed, adjusted"): mixed.augmented_means,
    (KLING, "tsw = block+gen fixed"): mixed.augmented_error,
    (KLING, "tsw = block + gen sequential"): mixed.augmented_squares,
    (KLING, "tsw = block fixed, gen random"): mixed.augmented_random,
    (KLING, "tsw = block + check-or-new"): mixed.augmented_new,
    (LU_SERIES, "yield = env fixed"): mixed.maize_series,
    (LU_SERIES, "entry-mean heritability"): mixed.maize_heritability,
    (LU_SERIES, "yield = gen*env fixed"): mixed.maize_by_environment,
    (LU, "ANOVA env + env:block"): mixed.maize_squares,
    ("digby.jointregression", ""): tables.of("digby.jointregression.csv", tables.tell_lines_with_gaps),
    (LU, "GGE: SVD of environment-centred means, unit"): tables.of("lu.stability.csv", tables.tell_gge_scores),
    (LU, "GGE: SVD of environment-centred means"): tables.of("lu.stability.csv", tables.tell_gge),
}
SCALED = "GGE: SVD of environment-centred, environment-SD-scaled means"
for dataset, file in ((LU, "lu.stability.csv"), (YAN, "yan.winterwheat.csv"), (KANG, "kang.maize.csv")):
    FITTED[dataset, "stability statistics"] = tables.of(file, tables.tell_entries)
    FITTED[dataset, "joint regression ANOVA"] = tables.of(file, tables.tell_joint)
    FITTED[dataset, "AMMI: SVD"] = tables.of(file, tables.tell_ammi)
    FITTED[dataset, "AMMI: IPCA1"] = tables.of(file, tables.tell_ammi_scores)
FITTED |= {
    (YAN, "GGE: SVD of environment-centred means, unit"): tables.of("yan.winterwheat.csv", tables.tell_gge_scores),
    (YAN, "GGE: SVD of environment-centred means"): tables.of("yan.winterwheat.csv", tables.tell_gge),
    (YAN, SCALED + ", unit"): tables.of("yan.winterwheat.csv", tables.tell_gge_scores, True),
    (YAN, SCALED): tables.of("yan.winterwheat.csv", tables.tell_gge, True),
    (WHEAT, "yield = gen fixed (56, no intercept), separable"): ground.nursery_correlated,
    (WHEAT, "yield = gen fixed, AR1(col)xAR1(row) + ind"): ground.nursery_correlated_with_nugget,
    (BURGUENO, "yield = gen fixed, separable AR1"): ground.wheat_alpha_correlated,
    (WHEAT, "yield = variety fixed, AR1 along row"): ground.nursery_along_rows,
    (WHEAT, "yield = variety fixed, AR1 along col"): ground.nursery_along_columns,
    (WHEAT, "yield = variety fixed + cubic P-spline"): ground.nursery_smooth_axes,
    (WHEAT, "yield = variety fixed + tensor"): ground.nursery_smooth_surface,
    (WHEAT, "yield = variety random + te"): ground.nursery_smooth_random,
    ("MASS::mcycle", ""): ground.crash_helmets,
    (YAN, "FA(1)"): ground.winter_wheat_factor,
}

OTHER_SHAPE = "correlation falls by a law of distance other than neighbour by neighbour, or by one range for both axes"
# Models that the engine does not fit, with the reason.
NOT_FITTED: dict[tuple[str, str], str] = {
    (WHEAT, "yield = variety fixed (56 levels, no intercept), cor"): OTHER_SHAPE,
    ("standard normal", ""): "selection intensity is no matter of the engine: merit and choice come later",
}
# Single values of fitted models, with the reason.
LEFT_OUT: dict[tuple[str, str, str], str] = {
    (LU_SERIES, "yield = gen*env fixed", "variance env:block"): "nlme stops at 0.0025 of 100,000; the top is at 0",
}

# Models whose reference values are not those of the top (a test below shows it), and how many times the slack.
STOPPED_SHORT: dict[tuple[str, str], float] = {(BARLEY, "yield = env(site-year)"): 10.0}

COUNTS = {"compared": 1_950, "left out": 1, "not fitted": 170}


def longest(texts: tuple[str, str], keys: Any) -> Any:
    """The key whose two texts begin the given ones, the longest if several do."""
    fits = [key for key in keys if texts[0].startswith(key[0]) and texts[1].startswith(key[1])]
    return max(fits, key=lambda key: (len(key[0]), len(key[1])), default=None)


def grouped() -> dict[tuple[str, str], dict[str, float]]:
    found: dict[tuple[str, str], dict[str, float]] = {}
    for record in all_references():
        key = (str(record["dataset"]), str(record["model"]))
        found.setdefault(key, {})[str(record["quantity"])] = float(str(record["value"]))
    return found


def case_of(texts: tuple[str, str]) -> Callable[[], Answers] | str:
    """What the engine says of a model, or why it is not fitted."""
    key = longest(texts, [*FITTED, *NOT_FITTED])
    assert key is not None, f"not named here: {texts}"
    return FITTED[key] if key in FITTED else NOT_FITTED[key]


def left_out(texts: tuple[str, str], quantity: str) -> str | None:
    """Why a single value is not compared, if it is not."""
    for (dataset, model, begins), reason in LEFT_OUT.items():
        if texts[0].startswith(dataset) and texts[1].startswith(model) and quantity.startswith(begins):
            return reason
    return None


def slack(texts: tuple[str, str], quantity: str, value: float, largest: float) -> float:
    """How far a value may be off: a share of itself, or a tenth of that share of the largest of its kind; 0 is 0."""
    if value == 0 and quantity.startswith("variance"):
        return 0.0
    if quantity.startswith("logLik") or " logLik" in quantity:
        return 2e-5
    loose = "variance" in quantity or "sigma^2" in quantity or "P-spline" in texts[1]
    share = 1e-4 if loose else 1e-5
    short = longest(texts, STOPPED_SHORT)
    return share * STOPPED_SHORT.get(short, 1.0) * max(abs(value), 0.1 * largest)


def kind_of(quantity: str) -> str:
    """What a value is comparable in size with: for predictions the term, where it is told, else the first word."""
    words = quantity.split(" ")
    return " ".join(words[:2] if words[-1] in ("(Intercept)", "Days", "isnew") else words[:1])


def fitted_models() -> Iterator[Any]:
    for texts in grouped():
        case = case_of(texts)
        if not isinstance(case, str):
            # Mixed models of plain terms are worked densely or sparsely; all else has one way.
            for way in ("dense", "sparse") if case.__module__ == mixed.__name__ else ("one way",):
                yield pytest.param(texts, case, way, id=f"{way}, {texts[0].split(' ')[0]}: {texts[1][:50]}")


@needs_checks
@pytest.mark.parametrize(("texts", "answer", "way"), [*fitted_models()])
def test_reference_values_of_a_fitted_model_come_out(
    texts: tuple[str, str], answer: Callable[[], Answers], way: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    if way == "sparse":
        monkeypatch.setattr(mixed_models, "SMALL_SIZE", -1)
    wanted = {name: value for name, value in grouped()[texts].items() if left_out(texts, name) is None}
    told = answer()
    assert not wanted.keys() - told.keys()
    wrong = {}
    for name, value in wanted.items():
        largest = max(abs(other) for text, other in wanted.items() if kind_of(text) == kind_of(name))
        if not math.isclose(told[name], value, rel_tol=0, abs_tol=slack(texts, name, value, largest)):
            wrong[name] = (value, told[name])
    assert not wrong


@needs_checks
def test_values_of_a_program_that_stopped_short_are_less_likely_than_ours() -> None:
    """By the dense formulas: nlme's values of two models, rounded to 8 figures, lie below the top."""
    model = Model("yield", fixed("env"), random("variety"), Residual("site"))
    known = reference(BARLEY, "yield = env(site-year)")
    variances = {("variety", ""): known["variance variety"]} | by_level(known)
    assert_less_likely(mixed.barley(), model, variances)
    model = Model("yield", fixed("gen", "env", "gen:env"), random("env:block"), Residual("env"))
    known = reference(LU_SERIES, "yield = gen*env fixed")
    variances = {("env:block", ""): known["variance env:block"]} | by_level(known)
    assert_less_likely(outside("lu.stability.csv"), model, variances)


def by_level(known: Mapping[str, float]) -> dict[tuple[str, str], float]:
    words = "residual variance "
    return {("residual", name.removeprefix(words)): value for name, value in known.items() if name.startswith(words)}


def assert_less_likely(data: Columns, model: Model, variances: dict[tuple[str, str], float]) -> None:
    top = evaluate(data, model, values_of(fit_mixed_model(data, model))).log_likelihood
    assert evaluate(data, model, Values(variances)).log_likelihood < top


@needs_checks
def test_every_reference_value_is_compared_or_named_with_a_reason(capsys: pytest.CaptureFixture[str]) -> None:
    counts = dict.fromkeys(COUNTS, 0)
    reasons: dict[str, int] = {}
    for texts, values in grouped().items():
        case = case_of(texts)
        for quantity in values:
            why = case if isinstance(case, str) else left_out(texts, quantity)
            counted = "compared" if why is None else "not fitted" if isinstance(case, str) else "left out"
            counts[counted] += 1
            if why:
                reasons[why] = reasons.get(why, 0) + 1
    with capsys.disabled():
        print("\nreference values:", counts)
        for why, number in reasons.items():
            print(f"  {number:4d} {why}")
    assert counts == COUNTS
    assert sum(counts.values()) == 2_121
