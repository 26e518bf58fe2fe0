"""Which doors do many fits in one call? `fit-traits` (many traits) and `two-stage` (many trials)."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from dataclasses import asdict, replace
from typing import Annotated

import typer

# Before numpy is loaded: each worker has one thread, and this process must give the same last digits as they do.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from firstsilk.answers import InputRefused, refuse
from firstsilk.faces.command.analysis import RANDOM_COLUMNS, differences_as_json, find_way, fit_as_json, test_as_json
from firstsilk.faces.command.giving import check_out, give_json, say
from firstsilk.faces.files.fit_models import model_columns, read_model
from firstsilk.faces.files.relationships import columns_from_table
from firstsilk.faces.files.tables import read_table, write_table
from firstsilk.science.analysis.models import Model
from firstsilk.science.analysis.two_stages import StageOne, Weighting
from firstsilk.work.analysis.many_traits import TraitAnswer, TraitFit, TraitTask, fit_tasks
from firstsilk.work.analysis.staged_series import SeriesFit, check_stages, fit_series
from firstsilk.work.analysis.workers import LIMIT_S, Lost, count_processors, find_workers

# Progress is told at most so often.
EVERY_S = 1.0

WorkerCount = Annotated[
    int, typer.Option("--workers", min=0, max=512, help="Processes that work side by side; 0: as many as processors.")
]
ClusterAddress = Annotated[
    str, typer.Option("--cluster", help="Address of a Dask scheduler, or local: they do the work instead.")
]
Limit = Annotated[
    float, typer.Option("--limit", min=1.0, help="Seconds without any result after which the rest is given up.")
]


def fit_traits(
    plots: Annotated[str, typer.Argument(help="Table with one record a line: traits and the model's columns.")],
    model: Annotated[str, typer.Argument(metavar="MODEL.toml", help="The model; each trait becomes its response.")],
    traits: Annotated[str, typer.Option("--traits", help="Columns to fit, joined by commas.")],
    workers: WorkerCount = 0,
    cluster: ClusterAddress = "",
    limit: Limit = LIMIT_S,
    tests: Annotated[
        str, typer.Option("--tests", help="Degrees of freedom of the tests: satterthwaite, kenward-roger; or none.")
    ] = "satterthwaite",
    out: Annotated[
        str, typer.Option("--out", help="File for the random effects of all traits.", callback=check_out)
    ] = "",
    as_json: Annotated[bool, typer.Option("--json", help="The answer is one JSON object in any case.")] = False,
) -> None:
    """Fit the same mixed model to many traits side by side, as one JSON object.

    traits holds for each, in the order asked, the keys of fit, or refused with the reason: one that cannot be fitted
    stops no other. The answer is the same to the last digit for any number of workers.
    """
    begun = time.perf_counter()
    way = find_way(tests)
    names = [name.strip() for name in traits.split(",") if name.strip()]
    if not names:
        raise typer.BadParameter("--traits names no column.")
    table = read_table(plots)
    table.need(*names)
    wanted = read_model(model, len(table.rows))
    tasks: list[TraitTask] = []
    refused: dict[str, Lost] = {}
    for name in names:
        own = replace(wanted, response=name)
        try:
            tasks.append(TraitTask(name, columns_from_table(table, *model_columns(own), name), own, way))
        except InputRefused as no:
            refused[name] = Lost(no.code, str(no))
    done = fit_tasks(tasks, find_workers(workers or count_processors(), cluster, limit), _tell_progress("traits"))
    found = {answer.trait: answer for answer in done}
    answers = [found.get(name) or TraitAnswer(name, None, refused[name]) for name in names]
    for answer in answers:
        if answer.lost is not None:
            say(f"{answer.trait}: {answer.lost.sentence}")
    if all(answer.found is None for answer in answers):
        raise refuse("no_trait_fitted", "None of the traits could be fitted; the reason of each stands above")
    if out not in ("", "-"):
        write_table(out, ("trait", *RANDOM_COLUMNS), [row for answer in answers for row in _random_rows(answer)])
    give_json({"traits": [_trait_as_json(one) for one in answers], "seconds": round(time.perf_counter() - begun, 3)})


def _random_rows(answer: TraitAnswer) -> list[list[object]]:
    if answer.found is None:
        return []
    return [[answer.trait, *(getattr(line, key) for key in RANDOM_COLUMNS)] for line in answer.found.fit.random]


def _trait_as_json(answer: TraitAnswer) -> dict[str, object]:
    if answer.found is None:
        return {"trait": answer.trait, "refused": _lost_as_json(answer.lost) if answer.lost else None}
    return {"trait": answer.trait, **_found_as_json(answer.found)}


def _lost_as_json(lost: Lost) -> dict[str, object]:
    return {"code": lost.code, "message": lost.sentence}


def _found_as_json(found: TraitFit) -> dict[str, object]:
    """A fit with the keys of the `fit` door, but for the seconds, which are those of all together."""
    told = fit_as_json(found.fit, 0.0)
    del told["seconds"]
    tests = None if found.tests is None else [test_as_json(test) for test in found.tests]
    return {**told, "tests": tests, "differences": [differences_as_json(one) for one in found.differences]}


def _tell_progress(what: str) -> Callable[[int, int], None]:
    """Say how many are done, at most once a second."""
    last = time.monotonic()

    def tell(done: int, of: int) -> None:
        nonlocal last
        if time.monotonic() - last >= EVERY_S and done < of:
            last = time.monotonic()
            say(f"{done} of {of} {what}")

    return tell


MEAN_COLUMNS = ("trial", "level", "mean", "se", "weight")


def two_stage(
    plots: Annotated[str, typer.Argument(help="Table with one record a line, of all trials.")],
    first: Annotated[str, typer.Argument(metavar="STAGE1.toml", help="Model of each trial; its genotype is fixed.")],
    second: Annotated[str, typer.Argument(metavar="STAGE2.toml", help="Model of the means; it has no residual.")],
    trial: Annotated[str, typer.Option("--trial", help="Column that tells trials apart.")] = "trial",
    weights: Annotated[
        str, typer.Option("--weights", help="full: whole covariance of the means; diagonal: a weight for each.")
    ] = "full",
    workers: WorkerCount = 0,
    cluster: ClusterAddress = "",
    limit: Limit = LIMIT_S,
    leave_out: Annotated[
        bool, typer.Option("--leave-out", help="Leave out and list trials that cannot be fitted, instead of stopping.")
    ] = False,
    out: Annotated[str, typer.Option("--out", help="File for the means of stage one.", callback=check_out)] = "",
    as_json: Annotated[bool, typer.Option("--json", help="The answer is one JSON object in any case.")] = False,
) -> None:
    """Analyse a series in two stages: each trial by itself, side by side, then the means of all, as one JSON object.

    trials tells of stage one, left_out of trials without a fit, stage_two has the keys of fit. The full covariance of
    the means goes on to stage two up to 4,000 means; beyond that take the diagonal of its inverse.
    """
    begun = time.perf_counter()
    table = read_table(plots)
    models = [read_model(path, len(table.rows)) for path in (first, second)]
    check_stages(*models)
    numbers, classes = _columns_of_both(models[0], models[1])
    data = columns_from_table(table, numbers, (classes | {trial}) - numbers, models[0].response)
    kept = [at for at, value in enumerate(data[models[0].response]) if value is not None]
    records = {name: [values[at] for at in kept] for name, values in data.items()}
    found = fit_series(
        records,
        models[0],
        models[1],
        trial,
        _weighting_of(weights),
        find_workers(workers or count_processors(), cluster, limit),
        _tell_progress("trials"),
        leave_out,
    )
    for name, lost in found.left_out:
        say(f"Trial {name} was left out: {lost.sentence}")
    if out not in ("", "-"):
        write_table(out, MEAN_COLUMNS, [row for stage in found.stages for row in _mean_rows(stage)])
    dropped = len(table.rows) - len(kept)
    give_json(_series_as_json(found, dropped, time.perf_counter() - begun))


def _columns_of_both(first: Model, second: Model) -> tuple[set[str], set[str]]:
    one, two = model_columns(first), model_columns(second)
    both = (one[0] & two[1]) | (one[1] & two[0])
    if both:
        raise refuse("column_both", f"Column {min(both)!r} is a number in one model and a class in the other")
    return one[0] | two[0], one[1] | two[1]


def _weighting_of(weights: str) -> Weighting:
    if weights == "full":
        return "full"
    if weights == "diagonal":
        return "diagonal"
    raise typer.BadParameter(f"--weights is full or diagonal, not {weights!r}.")


def _mean_rows(stage: StageOne) -> list[list[object]]:
    return [
        [stage.trial, level, float(mean), float(se), float(weight)]
        for level, mean, se, weight in zip(stage.levels, stage.means, stage.errors, stage.weights, strict=True)
    ]


def _series_as_json(found: SeriesFit, dropped: int, seconds: float) -> dict[str, object]:
    return {
        "trials": [
            {
                "trial": stage.trial,
                "n": stage.n,
                "means": len(stage.levels),
                "variances": [asdict(line) for line in stage.variances],
                "at_bound": list(stage.at_bound),
                "converged": stage.converged,
            }
            for stage in found.stages
        ],
        "left_out": [{"trial": trial, **_lost_as_json(lost)} for trial, lost in found.left_out],
        "n_dropped": dropped,
        "weights": found.weighting,
        "stage_two": _found_as_json(found.second),
        "seconds": round(seconds, 3),
    }
