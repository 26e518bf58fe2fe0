"""What went wrong with seed set: how much do hour, dry air, age of silk, line, male, worker and day each take away?

A linear mixed model of the root of kernels (or good ears) per pollination attempted, weighted by the attempts.

Why so: rows that gave nothing must count, which a logarithm cannot do; the root makes the spread of counts about even;
kernels of an ear spread far more than a binomial or Poisson model allows, and here that spread is estimated. Good ears
are a share, and their root is taken in the form of an angle (arcsine), whose spread does not depend on the share.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Fit, Model, RandomTerm

FloatArray = NDArray[np.float64]

FEWEST_UNITS = 30
"""Fewer rows with an outcome tell no cause from another (a choice of ours)."""
FEWEST_LEVELS = 4
"""Lines, males, workers or days fewer than this tell no spread (a choice of ours)."""
TOGETHER = 0.85
"""Two numbers that go together more than this are told as not to be told apart (a choice of ours)."""
INSEPARABLE = 0.95
"""A number that goes together with one before it more than this is left out and told as such (a choice of ours): where
humidity is reckoned from days that are alike, dry air is the hour by another name."""
Z_95 = 1.959964
FIXED = ("hour", "deficit_kpa", "silk_days")
RANDOM = ("line", "male", "worker", "day")


@dataclass(frozen=True, slots=True)
class SetRecord:
    """One row as it was pollinated and what came of it.

    Parameters
    ----------
    line, male, worker, day
        Names; of the most of its pollinations where there were several.
    hour, deficit_kpa, silk_days
        Mean over its pollinations: clock time [h], vapour pressure deficit of the air [kPa], days since half the row
        showed silk [days]; nan where not known.
    attempts
        Pollinations made, lost ones among them [count].
    good
        Good ears picked [count].
    kernels
        Kernels shelled [count]; None where they were not counted.
    """

    line: str
    male: str
    worker: str
    day: str
    hour: float
    deficit_kpa: float
    silk_days: float
    attempts: int
    good: int
    kernels: int | None


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause: how much of what an attempt gives goes up and down with it.

    `spread` is on the scale of the model: the size of the slope times the standard deviation of the number, or the
    standard deviation between names; `low` and `high` its 95 % interval. `slope` and `slope_se` belong to numbers.
    `per_unit` is what one unit more changes in kernels an attempt (or in the share of good ears) at the middle, with
    its interval; of names: one standard deviation below against above the middle.
    """

    name: str
    is_number: bool
    spread: float
    low: float
    high: float
    slope: float | None
    slope_se: float | None
    per_unit: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Level:
    """What one line, male, worker or day adds on the scale of the model, drawn towards none; `se` its error."""

    name: str
    value: float
    se: float
    attempts: int


@dataclass(frozen=True, slots=True)
class Point:
    """The rows of one bin of a number, others held at their mean: what an attempt gave, with its standard error."""

    at: float
    value: float
    se: float | None
    n: int


@dataclass(frozen=True, slots=True)
class SetModel:
    """Causes ranked by how much goes with them. `measure` is ``kernels`` or ``ears``; `middle` what a middling attempt
    gives; `without` are causes that could not be asked about, each with why; `together` pairs that go together."""

    measure: str
    n: int
    attempts: int
    middle: float
    middle_root: float
    causes: tuple[Cause, ...]
    levels: dict[str, tuple[Level, ...]]
    points: dict[str, tuple[Point, ...]]
    residual_sd: float
    without: tuple[tuple[str, str], ...]
    together: tuple[tuple[str, str, float], ...]

    def back(self, root: float) -> float:
        """From the scale of the model to kernels or good ears an attempt."""
        return give_back(root, self.measure)


def give_back(root: float, measure: str) -> float:
    """Kernels an attempt from their root, or the share of good ears from its angle."""
    if measure == "kernels":
        return max(0.0, root) ** 2
    return math.sin(min(max(root, 0.0), math.pi / 2)) ** 2


def fit_set_causes(records: Sequence[SetRecord], measure: str = "") -> SetModel:
    """Fit what goes with seed set, and rank it.

    Parameters
    ----------
    records
        One for each row.
    measure
        ``kernels`` or ``ears``; empty: kernels where they were counted of four rows in five with good ears.

    Raises
    ------
    InputRefused
        If there are too few rows, or nothing differs among them.

    Notes
    -----
    ``root = mean + a (hour) + b (deficit) + c (days since silk) + line + male + worker + day + rest``, the last five
    random, the rest with variance ``s2 / attempts``; REML. A number that is unknown for more than a fifth of the rows
    is left out, else those rows are; so are a number that goes all but wholly with one before it, names of fewer than
    four levels, and names that part the rows just as another name does. All effects are straight lines on the scale of
    the root. *Checked by*
    tests/science/test_set_causes.py (planted effects; the same model by lme4).
    """
    measure = measure or _choose_measure(records)
    kept = [one for one in records if one.attempts > 0 and (measure == "ears" or _is_counted(one))]
    numbers, without = _choose_numbers(kept)
    kept = [one for one in kept if all(math.isfinite(getattr(one, name)) for name in numbers)]
    numbers, doubled = _part_numbers(kept, numbers)
    if len(kept) < FEWEST_UNITS:
        raise refuse(
            "set_too_few",
            f"{len(kept)} rows tell what came of their pollinations: too few to tell one cause from another.",
            f"From {FEWEST_UNITS} rows on with ears picked{' and shelled' if measure == 'kernels' else ''}, ask again.",
        )
    names, dropped = _choose_names(kept)
    root = np.array([_take_root(one, measure) for one in kept])
    if float(np.ptp(root)) == 0:
        raise refuse("set_all_alike", "All rows gave the same, so there is nothing to explain.", "Ask again later.")
    data = _make_columns(kept, numbers, names, root)
    model = Model(
        "root",
        fixed=tuple((name,) for name in numbers),
        random=tuple(RandomTerm((name,)) for name in names),
        numeric=numbers,
        weights="attempts",
    )
    fit = fit_mixed_model(data, model)
    return _tell(fit, kept, numbers, names, measure, root, (*without, *doubled, *dropped))


def _is_counted(one: SetRecord) -> bool:
    return one.kernels is not None or one.good == 0


def _choose_measure(records: Sequence[SetRecord]) -> str:
    good = [one for one in records if one.good > 0]
    counted = sum(one.kernels is not None for one in good)
    return "kernels" if good and counted >= 0.8 * len(good) else "ears"


def _take_root(one: SetRecord, measure: str) -> float:
    if measure == "kernels":
        return math.sqrt((one.kernels or 0) / one.attempts)
    return math.asin(math.sqrt(min(one.good, one.attempts) / one.attempts))


def _choose_numbers(records: Sequence[SetRecord]) -> tuple[tuple[str, ...], tuple[tuple[str, str], ...]]:
    numbers, without = [], []
    for name in FIXED:
        told = np.array([getattr(one, name) for one in records], dtype=np.float64)
        known = told[np.isfinite(told)]
        if len(known) < 0.8 * len(told) or not len(told):
            without.append((name, f"known of {len(known)} of {len(told)} rows"))
        elif float(np.ptp(known)) < 1e-9:
            without.append((name, "the same for all rows"))
        else:
            numbers.append(name)
    return tuple(numbers), tuple(without)


def _part_numbers(
    records: Sequence[SetRecord], numbers: tuple[str, ...]
) -> tuple[tuple[str, ...], tuple[tuple[str, str], ...]]:
    """The numbers that can be told from those before them."""
    kept: list[str] = []
    without: list[tuple[str, str]] = []
    if len(records) < FEWEST_UNITS:
        return numbers, ()
    told = {name: np.array([getattr(one, name) for one in records], dtype=np.float64) for name in numbers}
    for name in numbers:
        near = {one: float(np.corrcoef(told[name], told[one])[0, 1]) for one in kept}
        twin = next((one for one, r in near.items() if abs(r) > INSEPARABLE), None)
        if twin is None:
            kept.append(name)
        else:
            without.append((name, f"cannot be told from the {twin.split('_')[0]} (correlation {near[twin]:.2f})"))
    return tuple(kept), tuple(without)


def _choose_names(records: Sequence[SetRecord]) -> tuple[tuple[str, ...], tuple[tuple[str, str], ...]]:
    names: list[str] = []
    without: list[tuple[str, str]] = []
    parts: dict[tuple[int, ...], str] = {}
    for name in RANDOM:
        told = [getattr(one, name) for one in records]
        order = {level: at for at, level in enumerate(dict.fromkeys(told))}
        part = tuple(order[level] for level in told)
        if len(order) < FEWEST_LEVELS:
            without.append((name, f"only {len(order)} of them"))
        elif len(order) == len(told):
            without.append((name, "another one for every row"))
        elif part in parts:
            without.append((name, f"goes wholly with the {parts[part]}"))
        else:
            names.append(name)
            parts[part] = name
    return tuple(names), tuple(without)


def _make_columns(
    records: Sequence[SetRecord], numbers: Sequence[str], names: Sequence[str], root: FloatArray
) -> dict[str, Column]:
    data: dict[str, Column] = {"root": root.tolist(), "attempts": [float(one.attempts) for one in records]}
    for name in numbers:
        told = np.array([getattr(one, name) for one in records], dtype=np.float64)
        # About the mean, so that the mean of the model is that of a middling row.
        data[name] = (told - told.mean()).tolist()
    for name in names:
        data[name] = [getattr(one, name) or "not told" for one in records]
    return data


def _tell(
    fit: Fit,
    records: Sequence[SetRecord],
    numbers: Sequence[str],
    names: Sequence[str],
    measure: str,
    root: FloatArray,
    without: tuple[tuple[str, str], ...],
) -> SetModel:
    middle_root = next(line.estimate for line in fit.fixed if line.term not in numbers)
    told = {name: np.array([getattr(one, name) for one in records], dtype=np.float64) for name in numbers}
    causes = [_tell_number(fit, name, told[name], middle_root, measure) for name in numbers]
    causes += [_tell_name(fit, name, middle_root, measure) for name in names]
    residual = next(line.value for line in fit.variances if line.term == "residual")
    attempts = sum(one.attempts for one in records)
    return SetModel(
        measure=measure,
        n=len(records),
        attempts=attempts,
        middle=give_back(middle_root, measure),
        middle_root=middle_root,
        causes=tuple(sorted(causes, key=lambda one: -one.spread)),
        levels={name: _tell_levels(fit, name, records) for name in names},
        points={name: _tell_points(fit, told, name, records, middle_root, measure) for name in numbers},
        residual_sd=math.sqrt(residual * len(records) / attempts),
        without=without,
        together=_find_together(told),
    )


def _tell_number(fit: Fit, name: str, told: FloatArray, middle: float, measure: str) -> Cause:
    line = next(one for one in fit.fixed if one.term == name)
    sd = float(np.std(told))
    ends = sorted(abs(line.estimate + sign * Z_95 * line.se) * sd for sign in (-1, 1))
    crosses = abs(line.estimate) < Z_95 * line.se
    low, high = (0.0, ends[1]) if crosses else (ends[0], ends[1])
    change = [
        give_back(middle + slope, measure) - give_back(middle, measure)
        for slope in (line.estimate, line.estimate - Z_95 * line.se, line.estimate + Z_95 * line.se)
    ]
    return Cause(
        name, True, abs(line.estimate) * sd, low, high, line.estimate, line.se, (change[0], change[1], change[2])
    )


def _tell_name(fit: Fit, name: str, middle: float, measure: str) -> Cause:
    line = next(one for one in fit.variances if one.term == name)
    sd = math.sqrt(line.value)
    if line.se is None or line.value <= 0:
        low, high = 0.0, sd
    else:
        # The logarithm of a variance is nearer to normal than the variance.
        reach = math.exp(min(Z_95 * line.se / line.value, 50.0) / 2)
        low, high = sd / reach, sd * reach
    apart = [
        give_back(middle + one, measure) - give_back(middle - one, measure) for one in (sd, low, min(high, 10 * sd))
    ]
    return Cause(name, False, sd, low, high, None, None, (apart[0], apart[1], apart[2]))


def _tell_levels(fit: Fit, name: str, records: Sequence[SetRecord]) -> tuple[Level, ...]:
    tries: dict[str, int] = {}
    for one in records:
        level = getattr(one, name) or "not told"
        tries[level] = tries.get(level, 0) + one.attempts
    found = [Level(one.level, one.value, one.se, tries.get(one.level, 0)) for one in fit.random if one.term == name]
    return tuple(sorted(found, key=lambda one: one.value))


def _tell_points(
    fit: Fit,
    told: dict[str, FloatArray],
    name: str,
    records: Sequence[SetRecord],
    middle: float,
    measure: str,
) -> tuple[Point, ...]:
    """What is left over and the number's own part, gathered in bins of even width."""
    assert fit.records is not None
    slope = next(one.estimate for one in fit.fixed if one.term == name)
    own = middle + slope * (told[name] - told[name].mean()) + fit.records.residual
    weights = np.array([one.attempts for one in records], dtype=np.float64)
    width = 0.5 if name == "hour" else 0.25 if name == "deficit_kpa" else 1.0
    # Days are whole, so their bins lie about them; hours and air are cut at round values.
    shift = width / 2 if name == "silk_days" else 0.0
    bins = np.floor((told[name] + shift) / width).astype(int)
    points = []
    for one in np.unique(bins):
        inside = bins == one
        mean = float(np.average(own[inside], weights=weights[inside]))
        n = int(inside.sum())
        spread = (
            float(np.sqrt(np.average((own[inside] - mean) ** 2, weights=weights[inside]) / (n - 1))) if n > 1 else None
        )
        value = give_back(mean, measure)
        se = None if spread is None else abs(give_back(mean + spread, measure) - value)
        points.append(Point(float(one * width + width / 2 - shift), value, se, n))
    return tuple(points)


def _find_together(told: dict[str, FloatArray]) -> tuple[tuple[str, str, float], ...]:
    names = list(told)
    found = []
    for at, one in enumerate(names):
        for other in names[at + 1 :]:
            r = float(np.corrcoef(told[one], told[other])[0, 1])
            if abs(r) >= TOGETHER:
                found.append((one, other, r))
    return tuple(found)
