"""What would a laboratory have read in the invented station's lines, and which of its samples are wrong?

Markers are no genes: they lie beside them. Which founder a line has each stretch of a chromosome from follows the same
crossings as its genes; a marker is what that founder has there. A few samples are planted wrong, of each kind once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from firstsilk.invented.dice import roll
from firstsilk.invented.genes import CHROMOSOMES, LOCI, LOCI_A_CHROMOSOME, Genome, draw_gamete, drop_genes
from firstsilk.invented.pedigrees import GROUPS, InventedLine, LineBook
from firstsilk.invented.weather import DEMO_YEAR

PANEL = "chip-200"
MARKERS_A_CHROMOSOME = 20
MARKERS = CHROMOSOMES * MARKERS_A_CHROMOSOME
CHROMOSOME_BP = 200_000_000
"""Length of a chromosome [base pairs]; those of maize are 150 to 300 million. From memory."""
WRONG_SHARE, UNREAD_SHARE = 0.005, 0.02
SAMPLED_ON = date(DEMO_YEAR - 1, 8, 20)
READ_HYBRIDS = 12

Calls = NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class InventedSample:
    """One sample as the laboratory's sheet has it: its name, the line it is said to be of, and its calls (MARKERS,);
    -1 not read. `truly` says what was really sampled; it is never written down."""

    name: str
    line: str
    calls: Calls
    truly: str


def list_markers() -> tuple[tuple[str, str, int], ...]:
    """Name, chromosome and position [bp] of each marker: evenly along each chromosome."""
    step = CHROMOSOME_BP // (MARKERS_A_CHROMOSOME + 1)
    return tuple(
        (f"S{chromosome}_{step * at // 1000}", str(chromosome), step * at)
        for chromosome in range(1, CHROMOSOMES + 1)
        for at in range(1, MARKERS_A_CHROMOSOME + 1)
    )


def read_samples(book: LineBook) -> tuple[InventedSample, ...]:
    """Samples of all inbreds, of some hybrids, and two more of lines read twice, with the planted mistakes.

    Notes
    -----
    Planted: two inbreds' samples swapped; one inbred's second sample of another line; a hybrid that is a self of its
    mother; a young line whose plant came of other pollen.
    """
    origins = drop_origins(book)
    names = [line.name for line in book.inbreds()]
    hybrids = [line for line in book.hybrids() if line.method == "cross" and not line.check][:READ_HYBRIDS]
    wanted = [(name, name, name) for name in (*names, *(line.name for line in hybrids))]
    wanted += [("EK203 again", "EK203", "EK203"), ("HM205 again", "HM205", "HM209")]
    planted = {"EK207": "EK211", "EK211": "EK207", hybrids[1].name: f"self of {hybrids[1].mother}"}
    planted["HM304"] = "HM304 by EK101"
    return tuple(
        InventedSample(
            name, line, _read(book.truth.seed, name, _sample(book, planted.get(name, truly), origins)),
            planted.get(name, truly),
        )
        for name, line, truly in wanted
    )  # fmt: skip


def drop_origins(book: LineBook) -> dict[str, Genome]:
    """From which founder each line has each locus, (2, LOCI): the same crossings as those of its genes."""
    founders = [line.name for line in book.lines if line.method == "founder_inbred"]
    origins: dict[str, Genome] = {}
    for line in book.lines:
        if line.kind == "hybrid":
            continue
        if line.method == "founder_inbred":
            origins[line.name] = np.full((2, LOCI), founders.index(line.name), dtype=np.int8)
            continue
        father = origins[line.father] if line.method == "cross" else None
        dice = roll(book.truth.seed, "genes", line.name)
        origins[line.name] = drop_genes(line.method, origins[line.mother], father, line.selfings, dice)
    return origins


def _sample(book: LineBook, truly: str, origins: Mapping[str, Genome]) -> Calls:
    """True doses of what was sampled: a line, a hybrid, or a plant that came of other pollen."""
    alleles = _draw_alleles(book)
    near = np.minimum(
        np.arange(MARKERS_A_CHROMOSOME) * LOCI_A_CHROMOSOME // MARKERS_A_CHROMOSOME, LOCI_A_CHROMOSOME - 1
    )
    at = (np.arange(CHROMOSOMES)[:, None] * LOCI_A_CHROMOSOME + near).ravel()
    own = _grow(book, truly, origins)[:, at]
    doses: Calls = alleles[own, np.arange(MARKERS)].sum(axis=0, dtype=np.int8)
    return doses


def _grow(book: LineBook, truly: str, origins: Mapping[str, Genome]) -> Genome:
    dice = roll(book.truth.seed, "sampled", truly)
    if truly in origins:
        return origins[truly]
    if truly.startswith("self of "):
        mother = father = origins[truly.removeprefix("self of ")]
    elif " by " in truly:
        mother, father = (origins[name] for name in truly.split(" by "))
    else:
        hybrid: InventedLine = book.find(truly)
        mother, father = origins[hybrid.mother], origins[hybrid.father]
    return np.array([draw_gamete(mother, dice), draw_gamete(father, dice)])


def _draw_alleles(book: LineBook) -> Genome:
    """What each founder has at each marker (founders, MARKERS), by how common it is in its group."""
    founders = [line for line in book.lines if line.method == "founder_inbred"]
    shared = roll(book.truth.seed, "marker alleles").beta(2.0, 2.0, MARKERS)
    common = {
        group: np.clip(shared + roll(book.truth.seed, "marker alleles", group).normal(0.0, 0.2, MARKERS), 0.1, 0.9)
        for group in GROUPS.values()
    }
    drawn = [
        roll(book.truth.seed, "marker founder", line.name).random(MARKERS) < common[line.group] for line in founders
    ]
    return np.array(drawn, dtype=np.int8)


def _read(seed: int, name: str, doses: Calls) -> Calls:
    """What the laboratory reads: some calls are wrong, some fail."""
    dice = roll(seed, "marker reading", name)
    calls = doses.copy()
    wrong = dice.random(MARKERS) < WRONG_SHARE
    calls[wrong] = (calls[wrong] + dice.integers(1, 3, int(wrong.sum()))) % 3
    calls[dice.random(MARKERS) < UNREAD_SHARE] = -1
    return calls


def write_variants(samples: tuple[InventedSample, ...]) -> str:
    """The samples as text in the variant call format."""
    of_dose = {0: "0/0", 1: "0/1", 2: "1/1", -1: "./."}
    head = ["##fileformat=VCFv4.2", '##FORMAT=<ID=GT,Number=1,Type=String,Description="Genotype">']
    head += ["\t".join(["#CHROM", "POS", "ID", "REF", "ALT", "QUAL", "FILTER", "INFO", "FORMAT"]
                       + [one.name for one in samples])]  # fmt: skip
    rows = [
        "\t".join([chromosome, str(position), name, "A", "G", ".", ".", ".", "GT"]
                  + [of_dose[int(one.calls[at])] for one in samples])
        for at, (name, chromosome, position) in enumerate(list_markers())
    ]  # fmt: skip
    return "\n".join([*head, *rows]) + "\n"
