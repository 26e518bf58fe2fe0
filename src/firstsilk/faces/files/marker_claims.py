"""How do claims about samples, and values of tested lines, get in from tables?"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from firstsilk.answers import Finding, stop_if_any
from firstsilk.faces.files.tables import TableRow, read_table

CHECKS = ("parent", "cross", "descent")


@dataclass(frozen=True, slots=True)
class Claim:
    """What is claimed of a child: its mother, its father (either may be empty), and by which check it is judged."""

    child: str
    mother: str
    father: str
    check: str


@dataclass(frozen=True, slots=True)
class LineValue:
    """One line: its value (None if untested), the weight of the value, and its family (empty if unknown)."""

    line: str
    value: float | None
    weight: float
    family: str


def read_sample_pairs(path: str | Path, known: Collection[str]) -> tuple[tuple[str, str], ...]:
    """Read the pairs ``sample_a, sample_b`` to compare; each must have markers.

    Raises
    ------
    InputRefused
        A column missing, no row, or a name without markers: file, line, column, value.
    """
    table = read_table(path)
    table.need("sample_a", "sample_b")
    table.need_rows()
    stop_if_any(found for row in table.rows for found in _find_unknown(row, ("sample_a", "sample_b"), known, True))
    return tuple((row.text("sample_a"), row.text("sample_b")) for row in table.rows)


def read_claims(path: str | Path, known: Collection[str]) -> tuple[Claim, ...]:
    """Read claims ``child, mother, father[, check]``: with one parent `parent`, with both `cross` unless told.

    Raises
    ------
    InputRefused
        A column missing, no row, a name without markers, no parent, or a check that does not go with the parents.
    """
    table = read_table(path)
    table.need("child", "mother", "father")
    table.need_rows()
    findings: list[Finding] = []
    claims = []
    for row in table.rows:
        findings += _find_unknown(row, ("child",), known, True)
        findings += _find_unknown(row, ("mother", "father"), known, False)
        mother, father, check = (row.text(column) for column in ("mother", "father", "check"))
        both = bool(mother and father)
        if not mother and not father:
            findings.append(row.finding("no_parent", "no parent is named", "mother", "Name one or both"))
        elif check and check not in (("cross", "descent") if both else ("parent",)):
            told = "with both parents a check is cross or descent" if both else "with one parent the check is parent"
            findings.append(row.finding("check_unknown", told, "check", "Write it so, or leave it empty"))
        claims.append(Claim(row.text("child"), mother, father, check or ("cross" if both else "parent")))
    stop_if_any(findings[:20])
    return tuple(claims)


def read_line_values(path: str | Path, trait: str) -> tuple[LineValue, ...]:
    """Read values of lines: ``line``, the column of the trait, optionally ``weight`` and ``family``.

    Raises
    ------
    InputRefused
        A column missing, a line twice or without a name, a cell that is no number, a weight not above 0.
    """
    table = read_table(path)
    table.need("line", trait)
    table.need_rows()
    findings: list[Finding] = []
    first: dict[str, int] = {}
    values = []
    for row in table.rows:
        line = row.text("line")
        if not line:
            findings.append(row.finding("name_missing", "this row has no name", "line", "Fill it in"))
        findings += row.find_twice(
            first, line, "this line", "line_twice", "line", "Give one value a line, such as a mean"
        )
        weight = row.number("weight", findings)
        if weight is not None and weight <= 0.0:
            findings.append(row.finding("weight_not_positive", "a weight is above 0", "weight", "Correct it"))
        value = row.number(trait, findings)
        values.append(LineValue(line, value, 1.0 if weight is None else weight, row.text("family")))
    stop_if_any(findings[:20])
    return tuple(values)


def _find_unknown(row: TableRow, columns: tuple[str, ...], known: Collection[str], needed: bool) -> list[Finding]:
    repair = "Correct the name, or add its markers"
    return [
        row.finding("sample_unknown", "this sample has no markers", column, repair)
        for column in columns
        if row.text(column) not in known and (needed or row.text(column))
    ]
