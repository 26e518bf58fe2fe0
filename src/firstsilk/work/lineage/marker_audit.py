"""Which lines of the books do their markers refute on a day?"""

from __future__ import annotations

from datetime import date

from firstsilk.answers import Finding, Place
from firstsilk.records.models import MarkerPanel, MarkerSample, Station
from firstsilk.work.audited import Found
from firstsilk.work.lineage.ancestry import Books, read_books
from firstsilk.work.lineage.marker_books import panels_on
from firstsilk.work.lineage.marker_looks import Judged, judge_claims, read_panel_samples

CODES = {
    "identity": "marker_not_the_line",
    "parent": "marker_not_the_parent",
    "cross": "marker_not_the_cross",
    "descent": "marker_not_the_parents",
    "heterozygosity": "marker_too_mixed",
}
"""The code of each refuted claim."""
REPAIRS = {
    "identity": "Read both labels again; set the wrong sample aside, or correct the line's name on its seed",
    "parent": "Sample parent and child once more; then correct the parent in the books, or set the sample aside",
    "cross": "Do not use the lot before a second sample agrees; then correct the father, or discard the seed",
    "descent": "Sample the line once more; then correct its parents in the books, or set the sample aside",
    "heterozygosity": "Sample other plants; if they agree, correct the generation or go back to the seed before",
}


def audit_markers(station: Station, day: date) -> tuple[list[Found], int]:
    """Findings about claims that markers refute, and how many samples were looked at.

    One question to the books where there are no markers; four more however many there are.
    """
    panels = {panel.pk: panel for panel in panels_on(station, day)}
    if not panels:
        return [], 0
    books = read_books(station, day)
    groups: dict[int, list[MarkerSample]] = {}
    counted = MarkerSample.objects.filter(panel__in=list(panels), recorded_on__lte=day)
    for one in counted.exclude(set_aside_on__lte=day).order_by("panel_id", "name"):
        groups.setdefault(one.panel_id, []).append(one)
    found = [one for number, group in groups.items() for one in _audit_panel(panels[number], group, books)]
    return found, sum(map(len, groups.values()))


def _audit_panel(panel: MarkerPanel, samples: list[MarkerSample], books: Books) -> list[Found]:
    reading = read_panel_samples(panel, samples, books)
    return [_tell(one, panel) for one in judge_claims(reading) if one.verdict == "disagrees"]


def _tell(one: Judged, panel: MarkerPanel) -> Found:
    against = " × ".join(one.against)
    what = {
        "identity": f"it is not the line of sample {against}",
        "parent": f"{against} is not its parent",
        "cross": f"it is not the cross {against}",
        "descent": f"it does not come from {against}",
        "heterozygosity": f"it is too heterozygous for {against}",
    }[one.check]
    told = f"by sample {one.sample} of panel {panel.name} {what}: {one.why}"
    told = f"{told.rstrip('.')}. {one.instead}".rstrip(". ")
    finding = Finding(CODES[one.check], told, Place(one.line, None, "markers"), one.sample, REPAIRS[one.check], False)
    return Found("lineage", "line", one.line, one.line, finding)
