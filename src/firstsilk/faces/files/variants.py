"""How does a file in the variant call format get in?

The open standard of the samtools/hts-specs group (VCF 4.1 to 4.5): header lines, then a marker in each line and a
sample in each column from the tenth on. Only the genotype `GT` is read: copies of the alternative allele, whether
phased or not. One allele alone, as some programs write for inbred plants, counts as two like it; half a genotype
counts as not read. Markers with several alternative alleles, or without genotypes, are left out and counted.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import Finding, InputRefused, Place, stop_if_any
from firstsilk.science.lineage.markers import MISSING, MarkerTable

FIXED = ("#CHROM", "POS", "ID", "REF", "ALT", "QUAL", "FILTER", "INFO", "FORMAT")
_START = b"##fileformat=VCF"
_GENOTYPE = re.compile(r"([01.])(?:[/|]([01.]))?(?::.*)?", re.ASCII)
_ZERO, _ONE, _DOT, _TAB, _COLON = (ord(sign) for sign in "01.\t:")
_MOST_FINDINGS = 20


@dataclass(frozen=True, slots=True)
class VariantsRead:
    """The markers of a file (samples by markers), in sentences what was left out, the line that names the samples, and
    chromosome and position of each marker (0 where that is no number)."""

    table: MarkerTable
    notes: tuple[str, ...]
    header_line: int
    loci: tuple[tuple[str, int], ...]


def is_variant_file(first: bytes) -> bool:
    """Whether a first line is that of a variant call file."""
    return first.startswith(_START)


def read_variants(stream: BinaryIO, name: str) -> VariantsRead:
    """Read a variant call file from its second line on.

    Raises
    ------
    InputRefused
        No header line, no samples, a sample or marker twice, a line with too few or many cells, or a genotype that is
        none: file, line, column, value.
    """
    samples, header = _read_header(stream, name)
    markers: dict[str, int] = {}
    rows: list[NDArray[np.int8]] = []
    findings: list[Finding] = []
    loci: list[tuple[str, int]] = []
    several = without = 0
    for line, raw in enumerate(stream, header + 1):
        raw = raw.rstrip(b"\r\n")
        if not raw:
            continue
        parts = raw.split(b"\t", len(FIXED))
        if len(parts) <= len(FIXED):
            raise InputRefused(f"{name}, line {line}: the line ends before the first sample. It may be cut short.")
        if b"," in parts[4]:
            several += 1
        elif parts[8].split(b":", 1)[0] != b"GT":
            without += 1
        else:
            findings += _add_name(parts, markers, name, line)
            loci.append((parts[0].decode("utf-8", "replace"), int(parts[1]) if parts[1].isdigit() else 0))
            rows.append(_read_genotypes(parts[9], samples, name, line, findings))
        if len(findings) >= _MOST_FINDINGS:
            break
    stop_if_any(findings)
    if not rows:
        raise InputRefused(f"{name}: no marker with two alleles and genotypes is in it. Check how it was written.")
    table = MarkerTable(samples, tuple(markers), np.stack(rows).T)
    return VariantsRead(table, _tell_left_out(several, without), header, tuple(loci))


def _tell_left_out(several: int, without: int) -> tuple[str, ...]:
    told = []
    if several:
        told.append(f"{several} with more than one alternative allele left out.")
    if without:
        told.append(f"{without} without genotypes (GT first in FORMAT) left out.")
    return tuple(told)


def _read_header(stream: BinaryIO, name: str) -> tuple[tuple[str, ...], int]:
    """The samples, and the number of the line that names them."""
    for line, raw in enumerate(stream, 2):
        if raw.startswith(b"##"):
            continue
        columns = raw.decode("utf-8", "replace").rstrip("\r\n").split("\t")
        if tuple(columns[: len(FIXED)]) != FIXED:
            break
        samples = tuple(columns[len(FIXED) :])
        if not samples:
            raise InputRefused(f"{name}, line {line}: no sample is named. Write the file with its genotypes.")
        twice = [sample for at, sample in enumerate(samples) if sample in samples[:at]] if _repeat(samples) else []
        stop_if_any(
            Finding("sample_twice", "this sample is there twice", Place(name, line), sample, "Rename one")
            for sample in twice
        )
        return samples, line
    raise InputRefused(f"{name}: the line #CHROM POS ID ... FORMAT that names the samples is missing. Add it.")


def _repeat(names: tuple[str, ...]) -> bool:
    return len(set(names)) < len(names)


def _add_name(parts: list[bytes], markers: dict[str, int], name: str, line: int) -> list[Finding]:
    """Name a marker by its ID, or by chromosome and position; with its alleles where two stand at one position."""
    chromosome, position, own, reference, alternative = (part.decode("utf-8", "replace") for part in parts[:5])
    marker = own.split(";")[0]
    if marker in ("", "."):
        marker = f"{chromosome}_{position}"
        if marker in markers:
            marker += f"_{reference}_{alternative}"
    if markers.setdefault(marker, line) == line:
        return []
    told = f"this marker is there twice, first on line {markers[marker]}"
    return [Finding("marker_twice", told, Place(name, line, "ID"), marker, "Keep one, or rename one")]


def _read_genotypes(
    cells: bytes, samples: tuple[str, ...], name: str, line: int, findings: list[Finding]
) -> NDArray[np.int8]:
    """The doses of one line: all cells of the usual shape at once, the others one by one."""
    signs = np.frombuffer(cells + b"\t\t\t\t", dtype=np.uint8)
    ends = np.flatnonzero(signs[:-3] == _TAB)
    if len(ends) != len(samples):
        told = f"the line has {len(ends)} genotypes, the header names {len(samples)} samples"
        raise InputRefused(
            findings=[Finding("cells_miscounted", told, Place(name, line), repair="The line may be cut short")]
        )
    starts = np.concatenate([[0], ends[:-1] + 1])
    one, between, other, after = (signs[starts + at] for at in range(4))
    usual = (between == ord("/")) | (between == ord("|"))
    usual &= ((after == _TAB) | (after == _COLON)) & _is_allele(one) & _is_allele(other)
    doses = ((one == _ONE).astype(np.int8) + (other == _ONE)).astype(np.int8)
    doses[(one == _DOT) | (other == _DOT)] = MISSING
    for at in np.flatnonzero(~usual):
        cell = cells[starts[at] : ends[at]].decode("utf-8", "replace")
        doses[at] = _read_genotype(cell, Place(name, line, samples[at]), findings)
    return doses


def _is_allele(signs: NDArray[np.uint8]) -> NDArray[np.bool_]:
    found: NDArray[np.bool_] = (signs == _ZERO) | (signs == _ONE) | (signs == _DOT)
    return found


def _read_genotype(cell: str, place: Place, findings: list[Finding]) -> int:
    found = _GENOTYPE.fullmatch(cell)
    if found:
        alleles = [found[1], found[2] or found[1]]
        return MISSING if "." in alleles else alleles.count("1")
    if len(findings) < _MOST_FINDINGS:
        told = "this is no genotype of two alleles, 0 and 1"
        repair = "Write 0/0, 0/1, 1/1, or ./. where nothing was read"
        findings.append(Finding("no_genotype", told, place, cell, repair))
    return MISSING
