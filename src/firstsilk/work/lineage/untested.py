"""What are untested lines worth, by their markers and the lines that were tested, and how far is that to be trusted?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from hashlib import sha256
from typing import Any

import numpy as np

from firstsilk import __version__
from firstsilk.answers import InputRefused, refuse
from firstsilk.records.models import Result, Station
from firstsilk.science.lineage.marker_relationship import blend_relationships, find_marker_relationship
from firstsilk.science.lineage.markers import Doses, MarkerTable, Numbers, judge_markers, keep_markers
from firstsilk.science.lineage.prediction import GenomicFit, fit_genomic_values
from firstsilk.science.lineage.trust import FamilyTrust, validate_predictions
from firstsilk.work.analysis.facts import TrialAnalysis
from firstsilk.work.analysis.plots import TRAIT_WORDS, TRAITS
from firstsilk.work.analysis.reading import read_analysis
from firstsilk.work.lineage.ancestry import collect_ancestors, find_kinship
from firstsilk.work.lineage.marker_books import agree_on_calls, find_panel
from firstsilk.work.lineage.marker_claims import find_origin
from firstsilk.work.lineage.marker_looks import Reading, judge_claims
from firstsilk.work.lineage.markers import read_reading
from firstsilk.work.occasion import Basis, Occasion, Progress, stay_silent
from firstsilk.work.shelf import get_station

KIND = "untested_lines"
PEDIGREE_WEIGHT = 0.1
"""Share of the relationship that comes from the pedigree: what a panel does not catch. Ours, as at the doors."""
MOST_MEMBERS = 8_000
"""Lines and ancestors whose pedigree is worked through; beyond, markers alone are used. Ours: 0.5 GB."""
LEAST_CALL_RATE = 0.5
LEAST_TO_FOLD = 10
FOLDS = 5
LEAST_RELIABILITY, MOST_RELIABILITY = 0.05, 0.98
"""An estimate less reliable says next to nothing; one more reliable gets no more weight. Ours."""


@dataclass(frozen=True, slots=True)
class Foretold:
    """One line: whether it was tested, its estimate, what is foretold in the trait's unit, reliability, and trust.

    `estimate` is the newest analysis's own, None for an untested line. `trust` is that of its family.
    """

    line: str
    group: str
    family: str
    tested: bool
    estimate: float | None
    foretold: float
    reliability: float
    trust: str


@dataclass(frozen=True, slots=True)
class Foretelling:
    """All lines with markers, the best foretold first; how far each family can be trusted; what it rests on."""

    trait: str
    trait_words: str
    of: str
    made_on: date
    lines: tuple[Foretold, ...]
    families: tuple[dict[str, Any], ...]
    genetic_share: float
    said: tuple[str, ...]
    basis: Basis

    @property
    def untested(self) -> tuple[Foretold, ...]:
        """The lines without an estimate of their own."""
        return tuple(one for one in self.lines if not one.tested)


def predict_untested(
    on: Occasion, trait: str = "", panel: str = "", seed: int = 1, progress: Progress = stay_silent
) -> Foretelling:
    """Foretell lines from their markers by the lines of the newest analysis, and write the result down.

    Parameters
    ----------
    on
        The occasion.
    trait
        A trait of the analyses; yield if empty.
    panel
        Name of the panel; the newest if empty.
    seed
        Decides how families are dealt when lines are left out.
    progress
        Told how far it is; may stop it.

    Raises
    ------
    InputRefused
        No markers, no analysis, or too few lines with both.

    Notes
    -----
    Tested lines enter with their estimate's deviation from the mean by its reliability r (a BLUP is drawn towards the
    mean; this takes it back) and the weight r / (1 - r) of such a value (Garrick, Taylor & Fernando 2009, Genet. Sel.
    Evol. 41:55, with no genetic rest beside the markers). Groups have means of their own. Relationship: 0.9 of that by
    markers, brought to the base of the pedigree, and 0.1 of that by pedigree. Lines whose markers refute the books are
    left out. Checked by tests/work/test_untested.py.
    """
    station = get_station(on.station)
    trait = trait or TRAITS[0]
    if trait not in TRAITS:
        raise refuse("trait_unknown", f"There is no trait {trait!r}.", f"Traits: {', '.join(TRAITS)}.")
    progress(0.0, "reading markers")
    held = find_panel(station, on.today, panel)
    reading = read_reading(station, on.today, held) if held is not None else None
    if held is None or reading is None:
        raise refuse("no_markers_yet", "There are no markers in the books.", "Bring some: firstsilk bring-markers.")
    analysis = read_analysis(on, trait)
    progress(0.1, "judging samples")
    chosen = _choose_lines(reading, analysis)
    progress(0.3, f"relating {len(chosen.lines):,} lines")
    relationship, n_markers, told = _relate(reading, chosen)
    progress(0.6, "fitting")
    fit = _fit(relationship, chosen)
    progress(0.8, "leaving out families")
    families = _validate(fit, relationship, chosen, seed)
    progress(0.95, "writing down")
    settings = {"trait": trait, "panel": held.name, "analysis": analysis.result, "of": chosen.of}
    settings |= {"pedigree_weight": PEDIGREE_WEIGHT, "folds": FOLDS, "markers": n_markers}
    answer = _write_answer(chosen, fit, families, (*chosen.said, *told))
    written = Result.objects.create(
        station=station,
        kind=KIND,
        about=trait,
        made_on=on.today,
        made_at=on.now,
        version=__version__,
        inputs_hash=_hash_inputs(chosen, settings),
        settings=settings,
        seed=seed,
        n_records=len(chosen.lines),
        missing=list(chosen.missing),
        answer=answer,
    )
    progress(1.0, "done")
    return _read(written)


def find_untested(on: Occasion, trait: str = "") -> Foretelling | None:
    """The newest foretelling of a trait (yield if none is named) as it was written down; None if there is none."""
    station: Station = get_station(on.station)
    found = Result.objects.filter(station=station, kind=KIND, about=trait or TRAITS[0], made_on__lte=on.today)
    newest = found.order_by("-made_on", "-pk").first()
    return _read(newest) if newest is not None else None


def predict_in_job(on: Occasion, arguments: Mapping[str, object], progress: Progress) -> dict[str, object]:
    """As a job: foretell the untested lines for one trait."""
    found = predict_untested(on, str(arguments.get("trait", "")), progress=progress)
    return {"told": [f"{len(found.untested)} untested lines are foretold.", found.basis.as_text()]}


@dataclass(frozen=True, slots=True)
class _Chosen:
    """The lines that take part, by number in the books and in the order of everything else, and what is known of them.

    `values` are deviations that were drawn towards the mean, taken back; NaN for untested lines, as are `weights`.
    """

    of: str
    lines: tuple[int, ...]
    calls: Doses
    names: tuple[str, ...]
    groups: tuple[str, ...]
    families: tuple[str, ...]
    estimates: Numbers
    values: Numbers
    weights: Numbers
    mean: float
    said: tuple[str, ...]
    missing: tuple[str, ...]


def _choose_lines(reading: Reading, analysis: TrialAnalysis) -> _Chosen:
    books, calls = reading.books, _agree_on_good(reading)
    lines = sorted(pk for pk in calls if books[pk].kind == "line")
    lost = sorted(books[pk].name for pk in reading.by_line if books[pk].kind == "line" and pk not in calls)
    if not lines:
        raise refuse("no_line_left", "No line has markers that count.", "Sample lines, or look at the page of markers.")
    names = tuple(books[pk].name for pk in lines)
    kind = "gca" if sum(one.line in names for one in analysis.of_kind("gca")) >= LEAST_TO_FOLD else "blup"
    told = {one.line: one for one in analysis.of_kind(kind) if one.of == "line"}
    estimates, values, weights = (np.full(len(lines), np.nan) for _ in range(3))
    unsure = 0
    for at, name in enumerate(names):
        one = told.get(name)
        if one is None:
            continue
        estimates[at] = one.value
        if one.reliability is None or one.reliability < LEAST_RELIABILITY:
            unsure += 1
            continue
        sure = min(one.reliability, MOST_RELIABILITY)
        values[at], weights[at] = (one.value - analysis.mean) / sure, sure / (1.0 - sure)
    missing = [f"left out, as their markers refute the books: {', '.join(lost[:12])}"] if lost else []
    if unsure:
        missing.append(f"{unsure} estimates are too unreliable to learn from")
    bare = sum(1 for one in told if one not in names)
    if bare:
        missing.append(f"{bare} lines with an estimate have no markers that count")
    of = "general combining ability" if kind == "gca" else "the line itself"
    said = (f"Learnt from {of} in the analysis of {', '.join(map(str, analysis.years))}.",)
    groups = tuple(books[pk].group for pk in lines)
    return _Chosen(
        of, tuple(lines), np.stack([calls[pk] for pk in lines]), names, groups,
        tuple(_tell_family(reading, pk) for pk in lines),
        estimates, values, weights, analysis.mean, said, tuple(missing),
    )  # fmt: skip


def _agree_on_good(reading: Reading) -> dict[int, Doses]:
    """What the samples of each line say together, without those that a claim refutes; lines left without any are out.

    Where two samples of a line differ and neither is refuted otherwise, both are left out: either may be the wrong one.
    """
    refuted = [one for one in judge_claims(reading) if one.verdict == "disagrees"]
    bad = {one.sample for one in refuted if one.check != "identity"}
    for one in refuted:
        pair = {one.sample, *one.against}
        if one.check == "identity" and not pair & bad:
            bad |= pair
    kept = {
        line: [at for at in places if reading.samples[at].name not in bad] for line, places in reading.by_line.items()
    }
    return {line: agree_on_calls(reading.table.doses[places]) for line, places in kept.items() if places}


def _tell_family(reading: Reading, line: int) -> str:
    """The cross behind a line; empty where it is not known."""
    origin = find_origin(reading.books[line], reading.books)
    if origin.mother is None or origin.father is None:
        return ""
    return f"{reading.name(origin.mother)}/{reading.name(origin.father)}"


def _relate(reading: Reading, chosen: _Chosen) -> tuple[Numbers, int, tuple[str, ...]]:
    """The relationship of the chosen lines, the markers that counted, and how it was made, in sentences."""
    table = MarkerTable(chosen.names, tuple(reading.panel.markers), chosen.calls)
    kept = keep_markers(table, judge_markers(table), LEAST_CALL_RATE)
    by_markers = find_marker_relationship(kept).matrix
    lines = [reading.books[line] for line in chosen.lines]
    if len(collect_ancestors(lines, reading.books)) > MOST_MEMBERS:
        return by_markers, len(kept.markers), ("The pedigree is too large to be blended in: markers alone.",)
    try:
        kinship = find_kinship(lines, reading.books)
        place = {name: at for at, name in enumerate(kinship.lines)}
        at = [place[name] for name in chosen.names]
        by_pedigree = 2.0 * kinship.coancestry[np.ix_(at, at)]
        blended = blend_relationships(by_markers, by_pedigree, PEDIGREE_WEIGHT, align=True)
    except InputRefused as no:
        return by_markers, len(kept.markers), (f"Markers alone, for the pedigree cannot be used: {no}",)
    return (
        blended,
        len(kept.markers),
        (f"Relationship: {1 - PEDIGREE_WEIGHT:g} by markers, {PEDIGREE_WEIGHT:g} by pedigree.",),
    )


def _fit(relationship: Numbers, chosen: _Chosen) -> GenomicFit:
    tested = np.flatnonzero(np.isfinite(chosen.values))
    return fit_genomic_values(
        relationship, tested, chosen.values[tested], _lay_out_groups(chosen)[tested], chosen.weights[tested]
    )


def _lay_out_groups(chosen: _Chosen) -> Numbers:
    """A column for each group of which lines were tested; a line of another group takes the mean of all columns."""
    tested = np.isfinite(chosen.values)
    groups = sorted({group for group, is_tested in zip(chosen.groups, tested, strict=True) if is_tested})
    design = np.full((len(chosen.lines), max(1, len(groups))), 1.0 / max(1, len(groups)))
    for at, group in enumerate(chosen.groups):
        if group in groups:
            design[at] = np.arange(len(groups)) == groups.index(group)
    return design


def _validate(fit: GenomicFit, relationship: Numbers, chosen: _Chosen, seed: int) -> tuple[FamilyTrust, ...]:
    if len(fit.tested) < LEAST_TO_FOLD:
        return ()
    dice = np.random.default_rng(seed)
    return validate_predictions(fit, relationship, list(chosen.families), FOLDS, dice).families


def _write_answer(
    chosen: _Chosen, fit: GenomicFit, families: Sequence[FamilyTrust], said: Sequence[str]
) -> dict[str, object]:
    foretold = chosen.mean + _lay_out_groups(chosen) @ fit.effects + fit.values
    trust = {one.family: one.trust for one in families}
    rows = [
        [name, chosen.groups[at], chosen.families[at], bool(np.isfinite(chosen.estimates[at])),
         float(chosen.estimates[at]) if np.isfinite(chosen.estimates[at]) else None, float(foretold[at]),
         float(fit.reliability[at]), trust.get(chosen.families[at], "not_measured")]
        for at, name in enumerate(chosen.names)
    ]  # fmt: skip
    return {
        "lines": sorted(rows, key=lambda row: -float(str(row[5]))),
        "families": [_plain(asdict(one)) for one in families],
        "genetic_share": fit.genetic_share,
        "learnt_from": len(fit.tested),
        "said": list(said),
    }


def _plain(told: dict[str, Any]) -> dict[str, Any]:
    """A family as JSON holds it: what is not told is None, for JSON has no NaN."""
    return {
        key: _plain(value) if isinstance(value, dict)
        else None if isinstance(value, float) and not math.isfinite(value) else value
        for key, value in told.items()
    }  # fmt: skip


def _hash_inputs(chosen: _Chosen, settings: Mapping[str, object]) -> str:
    told = sha256(repr((sorted(settings.items()), chosen.names, chosen.groups, chosen.families)).encode())
    told.update(chosen.estimates.tobytes() + chosen.weights.tobytes())
    told.update(chosen.calls.tobytes())
    return told.hexdigest()


def _read(result: Result) -> Foretelling:
    answer, trait = result.answer, result.settings["trait"]
    used = (
        ("lines with markers", result.n_records),
        ("tested lines", answer["learnt_from"]),
        ("markers", result.settings["markers"]),
    )
    return Foretelling(
        trait,
        TRAIT_WORDS[trait],
        result.settings["of"],
        result.made_on,
        tuple(Foretold(*row) for row in answer["lines"]),
        tuple(answer["families"]),
        answer["genetic_share"],
        tuple(answer["said"]),
        Basis(used, tuple(result.missing)),
    )
