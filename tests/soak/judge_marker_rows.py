"""How often do markers, alone or beside flowering, find shifted passes, swapped packets, alien ears and mixed lines?

Not collected by pytest: `python -m tests.soak.judge_audit [SEASONS]` prints these tables too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from firstsilk.invented.genes import drop_genes
from firstsilk.invented.world import find_row_truth
from firstsilk.science.lineage.marker_checks import check_descent, check_parent, compare_samples
from firstsilk.science.lineage.marker_heterozygosity import check_heterozygosity, expect_first_cross
from tests.soak.planted_seasons import make_child, make_world, plan_lines, read_markers, shift, swap

READING_ERROR = 0.01
POLLINATED = 8

Naming = Callable[[list[str], list[str], int], set[int]]
Count = tuple[int, int]
"""So many found of so many."""


def refute_rows(
    planned: list[str], true: list[str], every: int, markers: int, alarm: float, dice: np.random.Generator
) -> set[int]:
    """The rows whose plant is refuted as their line, one plant sampled in every so-many-th row."""
    genomes = make_world().book.truth.genomes
    names = [line.name for line in make_world().book.inbreds()]
    doses = np.array([genomes[name].sum(axis=0) for name in names]) / 2.0
    chosen = np.sort(dice.choice(doses.shape[1], markers, replace=False))
    frequency = doses.mean(axis=0)[chosen]
    told = {name: read_markers(genomes[name], chosen, READING_ERROR, dice) for name in sorted(set(planned))}
    refuted = set()
    for at in range(int(dice.integers(every)), len(planned), every):
        plant = read_markers(genomes[true[at]], chosen, READING_ERROR, dice)
        if compare_samples(told[planned[at]], plant, frequency, READING_ERROR, alarm).verdict == "disagrees":
            refuted.add(at)
    return refuted


def judge_sampled_rows(
    kind: str,
    size: int,
    ways: Sequence[tuple[int, int]],
    alarm: float,
    seeds: Iterable[int],
    named_by: Naming,
    rows: int,
) -> dict[tuple[int, int], tuple[Count, Count, Count]]:
    """Plants of every so-many-th row, read at so many markers, for each of `ways`: mistakes found by markers; by
    markers or flowering; clean sampled rows refuted.

    `kind` is ``shift`` (of so many packets) or ``swap`` (so many rows apart); `named_by` names rows by flowering.
    """
    sums = {way: [0] * 5 for way in ways}
    for seed in seeds:
        dice = np.random.default_rng([seed, size])
        planned = plan_lines(rows, dice)
        true, _ = (shift if kind == "shift" else swap)(planned, size, dice)
        wrong = {at for at in range(rows) if planned[at] != true[at]}
        if not wrong:
            continue
        named = bool(named_by(planned, true, seed) & wrong)
        for way, told in sums.items():
            refuted = refute_rows(planned, true, *way, alarm, np.random.default_rng([seed, size, *way]))
            found = bool(refuted & wrong)
            more = (found, found or named, len(refuted - wrong), (rows - len(wrong)) // way[0], 1)
            sums[way] = [old + new for old, new in zip(told, more, strict=True)]
    return {way: ((one[0], one[4]), (one[1], one[4]), (one[2], one[3])) for way, one in sums.items()}


def judge_ear_rows(markers: int, tries: int, alarm: float, seed: int) -> dict[str, Count]:
    """Rows with so many alien ears among their own, one kernel of each ear tested; a row is found if one is refuted.

    The chance of a false refusal is shared among the ears of a row, so that clean rows keep the rate.
    """
    dice = np.random.default_rng([seed, markers, 5])
    genomes = make_world().book.truth.genomes
    names = [line.name for line in make_world().book.inbreds()]
    doses = np.array([genomes[name].sum(axis=0) for name in names]) / 2.0
    counts = dict.fromkeys((0, 1, 2, 4, 8), 0)
    for _ in range(tries):
        chosen = np.sort(dice.choice(doses.shape[1], markers, replace=False))
        frequency = doses.mean(axis=0)[chosen]
        one, other = (names[at] for at in dice.choice(len(names), 2, replace=False))
        told = read_markers(genomes[one], chosen, READING_ERROR, dice)
        own = int(dice.binomial(POLLINATED, find_row_truth(make_world(), one).success_frac))
        for extra in counts:
            of = [one] * own + [other] * extra
            kernels = [read_markers(make_child(genomes[n], genomes[n], dice), chosen, READING_ERROR, dice) for n in of]
            each = alarm / max(1, len(kernels))
            verdicts = [
                check_parent(told, one_kernel, frequency, READING_ERROR, each).verdict for one_kernel in kernels
            ]
            counts[extra] += "disagrees" in verdicts
    return {f"{extra} alien ears": (found, tries) for extra, found in counts.items()}


def judge_mixed_lines(markers: int, tries: int, alarm: float, seed: int, selfings: int = 4) -> dict[str, Count]:
    """Lines selfed out of a cross: true ones, plants that came of other pollen a generation ago, and lines of another
    cross of the same group; refuted by heterozygosity, or as no descendant of the cross."""
    dice = np.random.default_rng([seed, markers, 6])
    genomes = make_world().book.truth.genomes
    groups = [[one.name for one in make_world().book.inbreds(name)] for name in ("Esker", "Holm")]
    doses = np.array([genomes[name].sum(axis=0) for group in groups for name in group]) / 2.0
    counts: dict[str, int] = {}
    for _ in range(tries):
        chosen = np.sort(dice.choice(doses.shape[1], markers, replace=False))
        frequency = doses.mean(axis=0)[chosen]
        group, away = (groups[at] for at in dice.permutation(2))
        mother, father, third, fourth = (group[at] for at in dice.choice(len(group), 4, replace=False))
        told = [read_markers(genomes[one], chosen, READING_ERROR, dice) for one in (mother, father)]
        line = _self(genomes[mother], genomes[father], selfings, dice)
        plants = {
            "true": line,
            "other pollen of the group": make_child(line, genomes[third], dice),
            "other pollen of the other group": make_child(line, genomes[away[int(dice.integers(len(away)))]], dice),
            "of another cross": _self(genomes[third], genomes[fourth], selfings, dice),
        }
        for kind, plant in plants.items():
            read = read_markers(plant, chosen, READING_ERROR, dice)
            mixed = check_heterozygosity(read, expect_first_cross(*told), selfings, READING_ERROR, alarm)
            out = check_descent(told[0], told[1], read, frequency, READING_ERROR, alarm)
            for way, found in (("heterozygosity", mixed.verdict), ("descent", out.verdict)):
                counts[f"{kind}: {way}"] = counts.get(f"{kind}: {way}", 0) + (found == "disagrees")
    return {kind: (found, tries) for kind, found in counts.items()}


def _self(mother: np.ndarray, father: np.ndarray, selfings: int, dice: np.random.Generator) -> np.ndarray:
    return drop_genes("self", make_child(mother, father, dice), None, selfings, dice)
