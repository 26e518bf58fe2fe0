"""Which doors relate lines by markers and predict untested ones? `marker-kin`, `predict-lines`."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import Annotated, Literal, cast

import typer

# Before numpy is loaded: threads that wait for each other cost more than they give on a busy machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, check_out, give_result, say
from firstsilk.faces.command.markers import MarkersFile, read_table_of_markers
from firstsilk.faces.files.marker_claims import LineValue, read_line_values
from firstsilk.faces.files.pedigrees import read_pedigree
from firstsilk.faces.files.tables import write_table
from firstsilk.science.lineage.kinship import find_relationship
from firstsilk.science.lineage.marker_relationship import (
    MarkerRelationship,
    blend_relationships,
    find_marker_relationship,
)
from firstsilk.science.lineage.markers import MarkerQuality, MarkerTable, Numbers, judge_markers, keep_markers
from firstsilk.science.lineage.prediction import GenomicFit, find_marker_effects, fit_genomic_values
from firstsilk.science.lineage.trust import Ability, FamilyTrust, Validation, validate_predictions

LEAST_TO_FOLD = 10
"""Tested lines below which nothing is left out: ours."""
PREDICTED = ("line", "family", "tested", "value", "predicted", "reliability", "trust")
TRUST = ("family", "tested", "untested", "relatives", "reliability", "trust")
WAYS = ("within", "across", "shrunk")

LeastCalled = Annotated[
    float, typer.Option("--least-call-rate", min=0, max=1, help="Leave out markers read in a smaller share of lines.")
]
LeastMinor = Annotated[
    float,
    typer.Option("--least-minor", min=0, max=0.5, help="Leave out markers whose rarer allele is rarer than this."),
]
FrequenciesFrom = Annotated[
    str, typer.Option("--frequencies", help="Allele frequencies that centre the markers: data, or half.")
]
PedigreeFile = Annotated[str, typer.Option("--pedigree", help="Pedigree of all lines: line, mother, father, method.")]
PedigreeWeight = Annotated[
    float,
    typer.Option("--pedigree-weight", min=0, max=1, help="Weight of the pedigree's relationship, with --pedigree."),
]
Align = Annotated[bool, typer.Option("--align", help="Bring the markers' relationship to the pedigree's base first.")]


def marker_kin(
    markers: MarkersFile,
    frequencies: FrequenciesFrom = "data",
    pedigree: PedigreeFile = "",
    pedigree_weight: PedigreeWeight = 0.1,
    align: Align = False,
    least_call_rate: LeastCalled = 0.0,
    least_minor: LeastMinor = 0.0,
    pairs: Annotated[
        str, typer.Option("--pairs", help="File to write: line_a, line_b, relationship.", callback=check_out)
    ] = "",
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Relationship of all lines by their markers (VanRaden's first method), alone or joined with their pedigree.

    A square table with the names in its header and first column, as the door fit takes for `relationship`. With
    frequencies half, a fully inbred line has 2 with itself; with data, the mean is about 0.
    """
    table = keep_markers(*_judged(markers), least_call_rate, least_minor)
    found, matrix = _relate(table, frequencies, pedigree, pedigree_weight, align)
    if pairs:
        told = [
            (one, other, float(matrix[at, at + more]))
            for at, one in enumerate(table.samples)
            for more, other in enumerate(table.samples[at:])
        ]
        write_table(pairs, ("line_a", "line_b", "relationship"), told)
    rows = [(line, *values) for line, values in zip(table.samples, matrix.tolist(), strict=True)]
    give_result(("line", *table.samples), rows, out, as_json, _say_basis(found, frequencies, pedigree, pedigree_weight))


def predict_lines(
    markers: MarkersFile,
    values: Annotated[str, typer.Argument(help="Table: line, value[, weight][, family]; value empty if untested.")],
    trait: Annotated[str, typer.Option("--trait", help="The column of VALUES to predict.")] = "value",
    folds: Annotated[int, typer.Option("--folds", min=2, help="Parts into which families are dealt.")] = 5,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Seed of the dealing.")] = 1,
    frequencies: FrequenciesFrom = "data",
    pedigree: PedigreeFile = "",
    pedigree_weight: PedigreeWeight = 0.1,
    align: Align = False,
    least_call_rate: LeastCalled = 0.0,
    least_minor: LeastMinor = 0.0,
    families: Annotated[
        str, typer.Option("--families", help="File to write: how far to trust each family.", callback=check_out)
    ] = "",
    effects: Annotated[
        str, typer.Option("--effects", help="File to write: marker, frequency, effect.", callback=check_out)
    ] = "",
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Predict untested lines from their markers and the values of tested ones, and say how far to trust it.

    Variances by REML; reliability is the share of a line's genetic variance that is told, 0 to 1. Tested lines are left
    out within families (a part of each at a time) and across (a family at a time); trust of a family: ranks_well,
    ranks_roughly, not_shown, not_measured.
    """
    table = keep_markers(*_judged(markers), least_call_rate, least_minor)
    given = _match(read_line_values(values, trait), table)
    found, matrix = _relate(table, frequencies, pedigree, pedigree_weight, align)
    places = np.array([at for at, line in enumerate(table.samples) if line in given and given[line].value is not None])
    tested = [given[table.samples[at]] for at in places]
    response = np.array([one.value for one in tested], dtype=np.float64)
    fit = fit_genomic_values(
        matrix, places.astype(np.intp), response, weights=np.array([one.weight for one in tested], dtype=np.float64)
    )
    family_of = [given[line].family if line in given else "" for line in table.samples]
    checked = None
    if len(places) >= max(LEAST_TO_FOLD, folds):
        checked = validate_predictions(fit, matrix, family_of, folds, np.random.default_rng(seed))
        for family in checked.families:
            say(family.words)
    if families:
        _write_families(families, checked)
    if effects:
        share = 1.0 - pedigree_weight if pedigree else 1.0
        worth = find_marker_effects(table, found.frequency, found.divisor, fit, share)
        rows = zip(table.markers, found.frequency.tolist(), worth.tolist(), strict=True)
        write_table(effects, ("marker", "frequency", "effect"), list(rows))
    more = {**_say_fit(fit), **_say_basis(found, frequencies, pedigree, pedigree_weight), **_say_checked(checked)}
    give_result(PREDICTED, _say_lines(table, fit, family_of, checked), out, as_json, {"trait": trait, **more})


def _judged(path: str) -> tuple[MarkerTable, MarkerQuality]:
    table = read_table_of_markers(path)
    return table, judge_markers(table)


def _relate(
    table: MarkerTable, frequencies: str, pedigree: str, weight: float, align: bool
) -> tuple[MarkerRelationship, Numbers]:
    """The relationship by markers, and the one to use: blended with the pedigree if there is one."""
    if frequencies not in ("data", "half"):
        raise typer.BadParameter("--frequencies is data or half.")
    if align and not pedigree:
        raise typer.BadParameter("--align needs --pedigree.")
    found = find_marker_relationship(table, cast(Literal["data", "half"], frequencies))
    if not pedigree:
        return found, found.matrix
    members = read_pedigree(pedigree)
    place = {member.line: at for at, member in enumerate(members)}
    absent = [line for line in table.samples if line not in place]
    if absent:
        raise refuse(
            "line_unknown",
            f"{len(absent)} of the lines with markers are not in the pedigree, such as {absent[0]!r}.",
            "Add their rows, as founders if nothing is known.",
        )
    at = [place[line] for line in table.samples]
    return found, blend_relationships(found.matrix, find_relationship(members)[np.ix_(at, at)], weight, align)


def _match(values: Sequence[LineValue], table: MarkerTable) -> dict[str, LineValue]:
    """The values by line; lines without markers are told and left out."""
    known = set(table.samples)
    lost = [one.line for one in values if one.line not in known]
    if lost:
        say(f"{len(lost)} lines of the values have no markers and are left out, such as {lost[0]}.")
    return {one.line: one for one in values if one.line in known}


def _say_lines(
    table: MarkerTable, fit: GenomicFit, family_of: Sequence[str], checked: Validation | None
) -> list[tuple[object, ...]]:
    trust = {family.family: family.trust for family in checked.families} if checked else {}
    measured = dict(zip(fit.tested.tolist(), fit.response.tolist(), strict=True))
    predicted = (fit.effects[0] + fit.values).tolist()
    return [
        (
            line,
            family_of[at],
            1 if at in measured else 0,
            measured.get(at),
            predicted[at],
            float(fit.reliability[at]),
            trust.get(family_of[at], ""),
        )
        for at, line in enumerate(table.samples)
    ]


def _say_fit(fit: GenomicFit) -> dict[str, object]:
    return {
        "tested": len(fit.tested),
        "mean": float(fit.effects[0]),
        "mean_se": float(fit.effects_se[0]),
        "variances": {"genetic": fit.genetic_variance, "residual": fit.residual_variance},
        "reml_log_likelihood": fit.log_likelihood,
        "at_bound": fit.at_bound,
    }


def _say_basis(found: MarkerRelationship, frequencies: str, pedigree: str, weight: float) -> dict[str, object]:
    return {
        "lines": len(found.lines),
        "markers": len(found.frequency),
        "frequencies": frequencies,
        "divisor": found.divisor,
        "pedigree_weight": weight if pedigree else 0.0,
    }


def _say_checked(checked: Validation | None) -> dict[str, object]:
    if checked is None:
        return {"validation": None, "families": []}
    validation = {name: _say_ability(getattr(checked, name)) for name in ("within", "across", "overall")}
    return {"validation": validation, "families": [_say_family(family) for family in checked.families]}


def _say_ability(ability: Ability) -> dict[str, object]:
    return {
        "lines": ability.lines,
        "ability": ability.ability,
        "low": ability.low,
        "high": ability.high,
        "slope": ability.slope,
    }


def _say_family(family: FamilyTrust) -> dict[str, object]:
    told: dict[str, object] = {name: getattr(family, name) for name in TRUST}
    told.update({way: _say_ability(getattr(family, way)) for way in WAYS})
    return {**told, "words": family.words}


def _write_families(path: str, checked: Validation | None) -> None:
    columns = [*TRUST, *(f"{way}{part}" for way in WAYS for part in ("", "_low", "_high")), "words"]
    rows = []
    for family in checked.families if checked else ():
        abilities = [(one.ability, one.low, one.high) for one in (family.within, family.across, family.shrunk)]
        rows.append([getattr(family, name) for name in TRUST] + [value for one in abilities for value in one])
        rows[-1].append(family.words)
    write_table(path, columns, rows)
