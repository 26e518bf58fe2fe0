"""What does our engine say of correlated ground, smooth ground and factors, in the words of the reference values?

Smooth ground is compared with the general library mgcv 1.8.41, which penalises coefficients of its own choosing: its
smoothing parameters and its criterion are worked out here from our variances and likelihood.
"""

from __future__ import annotations

import math

import numpy as np
import scipy.linalg
from reference_fits import Answers, fixed, pair_variances, random, tell_means, tell_spread
from reference_mixed import nursery
from trial_tables import Columns, outside

from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Array, Fit, Model, RandomTerm, Residual, Surface
from tests import dense_reml
from tests.dense_reml import Layout, difference_penalty, spline_basis, values_of


def correlation(fit: Fit, axis: str) -> float:
    (line,) = [line for line in fit.correlations if line.axis == axis]
    return line.value


# ---------------------------------------------------------------- correlated ground


def wheat_nursery() -> Columns:
    """The nursery with places in whole numbers; plots without a yield stand in the file and are left out."""
    return outside("stroup.nin.csv")


def nursery_correlated() -> Answers:
    fit = fit_mixed_model(wheat_nursery(), Model("yield", fixed("gen"), residual=Residual(grid=("row", "col"))))
    return {
        "residual variance": fit.variance("residual"),
        "rho col": correlation(fit, "col"),
        "rho row": correlation(fit, "row"),
        "logLik REML (with (n-p)/2 log 2pi, without +1/2 log|X'X|)": fit.reml_log_likelihood,
        "mean variance of a difference": float(np.mean(pair_variances(fit.mean_covariance["gen"]))),
        **tell_means(fit, "gen", "fixed ", "SE ", "gen"),
    }


def nursery_correlated_with_nugget() -> Answers:
    residual = Residual(grid=("row", "col"), nugget=True)
    fit = fit_mixed_model(wheat_nursery(), Model("yield", fixed("gen"), residual=residual))
    return {
        "spatial variance": fit.variance("residual"),
        "rho col": correlation(fit, "col"),
        "rho row": correlation(fit, "row"),
        "nugget variance": fit.variance("nugget"),
        "logLik REML": fit.reml_log_likelihood,
    }


def wheat_alpha_correlated() -> Answers:
    data = outside("burgueno.alpha.csv")
    fit = fit_mixed_model(data, Model("yield", fixed("gen"), residual=Residual(grid=("row", "col"))))
    left = fit.n - len(fit.fixed)
    told = {
        "residual variance": fit.variance("residual"),
        "rho col": correlation(fit, "col"),
        "rho row": correlation(fit, "row"),
        "logLik REML": fit.reml_log_likelihood,
        "logLik REML dropping (n-p)/2 log 2pi": fit.reml_log_likelihood + left / 2 * math.log(2 * math.pi),
    }
    for line in fit.fixed:
        told["fixed (Intercept)" if line.term == "intercept" else f"fixed gen{line.level}"] = line.estimate
    return told


def nursery_in_one_line(along: str, across: str) -> Answers:
    """Lines of plots laid end to end: neighbours are correlated along a line, lines are not.

    50 empty plots lie between two lines, which brings the correlation below 1e-5 even where neighbours have 0.79.
    """
    data = nursery()
    places = zip(data[along], data[across], strict=True)
    stride = max(int(str(a)) for a in data[along]) + 50
    data["place"] = [int(str(a)) + stride * int(str(b)) for a, b in places]
    data["strip"] = [1] * len(data["place"])
    model = Model("yield", fixed("variety"), residual=Residual(grid=("strip", "place")))
    fit = fit_mixed_model(data, model)
    return {
        "logLik REML": fit.reml_log_likelihood,
        "corr parameter Phi1": correlation(fit, "place"),
        **tell_spread(fit.variance("residual")),
        **tell_means(fit, "variety", before="variety"),
    }


def nursery_along_rows() -> Answers:
    return nursery_in_one_line("row", "col")


def nursery_along_columns() -> Answers:
    return nursery_in_one_line("col", "row")


# ---------------------------------------------------------------- smooth ground


def effective(data: Columns, model: Model, fit: Fit) -> dict[str, float]:
    """How many effects each part, and all ("") amount to: the trace of what turns the response into its share."""
    at = Layout(data, model)
    values = values_of(fit)
    X, inverse = at.fixed, np.linalg.inv(at.covariance(values))
    P = inverse - inverse @ X @ np.linalg.inv(X.T @ inverse @ X) @ X.T @ inverse
    told = {
        part.term: float(np.trace(part.incidence @ part.covariance(values) @ part.incidence.T @ P)) for part in at.parts
    }
    told[""] = X.shape[1] + sum(told.values())
    for surface in model.surfaces:
        if surface.within is None:
            told[surface.name] += 1.0 if len(surface.grid) == 1 else 3.0
    return told


def library_basis(surface: Surface, table: dense_reml.Table) -> tuple[Array, list[Array]]:
    """Basis (n, k) and penalties of a smooth as mgcv writes them, before its coefficients are made to add up to 0."""
    bases, penalties = [], []
    for axis, knots in zip(surface.grid, surface.knots, strict=True):
        x = table.numbers[axis]
        low, high = float(np.min(x)), float(np.max(x))
        basis, penalty = spline_basis(x, knots, low, high), difference_penalty(knots)
        if len(surface.grid) > 1:
            back = np.linalg.inv(spline_basis(np.linspace(low, high, knots), knots, low, high))
            basis, penalty = basis @ back, back.T @ penalty @ back
            penalty = penalty / np.linalg.eigvalsh(penalty)[-1]
        bases.append(basis)
        penalties.append(penalty)
    if len(bases) == 1:
        return bases[0], penalties
    whole = np.array([np.kron(a, b) for a, b in zip(*bases, strict=True)])
    ones = [np.eye(knots) for knots in surface.knots]
    return whole, [np.kron(penalties[0], ones[1]), np.kron(ones[0], penalties[1])]


def smoothing(surface: Surface, table: dense_reml.Table, fit: Fit) -> list[float]:
    """mgcv's smoothing parameters: residual variance over ours, in the units of its penalties.

    A penalty is divided there by its own norm over the squared norm of the basis (both the largest row sum of sizes).
    """
    basis, penalties = library_basis(surface, table)
    found = []
    for axis, knots, penalty in zip(surface.grid, surface.knots, penalties, strict=True):
        unit = np.linalg.norm(penalty, 1) / np.linalg.norm(basis, np.inf) ** 2
        x = table.numbers[axis]
        low, high = float(np.min(x)), float(np.max(x))
        if len(surface.grid) > 1:
            back = np.linalg.inv(spline_basis(np.linspace(low, high, knots), knots, low, high))
            unit *= float(np.linalg.eigvalsh(back.T @ difference_penalty(knots) @ back)[-1])
        found.append(fit.variance("residual") / fit.variance(surface.name, axis) * unit)
    return found


def criterion(data: Columns, model: Model, fit: Fit) -> float:
    """mgcv's criterion: ours turned round, for the coefficients that its penalties leave free in place of our columns.

    The two differ by the size of the free columns alone (Wood 2011 J. R. Statist. Soc. B 73:3, equation 4).
    """
    at = Layout(data, model)
    free = [build_free(surface, at.table) for surface in model.surfaces]
    extra = sum(1 if len(surface.grid) == 1 else 3 for surface in model.surfaces)
    X = np.hstack([at.fixed[:, : at.fixed.shape[1] - extra], *free])
    sizes = [float(np.linalg.slogdet(columns.T @ columns)[1]) for columns in (X, at.fixed)]
    return -fit.reml_log_likelihood + (sizes[0] - sizes[1]) / 2


def build_free(surface: Surface, table: dense_reml.Table) -> Array:
    """The unpenalised columns of a smooth whose coefficients are bound so that it adds up to 0 over the records."""
    basis, penalties = library_basis(surface, table)
    bound = scipy.linalg.qr(basis.sum(axis=0)[:, None])[0][:, 1:]
    units = [np.linalg.norm(penalty, 1) for penalty in penalties]
    total = sum((bound.T @ p @ bound / u for p, u in zip(penalties, units, strict=True)), np.zeros(()))
    return np.asarray(basis @ bound @ scipy.linalg.null_space(total, rcond=1e-9))


def centred_means(data: Columns, fit: Fit) -> Answers:
    """A variety's coefficient where the ground adds up to 0: what is fitted, less the ground, and its mean back."""
    assert fit.records is not None
    level = fit.records.fitted - fit.records.ground + np.mean(fit.records.ground)
    kept = [str(data["variety"][k]) for k in fit.records.kept]
    return {f"coef variety{name}": float(value) for name, value in zip(kept, level, strict=True)}


def nursery_smooth(model: Model) -> tuple[Fit, Answers]:
    data = nursery()
    fit = fit_mixed_model(data, model)
    worth = effective(data, model, fit)
    told = {
        "REML criterion (negative restricted log likelihood, mgcv gcv.ubre)": criterion(data, model, fit),
        "total edf": worth[""],
        "scale (residual variance)": fit.variance("residual"),
    }
    table = Layout(data, model).table
    for surface in model.surfaces:
        name = f"te({','.join(surface.grid)})" if len(surface.grid) > 1 else f"s({surface.name})"
        told[f"edf {name}"] = worth[surface.name]
        for k, size in enumerate(smoothing(surface, table, fit), 1):
            told[f"smoothing parameter {name}{k if len(surface.grid) > 1 else ''}"] = size
    return fit, told


def nursery_smooth_axes() -> Answers:
    model = Model("yield", fixed("variety"), surfaces=(Surface(("row",), (8,)), Surface(("col",), (12,))))
    fit, told = nursery_smooth(model)
    return told | centred_means(nursery(), fit)


def nursery_smooth_surface() -> Answers:
    fit, told = nursery_smooth(Model("yield", fixed("variety"), surfaces=(Surface(("row", "col"), (7, 10)),)))
    return told | centred_means(nursery(), fit)


def nursery_smooth_random() -> Answers:
    model = Model("yield", random=random("variety"), surfaces=(Surface(("row", "col"), (7, 10)),))
    fit, told = nursery_smooth(model)
    variety = fit.variance("variety")
    return told | {
        "edf s(variety)": effective(nursery(), model, fit)["variety"],
        "variance variety = scale/sp": variety,
        "smoothing parameter s(variety)": fit.variance("residual") / variety,
    }


def crash_helmets() -> Answers:
    data = outside("MASS_mcycle.csv")
    model = Model("accel", surfaces=(Surface(("times",), (20,)),))
    fit = fit_mixed_model(data, model)
    told = {
        "edf": effective(data, model, fit)[""],
        "scale": fit.variance("residual"),
        "REML criterion": criterion(data, model, fit),
    }
    return told | {f"fit at {time}": value for time, value in predict(data, model, fit, (10, 20, 30, 40, 50)).items()}


def predict(data: Columns, model: Model, fit: Fit, places: tuple[int, ...]) -> dict[int, float]:
    """A smooth of one axis where there are no records: by the dense formulas, at the fit's variances."""
    (surface,) = model.surfaces
    at, values = Layout(data, model), values_of(fit)
    (part,), y, X = at.parts, at.table.y, at.fixed
    inverse = np.linalg.inv(at.covariance(values))
    beta = np.linalg.solve(X.T @ inverse @ X, X.T @ inverse @ y)
    rough = part.covariance(values) @ part.incidence.T @ inverse @ (y - X @ beta)
    x = at.table.numbers[surface.grid[0]]
    middle, low, high = float(np.mean(x)), float(np.min(x)), float(np.max(x))
    plane = np.column_stack([np.ones(len(x)), x - middle])
    straight = np.linalg.lstsq(plane, spline_basis(x, surface.knots[0], low, high), rcond=None)[0]
    at_places = np.column_stack([np.ones(len(places)), np.array(places) - middle])
    basis = spline_basis(np.array(places, dtype=float), surface.knots[0], low, high) - at_places @ straight
    return {
        place: float(beta[0] + beta[1] * (place - middle) + row @ rough)
        for place, row in zip(places, basis, strict=True)
    }


# ---------------------------------------------------------------- factors


def winter_wheat_factor() -> Answers:
    """One mean a cell: of the specific variance 0.01 is given to the residual, as the two cannot be told apart."""
    term = RandomTerm(("gen", "env"), factors=1)
    model = Model("yield", fixed("env"), (term,), Residual(variance=0.01))
    fit = fit_mixed_model(outside("yan.winterwheat.csv"), model)
    told = {"logLik REML (lme4/nlme convention, all p env means fixed)": fit.reml_log_likelihood}
    turn = math.copysign(1.0, sum(line.value for line in fit.loadings))
    for line in fit.loadings:
        loading, specific = turn * line.value, fit.variance("gen:env", line.level) + 0.01
        told |= {
            f"loading 1 {line.level}": loading,
            f"specific variance {line.level}": specific,
            f"total variance {line.level}": loading**2 + specific,
            f"percent variance explained by factors {line.level}": 100 * loading**2 / (loading**2 + specific),
        }
    return told
