"""How long do inbreeding and the inverse relationship of a million members take? `python benchmarks/pedigree.py`.

Columns of codes are laid out first, so that the loops are timed by themselves; then the same from `Member`s, with all
checks. The first call of a process, which loads or compiles the loops, is left out. One process for each pedigree.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence

import numpy as np

from firstsilk.science.lineage.large_pedigree import find_inbreeding, find_plant_variances
from firstsilk.science.lineage.members import METHODS, Member
from firstsilk.science.lineage.plants import CODE, PedigreeTable, lay_out_plants
from firstsilk.science.lineage.relationship_inverse import find_sparse_relationship, invert_relationship

MEMBERS = 1_000_000
PEDIGREES = {
    "nursery": "12 cycles of crosses between inbreds, ear-to-row selfing and doubled haploids",
    "200": "20 generations, 200 parents in each",
    "1000": "20 generations, 1,000 parents in each",
    "4000": "20 generations, 4,000 parents in each",
}


class Rows:
    """A pedigree that grows."""

    def __init__(self) -> None:
        self.rows: list[tuple[int, int, int, int]] = []

    def add(self, method: str, mother: int = -1, father: int = -1, selfings: int = 1) -> int:
        self.rows.append((CODE[method], mother, father, selfings))
        return len(self.rows) - 1

    def table(self) -> PedigreeTable:
        method, mother, father, selfings = np.array(self.rows, dtype=np.int64).T
        return PedigreeTable(method.astype(np.int8), mother.copy(), father.copy(), selfings.copy())


def lay_nursery() -> PedigreeTable:
    """Each cycle crosses 300 pairs of the 60 best inbreds; half of the crosses give selfing chains, half DH lines."""
    dice, rows = np.random.default_rng(1), Rows()
    best = [rows.add("founder_inbred") for _ in range(60)]
    for _ in range(12):
        finished: list[int] = []
        crosses = [rows.add("cross", *dice.choice(best, 2, replace=False).tolist()) for _ in range(300)]
        for number, cross in enumerate(crosses):
            if number % 2:
                finished += [rows.add("dh", cross) for _ in range(275)]
                continue
            families = [rows.add("self", cross) for _ in range(100)]
            for keep in (80, 50, 30, 15, 6):
                families = [rows.add("self", family) for family in families[:keep]]
            finished += families
        best = dice.choice(finished, 60, replace=False).tolist()
    return rows.table()


def lay_generations(parents: int) -> PedigreeTable:
    """Half of the parents are mothers; each generation of progeny is made from parents chosen in the one before."""
    dice, each = np.random.default_rng(1), MEMBERS // 20
    mother, father = [np.full(each, -1)], [np.full(each, -1)]
    for generation in range(19):
        chosen = generation * each + dice.choice(each, parents, replace=False)
        mother.append(dice.choice(chosen[: parents // 2], each))
        father.append(dice.choice(chosen[parents // 2 :], each))
    mothers = np.concatenate(mother)
    method = np.where(mothers < 0, CODE["founder"], CODE["cross"]).astype(np.int8)
    return PedigreeTable(method, mothers, np.concatenate(father), np.ones(len(mothers), dtype=np.int64))


def as_members(table: PedigreeTable) -> list[Member]:
    """The same as a list of members."""
    names = [f"L{at:07d}" for at in range(len(table.method))] + [""]
    columns = (table.method.tolist(), table.mother.tolist(), table.father.tolist(), table.selfings.tolist())
    return [
        Member(names[at], METHODS[method], names[mother], names[father], selfings)
        for at, (method, mother, father, selfings) in enumerate(zip(*columns, strict=True))
    ]


def best_s(work: Callable[[], object], runs: int = 5) -> str:
    """Seconds of the quickest of some runs, by the clock and of the processor."""
    clock, processor = [], []
    for _ in range(runs):
        begun, busy = time.perf_counter(), time.process_time()
        work()
        processor.append(time.process_time() - busy)
        clock.append(time.perf_counter() - begun)
    return f"{min(clock):.3f} s ({min(processor):.3f} s of the processor)"


def tell_pedigree(kinds: Sequence[str] = ("nursery", "1000"), checked: bool = False) -> Iterator[tuple[str, str]]:
    """What was timed and how long it took."""
    find_sparse_relationship([Member("A", "founder"), Member("B", "cross", "A"), Member("C", "cross", "A", "B")])
    for kind in kinds:
        table = lay_nursery() if kind == "nursery" else lay_generations(int(kind))
        plants = lay_out_plants(table)
        variance, shared = find_plant_variances(plants)
        mean = variance[plants.of_member].mean() - 1
        says = f"pedigree of {len(table.method):,} members, {PEDIGREES[kind]} (mean F {mean:.4f})"
        yield f"{says}: laid out", best_s(lambda table=table: lay_out_plants(table))
        yield "inbreeding of all", best_s(lambda plants=plants: find_plant_variances(plants))
        asked = (plants, variance, shared, (), plants.of_member)
        yield "sparse inverse of the relationship", best_s(lambda asked=asked: invert_relationship(*asked))
        if checked:
            members = as_members(table)
            yield "inbreeding, from members and checked", best_s(lambda members=members: find_inbreeding(members), 2)
            yield (
                "inverse, from members and checked",
                best_s(lambda members=members: find_sparse_relationship(members), 2),
            )


def measure(kind: str) -> None:
    """Time one pedigree and print its lines."""
    for says, told in tell_pedigree([kind], checked=True):
        print(f"| {says} | {told} |", flush=True)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    print(f"| the largest this process was, the list of members included | {peak:.2f} GB |", flush=True)


def main() -> None:
    """Measure the pedigrees named, each in a process of its own."""
    if len(sys.argv) == 2:
        measure(sys.argv[1])
        return
    for kind in PEDIGREES:
        subprocess.run([sys.executable, __file__, kind], check=True)


if __name__ == "__main__":
    main()
