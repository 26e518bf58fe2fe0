"""Do markers come in alike from tables and variant call files, and is bad input told with its place?"""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.files.markers import read_markers
from firstsilk.faces.files.tables import write_table

PLAIN = "line,m1,m2,m3\nA,0,2,1\nB,2,,0\n"
DOSES = [[0, 2, 1], [2, -1, 0]]
HEAD = "##fileformat=VCFv4.3\n##source=made up\n#CHROM\tPOS\tID\tREF\tALT\tQUAL\tFILTER\tINFO\tFORMAT\tA\tB\n"
VARIANTS = HEAD + (
    "1\t10\tm1\tA\tG\t.\tPASS\t.\tGT\t0/0\t1/1\n"
    "1\t20\tm2\tC\tT\t.\tPASS\t.\tGT:DP\t1|1:7\t./.:0\n"
    "1\t30\tm3\tC\tT\t.\tPASS\t.\tGT\t0|1\t0\n"
)


def lay(folder: Path, text: str | bytes, name: str = "m.csv") -> Path:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("m.csv", PLAIN),
        ("m.csv", PLAIN.replace("\n", "\r\n")),
        ("m.csv", "\ufeff" + PLAIN + "\n,,,\n"),
        ("m.csv", 'line,m1,"m2",m3\n"A",0, 2,"1"\nB,2,,0\n'),
        ("m.csv", "marker,A,B\nm1,0,2\nm2,2,\nm3,1,0\n"),
        ("m.csv", "sample,m1,m2,m3\nA,A,TT,R\nB,G,N,A\n"),
        ("m.csv", "sample,m1,m2,m3\nA,a/a,T|T,G/A\nB,GG,-,AA\n"),
        ("m.csv", "marker,A,B\nm1,AA,GG\nm2,TT,\nm3,AG,AA\n"),
        ("m.vcf", VARIANTS),
        ("m.vcf", VARIANTS.replace("\n", "\r\n")),
        ("m.csv.gz", gzip.compress(PLAIN.encode())),
        ("m.vcf.gz", gzip.compress(VARIANTS[:100].encode()) + gzip.compress(VARIANTS[100:].encode())),
    ],
)
def test_the_same_readings_come_out_of_every_way_to_write_them(tmp_path: Path, name: str, text: str | bytes) -> None:
    found = read_markers(lay(tmp_path, text, name))
    assert found.table.samples == ("A", "B")
    assert found.table.markers == ("m1", "m2", "m3")
    assert found.table.doses.dtype == np.int8
    assert found.table.doses.tolist() == DOSES
    assert found.notes == ()


@pytest.mark.parametrize("kind", ["xlsx", "parquet"])
def test_spreadsheet_and_parquet_are_read(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"m.{kind}"
    write_table(path, ("line", "m1", "m2", "m3"), [["A", 0, 2, 1], ["B", 2, None, 0]])
    assert read_markers(path).table.doses.tolist() == DOSES


def test_sites_with_several_alleles_or_no_genotypes_are_left_out_and_told(tmp_path: Path) -> None:
    more = "2\t5\t.\tA\tG,T\t.\t.\t.\tGT\t0/2\t1/1\n"
    more += "2\t6\t.\tA\tG\t.\t.\t.\tDP\t3\t4\n2\t7\t.\tA\tG\t.\t.\t.\tGT\t0/0\t0/1\n"
    more += "2\t7\t.\tA\tAT\t.\t.\t.\tGT\t0/0\t0/1\n"
    found = read_markers(lay(tmp_path, VARIANTS + more, "m.vcf"))
    assert found.table.markers == ("m1", "m2", "m3", "2_7", "2_7_A_AT")
    assert len(found.notes) == 2
    assert found.notes[0].startswith("1 with more than one")


def test_half_a_genotype_is_not_read(tmp_path: Path) -> None:
    text = HEAD + "1\t1\tx\tA\tG\t.\t.\t.\tGT\t./1\t.\n"
    assert read_markers(lay(tmp_path, text, "m.vcf")).table.doses.tolist() == [[-1], [-1]]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("line,m1,m2\nA,0,3\n", ["m.csv, line 2, column m2", "neither 0, 1, 2 nor empty", "'3'"]),
        ("line,m1,m2\nA,0,1\nB,NA,1\n", ["line 3, column m1", "'NA'", "Leave the cell empty"]),
        ("line,m1\nA,0.5\n", ["line 2, column m1", "whole number of copies"]),
        ("line,m1\nA,-1\n", ["line 2, column m1", "Leave the cell empty"]),
        ("line,m1,m2\nA,0,1\nB,G,1\n", ["line 3, column m1", "'G'"]),
        ("line,m1,m2\nA,A,C\nB,1,C\n", ["line 3, column m1", "no nucleotide", "'1'"]),
        ("line,m1,m2\nA,A,C\nB,1,2\n", ["line 3, column m1", "no nucleotide"]),
        ("line,m1\nA,A\nB,C\nD,G\n", ["line 4, column m1", "third nucleotide", "'GG'"]),
        ("marker,A,B,D\nm1,A,C,G\n", ["line 2, column D", "third nucleotide"]),
        ("line,m1,m2\nA,0\n", ["line 2", "2 cells, the header names 3"]),
        ("line,m1,m2\nA,0,1,1\n", ["line 2", "4 cells, the header names 3"]),
        ("line,m1\nA,0\nA,0\n", ["line 3, column line", "twice, first on line 2"]),
        ("line,m1\n,0\n", ["line 2, column line", "no name"]),
        ("line,m1,m1\nA,0,1\n", ["line 1, column m1", "twice"]),
        ("line,m1,\nA,0,1\n", ["line 1", "column 3 has no name"]),
        ("line\nA\n", ["no column beside the first"]),
        ("name,m1\nA,0\n", ["line 1", "first column must be line", "'name'"]),
        ("line;m1\nA;0\n", ["first column must be line"]),
        ("", ["first column must be line"]),
        ("line,m1\n", ["no line under the header"]),
        (b"line,m1\n\xff,0\n", ["line 2", "not UTF-8"]),
        ('line,m1\n"A,0\n', ["line 2", "CSV"]),
        (gzip.compress(PLAIN.encode())[:-9], ["broken or cut short"]),
        ("##fileformat=VCFv4.2\n1\t2\n", ["#CHROM", "missing"]),
        (HEAD.replace("\tA\tB", ""), ["no sample is named"]),
        (HEAD.replace("\tB\n", "\tA\n"), ["line 3", "twice", "'A'"]),
        (HEAD, ["no marker with two alleles"]),
        (HEAD + "1\t10\tm1\tA\tG\t.\t.\t.\tGT\t0/0\n", ["line 4", "1 genotypes, the header names 2"]),
        (HEAD + "1\t10\tm1\tA\tG\t.\t.\n", ["line 4", "ends before the first sample"]),
        (HEAD + "1\t10\tm1\tA\tG\t.\t.\t.\tGT\t0/2\t0/0\n", ["line 4, column A", "no genotype", "'0/2'"]),
        (HEAD + "1\t10\tm1\tA\tG\t.\t.\t.\tGT\t0/1\t0/1/1\n", ["line 4, column B", "'0/1/1'"]),
        (HEAD + 2 * "1\t10\tm1\tA\tG\t.\t.\t.\tGT\t0/1\t0/1\n", ["line 5, column ID", "first on line 4", "'m1'"]),
    ],
)
def test_what_is_no_table_of_markers_is_told_with_its_place(tmp_path: Path, text: str | bytes, says: list[str]) -> None:
    with pytest.raises(InputRefused) as refused:
        read_markers(lay(tmp_path, text))
    for part in says:
        assert part in str(refused.value)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="no such file"):
        read_markers(tmp_path / "none.vcf")


def test_quick_and_slow_reading_agree_on_a_wide_table(tmp_path: Path) -> None:
    doses = np.random.default_rng(1).integers(-1, 3, (20, 300))
    cells = [["" if dose < 0 else str(dose) for dose in row] for row in doses]
    head = "line," + ",".join(f"m{at}" for at in range(300)) + "\n"
    plain = head + "".join(f"L{at},{','.join(row)}\n" for at, row in enumerate(cells))
    quoted = head + "".join(f'"L{at}",{",".join(row)}\n' for at, row in enumerate(cells))
    for text in (plain, quoted):
        assert (read_markers(lay(tmp_path, text)).table.doses == doses).all()
