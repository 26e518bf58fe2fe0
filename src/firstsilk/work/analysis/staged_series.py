"""How is a series of many trials analysed in two stages, the trials side by side?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from firstsilk.answers import refuse
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.fixed_tests import judge_fit
from firstsilk.science.analysis.models import Model
from firstsilk.science.analysis.records import label_of
from firstsilk.science.analysis.two_stages import (
    StageOne,
    Weighting,
    check_stage_two,
    fit_stage_one,
    fit_stage_two,
    plan_stage_two,
)
from firstsilk.work.analysis.many_traits import TraitFit, name_columns
from firstsilk.work.analysis.workers import Done, Here, Lost, Progress, Workers

# So many trials that failed are told one by one in a sentence.
SHOWN = 2


@dataclass(frozen=True, slots=True)
class TrialTask:
    """One trial of stage one: its name, its records, its model, and the columns that stage two needs."""

    trial: str
    data: Mapping[str, Column]
    model: Model
    carried: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SeriesFit:
    """Stage one trial by trial, the trials left out with why, and stage two."""

    stages: tuple[StageOne, ...]
    left_out: tuple[tuple[str, Lost], ...]
    weighting: Weighting
    second: TraitFit


def fit_series(
    data: Mapping[str, Column],
    first: Model,
    second: Model,
    trial_column: str = "trial",
    weighting: Weighting = "full",
    workers: Workers | None = None,
    progress: Progress | None = None,
    leave_out: bool = False,
) -> SeriesFit:
    """Analyse a series of trials in two stages.

    Parameters
    ----------
    data
        Records of all trials.
    first
        Model of each trial; its `genotype` is a fixed main effect.
    second
        Model of the means of all trials, with the same response and no residual.
    trial_column
        The column that tells trials apart.
    weighting
        ``full`` or ``diagonal``, as `plan_stage_two`.
    workers, progress
        Who does stage one (`find_workers`), and who is told after each trial.
    leave_out
        Leave out trials that cannot be fitted, and list them, instead of refusing the series.

    Returns
    -------
    SeriesFit
        Trials in the order of their names (numbers by size), the same to the last bit for any workers.

    Raises
    ------
    InputRefused
        If a trial cannot be fitted (unless `leave_out`), or stage two cannot.

    Checked by
    ----------
    tests/work/test_staged_series.py, tests/outside/test_two_stages_published.py
    """
    genotype = check_stages(first, second)
    tasks = split_trials(data, first, second, trial_column)
    answers = (workers or Here()).spread(fit_trial, tasks, progress)
    stages = [answer.value for answer in answers if isinstance(answer, Done)]
    left_out = [(task.trial, answer) for task, answer in zip(tasks, answers, strict=True) if isinstance(answer, Lost)]
    if left_out and (not leave_out or not stages):
        told = "; ".join(f"{trial}: {lost.sentence.rstrip('.')}" for trial, lost in left_out[:SHOWN])
        more = f"; and {len(left_out) - SHOWN} more" if len(left_out) > SHOWN else ""
        raise refuse(
            "trials_not_fitted",
            f"{len(left_out)} of {len(tasks)} trials could not be fitted ({told}{more})",
            "Repair them, or leave them out.",
        )
    columns, model = plan_stage_two(stages, second, trial_column, genotype, weighting)
    fit = fit_stage_two(stages, second, trial_column, genotype, weighting)
    return SeriesFit(tuple(stages), tuple(left_out), weighting, TraitFit(fit, *judge_fit(columns, model, fit)))


def check_stages(first: Model, second: Model) -> str:
    """The genotype column of two models that can follow each other.

    Raises
    ------
    InputRefused
        If stage one has no genotype, stage two a residual, or the responses differ.
    """
    check_stage_two(second)
    if first.genotype is None:
        raise refuse("genotype_not_fixed", "The model of stage one names no genotype", 'Add: genotype = "line".')
    if first.response != second.response:
        raise refuse(
            "responses_differ",
            f"Stage one explains {first.response!r} and stage two {second.response!r}",
            "Stage two explains the means of stage one and has the same response.",
        )
    return first.genotype


def split_trials(data: Mapping[str, Column], first: Model, second: Model, trial_column: str) -> tuple[TrialTask, ...]:
    """One task for each trial, in the order of the trials' names (numbers by size).

    Raises
    ------
    InputRefused
        If there is no such column, or a record names no trial.
    """
    if trial_column not in data:
        raise refuse("column_missing", f"There is no column {trial_column!r} to tell trials apart", column=trial_column)
    labels = [label_of(value) for value in data[trial_column]]
    if "" in labels:
        raise refuse("value_missing", f"Column {trial_column!r}, record {labels.index('') + 1}: the trial is missing")
    inside: dict[str, list[int]] = {}
    for at, label in enumerate(labels):
        inside.setdefault(label, []).append(at)
    needed = [name for name in name_columns(first) if name in data]
    own = {second.response, trial_column, str(first.genotype)}
    carried = tuple(name for name in name_columns(second) if name not in own)
    taken = list(dict.fromkeys([*needed, *(name for name in carried if name in data)]))
    return tuple(
        TrialTask(trial, {name: [data[name][at] for at in inside[trial]] for name in taken}, first, carried)
        for trial in _sort(inside)
    )


def _sort(names: Sequence[str] | Mapping[str, object]) -> list[str]:
    try:
        return sorted(names, key=lambda name: (float(name), name))
    except ValueError:
        return sorted(names)


def fit_trial(task: TrialTask) -> StageOne:
    """Fit one trial: the work of one worker."""
    return fit_stage_one(task.data, task.model, task.trial, task.carried)
