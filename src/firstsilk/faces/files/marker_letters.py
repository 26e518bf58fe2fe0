"""How do nucleotides in a table become copies of one allele?

A cell holds one nucleotide (both copies), two (`AG`, `A/G`, `A|G`), or one of the signs that stand for two: R Y S W K
M (Nomenclature Committee of the International Union of Biochemistry 1985, Eur. J. Biochem. 150:1). Empty, `N`, `NN`
and `-` are not read. Of the two nucleotides at a marker the later in the alphabet is counted.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import Finding, Place, stop_if_any
from firstsilk.science.lineage.markers import MISSING

NUCLEOTIDES = "ACGT"
_TWO = {"R": "AG", "Y": "CT", "S": "CG", "W": "AT", "K": "GT", "M": "AC"}
_UNREAD = frozenset({"", "N", "NN", "-", "--", "N/N", "-/-", "N|N"})


def _list_cells() -> dict[str, int]:
    """Each way to write a cell, and its code: 4 x first + second nucleotide, or MISSING."""
    codes = dict.fromkeys(_UNREAD, MISSING)
    for one, first in enumerate(NUCLEOTIDES):
        codes[first] = 5 * one
        for other, second in enumerate(NUCLEOTIDES):
            for between in ("", "/", "|"):
                codes[first + between + second] = 4 * one + other
    for sign, pair in _TWO.items():
        codes[sign] = codes[pair]
    return codes


_CODES = _list_cells()


def read_letters(
    cells: list[str], columns: tuple[str, ...], file: str, line: int, findings: list[Finding]
) -> NDArray[np.int8]:
    """The codes of a row of nucleotides; a finding for each cell that holds none."""
    codes = np.full(len(cells), MISSING, dtype=np.int8)
    for at, cell in enumerate(cells):
        code = _CODES.get(cell.upper())
        if code is not None:
            codes[at] = code
        elif len(findings) < 20:
            told = "this is no nucleotide, as the cells before it are"
            repair = "Write A, C, G, T or two of them, or leave the cell empty"
            findings.append(Finding("no_nucleotide", told, Place(file, line, columns[at]), cell, repair))
    return codes


def count_letters(
    codes: NDArray[np.int8],
    samples: tuple[str, ...],
    markers: tuple[str, ...],
    file: str,
    lines: tuple[int, ...],
    by_marker: bool,
) -> NDArray[np.int8]:
    """Copies of the later nucleotide of each marker, shape (samples, markers).

    Raises
    ------
    InputRefused
        If a marker holds more than two nucleotides: the marker and the place of the third.
    """
    read = codes >= 0
    first, second = np.where(read, codes // 4, -1), np.where(read, codes % 4, -1)
    there = np.stack([((first == at) | (second == at)).any(axis=0) for at in range(4)])
    findings = []
    for marker in np.flatnonzero(there.sum(axis=0) > 2)[:20]:
        met: set[int] = set()
        for sample in range(len(samples)):
            met |= {int(first[sample, marker]), int(second[sample, marker])} - {-1}
            if len(met) > 2:
                line, column = (lines[marker], samples[sample]) if by_marker else (lines[sample], markers[marker])
                told = f"marker {markers[marker]!r} holds a third nucleotide here; two are the most"
                found = NUCLEOTIDES[first[sample, marker]] + NUCLEOTIDES[second[sample, marker]]
                findings.append(
                    Finding("third_nucleotide", told, Place(file, line, column), found, "Correct it, or leave it out")
                )
                break
    stop_if_any(findings)
    counted = np.where(there.any(axis=0), 3 - there[::-1].argmax(axis=0), 0)
    doses = (first == counted).astype(np.int8) + (second == counted).astype(np.int8)
    doses[~read] = MISSING
    return doses
