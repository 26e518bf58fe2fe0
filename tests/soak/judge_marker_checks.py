"""Seasons with known truth: how often do checks by markers refute true claims, and find false ones, by markers read?

Inbred lines from allele frequencies of 0.2 to 0.8, ten chromosomes, readings wrong with the chance that the checks are
told. A sister is another doubled haploid of the cross that the true line came from.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from firstsilk.science.lineage.marker_checks import check_descent, check_parent, compare_samples
from firstsilk.science.lineage.marker_cross import check_cross
from firstsilk.science.lineage.markers import Doses

ERROR = 0.01
UNREAD = 0.03


class Field:
    """One season's lines, and readings of them."""

    def __init__(self, seed: int, markers: int) -> None:
        self.dice = np.random.default_rng(seed)
        self.frequency = self.dice.uniform(0.2, 0.8, markers)
        self.one, self.two, self.three, self.four = (self.founder() for _ in range(4))
        self.line, self.sister = self.haploid(self.one, self.two), self.haploid(self.one, self.two)

    def founder(self) -> Doses:
        return (2 * (self.dice.random(len(self.frequency)) < self.frequency)).astype(np.int8)

    def haploid(self, one: Doses, other: Doses) -> Doses:
        picked = []
        for part in np.array_split(np.arange(len(one)), 10):
            cuts = np.sort(self.dice.random(self.dice.poisson(1.5))) * len(part)
            picked.append((self.dice.integers(2) + np.searchsorted(cuts, np.arange(len(part)))) % 2)
        return np.where(np.concatenate(picked) == 0, one, other).astype(np.int8)

    def read(self, doses: Doses) -> Doses:
        wrong = self.dice.random(len(doses)) < ERROR
        seen = np.where(wrong, (doses + self.dice.integers(1, 3, len(doses))) % 3, doses)
        return np.where(self.dice.random(len(doses)) < UNREAD, -1, seen).astype(np.int8)

    def identity(self, one: Doses, other: Doses) -> str:
        return compare_samples(self.read(one), self.read(other), self.frequency, ERROR).verdict

    def parent(self, parent: Doses, mate: Doses, claimed: Doses) -> str:
        child = self.read(((parent + mate) // 2).astype(np.int8))
        return check_parent(self.read(claimed), child, self.frequency, ERROR).verdict

    def cross(self, mother: Doses, father: Doses, plant: Doses) -> str:
        readings = (self.read(mother), self.read(father), self.read(plant.astype(np.int8)))
        return check_cross(*readings, self.frequency, ERROR).verdict

    def descent(self, mother: Doses, father: Doses, line: Doses) -> str:
        readings = (self.read(mother), self.read(father), self.read(line))
        return check_descent(*readings, self.frequency, ERROR).verdict


TRUE: dict[str, Callable[[Field], str]] = {
    "identity": lambda f: f.identity(f.line, f.line),
    "parent": lambda f: f.parent(f.line, f.three, f.line),
    "cross": lambda f: f.cross(f.line, f.three, (f.line + f.three) // 2),
    "descent": lambda f: f.descent(f.one, f.two, f.line),
}
FALSE: dict[str, Callable[[Field], str]] = {
    "identity: another line": lambda f: f.identity(f.line, f.three),
    "identity: a sister": lambda f: f.identity(f.line, f.sister),
    "parent: another line": lambda f: f.parent(f.line, f.three, f.four),
    "parent: a sister": lambda f: f.parent(f.line, f.three, f.sister),
    "cross: a self of the mother": lambda f: f.cross(f.line, f.three, f.line),
    "cross: another father": lambda f: f.cross(f.line, f.three, (f.line + f.four) // 2),
    "cross: a sister as father": lambda f: f.cross(f.three, f.line, (f.three + f.sister) // 2),
    "descent: another line": lambda f: f.descent(f.one, f.two, f.four),
    "descent: another father": lambda f: f.descent(f.one, f.two, f.haploid(f.one, f.three)),
}


def count_refuted(claims: dict[str, Callable[[Field], str]], markers: int, runs: int) -> dict[str, float]:
    """The share of seasons in which each claim is refuted."""
    fields = [Field(seed, markers) for seed in range(runs)]
    return {name: float(np.mean([claim(field) == "disagrees" for field in fields])) for name, claim in claims.items()}


def tell(shares: dict[int, dict[str, float]]) -> str:
    """The table of docs/markers.md: a claim in each row, a number of markers in each column."""
    lines = [f"| claim | {' | '.join(f'{markers} markers' for markers in shares)} |", "|---" * (len(shares) + 1) + "|"]
    for name in next(iter(shares.values())):
        lines.append(f"| {name} | {' | '.join(f'{100 * found[name]:.1f} %' for found in shares.values())} |")
    return "\n".join(lines)
