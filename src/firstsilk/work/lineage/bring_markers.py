"""How do markers come into the books, and how is a wrong sample set aside?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from django.db import transaction

from firstsilk.answers import Finding, InputRefused, Place, refuse, shorten_value, stop_if_any
from firstsilk.records.models import Line, Lot, MarkerPanel, MarkerSample, Row, Station
from firstsilk.science.lineage.markers import MISSING, MarkerTable
from firstsilk.science.seed.tags import read_tag
from firstsilk.work.lineage.marker_given import MarkersGiven, SampleGiven
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import find_lines, get_station

LONGEST_NAME = 60
LONGEST_REASON = 200
MOST_FINDINGS = 50
AT_A_TIME = 100
"""Samples written at once: of 50,000 markers so many take 5 MB."""


@dataclass(frozen=True, slots=True)
class MarkersBrought:
    """What came in: the panel, whether it is new, its markers, samples that are new and that were there already."""

    panel: str
    is_new: bool
    n_markers: int
    n_new: int
    n_same: int
    n_lines: int
    told: tuple[str, ...]
    basis: Basis


def bring_markers(on: Occasion, panel: str, given: MarkersGiven) -> MarkersBrought:
    """Bring readings of markers into the books: all samples of the file, or nothing.

    Parameters
    ----------
    on
        The occasion.
    panel
        Name of the set of markers; a name that is not in the books yet makes a new panel of the file's markers.
    given
        The readings, and of which line, lot and row each sample is.

    Raises
    ------
    InputRefused
        A sample whose line, lot or row is not in the books or do not go together; a sample that is there with other
        readings; a marker that the panel does not hold; nucleotides for a panel that is there: each with its place.

    Notes
    -----
    A sample that is there with the same line and readings is passed over, so that a file can be sent again. Markers of
    the panel that the file lacks count as not read. Checked by tests/work/test_marker_books.py.
    """
    name = " ".join(panel.split())
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        odd = f"The name of the panel, {shorten_value(name)!r}, is empty, too long or does not print."
        raise refuse("panel_name_unfit", odd, f"Use 1 to {LONGEST_NAME} signs.", column="panel")
    with transaction.atomic():
        # Two who bring at once: the second waits, and then finds the samples of the first.
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        there = MarkerPanel.objects.filter(station=station, name=name).first()
        table, told = _fit_panel(there, given)
        samples = _find_samples(on, station, given)
        held = there or _make_panel(on, station, name, given)
        fresh = _drop_known(held, samples, table, given)
        for start in range(0, len(fresh), AT_A_TIME):
            MarkerSample.objects.bulk_create(
                _write_sample(on, held, samples[at], table, at) for at in fresh[start : start + AT_A_TIME]
            )
    lines = {one.line.pk for one in samples}
    used = (("samples", len(fresh)), ("samples there already", len(samples) - len(fresh)), ("lines", len(lines)))
    told = (*given.notes, *told)
    return MarkersBrought(
        name, there is None, len(held.markers), len(fresh), len(samples) - len(fresh), len(lines), told, Basis(used)
    )


@dataclass(frozen=True, slots=True)
class _Sample:
    given: SampleGiven
    line: Line
    lot: Lot | None
    row: Row | None


def _fit_panel(there: MarkerPanel | None, given: MarkersGiven) -> tuple[MarkerTable, tuple[str, ...]]:
    """The readings in the panel's order, and what was missing."""
    if there is None:
        return given.table, ()
    if given.letters:
        raise refuse(
            "letters_counted_anew",
            f"{given.source} holds nucleotides, and panel {there.name!r} is there: which of two is counted would "
            "depend on the file.",
            "Write copies of the counted allele (0, 1, 2), or bring all samples in one file as a new panel.",
        )
    place = {marker: at for at, marker in enumerate(there.markers)}
    told = f"panel {there.name!r} does not hold this marker"
    at, repair = Place(given.source, None, "marker"), "Name another panel, or leave the marker out"
    strange = [marker for marker in given.table.markers if marker not in place][:MOST_FINDINGS]
    stop_if_any([Finding("marker_not_in_panel", told, at, marker, repair) for marker in strange])
    doses = np.full((len(given.samples), len(place)), MISSING, dtype=np.int8)
    doses[:, [place[marker] for marker in given.table.markers]] = given.table.doses
    lacking = len(place) - len(given.table.markers)
    missing = (f"{lacking} of the panel's {len(place)} markers are not in the file: not read.",) if lacking else ()
    return MarkerTable(given.table.samples, tuple(there.markers), doses), missing


def _find_samples(on: Occasion, station: Station, given: MarkersGiven) -> list[_Sample]:
    """The samples with their records; every finding, if any stops."""
    lines = find_lines(station, {one.line for one in given.samples})
    lots = {lot.name: lot for lot in Lot.objects.filter(station=station, name__in={one.lot for one in given.samples})}
    tags = {one.row: _as_tag(one.row) for one in given.samples if one.row}
    rows = {row.tag: row for row in Row.objects.filter(station=station, tag__in=set(tags.values()))}
    findings: list[Finding] = []
    found = []
    for one in given.samples:
        line, lot, row = lines.get(one.line), lots.get(one.lot), rows.get(tags.get(one.row, ""))
        findings += _check_sample(on, one, line, lot, row)
        if line is not None:
            found.append(_Sample(one, line, lot, row))
    stop_if_any(findings[:MOST_FINDINGS])
    return found


def _as_tag(text: str) -> str:
    try:
        return read_tag(text)
    except InputRefused:
        return ""


def _check_sample(on: Occasion, one: SampleGiven, line: Line | None, lot: Lot | None, row: Row | None) -> list[Finding]:
    def at(code: str, told: str, column: str, value: str, repair: str) -> Finding:
        return Finding(code, told, Place(one.place.file, one.place.line, column or one.place.column), value, repair)

    findings = []
    if line is None:
        repair = "Correct it, name the line of each sample in a sheet, or add the line first"
        findings.append(at("line_unknown", f"sample {one.name}: no such line is in the books", "", one.line, repair))
    if len(one.name) > LONGEST_NAME or not one.name.isprintable():
        told = "the name of the sample is too long or does not print"
        findings.append(at("name_unfit", told, "sample", one.name, f"Use at most {LONGEST_NAME} signs"))
    for what, word, record in (("lot", one.lot, lot), ("row", one.row, row)):
        if word and record is None:
            repair = "Write the lot's name" if what == "lot" else "Write the eight signs of the row's tag"
            findings.append(at(f"{what}_unknown", f"there is no such {what} in the books", what, word, repair))
        elif record is not None and line is not None and record.line_id != line.pk:
            told = f"this {what} is not of {line.name}"
            findings.append(at(f"{what}_of_another_line", told, what, word, "Correct the one or the other"))
    if one.sampled_on is not None and one.sampled_on > on.today:
        told = f"this day lies after {on.today}"
        findings.append(at("day_to_come", told, "sampled_on", one.sampled_on.isoformat(), "Correct it"))
    return findings


def _make_panel(on: Occasion, station: Station, name: str, given: MarkersGiven) -> MarkerPanel:
    return MarkerPanel.objects.create(
        station=station,
        name=name,
        markers=list(given.table.markers),
        chromosomes=[chromosome for chromosome, _ in given.loci],
        positions_bp=[position for _, position in given.loci],
        source=given.source[:200],
        brought_on=on.today,
        brought_by=on.who,
    )


def _drop_known(panel: MarkerPanel, samples: list[_Sample], table: MarkerTable, given: MarkersGiven) -> list[int]:
    """The places of the samples that are not there yet."""
    names = [one.given.name for one in samples]
    there: Mapping[str, MarkerSample] = {
        one.name: one for one in MarkerSample.objects.filter(panel=panel, name__in=names)
    }
    findings, fresh = [], []
    for at, one in enumerate(samples):
        old = there.get(one.given.name)
        if old is None:
            fresh.append(at)
        elif old.line_id != one.line.pk or bytes(old.calls) != table.doses[at].tobytes() or old.set_aside_on:
            told = "it was set aside" if old.set_aside_on else "it is of another line or reads otherwise"
            told = f"a sample of this name is in panel {panel.name} already, and {told}"
            repair = "Give the new reading a name of its own; set the wrong one aside"
            findings.append(Finding("sample_differs", told, one.given.place, one.given.name, repair))
    stop_if_any(findings[:MOST_FINDINGS])
    return fresh


def _write_sample(on: Occasion, panel: MarkerPanel, one: _Sample, table: MarkerTable, at: int) -> MarkerSample:
    return MarkerSample(
        station_id=panel.station_id,
        panel=panel,
        name=one.given.name,
        line=one.line,
        lot=one.lot,
        row=one.row,
        sampled_on=one.given.sampled_on,
        calls=table.doses[at].tobytes(),
        recorded_on=on.today,
        recorded_by=on.who,
    )


def set_sample_aside(on: Occasion, panel: str, sample: str, reason: str) -> str:
    """Let a sample count no longer, with its reason; it stays in the books. Returns the name of its line.

    Raises
    ------
    InputRefused
        If there is no such panel or sample, it is set aside already, or no reason is given.

    Notes
    -----
    Checked by tests/work/test_marker_books.py.
    """
    from firstsilk.work.lineage.marker_books import find_panel

    told = " ".join(reason.split())
    if not told or len(told) > LONGEST_REASON:
        raise refuse("reason_needed", "A sample is set aside for a reason.", f"Give it in 1 to {LONGEST_REASON} signs.")
    with transaction.atomic():
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        held = find_panel(station, on.today, panel)
        found = MarkerSample.objects.filter(panel=held, name=sample).select_related("line").first() if held else None
        if found is None:
            told = f"There is no sample {shorten_value(sample)!r} in the panel."
            raise refuse("sample_unknown", told, "Read its name in the list of samples.")
        if found.set_aside_on:
            told = f"{sample} was set aside on {found.set_aside_on}: {found.set_aside_reason}"
            raise refuse("sample_set_aside", told, "Nothing more is needed.")
        found.set_aside_on, found.set_aside_reason = on.today, told
        found.save(update_fields=["set_aside_on", "set_aside_reason"])
    return found.line.name
