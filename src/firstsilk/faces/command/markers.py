"""Which doors judge markers, and claims by them? `markers`, `marker-identity`, `marker-parents`."""

from __future__ import annotations

import os
from typing import Annotated

import typer

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.files.marker_claims import Claim, read_claims, read_sample_pairs
from firstsilk.faces.files.markers import read_markers
from firstsilk.science.lineage.marker_checks import (
    FALSE_ALARM,
    READING_ERROR,
    check_descent,
    check_parent,
    compare_samples,
)
from firstsilk.science.lineage.marker_cross import check_cross
from firstsilk.science.lineage.markers import MarkerTable, Numbers, judge_markers

MarkersFile = Annotated[
    str,
    typer.Argument(help="VCF (.vcf, .vcf.gz), or a table: line and a column a marker; 0, 1, 2, empty, or nucleotides."),
]
ReadingError = Annotated[
    float, typer.Option("--error", help="Chance that one reading of one marker is wrong, above 0 and below 1.")
]
FalseAlarm = Annotated[
    float, typer.Option("--alarm", help="Chance of refuting a true claim, above 0 and below 1; it sets the limit.")
]


def read_table_of_markers(path: str) -> MarkerTable:
    """The markers of a file; what of it was left out is said to standard error."""
    found = read_markers(path)
    for note in found.notes:
        say(f"Markers: {note}")
    return found.table


def markers(
    markers: MarkersFile,
    by: Annotated[str, typer.Option("--by", help="One row for each line, or for each marker.")] = "line",
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Call rate and heterozygosity of each line or each marker, and the frequency of the rarer allele.

    call_rate is the share that was read; heterozygosity the share of those read that hold both alleles; frequency that
    of the allele counted.
    """
    if by not in ("line", "marker"):
        raise typer.BadParameter("--by is line or marker.")
    table = read_table_of_markers(markers)
    found = judge_markers(table)
    if by == "line":
        columns = ("line", "called", "call_rate", "heterozygosity")
        values = (found.sample_called, found.sample_call_rate, found.sample_heterozygosity)
        names = found.samples
    else:
        columns = ("marker", "called", "call_rate", "heterozygosity", "frequency", "minor_frequency")
        values = (found.marker_called, found.marker_call_rate, found.marker_heterozygosity)
        values += (found.frequency, found.minor_frequency)
        names = found.markers
    rows = list(zip(names, *(column.tolist() for column in values), strict=True))
    give_result(columns, rows, out, as_json, {"lines": len(table.samples), "markers": len(table.markers)})


def marker_identity(
    markers: MarkersFile,
    pairs: Annotated[str, typer.Argument(help="Table: sample_a, sample_b, said to be of one line.")],
    error: ReadingError = READING_ERROR,
    alarm: FalseAlarm = FALSE_ALARM,
    segregating: Annotated[
        float,
        typer.Option("--segregating", min=0, max=1, help="Share of markers at which plants of one line may differ."),
    ] = 0.0,
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Are two samples of one and the same line? Markers that differ, beside what reading errors explain.

    verdict: agrees, disagrees (more differ than limit), cannot_tell (too few markers to tell the line from another).
    if_false is the count to expect of two unrelated inbred lines.
    """
    table = read_table_of_markers(markers)
    asked = read_sample_pairs(pairs, set(table.samples))
    frequency = judge_markers(table).frequency
    columns = (
        "sample_a",
        "sample_b",
        "compared",
        "differing",
        "share",
        "expected",
        "limit",
        "if_false",
        "verdict",
        "why",
    )
    rows = []
    for one, other in asked:
        found = compare_samples(table.find(one), table.find(other), frequency, error, alarm, segregating)
        rows.append((one, other, found.compared, found.mismatches, found.share, round(found.expected, 6), found.limit))
        rows[-1] += (round(found.if_false, 6), found.verdict, found.why)
    give_result(columns, rows, out, as_json, {"error": error, "alarm": alarm, "segregating": segregating})


def marker_parents(
    markers: MarkersFile,
    claims: Annotated[str, typer.Argument(help="Table: child, mother, father[, check]; a parent may be empty.")],
    error: ReadingError = READING_ERROR,
    alarm: FalseAlarm = FALSE_ALARM,
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Is this its parent, and is this hybrid the cross of these two? Contradicting markers beside what errors explain.

    check: parent (one parent named: opposing homozygotes), cross (both: the child is their first cross), descent (both:
    the child is a line out of their cross). verdict: agrees, disagrees, cannot_tell. likelier, where a cross disagrees:
    self_of_mother, self_of_father, later_generation, other_father, other_mother, neither, unclear.
    """
    table = read_table_of_markers(markers)
    asked = read_claims(claims, set(table.samples))
    columns = ("child", "mother", "father", "check", "compared", "mismatches", "expected", "limit", "verdict")
    frequency = judge_markers(table).frequency
    rows = [
        (claim.child, claim.mother, claim.father, claim.check, *_judge(claim, table, frequency, error, alarm))
        for claim in asked
    ]
    give_result((*columns, "likelier", "why"), rows, out, as_json, {"error": error, "alarm": alarm})


def _judge(claim: Claim, table: MarkerTable, frequency: Numbers, error: float, alarm: float) -> tuple[object, ...]:
    child = table.find(claim.child)
    if claim.check == "cross":
        cross = check_cross(table.find(claim.mother), table.find(claim.father), child, frequency, error, alarm)
        figures = (cross.compared, cross.mismatches, round(cross.expected, 6), cross.limit, cross.verdict)
        return (*figures, cross.likelier, cross.why)
    if claim.check == "descent":
        found = check_descent(table.find(claim.mother), table.find(claim.father), child, frequency, error, alarm)
    else:
        found = check_parent(table.find(claim.mother or claim.father), child, frequency, error, alarm)
    return (found.compared, found.mismatches, round(found.expected, 6), found.limit, found.verdict, "", found.why)
