"""What do the markers in the books say: of all samples of a panel, or of one line?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from firstsilk.records.models import Line, MarkerPanel, MarkerSample, Station
from firstsilk.science.lineage.markers import judge_markers
from firstsilk.work.lineage.ancestry import Books, read_books
from firstsilk.work.lineage.marker_books import find_panel, panels_on, samples_on
from firstsilk.work.lineage.marker_claims import find_origin
from firstsilk.work.lineage.marker_looks import Judged, Reading, expect_of, judge_claims, read_panel_samples
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_line, get_station
from firstsilk.work.standing import read_kept

MOST_FOR_FREQUENCIES = 200
"""Samples from which allele frequencies are told on the page of one line: a frequency of one half is known to 0.03 by
them (one plant a line)."""
VERDICTS = ("disagrees", "cannot_tell", "agrees")
"""The heaviest first."""


@dataclass(frozen=True, slots=True)
class PanelFacts:
    """A panel: its name, markers, how many of them have a place, samples that count, when and from what it came."""

    name: str
    n_markers: int
    n_placed: int
    n_samples: int
    brought_on: date
    source: str


@dataclass(frozen=True, slots=True)
class SampleFacts:
    """One sample: of which line, lot and row, its call rate and heterozygosity [0 to 1], and what was expected of it.

    `expected_heterozygosity` is what the generation lets expect, None where the books do not tell; `verdict` is the
    heaviest of its claims, empty if it has none.
    """

    sample: str
    line: str
    generation: str
    lot: str
    row: str
    sampled_on: date | None
    call_rate: float
    heterozygosity: float
    expected_heterozygosity: float | None
    verdict: str


@dataclass(frozen=True, slots=True)
class AsideFacts:
    """A sample that counts no longer: whose it was said to be, since when, and why."""

    sample: str
    line: str
    set_aside_on: date
    reason: str


@dataclass(frozen=True, slots=True)
class MarkerPage:
    """The samples of one panel and every claim judged, the heaviest verdicts first; the other panels by name."""

    panel: PanelFacts | None
    panels: tuple[str, ...]
    samples: tuple[SampleFacts, ...]
    judged: tuple[Judged, ...]
    aside: tuple[AsideFacts, ...]
    basis: Basis

    def count(self, verdict: str) -> int:
        """Claims with this verdict."""
        return sum(one.verdict == verdict for one in self.judged)


@dataclass(frozen=True, slots=True)
class LineMarkers:
    """What the markers say of one line, panel by panel: its samples and its claims."""

    samples: tuple[SampleFacts, ...]
    judged: tuple[Judged, ...]
    panels: tuple[str, ...]
    basis: Basis


def read_markers(on: Occasion, panel: str = "") -> MarkerPage:
    """All samples of a panel that count on the day, and what they say of the books' claims.

    Parameters
    ----------
    on
        The occasion.
    panel
        Name of the panel; the newest if empty.

    Raises
    ------
    InputRefused
        If there is no panel of this name.

    Notes
    -----
    Checked by tests/work/test_marker_books.py.
    """
    station = get_station(on.station)
    names = tuple(panels_on(station, on.today).values_list("name", flat=True))
    held = find_panel(station, on.today, panel)
    if held is None:
        return MarkerPage(None, (), (), (), (), Basis(missing=("no markers are in the books",)))
    reading = read_reading(station, on.today, held)
    judged = judge_claims(reading) if reading is not None else []
    samples = _tell_samples(reading, judged) if reading is not None else ()
    told = (VERDICTS.index(one.verdict) for one in judged)
    ordered = [one for _, one in sorted(zip(told, judged, strict=True), key=lambda pair: (pair[0], pair[1].line))]
    facts = PanelFacts(
        *(held.name, len(held.markers), sum(map(bool, held.chromosomes)), len(samples), held.brought_on, held.source)
    )
    return MarkerPage(facts, names, samples, tuple(ordered), _list_aside(held, on.today), _tell_basis(reading, judged))


def read_reading(station: Station, day: date, panel: MarkerPanel) -> Reading | None:
    """The samples of a panel that counted on a day, stacked; None if there are none."""
    samples = list(samples_on(panel, day).select_related("lot", "row").order_by("name"))
    return read_panel_samples(panel, samples, read_books(station, day)) if samples else None


def read_line_markers(on: Occasion, line: str) -> LineMarkers:
    """What the markers of all panels say of one line, by any of its names.

    Raises
    ------
    InputRefused
        If there is no such line.

    Notes
    -----
    Allele frequencies are those among the first 200 samples of the panel and these, so that a page of one line does not
    read them all. Checked by tests/work/test_marker_books.py.
    """
    station = get_station(on.station)
    number = get_line(station, line).pk
    if not _has_samples(station, number, on.today):
        return LineMarkers((), (), (), Basis((("samples", 0), ("claims", 0))))
    books = read_books(station, on.today)
    own = books.get_standing(books[number])
    of_own = MarkerSample.objects.filter(line__in={own.pk, *(g for g, k in books.kept.items() if k == own.pk)})
    samples: list[SampleFacts] = []
    judged: list[Judged] = []
    names = []
    for panel in panels_on(station, on.today).filter(samples__in=of_own).distinct():
        counted = samples_on(panel, on.today).select_related("lot", "row").order_by("name")
        read = {
            one.pk: one for one in (*counted[:MOST_FOR_FREQUENCIES], *counted.filter(line__in=_list_near(own, books)))
        }
        reading = read_panel_samples(panel, sorted(read.values(), key=lambda one: one.name), books)
        told = judge_claims(reading, [own.pk])
        names += [panel.name] if own.pk in reading.by_line else []
        judged += told
        samples += _tell_samples(reading, told, own.pk)
    used = (("samples", len(samples)), ("claims", len(judged)))
    return LineMarkers(tuple(samples), tuple(judged), tuple(names), Basis(used))


def _has_samples(station: Station, number: int, day: date) -> bool:
    """Whether a line, or a record that is one with it, has any; most have none, and the books need not be read then."""
    kept = read_kept(station, day)
    stands = kept.get(number, number)
    same = {stands, *(gone for gone, to in kept.items() if to == stands)}
    return MarkerSample.objects.filter(line__in=same).exists()


def _list_near(line: Line, books: Books) -> set[int]:
    """The line, the records merged into it, its mother, and the parents of the cross behind it and behind those."""
    origin = find_origin(line, books)
    near = {line.pk, *(one for one in (line.mother_id, line.father_id, origin.mother, origin.father) if one)}
    for parent in list(near):
        behind = find_origin(books[parent], books)
        near |= {one for one in (behind.mother, behind.father) if one}
    return near | {gone for gone, stands in books.kept.items() if stands in near}


def _tell_samples(reading: Reading, judged: Sequence[Judged], line: int | None = None) -> tuple[SampleFacts, ...]:
    """The samples of all lines, or of one."""
    quality = judge_markers(reading.table)
    heaviest: dict[str, str] = {}
    for verdict in reversed(VERDICTS):
        for one in judged:
            if one.verdict == verdict:
                heaviest |= dict.fromkeys((one.sample, *_others(one)), verdict)
    return tuple(
        SampleFacts(
            sample=one.name,
            line=reading.name(reading.line_of[at]),
            generation=reading.books[reading.line_of[at]].generation,
            lot=one.lot.name if one.lot else "",
            row=one.row.tag if one.row else "",
            sampled_on=one.sampled_on,
            call_rate=float(quality.sample_call_rate[at]),
            heterozygosity=float(quality.sample_heterozygosity[at]),
            expected_heterozygosity=_expect(reading, reading.line_of[at]),
            verdict=heaviest.get(one.name, ""),
        )
        for at, one in enumerate(reading.samples)
        if line in (None, reading.line_of[at])
    )


def _others(one: Judged) -> tuple[str, ...]:
    """The other sample of a comparison of two samples of one line: the verdict is on both."""
    return one.against if one.check == "identity" else ()


def _expect(reading: Reading, line: int) -> float | None:
    origin = find_origin(reading.books[line], reading.books)
    if origin.selfings is None:
        return 0.0
    chance = expect_of(reading, origin)
    if origin.selfings < 0 or not np.isfinite(chance).any():
        return None
    return float(np.nanmean(chance)) * 0.5**origin.selfings


def _list_aside(panel: MarkerPanel, day: date) -> tuple[AsideFacts, ...]:
    found = MarkerSample.objects.filter(panel=panel, set_aside_on__lte=day).defer("calls").select_related("line")
    return tuple(
        AsideFacts(one.name, one.line.name, one.set_aside_on, one.set_aside_reason)
        for one in found.order_by("set_aside_on", "name")
        if one.set_aside_on
    )


def _tell_basis(reading: Reading | None, judged: Sequence[Judged]) -> Basis:
    if reading is None:
        return Basis(missing=("the panel holds no sample that counts",))
    claimed = {one.line for one in judged}
    silent = len(reading.by_line) - len(claimed)
    missing = [f"{silent} line{'s have' if silent > 1 else ' has'} markers and no claim to judge"] if silent else []
    used = (("samples", len(reading.samples)), ("lines", len(reading.by_line)), ("markers", len(reading.table.markers)))
    return Basis(used, tuple(missing))
