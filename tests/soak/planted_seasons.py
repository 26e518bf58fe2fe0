"""Seasons of the invented station with swapped packets, shifted passes, extra ears and false crosses planted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache

import numpy as np

from firstsilk.invented.crew import make_crew, write_notes
from firstsilk.invented.drafts import NoteDraft
from firstsilk.invented.genes import Genome, LineTruth, draw_gamete, value_line
from firstsilk.invented.nursery import FieldRow, draw_row_facts
from firstsilk.invented.pedigrees import build_line_book
from firstsilk.invented.playing import play_season
from firstsilk.invented.programme import PastTrials
from firstsilk.invented.season import sow_field
from firstsilk.invented.weather import SITES, simulate_weather
from firstsilk.invented.world import World, find_row_truth
from firstsilk.science.flowering.notes import Note

UNITS_ERROR_CHU = 10.0
"""How well the station knows its lines' units: standard deviation of its figure about the truth [CHU]."""


@lru_cache(maxsize=1)
def make_world() -> World:
    """The invented station's lines and weather, without its past trials."""
    return World(1, SITES, simulate_weather(1), build_line_book(1), PastTrials((), ()), ())


@dataclass(frozen=True)
class Sown:
    """A season's rows: the line planned for each, the line truly sown, and the units expected and seen (n, 2)."""

    planned: tuple[str, ...]
    true: tuple[str, ...]
    expected: np.ndarray
    observed: np.ndarray


def plan_lines(rows: int, dice: np.random.Generator) -> list[str]:
    """The lines of a nursery in sowing order: inbreds at random, one to three rows of each in a run."""
    names = [line.name for line in make_world().book.inbreds()]
    lines: list[str] = []
    while len(lines) < rows:
        name = names[int(dice.integers(len(names)))]
        lines += [name] * int(dice.integers(1, 4))
    return lines[:rows]


def swap(lines: Sequence[str], apart: int, dice: np.random.Generator) -> tuple[list[str], tuple[int, int]]:
    """Swap the packets of two rows of different lines."""
    while True:
        at = int(dice.integers(len(lines) - apart))
        if lines[at] != lines[at + apart]:
            break
    out = list(lines)
    out[at], out[at + apart] = out[at + apart], out[at]
    return out, (at, at + apart)


def shift(lines: Sequence[str], length: int, dice: np.random.Generator) -> tuple[list[str], tuple[int, int]]:
    """Let a stretch have the packets of one row before."""
    first = int(dice.integers(1, len(lines) - length))
    out = list(lines)
    out[first : first + length] = lines[first - 1 : first + length - 1]
    return out, (first, first + length - 1)


def grow(planned: Sequence[str], true: Sequence[str], seed: int) -> Sown:
    """Let a nursery flower and see when each row had half silk and half shed, walked every day."""
    world, dice = make_world(), np.random.default_rng(seed)
    sown_on = date(int(dice.integers(2016, 2032)), 5, 14)
    known = {name: np.array(_units_of(name)) + dice.normal(0.0, UNITS_ERROR_CHU, 2) for name in sorted(set(planned))}
    seen = [_see_row(f"J{seed}-{at}", find_row_truth(world, name), sown_on) for at, name in enumerate(true)]
    expected = np.array([known[name] for name in planned])
    return Sown(tuple(planned), tuple(true), expected, np.array(seen))


def _see_row(tag: str, truth: LineTruth, sown_on: date) -> list[float]:
    """Units that a row needed to half silk and half shed, by the days on which they were seen."""
    world = make_world()
    running = np.concatenate([[0.0], np.cumsum(world.weather.daily_chu(world.home))])
    start = world.weather.position(sown_on) + 1
    facts = draw_row_facts(1, world.weather, world.home, truth, FieldRow(tag, truth.name, sown_on))
    days = (facts.silk_on, facts.shed_on)
    return [np.nan if day is None else running[world.weather.position(day) + 1] - running[start] for day in days]


def grow_crosses(rows: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows of first crosses between the groups: how much later than their parents' mean they silk and shed (n, 3).

    Gives the true cross, a self of its mother and a cross with another father of the same group, in the last axis, for
    silk and for shed, and the mean of both.
    """
    world, dice = make_world(), np.random.default_rng([seed, 7])
    genomes, traits = world.book.truth.genomes, world.book.truth.traits
    mothers, fathers = ([one.name for one in world.book.inbreds(name)] for name in ("Esker", "Holm"))
    sown_on = date(int(dice.integers(2016, 2032)), 5, 14)
    told = []
    for at in range(rows):
        mother, (father, other) = mothers[int(dice.integers(len(mothers)))], dice.choice(fathers, 2, replace=False)
        parents = [np.array(_units_of(one)) + dice.normal(0.0, UNITS_ERROR_CHU, 2) for one in (mother, father)]
        seen = []
        for kind, male in enumerate((father, mother, other)):
            child = make_child(genomes[mother], genomes[male], dice)
            truth = value_line(traits, f"F{at}", "Esker", child)
            seen.append(np.array(_see_row(f"F{seed}-{at}-{kind}", truth, sown_on)) - np.mean(parents, axis=0))
        told.append(seen)
    late = np.array(told)
    return late[:, :, 0], late[:, :, 1], late.mean(axis=2)


def _units_of(name: str) -> tuple[float, float]:
    truth = find_row_truth(make_world(), name)
    return truth.units_to_silk_chu, truth.units_to_shed_chu


@dataclass(frozen=True)
class Noted:
    """A season's rows with the drafts of its notes, in the order in which they were taken."""

    rows: tuple[FieldRow, ...]
    drafts: tuple[NoteDraft, ...]


def note_season(n_selfs: int, n_crosses: int, seed: int) -> Noted:
    """A whole season of selfs and crosses, each cross beside others of its male, noted by a crew with its own slips."""
    world, dice = make_world(), np.random.default_rng(seed)
    names = [line.name for line in world.book.inbreds()]
    sown = date(2031, 5, 14)
    rows = [FieldRow(f"{seed}S{at}", names[int(dice.integers(len(names)))], sown, "self", 25, ears_wanted=8)
            for at in range(n_selfs)]  # fmt: skip
    males = [f"{seed}M{at}" for at in range(4)]
    for at, tag in enumerate(males):
        rows.append(FieldRow(tag, names[-1 - at // 2], sown + timedelta(days=6 * (at % 2)), "male", 30))
    for at in range(n_crosses):
        two = tuple(males[2 * (at % 2) : 2 * (at % 2) + 2])
        name = names[int(dice.integers(len(names) - 2))]
        rows.append(FieldRow(f"{seed}F{at}", name, sown, "female", 25, two, "cross", 8))
    field = sow_field(replace(world, seed=seed), rows, phones=2)
    return Noted(tuple(rows), tuple(draft for _, drafts in play_season(field) for draft in drafts))


def take_notes(noted: Noted) -> tuple[Note, ...]:
    """The drafts as notes."""
    return write_notes(make_crew(1, phones=2), noted.drafts)


def shift_notes(noted: Noted, length: int, dice: np.random.Generator) -> tuple[Noted, set[str]]:
    """Let a pollinator stand one row off for a stretch of rows on one day; gives the rows written wrongly."""
    tags = [row.tag for row in noted.rows if row.purpose != "male"]
    made = [draft for draft in noted.drafts if draft.kind == "pollinated"]
    while True:
        day = made[int(dice.integers(len(made)))].taken_local[:10]
        today = sorted({tags.index(one.tag) for one in made if one.taken_local[:10] == day and one.tag in tags})
        if len(today) >= length and today[0] + length < len(tags):
            break
    first = int(dice.integers(len(today) - length + 1))
    wrong = [at for at in today[first : first + length] if at + 1 < len(tags)]
    to = {tags[at]: tags[at + 1] for at in wrong}
    drafts = tuple(
        replace(one, tag=to[one.tag]) if one.kind == "pollinated" and one.taken_local[:10] == day and one.tag in to
        else one for one in noted.drafts
    )  # fmt: skip
    return replace(noted, drafts=drafts), set(to) | set(to.values())


def add_ears(noted: Noted, extra: int, dice: np.random.Generator) -> tuple[Noted, str]:
    """Let ears of a neighbour lie among those picked from one row; gives the row."""
    picked = [at for at, one in enumerate(noted.drafts) if one.kind == "ears_picked" and not one.replaces_key]
    at = picked[int(dice.integers(len(picked)))]
    one = noted.drafts[at]
    more = tuple(
        replace(draft, value=str(int(draft.value) + extra)) if draft.kind == "ears_picked" and draft.tag == one.tag
        else draft for draft in noted.drafts
    )  # fmt: skip
    return replace(noted, drafts=more), one.tag


def note_other_male(noted: Noted, dice: np.random.Generator) -> tuple[Noted, str]:
    """Let one pollination of a cross be noted with the other male line's row; gives the row."""
    corrected = {one.replaces_key for one in noted.drafts}
    slipped = {one.tag for one in noted.drafts if one.doubt == "male"}
    crossed = [
        at
        for at, one in enumerate(noted.drafts)
        if one.kind == "pollinated" and one.male and one.key not in corrected and one.tag not in slipped
    ]
    at = crossed[int(dice.integers(len(crossed)))]
    one = noted.drafts[at]
    males = [row.tag for row in noted.rows if row.purpose == "male" and row.line != _line_of(noted, one.male)]
    drafts = list(noted.drafts)
    drafts[at] = replace(one, male=males[int(dice.integers(len(males)))])
    return replace(noted, drafts=tuple(drafts)), one.tag


def _line_of(noted: Noted, tag: str) -> str:
    return next(row.line for row in noted.rows if row.tag == tag)


def read_markers(genome: Genome, chosen: np.ndarray, error: float, dice: np.random.Generator) -> np.ndarray:
    """Doses of one plant at chosen markers, a share of the readings wrong."""
    doses = genome.sum(axis=0)[chosen].astype(np.int8)
    wrong = dice.random(len(chosen)) < error
    doses[wrong] = (doses[wrong] + dice.integers(1, 3, int(wrong.sum()))) % 3
    return doses


def make_child(mother: Genome, father: Genome, dice: np.random.Generator) -> Genome:
    """A child of two plants."""
    return np.array([draw_gamete(mother, dice), draw_gamete(father, dice)])
