"""How do a relationship between lines, and a known covariance of records, get in from a file?"""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import Finding, InputRefused, stop_if_any
from firstsilk.faces.files.pedigrees import is_pedigree, pedigree_from_table, read_pedigree
from firstsilk.faces.files.tables import Table, TableRow, read_table
from firstsilk.science.analysis.models import Relationship, SparseRelationship
from firstsilk.science.lineage.kinship import find_relationship
from firstsilk.science.lineage.relationship_inverse import find_sparse_relationship

# A pedigree of so many lines is written out as a matrix, which takes less time than a compiler.
WRITTEN_OUT = 500
# Two cells of a pair may differ by so much of the largest, as rounding does; more is refused.
NOT_MIRRORED = 1e-8


def read_relationship(path: str | Path) -> Relationship | SparseRelationship:
    """Read a pedigree (covariance = 2 x coancestry) or a square matrix with names in header and first column.

    Raises
    ------
    InputRefused
        As `read_pedigree`; or the matrix is not square or symmetric, its names do not agree, or a cell is no number.
    """
    table = read_table(path, corner="name")
    if is_pedigree(table):
        members = pedigree_from_table(table)
        if len(members) <= WRITTEN_OUT:
            return Relationship(tuple(member.line for member in members), find_relationship(members))
        return find_sparse_relationship(members)
    names = table.columns[1:]
    rows = {row.text(table.columns[0]): row for row in table.rows}
    if set(rows) != set(names) or len(table.rows) != len(names):
        odd = sorted(set(rows) ^ set(names))
        told = f" ({odd[0]!r} stands in one of them only)" if odd else ""
        raise InputRefused(
            f"{table.file}: a relationship needs the same names in its header and its first column{told}. "
            "Or give a pedigree: line, mother, father, method."
        )
    matrix = _matrix([rows[name] for name in names], names)
    _check_mirrored(matrix, names, table.file)
    return Relationship(names, matrix)


def read_pedigree_relationship(path: str | Path, wanted: Collection[str] | None = None) -> SparseRelationship:
    """Read a pedigree of any size as the sparse inverse of its relationship; `wanted` lines only, if given.

    Raises
    ------
    InputRefused
        As `read_pedigree` and `find_sparse_relationship`.
    """
    return find_sparse_relationship(read_pedigree(path), wanted)


def read_covariance(path: str | Path, n: int) -> NDArray[np.float64]:
    """Read the known covariance of n records: a header, then n rows of n numbers (a first column of names may lead).

    Raises
    ------
    InputRefused
        If the table is not n x n or a cell is no number.
    """
    table = read_table(path, corner="name")
    columns = table.columns[1:] if len(table.columns) == n + 1 else table.columns
    if len(table.rows) != n or len(columns) != n:
        raise InputRefused(
            f"{table.file}: found {len(table.rows)} rows and {len(table.columns)} columns below a header, but the "
            f"known covariance of {n} records must be {n} x {n}, in the order of the records. Write it again."
        )
    return _matrix(list(table.rows), columns)


def _check_mirrored(matrix: NDArray[np.float64], names: tuple[str, ...], file: str) -> None:
    """Refuse a matrix that is not symmetric, naming the cell that differs most from its mirror image."""
    apart = np.abs(matrix - matrix.T)
    if apart.size and apart.max() > NOT_MIRRORED * np.abs(matrix).max():
        i, j = (int(at) for at in np.unravel_index(int(np.argmax(apart)), apart.shape))
        one, two = names[i], names[j]
        raise InputRefused(
            f"{file}: {one!r} with {two!r} is {matrix[i, j]:g}, but {two!r} with {one!r} is {matrix[j, i]:g}. "
            "A relationship must be symmetric: give both the same number."
        )


def _matrix(rows: list[TableRow], columns: tuple[str, ...]) -> NDArray[np.float64]:
    findings: list[Finding] = []
    values = [[_cell(row, column, findings) for column in columns] for row in rows]
    stop_if_any(findings[:20])
    return np.array(values, dtype=np.float64)


def _cell(row: TableRow, column: str, findings: list[Finding]) -> float:
    before = len(findings)
    value = row.number(column, findings)
    if value is None and len(findings) == before:
        findings.append(row.finding("value_missing", "a number is missing here", column, "Fill it in"))
    return 0.0 if value is None else value


def columns_from_table(table: Table, numbers: set[str], classes: set[str], response: str) -> dict[str, list[object]]:
    """Take the columns of a model from a table of records, checking the cells of those with a response.

    Raises
    ------
    InputRefused
        If a column is absent, or a cell is empty or no number: file, line, column, value.
    """
    table.need(response, *sorted(numbers | classes))
    findings: list[Finding] = []
    answers = [row.number(response, findings) for row in table.rows]
    data: dict[str, list[object]] = {response: [None if value is None else value for value in answers]}
    for name in sorted(numbers | classes):
        data[name] = [
            _value(row, name, name in numbers, value is not None, findings)
            for row, value in zip(table.rows, answers, strict=True)
        ]
    stop_if_any(findings[:20])
    return data


def _value(row: TableRow, name: str, as_number: bool, needed: bool, findings: list[Finding]) -> object:
    if not needed:
        return None
    if as_number:
        before = len(findings)
        value = row.number(name, findings)
        missing = value is None and len(findings) == before
    else:
        missing = not row.text(name)
    if missing:
        repair = "Fill it in, or empty the response to leave the record out"
        findings.append(row.finding("value_missing", "this cell is empty, but its record has a response", name, repair))
        return None
    return value if as_number else row.text(name)
