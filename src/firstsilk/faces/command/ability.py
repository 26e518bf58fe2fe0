"""Which door tells what parents give their crosses? `ability`: line x tester and diallels, from plot data."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import asdict
from typing import Annotated

import typer

# Before numpy is loaded: on matrices of this size a second thread costs time, much of it on a busy machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from firstsilk.answers import InputRefused, stop_if_any
from firstsilk.faces.command.giving import check_out, give_json, say
from firstsilk.faces.files.relationships import columns_from_table
from firstsilk.faces.files.tables import read_table, write_table
from firstsilk.science.analysis.ability import Ability, estimate_ability
from firstsilk.science.analysis.ability_genetics import Genetics, estimate_genetics
from firstsilk.science.analysis.ability_places import PlaceAbility, split_by_place
from firstsilk.science.analysis.ability_predictions import Predictions, predict_abilities
from firstsilk.science.analysis.ability_variances import VARIANCES_BY
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.matings import DIALLEL, KINDS, Matings, arrange_matings
from firstsilk.science.analysis.two_way import LARGEST

EFFECT_COLUMNS = ("effect", "mother", "father", "value", "se")


def ability(
    plots: Annotated[str, typer.Argument(help="Table with one record a line: parents, response, block.")],
    mother: Annotated[str, typer.Option("--mother", metavar="COL", help="Column of the mother (a line).")],
    father: Annotated[str, typer.Option("--father", metavar="COL", help="Column of the father (a tester).")],
    response: Annotated[str, typer.Option("--response", metavar="COL", help="Column of what was measured.")],
    kind: Annotated[str, typer.Option("--kind", help="line-tester (also North Carolina II), or diallel.")],
    block: Annotated[str, typer.Option("--block", metavar="COL", help="Column of the block or replicate.")] = "",
    griffing: Annotated[
        int | None,
        typer.Option("--griffing", min=1, max=4, help="Method of a diallel; the one that fits the records if absent."),
    ] = None,
    variances: Annotated[
        str, typer.Option("--variances", help="auto (moments if balanced, else REML), moments, reml.")
    ] = "auto",
    mse: Annotated[
        float | None,
        typer.Option("--mse", min=0, help="Mean square of the error of a record, if known from elsewhere."),
    ] = None,
    mse_df: Annotated[float | None, typer.Option("--mse-df", min=1, help="Degrees of freedom of --mse.")] = None,
    environment: Annotated[
        str, typer.Option("--environment", metavar="COL", help="Column of the place: GCA by place, and over places.")
    ] = "",
    predictions: Annotated[
        bool, typer.Option("--predictions", help="Predicted GCA and SCA (parents random) also where plots are equal.")
    ] = False,
    inbreeding: Annotated[
        float | None,
        typer.Option(
            "--inbreeding", min=0, max=1, help="Inbreeding of the parents, 1 of inbred lines: genetic variances."
        ),
    ] = None,
    inbreeding_father: Annotated[
        float | None, typer.Option("--inbreeding-father", min=0, max=1, help="That of the fathers, if another.")
    ] = None,
    plant_variance: Annotated[
        float | None,
        typer.Option(
            "--plant-variance", min=0, help="Variance among plants of a plot: heritability is that of a plant."
        ),
    ] = None,
    out: Annotated[str, typer.Option("--out", help="File for the effects as a table.", callback=check_out)] = "",
    as_json: Annotated[bool, typer.Option("--json", help="The answer is one JSON object in any case.")] = False,
) -> None:
    """General and specific combining ability, reciprocal effects, variances and anova, as one JSON object.

    Griffing's methods: 1 parents and both directions, 2 parents and one direction, 3 both directions, 4 one direction.
    gca_mother and gca_father (line-tester) or gca (diallel) by name; sca and reciprocal by cross; GCA adds to 0.
    Where plots are unequal variances are by REML, and predictions holds best linear unbiased predictions as well.
    """
    _check_words(kind, griffing, variances)
    table = read_table(plots)
    table.need_rows()
    classes = {mother, father, *(name for name in (block, environment) if name)}
    columns = columns_from_table(table, set(), classes, response)
    stop_if_any(
        row.finding("number_too_large", "this number is too large", response, "Check the digits")
        for row, value in zip(table.rows, columns[response], strict=True)
        if isinstance(value, float) and abs(value) > LARGEST
    )
    try:
        places = None
        if environment:
            places = split_by_place(columns, (mother, father, response, block or None), environment, kind, griffing)
        matings = _arrange(columns, mother, father, response, block, kind, griffing) if places is None else places.means
        found = estimate_ability(matings, mse, mse_df, variances)
        genetics = estimate_genetics(matings, found.variances, inbreeding, inbreeding_father, plant_variance)
        predicted = _predict(matings, found, predictions, mse)
    except InputRefused as no:
        raise InputRefused(f"{table.file}: {no}") from None
    _tell_odd(matings, found)
    _tell_places(places)
    if out not in ("", "-"):
        write_table(out, EFFECT_COLUMNS, _effect_rows(found))
    give_json({**ability_as_json(matings, found), **_more_as_json(genetics, predicted, places)})


def _arrange(
    columns: Mapping[str, Column], mother: str, father: str, response: str, block: str, kind: str, griffing: int | None
) -> Matings:
    return arrange_matings(columns, mother, father, response, block or None, kind, griffing)


def _predict(matings: Matings, found: Ability, asked: bool, mse: float | None) -> Predictions | None:
    """Predictions where they are asked for, or plots are unequal and REML could be used."""
    if not asked and found.variances.by != "reml":
        return None
    try:
        return predict_abilities(matings, mse)
    except InputRefused as no:
        if asked:
            raise
        say(f"Note: there are no predictions, for REML said: {no}")
        return None


def _tell_places(places: PlaceAbility | None) -> None:
    if places is None:
        return
    say("With --environment the records are the means of a cross at a place: errors count how crosses differ by place.")
    if places.remark:
        say(f"Note: {places.remark.rstrip('.')}.")
    for place, why in places.left_out.items():
        say(f"{place} is not told by itself: {why}")


def _more_as_json(genetics: Genetics, predicted: Predictions | None, places: PlaceAbility | None) -> dict[str, object]:
    told: dict[str, object] = {"genetic": asdict(genetics), "predictions": None, "environments": None}
    if predicted is not None:
        told["predictions"] = {
            **{name: [asdict(one) for one in lines] for name, lines in predicted.gca.items()},
            "sca": [asdict(one) for one in predicted.sca],
            "reml_log_likelihood": predicted.reml_log_likelihood,
            "remark": predicted.remark,
        }
    if places is not None:
        told["environments"] = {
            "variances": places.variances,
            "gca": [asdict(one) for one in places.gca],
            "left_out": dict(places.left_out),
            "remark": places.remark,
        }
    return told


def _check_words(kind: str, griffing: int | None, variances: str) -> None:
    if kind not in KINDS:
        raise typer.BadParameter(f"--kind is {' or '.join(KINDS)}, not {kind!r}.")
    if griffing is not None and kind != DIALLEL:
        raise typer.BadParameter("--griffing goes with --kind diallel.")
    if variances not in VARIANCES_BY:
        raise typer.BadParameter(f"--variances is {', '.join(VARIANCES_BY)}, not {variances!r}.")


def _tell_odd(matings: Matings, found: Ability) -> None:
    if matings.left_out:
        say(f"{matings.left_out} records of parents themselves are left out by method {matings.griffing}.")
    if matings.missing:
        say(f"Crosses missing from the full set: {len(matings.missing)}. SCA is what GCA alone leaves.")
    if found.variances.remark:
        say(f"Note: {found.variances.remark.rstrip('.')}.")
    for name, value in found.variances.below_zero.items():
        say(f"The variance of {name} came out at {value:.6g} by moments and is given as 0.")


def ability_as_json(matings: Matings, found: Ability) -> dict[str, object]:
    """Combining ability with the keys of the door; more keys come after them."""
    return {
        "mean": found.mean,
        **found.gca,
        "sca": [asdict(effect) for effect in found.sca],
        "reciprocal": [asdict(effect) for effect in found.reciprocal],
        "variances": dict(found.variances.values),
        "anova": [asdict(line) for line in found.anova],
        "se": dict(found.se),
        **{f"{name}_se": errors for name, errors in found.gca_se.items()},
        "percent": found.percent,
        "griffing": matings.griffing,
        "variances_by": found.variances.by,
        "below_zero": dict(found.variances.below_zero),
        "at_bound": list(found.variances.at_bound),
        "missing": [{"mother": mother, "father": father} for mother, father in matings.missing],
        "n": len(matings.response),
        "n_dropped": matings.dropped,
        "n_left_out": matings.left_out,
    }


def _effect_rows(found: Ability) -> list[list[object]]:
    rows: list[list[object]] = [["mean", None, None, found.mean, None]]
    for name, values in found.gca.items():
        errors = found.gca_se[name] or {}
        for parent, value in values.items():
            pair = (None, parent) if name == "gca_father" else (parent, None)
            rows.append([name, *pair, value, errors.get(parent)])
    for name, effects in (("sca", found.sca), ("reciprocal", found.reciprocal)):
        rows += [[name, effect.mother, effect.father, effect.value, effect.se] for effect in effects]
    return rows
