"""What in the books of the station cannot be, is unlikely, or is not told?

One look at everything, on any day; nothing is changed. Each subject's rules live on the ground floor.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from firstsilk.records.models import Lot, Plot, Station, Tag
from firstsilk.records.models import Note as NoteRecord
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import keep_standing_notes, read_row_states
from firstsilk.work.audited import SUBJECTS, WEIGHT_OF, WEIGHTS, Audit, Found
from firstsilk.work.flowering.audit import audit_crates, audit_loose_ears, audit_notes, audit_tags
from firstsilk.work.flowering.note_names import name_note, read_device_numbers
from firstsilk.work.flowering.states import read_notes
from firstsilk.work.lineage.audit import audit_lines, read_merged
from firstsilk.work.lineage.marker_audit import audit_markers
from firstsilk.work.nursery.audit import audit_rows
from firstsilk.work.nursery.misplaced import audit_packets
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.audit import audit_lots
from firstsilk.work.shelf import get_station
from firstsilk.work.standing import rows_on
from firstsilk.work.trials.audit import audit_trials

__all__ = ["SUBJECTS", "WEIGHTS", "Audit", "Found", "audit_books"]

NOT_JUDGED = (
    "whether a person was there on a day for which nobody's hours are noted",
    "whether a check stands where it was planned: the books hold one entry a plot, as planned or as corrected",
    "whether one plant bears more ears than is allowed: notes count ears of a row, not of a plant",
)
"""Rules of the trade that the books cannot be held against."""


def audit_books(on: Occasion, every_year: bool = False) -> Audit:
    """Look for what contradicts itself in the books of a station as they stood on a day.

    Parameters
    ----------
    on
        The occasion: what came later does not count.
    every_year
        Whether a drift is looked for in trials of all years, which takes a fit or two each; else in the newest.

    Returns
    -------
    Audit
        Findings by subject, the heaviest first. Nothing is written or changed.

    Notes
    -----
    The number of questions to the books does not depend on their size. Checked by tests/work/test_audit.py.
    """
    station = get_station(on.station)
    found, n_lines = audit_lines(station, on.today)
    merged = read_merged(station, on.today)
    lots, n_lots, n_moves, came = audit_lots(station, on.today, merged)
    related = ("season__site", "line", "lot__line", "target__female", "target__male")
    rows = list(rows_on(station, on.today).select_related(*related).order_by("season__year", "season__name", "number"))
    notes = read_notes(station, None, on.today)
    states = read_row_states(notes)
    standing, _ = keep_standing_notes(notes)
    trials, n_trials, n_plots, untold = audit_trials(station, on.today, every_year)
    packets, no_packets = audit_packets(station, rows, states, on.today)
    marked, n_samples = audit_markers(station, on.today)
    noted, silent = audit_notes(rows, standing, states, on.today)
    found += marked + lots + audit_rows(rows, states, came, merged) + packets + noted
    crates = set(Tag.objects.filter(station=station, hangs_on="crate").values_list("code", flat=True))
    found += audit_tags(standing, {row.tag for row in rows} | crates | _read_other_tags(station))
    found += audit_loose_ears(standing) + audit_crates(rows, standing, crates, on.today) + trials
    looked_at = (
        ("lines", n_lines),
        ("lots", n_lots),
        ("movements", n_moves),
        ("rows", len(rows)),
        ("notes", len(notes)),
        ("trials", n_trials),
        ("plots", n_plots),
        *([("marker samples", n_samples)] if n_samples else []),
    )
    not_judged: tuple[str, ...] = NOT_JUDGED
    if silent:
        not_judged += (f"ears against pollinations in {', '.join(silent)}: no pollination is noted there",)
    if no_packets:
        not_judged += (no_packets,)
    ordered = tuple(sorted(_name_notes(station, found, notes), key=_order))
    return Audit(ordered, looked_at, (*not_judged, *untold), Basis(looked_at))


def _order(one: Found) -> tuple[int, int]:
    return SUBJECTS.index(one.subject), tuple(WEIGHTS).index(WEIGHT_OF[one.finding.code])


def _name_notes(station: Station, found: Sequence[Found], notes: Iterable[Note]) -> list[Found]:
    """The findings with a note that is their value called as a person calls it."""
    by_id = {note.id: note for note in notes}
    devices = read_device_numbers(station)
    told = list(found)
    stray = [one.finding.value for one in told if one.kind == "note" and one.finding.value in by_id]
    places = NoteRecord.objects.filter(station=station, uuid__in=stray).values_list("uuid", "position")
    position = {str(uuid): at for uuid, at in places}
    for at, one in enumerate(told):
        note = by_id.get(one.finding.value)
        if note is not None:
            finding = replace(one.finding, value=name_note(note, devices))
            told[at] = replace(one, finding=finding, note=note.id, position=position.get(note.id, 0))
    return told


def _read_other_tags(station: Station) -> set[str]:
    lots = Lot.objects.filter(station=station).values_list("tag", flat=True)
    return set(lots.union(Plot.objects.filter(station=station).exclude(tag="").values_list("tag", flat=True)))
