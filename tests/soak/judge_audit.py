"""How often are planted false crosses, swapped packets, shifted passes and extra ears found, at what rate of alarms?

Not collected by pytest: `python -m tests.soak.judge_audit [SEASONS]` prints the tables of `docs/audit.md`.
"""

from __future__ import annotations

import os
import sys
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from scipy.stats import binom

from firstsilk.invented.world import find_row_truth
from firstsilk.science.flowering.bagging_rules import check_pollinations
from firstsilk.science.flowering.checks import check_row_notes
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import RowState, keep_standing_notes, read_row_states
from firstsilk.science.lineage.marker_checks import check_parent, compare_samples
from firstsilk.science.lineage.marker_cross import check_cross
from firstsilk.science.nursery.misplaced import find_misplaced
from tests.soak.judge_marker_rows import judge_ear_rows, judge_mixed_lines, judge_sampled_rows
from tests.soak.planted_seasons import (
    Noted,
    add_ears,
    grow,
    grow_crosses,
    make_child,
    make_world,
    note_other_male,
    note_season,
    plan_lines,
    read_markers,
    shift,
    shift_notes,
    swap,
    take_notes,
)

SEED = 20310720
ALARM = 0.005
"""The rate of alarms at which detection is asked: 5 in 1,000 clean rows."""
READING_ERROR = 0.01
ROWS = 200
QUIET = {"tassel_not_bagged"}
"""Rules that say that a record is missing, not that one is wrong: they are no detection here."""


@dataclass(frozen=True)
class Rate:
    """So many found of so many planted, or alarmed of so many clean."""

    found: int
    n: int

    def __str__(self) -> str:
        return f"{self.found / self.n:.1%} ({self.found} of {self.n:,})" if self.n else "none"

    @property
    def share(self) -> float:
        """The share found."""
        return self.found / self.n


def name_rows(planned: list[str], true: list[str], seed: int) -> set[int]:
    """The rows that flowering names as misplaced."""
    sown = grow(planned, true, seed)
    named: set[int] = set()
    for one in find_misplaced(sown.expected, sown.observed, planned):
        named |= {one.first, one.last} if one.kind == "swap" else set(range(one.first, one.last + 1))
    return named


def judge_clean_rows(seeds: Iterable[int]) -> Rate:
    """Rows of clean seasons that flowering names."""
    named = n = 0
    for seed in seeds:
        planned = plan_lines(ROWS, np.random.default_rng(seed))
        named += len(name_rows(planned, planned, seed))
        n += ROWS
    return Rate(named, n)


def judge_swaps(apart: int, seeds: Iterable[int]) -> tuple[Rate, Rate]:
    """Swapped packets so many rows apart: either row named; both named."""
    one = both = n = 0
    for seed in seeds:
        dice = np.random.default_rng(seed)
        planned = plan_lines(ROWS, dice)
        true, where = swap(planned, apart, dice)
        hits = len(name_rows(planned, true, seed) & set(where))
        one, both, n = one + (hits > 0), both + (hits == 2), n + 1
    return Rate(one, n), Rate(both, n)


def judge_shifts(length: int, seeds: Iterable[int]) -> tuple[Rate, Rate]:
    """Shifted stretches of packets: any of its wrongly sown rows named; at least half of them."""
    some = half = n = 0
    for seed in seeds:
        dice = np.random.default_rng(seed)
        planned = plan_lines(ROWS, dice)
        true, _ = shift(planned, length, dice)
        wrong = {at for at in range(ROWS) if planned[at] != true[at]}
        if not wrong:
            continue
        hits = len(name_rows(planned, true, seed) & wrong)
        some, half, n = some + (hits > 0), half + (2 * hits >= len(wrong)), n + 1
    return Rate(some, n), Rate(half, n)


def doubt_rows(noted: Noted) -> dict[str, set[str]]:
    """The codes that the rules on notes give, by tag of the row."""
    standing, _ = keep_standing_notes(take_notes(noted))
    by_tag: dict[str, list[Note]] = defaultdict(list)
    bagged: dict[str, set] = defaultdict(set)
    for note in standing:
        by_tag[note.tag].append(note)
        if note.kind == "tassel_bagged":
            bagged[note.tag].add(note.taken_on)
    states = read_row_states(standing)
    names = {row.tag: f"row {row.tag}" for row in noted.rows}
    doubted: dict[str, set[str]] = {}
    for row in noted.rows:
        state = states.get(row.tag, RowState(row.tag))
        kind = {"self": "self", "female": "cross"}.get(row.purpose, "")
        planned = row.males if row.purpose == "female" else ()
        found = [*check_row_notes(row.tag, by_tag[row.tag], states, names, planned)]
        found += check_pollinations(state, by_tag[row.tag], bagged, kind)
        doubted[row.tag] = {one.code for one in found} - QUIET
    return doubted


@dataclass
class NoteRates:
    """What the rules on notes found: by name, found and planted; and rows of clean seasons that they doubted."""

    found: dict[str, list[bool]]
    clean_doubted: int = 0
    clean: int = 0
    slips: int = 0

    def rate(self, name: str) -> Rate:
        """The rate of one kind of plant."""
        return Rate(sum(self.found[name]), len(self.found[name]))


def judge_notes(seeds: Iterable[int], selfs: int = 50, crosses: int = 40) -> NoteRates:
    """Shifted notes, extra ears and other males in seasons of notes. A row that the crew's own slip or the season
    itself makes doubtful is no detection: only rows clean before the planting are counted."""
    rates = NoteRates(defaultdict(list))
    for seed in seeds:
        dice = np.random.default_rng(seed)
        noted = note_season(selfs, crosses, seed)
        before = doubt_rows(noted)
        slipped = {one.tag for one in noted.drafts if one.doubt == "male"}
        clean = [tag for tag in before if tag not in slipped]
        rates.clean += len(clean)
        rates.slips += len(slipped)
        rates.clean_doubted += sum(bool(before[tag]) for tag in clean)
        for length in (1, 3, 6):
            planted, wrong = shift_notes(noted, length, dice)
            after = doubt_rows(planted)
            rates.found[f"shift {length}"].append(any(after[tag] - before[tag] for tag in wrong))
        for extra in (1, 2, 4, 8):
            planted, tag = add_ears(noted, extra, dice)
            rates.found[f"ears {extra}"].append(bool(doubt_rows(planted)[tag] - before[tag]))
        planted, tag = note_other_male(noted, dice)
        rates.found["male noted"].append(bool(doubt_rows(planted)[tag] - before[tag]))
    return rates


FALSE = ("self of the mother", "other male, same group as the true one", "other male, the mother's group")


def judge_crosses(markers: int, tries: int, seed: int = SEED) -> dict[str, Rate]:
    """One kernel of a cross tested with so many markers: refuted by kind of false cross; `clean`: true ones."""
    world, dice = make_world(), np.random.default_rng([seed, markers])
    genomes = world.book.truth.genomes
    groups = {name: [one.name for one in world.book.inbreds(name)] for name in ("Esker", "Holm")}
    every = np.array([genomes[name].sum(axis=0) for one in groups.values() for name in one]) / 2.0
    counts = dict.fromkeys(("clean", *FALSE), 0)
    for _ in range(tries):
        chosen = np.sort(dice.choice(every.shape[1], markers, replace=False))
        frequency = every.mean(axis=0)[chosen]
        mother, near = (groups["Esker"][at] for at in dice.choice(len(groups["Esker"]), 2, replace=False))
        father, other = (groups["Holm"][at] for at in dice.choice(len(groups["Holm"]), 2, replace=False))
        told = [read_markers(genomes[one], chosen, READING_ERROR, dice) for one in (mother, father)]
        for kind, male in zip(counts, (father, mother, other, near), strict=True):
            child = read_markers(make_child(genomes[mother], genomes[male], dice), chosen, READING_ERROR, dice)
            check = check_cross(told[0], told[1], child, frequency, READING_ERROR, ALARM)
            counts[kind] += check.verdict == "disagrees"
    return {kind: Rate(count, tries) for kind, count in counts.items()}


def judge_cross_rows(seeds: Iterable[int], calibrate: Iterable[int], rows: int = 60) -> dict[str, Rate]:
    """Rows grown from a cross, by how far they flower from their parents' mean, beside the season's other rows; named
    beyond what 5 in 1,000 clean rows of the seasons `calibrate` exceed."""
    bound = np.quantile(np.concatenate([_measure_crosses(seed, rows)[:, 0] for seed in calibrate]), 1.0 - ALARM)
    far = np.concatenate([_measure_crosses(seed, rows) for seed in seeds])
    named = (far > bound).sum(axis=0)
    return {kind: Rate(int(named[at]), len(far)) for at, kind in enumerate(("clean", *FALSE[:2]))}


def _measure_crosses(seed: int, rows: int) -> np.ndarray:
    """Distances (n, 3) of true crosses, selfs of the mother and crosses with another father, in the season's spread."""
    late = grow_crosses(rows, seed)[2]
    late = late[np.isfinite(late).all(axis=1)]
    middle = np.median(late[:, 0])
    return np.abs(late - middle) / (1.4826 * np.median(np.abs(late[:, 0] - middle)))


def judge_ears(tries: int, pollinated: int = 8, known: int = 40, seed: int = SEED) -> dict[str, Rate]:
    """Extra ears in a row, by the rule (more than were pollinated) or else by how unlikely so many are at the line's
    rate as learnt from `known` earlier pollinations; the bound is what 5 in 1,000 clean rows exceed, on other rows."""
    dice = np.random.default_rng([seed, 3])
    truths = [find_row_truth(make_world(), line.name).success_frac for line in make_world().book.inbreds()]

    def draw(extra: int) -> np.ndarray:
        true = dice.choice(truths, tries)
        learnt = (dice.binomial(known, true) + 1.0) / (known + 2.0)
        picked = dice.binomial(pollinated, true) + extra
        # Ears alike in number are told apart at random, so that the bound is met and not only kept.
        chance = binom.sf(picked, pollinated, learnt) + dice.random(tries) * binom.pmf(picked, pollinated, learnt)
        return np.where(picked > pollinated, -1.0, chance)

    bound = np.quantile(draw(0), ALARM)
    found = {"clean": draw(0)} | {f"{extra} extra": draw(extra) for extra in (1, 2, 4, 8)}
    return {kind: Rate(int((chance < bound).sum()), tries) for kind, chance in found.items()}


def judge_plants(markers: int, tries: int, seed: int = SEED) -> dict[str, Rate]:
    """One plant of a row, or one kernel of an ear, tested against its line: by what it is instead, refuted."""
    world, dice = make_world(), np.random.default_rng([seed, markers, 1])
    genomes = world.book.truth.genomes
    names = [line.name for line in world.book.inbreds()]
    every = np.array([genomes[name].sum(axis=0) for name in names]) / 2.0
    counts = {"swapped packet": 0, "clean row": 0, "alien ear": 0, "clean ear": 0}
    for _ in range(tries):
        chosen = np.sort(dice.choice(every.shape[1], markers, replace=False))
        frequency = every.mean(axis=0)[chosen]
        one, other = (names[at] for at in dice.choice(len(names), 2, replace=False))
        told = read_markers(genomes[one], chosen, READING_ERROR, dice)
        for kind, name in (("swapped packet", other), ("clean row", one)):
            plant = read_markers(genomes[name], chosen, READING_ERROR, dice)
            check = compare_samples(told, plant, frequency, READING_ERROR, ALARM)
            counts[kind] += check.verdict == "disagrees"
        for kind, name in (("alien ear", other), ("clean ear", one)):
            kernel = make_child(genomes[name], genomes[name], dice)
            check = check_parent(
                told, read_markers(kernel, chosen, READING_ERROR, dice), frequency, READING_ERROR, ALARM
            )
            counts[kind] += check.verdict == "disagrees"
    return {kind: Rate(count, tries) for kind, count in counts.items()}


def print_flowering(seasons: int) -> None:
    """Packets swapped and shifted, by flowering."""
    seeds = range(SEED, SEED + seasons)
    print(f"| clean rows named | {judge_clean_rows(seeds)} |", flush=True)
    for apart in (1, 5, 10):
        one, both = judge_swaps(apart, seeds)
        print(f"| two packets swapped, {apart} rows apart | {one} | {both} |", flush=True)
    for length in (4, 10, 20, 50):
        some, half = judge_shifts(length, seeds)
        print(f"| {length} packets one row late | {some} | {half} |", flush=True)


def print_cross_rows(seasons: int) -> None:
    """False crosses, by the flowering of the rows grown from them."""
    ahead = range(SEED + 90_000, SEED + 90_000 + 10 * seasons)
    for kind, rate in judge_cross_rows(range(SEED, SEED + seasons), ahead).items():
        print(f"| {kind}, by flowering | {rate} |", flush=True)


def print_notes(seasons: int) -> None:
    """Notes shifted, ears too many, other males noted, by the rules on notes."""
    rates = judge_notes(range(SEED, SEED + seasons))
    print(f"| clean rows doubted | {Rate(rates.clean_doubted, rates.clean)} |")
    for name in rates.found:
        print(f"| {name} | {rates.rate(name)} |", flush=True)


def print_ears(tries: int) -> None:
    """Extra ears by the line's rate of success."""
    for kind, rate in judge_ears(tries).items():
        print(f"| ears of 8 pollinations, {kind} | {rate} |", flush=True)


def print_markers(tries: int) -> None:
    """False crosses, swapped packets and alien ears, by markers."""
    for markers in (20, 50, 100, 140):
        told = judge_crosses(markers, tries) | judge_plants(markers, tries)
        for kind, rate in told.items():
            print(f"| {markers} | {kind} | {rate} |", flush=True)


def print_sampled_rows(seasons: int) -> None:
    """Swapped packets and shifted passes, by one plant of every so-many-th row, alone and beside flowering."""
    seeds = range(SEED, SEED + seasons)
    ways = [(every, markers) for every in (1, 5, 10) for markers in (20, 100)]
    for kind, sizes in (("swap", (1, 10)), ("shift", (4, 10, 20, 50))):
        for size in sizes:
            for (every, markers), told in judge_sampled_rows(kind, size, ways, ALARM, seeds, name_rows, ROWS).items():
                shown = " | ".join(str(Rate(*one)) for one in told)
                print(f"| {kind} {size} | every {every} | {markers} | {shown} |", flush=True)


def print_marked_rows(tries: int) -> None:
    """Alien ears among a row's own, and lines that are not what their generation or cross says, by markers."""
    for markers in (20, 50, 140):
        for told in (judge_ear_rows(markers, tries, ALARM, SEED), judge_mixed_lines(markers, tries, ALARM, SEED)):
            for kind, rate in told.items():
                print(f"| {markers} | {kind} | {Rate(*rate)} |", flush=True)


if __name__ == "__main__":
    asked = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    print_flowering(asked)
    print_cross_rows(max(2, asked // 5))
    print_notes(max(2, asked // 5))
    print_ears(100 * asked)
    print_markers(10 * asked)
    print_sampled_rows(max(2, asked // 5))
    print_marked_rows(5 * asked)
