"""What do the same records say of many traits? One model fitted to each, side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from firstsilk.answers import refuse
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.fixed_tests import Differences, EffectTest, Way, judge_fit
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Fit, Model
from firstsilk.work.analysis.workers import Done, Here, Lost, Progress, Workers


@dataclass(frozen=True, slots=True)
class TraitTask:
    """One trait to fit: its name, the columns that its model needs, the model with the trait as response."""

    trait: str
    data: Mapping[str, Column]
    model: Model
    way: Way | None = "satterthwaite"


@dataclass(frozen=True, slots=True)
class TraitFit:
    """A fit with the tests of its fixed terms (None where they cannot be made) and differences between means."""

    fit: Fit
    tests: tuple[EffectTest, ...] | None
    differences: tuple[Differences, ...]


@dataclass(frozen=True, slots=True)
class TraitAnswer:
    """What came of one trait: its fit, or why there is none."""

    trait: str
    found: TraitFit | None
    lost: Lost | None


def fit_traits(
    data: Mapping[str, Column],
    model: Model,
    traits: Sequence[str],
    workers: Workers | None = None,
    progress: Progress | None = None,
) -> tuple[TraitAnswer, ...]:
    """Fit the same model to many traits.

    Parameters
    ----------
    data
        Columns of equal length, the traits among them.
    model
        The model; each trait takes the place of its response.
    traits
        Names of columns.
    workers
        Who does it (`find_workers`); this process if none are named.
    progress
        Told after each trait how many are done.

    Returns
    -------
    tuple of TraitAnswer
        In the order of `traits`. A trait that cannot be fitted says why and stops no other.

    Raises
    ------
    InputRefused
        If a trait is no column or is named twice.

    Notes
    -----
    Where linear algebra has one thread here too, the answers are the same to the last bit for any workers.

    Checked by
    ----------
    tests/work/test_many_traits.py
    """
    absent = [trait for trait in traits if trait not in data]
    if absent:
        raise refuse("column_missing", f"There is no column {absent[0]!r} to fit", column=absent[0])
    tasks = []
    for trait in traits:
        own = replace(model, response=trait)
        tasks.append(TraitTask(trait, {name: data[name] for name in name_columns(own) if name in data}, own))
    return fit_tasks(tasks, workers, progress)


def fit_tasks(
    tasks: Sequence[TraitTask], workers: Workers | None = None, progress: Progress | None = None
) -> tuple[TraitAnswer, ...]:
    """Fit prepared traits, each with data and a model of its own; as `fit_traits` does.

    Raises
    ------
    InputRefused
        If a trait is named twice.
    """
    names = [task.trait for task in tasks]
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise refuse("trait_twice", f"The trait {twice[0]!r} is named twice")
    answers = (workers or Here()).spread(fit_task, tasks, progress)
    return tuple(
        TraitAnswer(name, answer.value, None) if isinstance(answer, Done) else TraitAnswer(name, None, answer)
        for name, answer in zip(names, answers, strict=True)
    )


def fit_task(task: TraitTask) -> TraitFit:
    """Fit one trait: the work of one worker."""
    fit = fit_mixed_model(task.data, task.model)
    return TraitFit(fit, *judge_fit(task.data, task.model, fit, task.way))


def name_columns(model: Model) -> list[str]:
    """Every column that a model reads, its response first."""
    names = [model.response, *(name for term in model.fixed for name in term)]
    for term in model.random:
        names += [*term.columns, *([term.variance_by] if term.variance_by else [])]
    for surface in model.surfaces:
        names += [*surface.grid, *([surface.within] if surface.within else [])]
    residual = model.residual
    names += [*(residual.grid or ()), *(n for n in (residual.variance_by, residual.within, residual.together) if n)]
    names += [name for name in (model.weights, model.genotype) if name]
    return list(dict.fromkeys(names))
