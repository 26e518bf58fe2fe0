"""Which mixed models stand behind the reference values, and what does our engine say of them?

Each function answers all quantities of one data set and model, in the words of the reference values.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import scipy.linalg
import scipy.optimize
from reference_fits import (
    Answers,
    fixed,
    only,
    pair_variances,
    random,
    residual_of,
    tell,
    tell_first_means,
    tell_fixed,
    tell_means,
    tell_spread,
    tell_squares,
    with_column,
)
from trial_tables import Columns, outside

from firstsilk.science.analysis.fixed_tests import judge_contrast
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Array, Fit, Model, RandomTerm, Residual

SITES = ("S1", "S2", "S3", "S4")


def oats() -> Columns:
    data = outside("nlme_Oats.csv")
    return {**data, "N": data["nitro"]}


def oats_crossed() -> Answers:
    return tell(oats(), Model("yield", fixed("N", "Variety", "N:Variety"), random("Variety:Block", "Block")))


def oats_by_number() -> Answers:
    model = Model("yield", fixed("nitro", "Variety"), random("Variety:Block", "Block"), numeric=("nitro",))
    return tell(oats(), model)


OATS_ADDED = Model("yield", fixed("N", "Variety"), random("Variety:Block", "Block"))


def oats_added() -> Answers:
    return tell(oats(), OATS_ADDED)


def oats_means() -> Answers:
    return tell_means(fit_mixed_model(oats(), OATS_ADDED), "Variety", "emmean ", "SE ")


def oats_differences() -> Answers:
    """Errors and degrees of freedom; in a balanced trial all approximations of those are exact."""
    fit = fit_mixed_model(oats(), OATS_ADDED)
    spread = np.sqrt(pair_variances(fit.mean_covariance["Variety"]))
    told: Answers = {}
    for (one, two), error in zip(
        itertools.combinations(("Golden Rain", "Marvellous", "Victory"), 2), spread, strict=True
    ):
        found = judge_contrast(oats(), OATS_ADDED, fit, "Variety", {one: 1.0, two: -1.0})
        assert found.se == pytest.approx(error, rel=1e-9)
        told |= {f"SED {one} - {two}": float(error), f"KR df {one} - {two}": found.df}
    return told


def oats_squares() -> Answers:
    found = tell_squares(oats(), "yield", "Block", "Variety", "Block:Variety", "N", "Variety:N")
    strata = {
        "Block Residuals": "Block", "Block:Variety Variety": "Variety", "Block:Variety Residuals": "Block:Variety",
        "Within N": "N", "Within Variety:N": "Variety:N", "Within Residuals": "Residuals",
    }  # fmt: skip
    return {f"SS Error: {stratum}": found[f"SS {term}"] for stratum, term in strata.items()}


def potatoes() -> Answers:
    """The threefold interaction lies between blocks, all else within them."""
    data = outside("MASS_npk.csv")
    treatments = ["N", "P", "K", "N:P", "N:K", "P:K"]
    between = tell_squares(data, "yield", *treatments, "N:P:K")
    within = tell_squares(data, "yield", "block", *treatments)
    told = {f"SS Error: Within {term}": within[f"SS {term}"] for term in [*treatments, "Residuals"]}
    lost = between["SS N:P:K"]
    return told | {"SS Error: block N:P:K": lost, "SS Error: block Residuals": within["SS block"] - lost}


def sleep_apart() -> Answers:
    model = Model("Reaction", fixed("Days"), random("Subject", "Subject:Days"), numeric=("Days",))
    return tell(outside("lme4_sleepstudy.csv"), model, {"Subject:Days": ("Subject.1", "Days")})


def sleep_together() -> Answers:
    """Correlated intercept and slope: slopes turn about the day at which they are uncorrelated, found by search."""
    data = outside("lme4_sleepstudy.csv")
    model = Model("Reaction", fixed("Days"), random("Subject", "Subject:since"), numeric=("Days", "since"))

    def turned(origin: float) -> Fit:
        return fit_mixed_model({**data, "since": [float(str(day)) - origin for day in data["Days"]]}, model)

    # The likelihood is flat at its top, so its slope is brought to 0.
    def slope(origin: float) -> float:
        return turned(origin + 0.01).reml_log_likelihood - turned(origin - 0.01).reml_log_likelihood

    origin = float(scipy.optimize.brentq(slope, -2.0, 1.0, xtol=1e-9))
    fit = turned(origin)
    level, growth = fit.variance("Subject"), fit.variance("Subject:since")
    told = {
        "logLik REML": fit.reml_log_likelihood,
        "variance Subject (Intercept)": level + origin**2 * growth,
        "variance Subject Days": growth,
        "covariance Subject (Intercept),Days": -origin * growth,
        "variance Residual": fit.variance("residual"),
        **tell_fixed(fit, model),
    }
    effects = {(line.term, line.level): line.value for line in fit.random}
    for _, subject in effects:
        by_day = effects["Subject:since", subject]
        told[f"BLUP Subject {subject} Days"] = by_day
        told[f"BLUP Subject {subject} (Intercept)"] = effects["Subject", subject] - origin * by_day
    return told


def penicillin() -> Answers:
    return tell(outside("lme4_Penicillin.csv"), Model("diameter", random=random("plate", "sample")))


def dye() -> Answers:
    return tell(outside("lme4_Dyestuff.csv"), Model("Yield", random=random("Batch")))


def dye_simulated() -> Answers:
    return tell(outside("lme4_Dyestuff2.csv"), Model("Yield", random=random("Batch")))


def cake() -> Answers:
    terms = fixed("recipe", "temperature", "recipe:temperature")
    model = Model("angle", terms, random("recipe:replicate"), sum_coded=("recipe", "temperature"))
    return tell(outside("lme4_cake.csv"), model)


def immer_squares() -> Answers:
    return tell_squares(outside("MASS_immer.csv"), "Y1", "Loc", "Var")


def immer_fixed() -> Answers:
    return tell(outside("MASS_immer.csv"), Model("Y1", fixed("Var"), random("Loc")))


def immer_random() -> Answers:
    return tell(outside("MASS_immer.csv"), Model("Y1", random=random("Loc", "Var")))


def barley_random() -> Answers:
    terms = random("variety:site", "variety:year", "site:year", "variety", "site", "year")
    return tell(outside("lattice_barley.csv"), Model("yield", random=terms))


def barley() -> Columns:
    return with_column(outside("lattice_barley.csv"), "env", "site", "year")


def barley_fixed() -> Answers:
    return tell(barley(), Model("yield", fixed("env"), random("variety")))


def by_group(fit: Fit, first: str) -> Answers:
    """A residual variance for each group, and its standard deviation beside that of the first."""
    base = fit.variance("residual", first)
    told = tell_spread(base)
    for line in fit.variances:
        if line.term == "residual":
            told[f"residual variance {line.level}"] = line.value
            told[f"SD ratio {line.level}"] = math.sqrt(line.value / base)
    return told


def barley_by_site() -> Answers:
    model = Model("yield", fixed("env"), random("variety"), Residual("site"))
    fit = fit_mixed_model(barley(), model)
    told = {"logLik REML": fit.reml_log_likelihood, "variance variety": fit.variance("variety")}
    blups = {f"BLUP {line.level}": line.value for line in fit.random}
    return told | by_group(fit, "University Farm") | tell_fixed(fit, model) | blups


def teeth() -> Answers:
    data = outside("nlme_Orthodont.csv")
    data["Sex"] = ["1 Male" if sex == "Male" else "Female" for sex in data["Sex"]]
    terms = fixed("age", "Sex", "age:Sex")
    model = Model("distance", terms, random("Subject"), Residual("Sex"), numeric=("age",))
    fit = fit_mixed_model(data, model)
    told = {"logLik REML": fit.reml_log_likelihood, "variance Subject": fit.variance("Subject")}
    told |= by_group(fit, "1 Male") | tell_fixed(fit, model)
    return {name.replace("1 Male", "Male"): value for name, value in told.items()}


ALPHA = "john.alpha.csv"
ALPHA_FIXED = Model("yield", fixed("rep", "gen"), random("rep:block"), genotype="gen")
ALPHA_RANDOM = Model("yield", fixed("rep"), random("gen", "rep:block"), genotype="gen")


def alpha_fixed() -> Answers:
    told = tell(outside(ALPHA), ALPHA_FIXED)
    return told | tell_first_means(outside(ALPHA), ALPHA_FIXED, "gen")


def alpha_differences() -> Answers:
    spread = pair_variances(fit_mixed_model(outside(ALPHA), ALPHA_FIXED).mean_covariance["gen"])
    errors = np.sqrt(spread)
    return {
        "mean variance of a difference (vblue)": float(np.mean(spread)),
        "min SED": float(np.min(errors)),
        "mean SED": float(np.mean(errors)),
        "max SED": float(np.max(errors)),
    }


def alpha_random() -> Answers:
    return tell(outside(ALPHA), ALPHA_RANDOM)


def alpha_predictions() -> Answers:
    fit = fit_mixed_model(outside(ALPHA), ALPHA_RANDOM)
    return {
        "sigma2_g": fit.variance("gen"),
        "mean variance of a difference of BLUPs (vblup, full PEV)": fit.difference_variance["gen"],
    }


def alpha_heritability() -> Answers:
    fit = fit_mixed_model(outside(ALPHA), ALPHA_RANDOM)
    told, g = fit.heritability, fit.variance("gen")
    block, error = fit.variance("rep:block"), fit.variance("residual")
    assert told is not None
    assert told.cullis is not None
    assert told.piepho is not None
    roots = np.linalg.eigvalsh(np.eye(24) - fit.random_covariance["gen"] / g)
    reliable = [line.reliability or 0.0 for line in fit.random if line.term == "gen"]
    return {
        "Cullis: 1-vblup/(2 sg2)": told.cullis,
        "Piepho-Mohring: sg2/(sg2+vblue/2)": told.piepho,
        "mean reliability 1-PEV/sg2": float(np.mean(reliable)),
        "sg2/(sg2+s2e/r)": g / (g + error / 3),
        "sg2/(sg2+s2b/r+s2e/r)": g / (g + block / 3 + error / 3),
        "Oakey 2006: mean of the 23 non-zero eigenvalues of I-PEV/sg2": float(np.mean(roots[1:])),
    }


def alpha_squares() -> Answers:
    return tell_squares(outside(ALPHA), "yield", "rep", "gen", "rep:block")


def alpha_without_blocks() -> Answers:
    return {"SS Residuals": residual_of(outside(ALPHA), "yield", fixed("rep", "gen"))[0]}


def alpha_within_blocks() -> Answers:
    fit = fit_mixed_model(outside(ALPHA), Model("yield", fixed("rep", "gen", "rep:block")))
    error, difference = fit.variance("residual"), float(np.mean(pair_variances(fit.mean_covariance["gen"])))
    return {
        "A-efficiency factor (harmonic mean)": 2 * error / 3 / difference,
        "MSE": error,
        "mean var of difference": difference,
    }


def wheat_alpha() -> Answers:
    return tell(outside("burgueno.alpha.csv"), Model("yield", fixed("gen"), random("block:rep", "rep")))


def pine() -> Answers:
    model = Model("length", random=random("male:female", "female", "male", "rep"))
    return tell(outside("hanover.whitepine.csv"), model)


def pine_squares() -> Answers:
    return tell_squares(outside("hanover.whitepine.csv"), "length", "rep", "male", "female", "male:female")


def lattice() -> Answers:
    return tell(outside("cochran.lattice.csv"), Model("y", fixed("trt"), random("rep:col", "rep:row", "rep")))


def lattice_squares() -> Answers:
    return tell_squares(outside("cochran.lattice.csv"), "y", "rep", "rep:row", "rep:col", "trt")


def nursery() -> Columns:
    """56 wheats in 224 plots: places from metres to whole numbers, rows 4.3 m and columns 1.2 m apart."""
    data = outside("nlme_Wheat2.csv")
    data["row"] = [round(float(str(metres)) / 4.3) for metres in data["latitude"]]
    data["col"] = [round(float(str(metres)) / 1.2) for metres in data["longitude"]]
    return data


def nursery_fit(model: Model) -> tuple[Fit, Answers]:
    fit = fit_mixed_model(nursery(), model)
    return fit, {"logLik REML": fit.reml_log_likelihood, **tell_means(fit, "variety", before="variety")}


def nursery_plain() -> Answers:
    fit, told = nursery_fit(Model("yield", fixed("variety")))
    return told | tell_spread(fit.variance("residual"))


def nursery_blocks() -> Answers:
    fit, told = nursery_fit(Model("yield", fixed("variety"), random("Block")))
    return told | tell_spread(fit.variance("residual")) | {"variance Block": fit.variance("Block")}


# ---------------------------------------------------------------- several sites


def damesa_one_stage() -> Answers:
    terms = random("site", "gen:site", "site:rep", "site:rep:block", by={"site:rep": "site", "site:rep:block": "site"})
    fit = fit_mixed_model(outside("damesa.maize.csv"), Model("yield", fixed("gen"), terms, Residual("site")))
    told = {
        "variance site": fit.variance("site"),
        "variance gen:site": fit.variance("gen:site"),
        "logLik REML": fit.reml_log_likelihood,
        "mean variance of a difference": float(np.mean(pair_variances(fit.mean_covariance["gen"]))),
        **tell_means(fit, "gen", "adjusted mean "),
    }
    for site in SITES:
        told[f"variance rep in {site}"] = fit.variance("site:rep", site)
        told[f"variance block in rep in {site}"] = fit.variance("site:rep:block", site)
        told[f"variance residual {site}"] = fit.variance("residual", site)
    return told


def damesa_site(site: str) -> Fit:
    model = Model("yield", fixed("gen"), random("rep:block", "rep"))
    return fit_mixed_model(outside("damesa.maize.csv", site=site), model)


def damesa_stage_one() -> Answers:
    told: Answers = {}
    for site in SITES:
        fit = damesa_site(site)
        told |= {
            f"{site} variance rep:block": fit.variance("rep:block"),
            f"{site} variance rep": fit.variance("rep"),
            f"{site} variance Residual": fit.variance("residual"),
            f"{site} logLik REML": fit.reml_log_likelihood,
            **tell_means(fit, "gen", f"{site} adjusted mean ", f"{site} SE "),
        }
    return told


def damesa_means() -> tuple[Columns, list[Array]]:
    """Adjusted means of all sites, and their covariance at each."""
    fits = {site: damesa_site(site) for site in SITES}
    rows = [(site, line.level, line.value) for site, fit in fits.items() for line in fit.means]
    names = ("site", "gen", "mean")
    data: Columns = {name: [row[at] for row in rows] for at, name in enumerate(names)}
    return data, [fit.mean_covariance["gen"] for fit in fits.values()]


def damesa_stage_two(covariances: list[Array]) -> Answers:
    data, _ = damesa_means()
    known = Residual(covariance=scipy.linalg.block_diag(*covariances))
    fit = fit_mixed_model(data, Model("mean", fixed("gen", "site"), random("gen:site"), known))
    return {
        "variance gen:site": fit.variance("gen:site"),
        "logLik REML": fit.reml_log_likelihood,
        "mean variance of a difference": float(np.mean(pair_variances(fit.mean_covariance["gen"]))),
        **tell_means(fit, "gen", "adjusted mean "),
    }


def damesa_full() -> Answers:
    return damesa_stage_two(damesa_means()[1])


def damesa_diagonal() -> Answers:
    return damesa_stage_two([np.diag(1 / np.diag(np.linalg.inv(V))) for V in damesa_means()[1]])


def damesa_one_variance() -> Answers:
    return damesa_stage_two([np.eye(22) * float(np.mean(pair_variances(V))) / 2 for V in damesa_means()[1]])


def damesa_unweighted() -> Answers:
    squares, df = residual_of(damesa_means()[0], "mean", fixed("gen", "site"))
    return {"residual MS": squares / df}


def damesa_common() -> Answers:
    """In the words of two programs at once."""
    terms = random("site:rep", "site:rep:block", "gen:site")
    fit = fit_mixed_model(outside("damesa.maize.csv"), Model("yield", fixed("gen", "site"), terms, Residual("site")))
    told = {"logLik REML": fit.reml_log_likelihood}
    for line in fit.variances:
        if line.term == "residual":
            told |= {f"residual variance {line.level}": line.value, f"variance residual {line.level}": line.value}
        else:
            told[f"variance {line.term}"] = line.value
    return told | {"variance srb": told["variance site:rep:block"]}


def antigua() -> Answers:
    data = with_column(outside("DAAG_antigua.csv"), "sb", "site", "block", between=".")
    data = only(data, [str(value) not in ("-9999", "") for value in data["harvwt"]])
    return tell(data, Model("harvwt", fixed("trt"), random("site:trt", "sb", "site")))


def ant111b() -> Answers:
    return tell(outside("DAAG_ant111b.csv"), Model("harvwt", random=random("site")))


def maize_series() -> Answers:
    return tell(outside("lu.stability.csv"), Model("yield", fixed("env"), random("gen:env", "env:block", "gen")))


def maize_heritability() -> Answers:
    model = Model("yield", fixed("env"), random("gen:env", "env:block", "gen"), genotype="gen")
    told = fit_mixed_model(outside("lu.stability.csv"), model).heritability
    assert told is not None
    assert told.entry_mean is not None
    return {"H2": told.entry_mean}


def maize_by_environment() -> Answers:
    model = Model("yield", fixed("gen", "env", "gen:env"), random("env:block"), Residual("env"))
    fit = fit_mixed_model(outside("lu.stability.csv"), model)
    told = {"logLik REML": fit.reml_log_likelihood, "variance env:block": fit.variance("env:block")}
    return told | {f"residual variance {line.level}": line.value for line in fit.variances[1:]}


def maize_squares() -> Answers:
    found = tell_squares(outside("lu.stability.csv"), "yield", "env", "env:block", "gen", "env:gen")
    return found


# ---------------------------------------------------------------- augmented


def meadowfoam() -> Columns:
    data = outside("kling.augmented.csv")
    checks = ("G89", "G90", "G91")
    data["cg"] = [gen if gen in checks else "new" for gen in data["gen"]]
    data["isnew"] = [float(gen not in checks) for gen in data["gen"]]
    return data


def augmented_means() -> Answers:
    fit = fit_mixed_model(meadowfoam(), Model("tsw", fixed("block", "gen")))
    return tell_means(fit, "gen", "", "SE ")


def augmented_error() -> Answers:
    squares, df = residual_of(meadowfoam(), "tsw", fixed("block", "gen"))
    return {"residual MS": squares / df}


def augmented_squares() -> Answers:
    found = tell_squares(meadowfoam(), "tsw", "block", "gen")
    return {"SS block": found["SS block"], "SS gen (adj)": found["SS gen"], "SS residual": found["SS Residuals"]}


def augmented_random() -> Answers:
    return tell(meadowfoam(), Model("tsw", fixed("block"), random("gen")))


def augmented_new() -> Answers:
    term = (RandomTerm(("gen", "isnew")),)
    model = Model("tsw", fixed("block", "cg"), term, numeric=("isnew",))
    return tell(meadowfoam(), model, {"gen:isnew": ("gen", "isnew")})
